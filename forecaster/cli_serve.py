"""The command that opens the season in a browser."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
