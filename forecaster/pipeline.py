"""From a season folder on disk to what is known, and on to the forecast. Reads; writes nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

from forecaster.build import forecast_route
from forecaster.errors import BadInput, Notice, Problem
from forecaster.forecast import RouteForecast
from forecaster.known import Known, fall_for, known_on
from forecaster.season.readings import Reading
from forecaster.season.readings_file import read_loggers, read_readings
from forecaster.season.settings import Settings, read_settings
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site
from forecaster.weather.files import read_weather
from forecaster.weather.stations import Weather

T = TypeVar("T")


@dataclass(frozen=True)
class SeasonFiles:
    """The office's own files of a season folder, read and checked."""

    folder: Path
    settings: Settings
    sites: tuple[Site, ...]
    readings: tuple[Reading, ...]
    notices: tuple[Notice, ...]


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
    crew_names = [crew.name for crew in settings.crews] if settings else []
    sheet = collect.run(lambda: read_sites(folder, crew_names=crew_names))
    ids = [site.site_id for site in sheet[0]] if sheet else None
    readings: tuple[Reading, ...] = ()
    notices: list[Notice] = list(sheet[1]) if sheet else []
    if ids is not None:
        for read in (
            lambda: read_readings(folder, site_ids=ids),
            lambda: read_loggers(folder, ids, settings.season.timezone if settings else "UTC"),
        ):
            found = collect.run(read)
            if found:
                readings += found[0]
                notices += found[1]
    weather = collect.run(lambda: load_weather(folder, settings, as_of)) if settings else None
    collect.raise_if_any()
    assert settings is not None
    assert sheet is not None
    assert weather is not None
    return known_on(
        as_of, settings=settings, sites=sheet[0], readings=readings, weather=weather, notices=notices
    )


def load_weather(folder: Path, settings: Settings, as_of: date) -> Weather:
    """Weather of the season folder as known on `as_of`."""
    return read_weather(
        folder / settings.weather.folder,
        as_of=as_of,
        with_outlooks=settings.weather.outlook != "none",
        shown_as=settings.weather.folder,
    )


def forecast_folder(folder: Path, as_of: date) -> RouteForecast:
    """The forecast of the season folder on `as_of`."""
    return forecast_route(load_known(folder, as_of))


def forecast_json(folder: Path, as_of: date) -> str:
    """The same as JSON text (README, The data it gives)."""
    from forecaster.report.contract import route_json

    return route_json(forecast_folder(folder, as_of))
