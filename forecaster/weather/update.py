"""`weather update`: everything of the weather that arrives by itself, brought up to date in one go.

The shell around the parts: it opens the session and holds the folder, so that two updates never meet.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.http import Fetcher, HttpSettings
from forecaster.weather.http_limits import HttpLimits
from forecaster.weather.kept import CACHE_FOLDER, KeptFiles, one_at_a_time
from forecaster.weather.records import MissingWeather, read_about
from forecaster.weather.station_choice import SiteChoice, choose_stations
from forecaster.weather.station_list import station_candidates
from forecaster.weather.station_sheet import read_stations
from forecaster.weather.stations import Station
from forecaster.weather.update_outlooks import SERVICES, Keep, OutlooksReport, update_outlooks
from forecaster.weather.update_records import Progress, RecordsReport, update_records


@dataclass(frozen=True)
class UpdateReport:
    """What an update did; a part is None where the settings do not ask for it."""

    records: RecordsReport | None
    outlooks: OutlooksReport | None

    @property
    def notices(self) -> tuple[Notice, ...]:
        """All that the user should know."""
        parts = (self.records, self.outlooks)
        return tuple(notice for part in parts if part is not None for notice in part.notices)


def quiet(done: int, total: int, text: str) -> None:
    """Progress that nobody watches."""


def update_weather(
    folder: Path,
    settings: Settings,
    sites: Sequence[Site],
    *,
    now: datetime,
    progress: Progress = quiet,
    keep: Keep | None = None,
    environment: Mapping[str, str] = os.environ,
    limits: HttpLimits | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> UpdateReport:
    """Fetch what the season's sites need and keep it in the season folder.

    Args:
        folder: The season folder.
        now: The moment, with its zone.
        progress: Called before each file.
        keep: Called with every outlook that was not kept before, for a ledger.
        environment: Where `api_key_env` is looked up.
        limits, sleep: See `Fetcher`.
    Raises:
        MissingWeather: A site is left without any station record (exit code 1).
        BadInput: The settings forbid it, or own files cannot be used.
        ForecasterError: Another update is running.
    """
    weather = settings.weather
    wants_outlooks = weather.outlook in SERVICES
    if weather.source != "meteostat" and not wants_outlooks:
        found = f'nothing to fetch: source = "files" and outlook = "{weather.outlook}".'
        cure = 'Set source = "meteostat", or outlook to a service like "nws".'
        raise BadInput(Problem("season.toml [weather]", f"{found} {cure}"))
    http = HttpSettings(weather.contact, limits=limits or HttpLimits())
    with one_at_a_time(folder / CACHE_FOLDER):
        records = None
        if weather.source == "meteostat":
            with Fetcher(folder / CACHE_FOLDER, http, sleep=sleep, now=lambda: now) as fetcher:
                records = update_records(folder, settings, sites, fetcher, now=now, progress=progress)
        outlooks = None
        if wants_outlooks:
            outlooks = _outlooks(
                folder, settings, http, now=now, progress=progress, keep=keep,
                key=environment.get(weather.api_key_env, "") if weather.api_key_env else "", sleep=sleep,
            )  # fmt: skip
    return UpdateReport(records, outlooks)


def update_only_outlooks(
    folder: Path,
    settings: Settings,
    *,
    now: datetime,
    progress: Progress = quiet,
    keep: Keep | None = None,
    environment: Mapping[str, str] = os.environ,
    limits: HttpLimits | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> OutlooksReport | None:
    """As `update_weather`, for the outlooks alone; None where the settings name no service."""
    weather = settings.weather
    if weather.outlook not in SERVICES:
        return None
    http = HttpSettings(weather.contact, limits=limits or HttpLimits())
    key = environment.get(weather.api_key_env, "") if weather.api_key_env else ""
    with one_at_a_time(folder / CACHE_FOLDER):
        return _outlooks(folder, settings, http, now=now, progress=progress, keep=keep, key=key, sleep=sleep)


def explain_stations(
    folder: Path,
    settings: Settings,
    sites: Sequence[Site],
    *,
    now: datetime | None = None,
    limits: HttpLimits | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> tuple[tuple[SiteChoice, ...], tuple[Notice, ...]]:
    """Which stations an update would take for each site, and why; fetches the station list at most."""
    weather, moment = settings.weather, now or datetime.now(UTC)
    kept_folder = folder / CACHE_FOLDER
    notices: list[Notice] = []
    http = HttpSettings(weather.contact, limits=limits or HttpLimits())
    fetcher_of = Fetcher(kept_folder, http, sleep=sleep, now=lambda: moment)
    with one_at_a_time(kept_folder), fetcher_of as fetcher:
        kept = KeptFiles(kept_folder)
        try:
            candidates = station_candidates(fetcher, kept, settings, sites, notices)
        finally:
            kept.close()
    choices = choose_stations(
        sites,
        candidates,
        per_site=weather.stations_per_site,
        years=weather.seasons,
        today=moment.astimezone(ZoneInfo(settings.season.timezone)).date(),
        only=weather.stations,
        never=weather.exclude_stations,
    )
    return choices, tuple(notices)


def stations_in_use(folder: Path, settings: Settings) -> tuple[tuple[Station, ZoneInfo], ...]:
    """The stations of a season with the zone of their days.

    Raises:
        MissingWeather: Their records come from the archive and nothing is kept yet.
        BadInput: Own files: the list of stations cannot be used.
    """
    weather, usual = settings.weather, ZoneInfo(settings.season.timezone)
    if weather.source == "files":
        shown = weather.folder
        return tuple((s, usual) for s in read_stations(folder / weather.folder, shown_as=shown))
    about = read_about(folder / weather.folder)
    if about is None:
        raise MissingWeather(nothing_kept(folder))
    return tuple(
        (record.station, ZoneInfo(record.timezone) if record.timezone else usual) for record in about.records
    )


def nothing_kept(folder: Path) -> str:
    """What to say where no station records are kept."""
    cure = f"Run: forecaster weather update {folder}"
    return f"{folder}: no station records are kept yet, and a forecast does not fetch any itself. {cure}"


def _outlooks(
    folder: Path,
    settings: Settings,
    http: HttpSettings,
    *,
    now: datetime,
    progress: Progress,
    keep: Keep | None,
    key: str,
    sleep: Callable[[float], None],
) -> OutlooksReport:
    weather = settings.weather
    expires = HttpSettings(http.contact, weather.outlook == "met-norway", http.limits)
    stations = stations_in_use(folder, settings)
    with Fetcher(folder / CACHE_FOLDER, expires, sleep=sleep, now=lambda: now) as fetcher:
        return update_outlooks(
            folder / weather.folder,
            weather,
            stations,
            fetcher,
            now=now,
            key=key,
            keep=keep,
            progress=progress,
        )
