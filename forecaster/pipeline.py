"""From a season folder on disk to what is known, and on to the forecast. Reads; writes nothing."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from forecaster.build import forecast_route
from forecaster.errors import BadInput, Notice, Problem
from forecaster.forecast import RouteForecast
from forecaster.known import Known, fall_for, known_on
from forecaster.season.changes import sheet_changes
from forecaster.season.ledger import open_ledger
from forecaster.season.readings import Reading
from forecaster.season.readings_file import read_loggers, read_readings
from forecaster.season.settings import read_settings
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site
from forecaster.season.state import SeasonState
from forecaster.season.state_readings import merge_readings
from forecaster.season.state_sheet import apply_state, state_notices
from forecaster.season.tables import find_table, read_table
from forecaster.season.travel_times import read_travel_times
from forecaster.visit.kit import KIT_COLUMNS, kit_notices
from forecaster.weather.files import read_weather
from forecaster.weather.load import load_weather

T = TypeVar("T")


class _Collector:
    """Runs readers one after the other and keeps the problems of all."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def run(self, reader: Callable[[], T]) -> T | None:
        try:
            return reader()
        except BadInput as error:
            self.problems += error.problems
            return None

    def raise_if_any(self) -> None:
        if self.problems:
            raise BadInput(dict.fromkeys(self.problems))


def load_known(folder: Path, as_of: date) -> Known:
    """Everything known on `as_of`, from the files of the season folder.

    Raises:
        BadInput: Any of the files cannot be used as it is: the problems of all of them at once.
    """
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "there is no such folder. Name the season's folder."))
    collect = _Collector()
    collect.run(lambda: fall_for(as_of))
    settings = collect.run(lambda: read_settings(folder))
    crew_names = [crew.name for crew in settings.crews] if settings else _crew_names(folder)
    sheet = collect.run(lambda: read_sites(folder, crew_names=crew_names, extra_columns=KIT_COLUMNS))
    ids = [site.site_id for site in sheet[0]] if sheet else _site_ids(folder)
    zone = settings.season.timezone if settings else "UTC"
    readings, notices = _read_readings(collect, folder, ids, zone)
    sites = sheet[0] if sheet else ()
    weather = collect.run(
        lambda: (
            load_weather(folder, settings, as_of=as_of, sites=sites)
            if settings
            else read_weather(folder / "weather", as_of=as_of, with_outlooks=True)
        )
    )
    travel = collect.run(lambda: read_travel_times(folder, site_ids=ids, crew_names=crew_names))
    state = collect.run(lambda: ledger_state(folder, as_of))
    collect.raise_if_any()
    assert settings is not None
    assert sheet is not None
    assert weather is not None
    assert travel is not None
    notices = [*sheet[1], *kit_notices(sites), *notices, *travel[1]]
    if state is None:
        return known_on(
            as_of,
            settings=settings,
            sites=sites,
            readings=readings,
            weather=weather,
            travel_times=travel[0],
            notices=notices,
        )
    return known_on(
        as_of,
        settings=settings,
        sites=apply_state(sites, state, today=as_of),
        readings=merge_readings(readings, state),
        weather=weather,
        closed=frozenset(state.closed),
        in_force=_in_force(state.plan),
        taken_hours=_taken_hours(state),
        last_event_id=state.last_event_id,
        travel_times=travel[0],
        notices=[
            *notices,
            *state_notices(sites, state),
            *_changed_since(state, sites, settings.season.units),
        ],
    )


def _changed_since(state: SeasonState, sites: Sequence[Site], units: str) -> list[Notice]:
    """What changed in the sheet since it was confirmed, and what was recorded since the plan in force."""
    said = [change.notice() for change in sheet_changes(state.sheet, sites, units=units)]
    newer = state.newer_than_plan()
    if newer:
        text = f"{newer} events were recorded since the plan in force was made. Look again: forecaster accept"
        said.append(Notice("plan in force", text))
    return said


def ledger_state(folder: Path, as_of: date) -> SeasonState | None:
    """What the ledger says of days up to the as-of date; None where the folder has no ledger."""
    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return None
    with ledger:
        return ledger.state(until=as_of)


def _taken_hours(state: SeasonState) -> dict[tuple[str, date], float]:
    """Crew-hours of visits other than closings, by crew and day [h]."""
    taken: dict[tuple[str, date], float] = {}
    for visit in state.visits:
        taken[visit.by, visit.day] = taken.get((visit.by, visit.day), 0.0) + visit.crew_hours
    return taken


def _in_force(plan: Mapping[str, Any] | None) -> dict[str, tuple[date, str]]:
    """Site -> (day, crew) of a plan put in force, from its crew-days."""
    return {
        stop["site_id"]: (date.fromisoformat(day["date"]), day["crew"])
        for day in (plan or {}).get("crew_days", [])
        for stop in day["stops"]
    }


def _read_readings(
    collect: _Collector, folder: Path, ids: list[str], timezone: str
) -> tuple[tuple[Reading, ...], list[Notice]]:
    readings: tuple[Reading, ...] = ()
    notices: list[Notice] = []
    for read in (
        lambda: read_readings(folder, site_ids=ids),
        lambda: read_loggers(folder, ids, timezone),
    ):
        found = collect.run(read)
        if found:
            readings += found[0]
            notices += found[1]
    return readings, notices


def _crew_names(folder: Path) -> list[str]:
    """Names of the crews in settings that are otherwise broken, so that the sheet can still be checked."""
    try:
        crews = tomllib.loads((folder / "season.toml").read_text(encoding="utf-8")).get("crew", [])
        return [str(crew["name"]) for crew in crews if "name" in crew]
    except (OSError, ValueError, AttributeError, TypeError):
        return []


def _site_ids(folder: Path) -> list[str]:
    """Site ids of a sheet that is otherwise broken, so that the readings can still be checked."""
    try:
        path = find_table(folder, "sites")
        rows = read_table(path, []).rows if path else ()
        return [row.cells.get("site_id", "") for row in rows]
    except (BadInput, OSError):
        return []


def forecast_folder(folder: Path, as_of: date) -> RouteForecast:
    """The forecast of the season folder on `as_of`."""
    return forecast_route(load_known(folder, as_of))


def forecast_json(folder: Path, as_of: date) -> str:
    """The same as JSON text (README, The data it gives)."""
    from forecaster.report.contract import route_json

    return route_json(forecast_folder(folder, as_of))
