"""Fetch the coming days of each station from the service that the settings name, and keep them.

One station after the other; a service that does not answer leaves a notice and the outlooks of last time.
Every issue is kept in the season folder and handed to `keep` as well, for a ledger.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.settings import WeatherSettings
from forecaster.weather import outlook_met_norway, outlook_nws, outlook_open_meteo
from forecaster.weather.http import Fetched, Fetcher, FetchFailed
from forecaster.weather.outlook_errors import PRIOR_OUTLOOKS
from forecaster.weather.outlook_kept import KeptOutlook, keep_outlooks, read_kept
from forecaster.weather.stations import Outlook, Station

SERVICES = ("nws", "met-norway", "open-meteo")

Keep = Callable[[Outlook], None]


@dataclass(frozen=True)
class OutlooksReport:
    """What fetching outlooks brought: `fetched` stations with an outlook of now, `added` issues that were
    not kept before, `failed` stations without an answer."""

    source: str
    fetched: int
    added: int
    failed: int
    notices: tuple[Notice, ...]


def check_outlook_settings(weather: WeatherSettings, key: str) -> None:
    """Refuse settings with which the chosen service must not be asked.

    Raises:
        BadInput: No contact where the service requires one, or no key.
    """
    problems = []
    if weather.outlook in ("nws", "met-norway") and not weather.contact.strip():
        cure = 'Write an address or page of the office, like contact = "office@example.org".'
        text = f"missing; {weather.outlook} asks every program for a contact. {cure}"
        problems.append(Problem("season.toml [weather] contact", text))
    if weather.outlook == "open-meteo":
        missing = outlook_open_meteo.key_problem(weather.open_meteo_url, key)
        if missing:
            problems.append(Problem("season.toml [weather] api_key_env", f"{missing}."))
    if problems:
        raise BadInput(problems)


def update_outlooks(
    weather_folder: Path,
    weather: WeatherSettings,
    stations: Sequence[tuple[Station, ZoneInfo]],
    fetcher: Fetcher,
    *,
    now: datetime,
    key: str = "",
    keep: Keep | None = None,
    progress: Callable[[int, int, str], None] = lambda done, total, text: None,
) -> OutlooksReport:
    """Fetch and keep the current outlook of each station.

    Args:
        weather_folder: Outlooks are kept in its `outlook-kept`.
        weather: Names the service and its addresses.
        stations: With the zone whose clock makes their days.
        fetcher: For MET Norway one that honours `Expires`.
        now: The moment, with its zone.
        key: Of the service, where it needs one.
        keep: Called with every outlook that was not kept before.
    Raises:
        BadInput: The settings forbid it, or kept outlooks cannot be read.
    """
    check_outlook_settings(weather, key)
    notices: list[Notice] = []
    found: list[KeptOutlook] = []
    failures: dict[str, list[str]] = {}
    for done, (station, zone) in enumerate(stations):
        progress(done, len(stations), f"outlook {station.station_id}")
        try:
            kept, answer = _fetch(weather, station, zone, fetcher, key)
        except FetchFailed as failed:
            failures.setdefault(failed.why, []).append(station.station_id)
            continue
        if answer.is_old:
            failures.setdefault(answer.why, []).append(station.station_id)
        if answer.status == outlook_met_norway.ENDING:
            text = "the service says that this version will be shut down; the program needs an update."
            notices.append(Notice("outlook", text))
        found.append(kept)
    if weather.outlook == "open-meteo":
        found += _past(weather_folder, weather, stations, fetcher, now=now, key=key, notices=notices)
    progress(len(stations), len(stations), "outlooks")
    for why, without in failures.items():
        text = f"none could be fetched for {', '.join(without)}: {why}. Kept ones serve while they last."
        notices.append(Notice(f"outlook {weather.outlook}", text))
    known = {
        _issue(k) for k in read_kept(weather_folder, [s.station_id for s, _ in stations], as_of=date.max)
    }
    added = keep_outlooks(weather_folder, found)
    if keep is not None:
        for kept in found:
            if _issue(kept) not in known and kept.outlook.days:
                keep(kept.outlook)
    failed_count = sum(len(without) for without in failures.values())
    unique = tuple(dict.fromkeys(notices))
    return OutlooksReport(weather.outlook, len(stations) - failed_count, added, failed_count, unique)


def _fetch(
    weather: WeatherSettings, station: Station, zone: ZoneInfo, fetcher: Fetcher, key: str
) -> tuple[KeptOutlook, Fetched]:
    if weather.outlook == "nws":
        return outlook_nws.fetch_nws(fetcher, station, zone, base_url=weather.nws_url)
    if weather.outlook == "met-norway":
        return outlook_met_norway.fetch_met_norway(fetcher, station, zone, url=weather.met_norway_url)
    url, ensemble_url = weather.open_meteo_url, weather.open_meteo_ensemble_url
    return outlook_open_meteo.fetch_open_meteo(
        fetcher, station, zone, url=url, ensemble_url=ensemble_url, key=key
    )


def _past(
    weather_folder: Path,
    weather: WeatherSettings,
    stations: Sequence[tuple[Station, ZoneInfo]],
    fetcher: Fetcher,
    *,
    now: datetime,
    key: str,
    notices: list[Notice],
) -> list[KeptOutlook]:
    """Past forecasts of stations of which too few outlooks are kept to learn from."""
    found: list[KeptOutlook] = []
    for station, zone in stations:
        kept = read_kept(weather_folder, [station.station_id], as_of=now.date(), source="open-meteo")
        if len({k.outlook.issued for k in kept}) >= PRIOR_OUTLOOKS:
            continue
        try:
            found += outlook_open_meteo.fetch_past_open_meteo(
                fetcher, station, zone, url=weather.open_meteo_past_url, key=key
            )
        except FetchFailed as failed:
            text = f"past forecasts of {station.station_id} could not be fetched: {failed.why}."
            notices.append(Notice("outlook open-meteo", text))
    return found


def _issue(kept: KeptOutlook) -> tuple[str, str, str, datetime | None]:
    outlook = kept.outlook
    return outlook.station_id, outlook.source, kept.kind, outlook.issued_at
