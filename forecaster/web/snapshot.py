"""One finished state of the season that pages are made from, how it is computed, and which state it is of."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path

from forecaster import __version__
from forecaster.errors import ForecasterError
from forecaster.forecast import RouteForecast
from forecaster.known import Known
from forecaster.visit.energy import RouteEnergy
from forecaster.visit.winter_watch import WinterWatch
from forecaster.web.site_days import SiteDays

READ_ENDINGS = frozenset({".toml", ".csv", ".xlsx", ".json", ".txt"})
"""Endings of files in a season folder that a forecast may rest on."""

DEEPEST = 3
"""Folders inside folders that are looked at: weather/kept/STATION.csv and a little more."""


@dataclass(frozen=True, eq=False)
class Snapshot:
    """A forecast with all it was made from. `last_event_id`: the last event of the ledger that it rests on;
    `made_at`: when it was begun, UTC; `basis`: see `basis_of`; `days`: each site's water
    and air; `winter`: the watch over every pond, open ones too; `energy`: of the winter devices."""

    known: Known
    forecast: RouteForecast
    last_event_id: int
    made_at: datetime
    basis: str = ""
    days: Mapping[str, SiteDays] = field(default_factory=dict)
    winter: WinterWatch | None = None
    energy: RouteEnergy | None = None

    @property
    def key(self) -> str:
        """Short name of this state, for addresses of cached answers and for the script that asks for news."""
        made = f"{self.basis} {self.last_event_id} {self.made_at.isoformat()}"
        return hashlib.sha256(made.encode()).hexdigest()[:16]


def last_event_of(folder: Path) -> int:
    """Number of the ledger's last event that a forecast may rest on, 0 for none."""
    return _resting(folder)[0]


def _resting(folder: Path) -> tuple[int, str]:
    """The same, with when it was recorded: after `restore` the same number may be another event."""
    from forecaster.season.ledger import open_ledger

    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return 0, ""
    with ledger:
        last = ledger.event(ledger.last_event_id())
    return (0, "") if last is None else _last_resting(folder, last.event_id, last.recorded_at.isoformat())


@lru_cache(maxsize=16)
def _last_resting(folder: Path, last: int, recorded_at: str) -> tuple[int, str]:
    """The last event up to `last` that a forecast may rest on; events never change, so it is asked once."""
    from forecaster.season.ledger import open_ledger
    from forecaster.season.ledger_runs import FORECAST_IDLE

    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return 0, ""
    with ledger:
        resting = [e for e in ledger.events() if e.kind not in FORECAST_IDLE and e.event_id <= last]
    return (resting[-1].event_id, resting[-1].recorded_at.isoformat()) if resting else (0, "")


def basis_of(folder: Path, as_of: date) -> str:
    """A digest that changes when the ledger, a file of the season folder, the day or the program changes.

    Files are looked at from outside (name, size, time of change), so this takes a moment only.
    """
    looked = hashlib.sha256(f"{__version__} {as_of}".encode())
    try:
        looked.update(f" {_resting(folder)}".encode())
    except ForecasterError as error:
        looked.update(str(error).encode())
    for name, size, changed in sorted(_files(folder, "", DEEPEST)):
        looked.update(f"\0{name} {size} {changed}".encode(errors="surrogateescape"))
    return looked.hexdigest()


def _files(folder: Path, inside: str, deeper: int) -> Iterator[tuple[str, int, int]]:
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith((".", "~")) or entry.name == "backups":
            continue
        name = f"{inside}/{entry.name}"
        try:
            if entry.is_dir():
                if deeper:
                    yield from _files(folder / entry.name, name, deeper - 1)
            elif os.path.splitext(entry.name)[1].lower() in READ_ENDINGS:
                found = entry.stat()
                yield name, found.st_size, found.st_mtime_ns
        except OSError:
            continue


def make_snapshot(folder: Path, as_of: date, *, made_at: datetime) -> Snapshot:
    """Compute the state of the season folder on `as_of`; takes seconds, reads only.

    Raises:
        ForecasterError: Something in the folder cannot be used.
    """
    from forecaster.build import forecast_route
    from forecaster.pipeline import load_known
    from forecaster.web.site_days import site_days

    basis, last_event_id = basis_of(folder, as_of), last_event_of(folder)
    known = load_known(folder, as_of)
    watch, energy = _winter_of(folder, known)
    return Snapshot(
        known, forecast_route(known), last_event_id, made_at, basis, site_days(known), watch, energy
    )


def _winter_of(folder: Path, known: Known) -> tuple[WinterWatch, RouteEnergy]:
    """The watch over every pond and the energy of its devices, from one run of the winter."""
    from forecaster.pipeline import ledger_state
    from forecaster.season.snow_file import read_snow
    from forecaster.visit.energy import route_energy, start_days
    from forecaster.visit.kit import kit_of
    from forecaster.visit.winter_run import run_winter
    from forecaster.visit.winter_watch import winter_watch

    state = ledger_state(folder, known.as_of)
    closed = {} if state is None else {name: event.day for name, event in state.closed.items()}
    stations = [station.station_id for station in known.weather.stations]
    snow = read_snow(folder, station_ids=stations, as_of=known.as_of)
    kits = {site.site_id: kit_of(site)[0] for site in known.sites}
    winter = run_winter(known, kits, start_days(known, closed), to_march=True, snow=snow)
    visits = state.visits if state else ()
    return (
        winter_watch(known, kits, closed, visits=visits, every=True, winter=winter),
        route_energy(known, kits, closed, winter=winter),
    )
