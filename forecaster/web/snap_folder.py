"""From a season folder to the report after a cold snap, for the command and for the pages' worker."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from forecaster.snap.records import SnapReport


def snap_of_folder(
    folder: Path,
    as_of: date,
    *,
    since: date | None = None,
    crews: int | None = None,
    lows: Sequence[str] = (),
) -> SnapReport:
    """The report of a season folder; reads, writes nothing. `lows`: read this morning, like STATION=19.

    Raises:
        BadInput: Anything in the folder, `since`, `crews` or `lows` that cannot be used.
    """
    from forecaster.pipeline import ledger_state, load_known
    from forecaster.snap.build import SnapAsked, snap_report
    from forecaster.snap.this_morning import parse_lows
    from forecaster.weather.hourly import read_hourly

    known = load_known(folder, as_of)
    settings = known.settings
    hourly = read_hourly(
        folder / settings.weather.folder,
        tuple(station.station_id for station in known.weather.stations),
        timezone=settings.season.timezone,
        before=as_of,
    )
    state = ledger_state(folder, as_of)
    asked = SnapAsked(since, crews, parse_lows(lows, settings.season.units))
    return snap_report(known, state, asked=asked, hourly=hourly)
