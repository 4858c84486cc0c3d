"""Weather for the watch: one update, after which the last good copies stand where something failed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from forecaster.errors import ForecasterError
from forecaster.season.settings import Settings

if TYPE_CHECKING:
    from forecaster.weather.stations import Outlook
    from forecaster.weather.update import UpdateReport

Keep = Callable[["Outlook"], None]


def fetch_weather(
    folder: Path, settings: Settings, clock: Callable[[], datetime], environment: Mapping[str, str]
) -> str:
    """Fetch what the settings name, nothing where they name own files; what went wrong, "" for nothing."""
    from forecaster.season.sheet import read_sites
    from forecaster.weather.update import update_weather
    from forecaster.weather.update_outlooks import SERVICES

    if settings.weather.source != "meteostat" and settings.weather.outlook not in SERVICES:
        return ""
    try:
        sites, _ = read_sites(folder, crew_names=[crew.name for crew in settings.crews])
        with _ledger_keeps(folder, clock) as keep:
            report = update_weather(folder, settings, sites, now=clock(), keep=keep, environment=environment)
    except ForecasterError as error:
        return str(error)
    except Exception as error:  # a fault of one fetch must not end the watch
        return f"an error of the program itself ({type(error).__name__}: {str(error)[:200]})"
    return _faults(report)


@contextmanager
def _ledger_keeps(folder: Path, clock: Callable[[], datetime]) -> Iterator[Keep | None]:
    """What hands new outlooks to the season's ledger; None where there is no ledger."""
    from forecaster.season.ledger import open_ledger

    probe = open_ledger(folder, readonly=True)
    if probe is None:
        yield None
        return
    probe.close()
    with open_ledger(folder, clock=clock) as ledger:

        def keep(outlook: Outlook) -> None:
            ledger.keep_outlook(outlook)

        yield keep


def _faults(report: UpdateReport) -> str:
    """What an update could not have, "" for nothing."""
    failed = [part for part in (report.records, report.outlooks) if part is not None and part.failed]
    return "; ".join(str(notice) for part in failed for notice in part.notices)
