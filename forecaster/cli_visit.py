"""Commands of the visit: crew sheets, kit, energy, winter watch, words for the customer, store list."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    from forecaster import cli_visit_sheets, cli_visit_winter

    cli_visit_sheets.register(app)
    cli_visit_winter.register(app)
