"""Commands of the morning brief, alarms and the watch."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
