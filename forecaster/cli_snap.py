"""The command for the morning after a cold snap."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
