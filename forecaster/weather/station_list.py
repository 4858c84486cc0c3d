"""The list of weather stations around the sites: fetched, or the copy of last time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.http import Fetcher, FetchFailed
from forecaster.weather.kept import KeptFiles
from forecaster.weather.meteostat_source import (
    STATIONS_DB,
    STATIONS_DB_BYTES,
    candidates_near,
    check_stations_db,
)
from forecaster.weather.records import MissingWeather
from forecaster.weather.station_choice import SEARCH_KM, Candidate

LIST_KEPT = timedelta(days=7)
"""Age up to which the list is used unasked [time]."""


def station_candidates(
    fetcher: Fetcher, kept: KeptFiles, settings: Settings, sites: Sequence[Site], notices: list[Notice]
) -> tuple[Candidate, ...]:
    """The stations of the list around the sites, with the list fetched or its copy used.

    Raises:
        MissingWeather: There is no list at all.
        BadInput: The settings name a station that is not in it.
    """
    url = f"{settings.weather.base_url}/{STATIONS_DB}"
    try:
        got = fetcher.get(url, keep_for=LIST_KEPT, check=check_stations_db, max_bytes=STATIONS_DB_BYTES)
    except FetchFailed as failed:
        if kept.content(STATIONS_DB) is None:
            cure = "Connect to the network and run the command again, or use own files: weather add."
            raise MissingWeather(f"The list of weather stations is missing: {failed}. {cure}") from None
        entry = kept.entry(STATIONS_DB)
        assert entry is not None
        text = f"the one of {entry.checked_at.date()} is used: {failed.why}."
        notices.append(Notice("station list", text))
    else:
        kept.put(STATIONS_DB, got.content, got_at=got.got_at, checked_at=got.checked_at, why=got.why)
        if got.is_old:
            text = f"the one of {got.checked_at.date()} is used: {got.why}."
            notices.append(Notice("station list", text))
    return _around(kept, settings, sites)


def _around(kept: KeptFiles, settings: Settings, sites: Sequence[Site]) -> tuple[Candidate, ...]:
    places = [(site.latitude, site.longitude) for site in sites]
    wanted = settings.weather.stations
    found = candidates_near(kept.folder, places, radius_km=SEARCH_KM, ids=wanted)
    known = [candidate.station.station_id for candidate in found]
    problems = [
        Problem(
            "season.toml [weather] stations",
            f"there is no station {name} in the list.{did_you_mean(name, known)} "
            "See: forecaster weather stations.",
        )
        for name in wanted
        if name not in known
    ]
    if problems:
        raise BadInput(problems)
    return found
