"""The commands of the season's ledger. What they share is in `cli_ledger_desk.py`."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import typer

from forecaster.cli_ledger_dates import register_dates
from forecaster.cli_ledger_desk import ForecastJson
from forecaster.cli_ledger_files import register_files
from forecaster.cli_ledger_plan import pipeline_json, register_plan
from forecaster.cli_ledger_say import register_say


def register(
    app: typer.Typer,
    *,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    forecast_json: ForecastJson = pipeline_json,
) -> None:
    """Add the ledger's commands to the program.

    Args:
        app: The program.
        clock: Gives the time at which things are recorded, and so today's date.
        forecast_json: Makes the forecast of a season folder on a day, as JSON text.
    """
    register_files(app, clock)
    register_say(app, clock)
    register_dates(app, clock)
    register_plan(app, clock, forecast_json)
