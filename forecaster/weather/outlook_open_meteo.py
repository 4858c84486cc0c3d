"""The outlook of Open-Meteo, on request and with a key: forecast, ensemble, and past forecasts to learn from.

Its free host is not for commercial use, so the usual addresses are those of its customers, and the key is
read from the environment variable that the settings name; it is written nowhere. Days are put together here
from hourly values at instants, by the station's own clock: the service's daily values use one distance from
UTC for the whole answer, which moves the days after the clocks change. Data: Open-Meteo.com, CC BY 4.0.
Limits: no issue time is given, so the time of the request stands for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.weather.http import Fetched, Fetcher, FetchFailed
from forecaster.weather.outlook_days import DayValues, Moment, days_of_moments
from forecaster.weather.outlook_json import json_of, mapping, sequence, temperature_of
from forecaster.weather.outlook_kept import KeptOutlook, make_kept
from forecaster.weather.stations import Station

SOURCE = "open-meteo"
KEPT, PAST_KEPT = timedelta(hours=1), timedelta(days=1)
DAYS_AHEAD = 16
PAST_DAYS = 92
PAST_LEADS = range(1, 8)
ENSEMBLE_MODEL = "gfs_seamless"
"""31 members; the answer's names carry no model while only one is asked for."""

_TEMPERATURE = "temperature_2m"
_FIRST_S, _LAST_S = 946_684_800, 7_258_118_400  # years 2000 to 2200


def fetch_open_meteo(
    fetcher: Fetcher,
    station: Station,
    zone: ZoneInfo,
    *,
    url: str,
    ensemble_url: str = "",
    key: str = "",
) -> tuple[KeptOutlook, Fetched]:
    """The current outlook for a station, with the spread of the ensemble where its address is given.

    Raises:
        FetchFailed: Nothing usable came and no copy is kept; without the ensemble the outlook still stands.
    """
    asked = {"hourly": _TEMPERATURE, "forecast_days": str(DAYS_AHEAD)}
    answer = fetcher.get(url, params=_params(station, key, asked), keep_for=KEPT, check=_check(_TEMPERATURE))
    days = days_of_moments(_moments(json_of(answer.content), _TEMPERATURE), zone)
    spread = None
    if ensemble_url:
        asked = {**asked, "models": ENSEMBLE_MODEL}
        with suppress(FetchFailed):
            members = fetcher.get(
                ensemble_url, params=_params(station, key, asked), keep_for=KEPT, check=_check(_TEMPERATURE)
            )
            by_day = ensemble_spread(json_of(members.content), zone)
            spread = [by_day.get(day.day, (np.nan, np.nan)) for day in days]
    kept = make_kept(
        station.station_id, days, source=SOURCE, issued_at=answer.got_at, fetched_at=answer.checked_at,
        zone=zone, spread=spread,
    )  # fmt: skip
    return kept, answer


def fetch_past_open_meteo(
    fetcher: Fetcher, station: Station, zone: ZoneInfo, *, url: str, key: str = ""
) -> tuple[KeptOutlook, ...]:
    """What was forecast one to seven days before each of the last three months, as outlooks of those days.

    Raises:
        FetchFailed: Nothing usable came and no copy is kept.
    """
    names = [f"{_TEMPERATURE}_previous_day{lead}" for lead in PAST_LEADS]
    asked = {"hourly": ",".join(names), "past_days": str(PAST_DAYS), "forecast_days": "1"}
    answer = fetcher.get(url, params=_params(station, key, asked), keep_for=PAST_KEPT, check=_check(names[0]))
    return parse_past(json_of(answer.content), station.station_id, zone, fetched_at=answer.checked_at)


def parse_past(
    document: Any, station_id: str, zone: ZoneInfo, *, fetched_at: datetime
) -> tuple[KeptOutlook, ...]:
    """Outlooks put together from hours that were forecast one to seven days before.

    The values of a day from "so many days before" stand for an outlook issued on the day that lies as many
    days earlier: on average the age of what was known agrees within half a day. Only whole days in the past
    of `fetched_at` are taken.
    """
    by_issue: dict[date, list[DayValues]] = {}
    today = fetched_at.astimezone(zone).date()
    for lead in PAST_LEADS:
        for found in days_of_moments(_moments(document, f"{_TEMPERATURE}_previous_day{lead}"), zone):
            if found.day < today and np.isfinite([found.tmin_c, found.tmax_c]).all():
                by_issue.setdefault(found.day - timedelta(days=lead), []).append(found)
    return tuple(
        make_kept(
            station_id, sorted(days, key=lambda d: d.day), source=SOURCE, fetched_at=fetched_at, zone=zone,
            issued_at=datetime.combine(issued, time(12), zone).astimezone(UTC), kind="past",
        )
        for issued, days in sorted(by_issue.items())
    )  # fmt: skip


def ensemble_spread(document: Any, zone: ZoneInfo) -> dict[date, tuple[float, float]]:
    """Standard deviation over the members of each day's minimum and mean [°C]; days with fewer than 5
    members are left out."""
    hourly = mapping(document.get("hourly") if isinstance(document, dict) else None, "hourly")
    names = [name for name in hourly if re.fullmatch(rf"{_TEMPERATURE}(_member\d+)?", name)]
    lows: dict[date, list[float]] = {}
    means: dict[date, list[float]] = {}
    for name in names:
        for found in days_of_moments(_moments(document, name), zone):
            if np.isfinite([found.tmin_c, found.tmean_c]).all():
                lows.setdefault(found.day, []).append(found.tmin_c)
                means.setdefault(found.day, []).append(found.tmean_c)
    return {
        day: (float(np.std(low, ddof=1)), float(np.std(means[day], ddof=1)))
        for day, low in lows.items()
        if len(low) >= 5
    }


def _params(station: Station, key: str, asked: Mapping[str, str]) -> dict[str, str]:
    place = {
        "latitude": f"{station.latitude:.4f}",
        "longitude": f"{station.longitude:.4f}",
        "temperature_unit": "celsius",
        "timeformat": "unixtime",
        "timezone": "GMT",
    }
    if np.isfinite(station.elevation_m):
        place["elevation"] = f"{station.elevation_m:.0f}"
    return {**place, **asked, **({"apikey": key} if key else {})}


def _moments(document: Any, name: str) -> list[Moment]:
    """The hours of one variable; null values are left out.

    Raises:
        ValueError: It is missing, not in °C, or its times are not instants.
    """
    whole = document if isinstance(document, dict) else {}
    hourly = mapping(whole.get("hourly"), "hourly")
    unit = str(mapping(whole.get("hourly_units"), "hourly_units").get(name, ""))
    if name not in hourly:
        raise ValueError(f"the answer has no {name}")
    if unit != "°C":
        raise ValueError(f"{name} is in {unit[:40]!r}, not in °C")
    times, values = sequence(hourly.get("time"), "times"), sequence(hourly[name], name)
    if len(times) != len(values):
        raise ValueError(f"{name} has {len(values)} values for {len(times)} times")
    return [
        Moment(_instant(at), temperature_of(value, name))
        for at, value in zip(times, values, strict=True)
        if value is not None
    ]


def _instant(value: Any) -> datetime:
    if isinstance(value, bool) or not isinstance(value, int) or not _FIRST_S <= value <= _LAST_S:
        raise ValueError(f"{str(value)[:40]!r} is no time in seconds")
    return datetime.fromtimestamp(value, UTC)


def _check(name: str) -> Any:
    def check(body: bytes, headers: Mapping[str, str]) -> None:
        if len(days_of_moments(_moments(json_of(body), name), ZoneInfo("UTC"))) < 1:
            raise ValueError("the forecast covers no day")

    return check


def key_problem(url: str, key: str) -> str:
    """What is missing before the service may be asked, "" for nothing."""
    if key or "//customer-" not in url:
        return ""
    return (
        "open-meteo's free host is not for commercial use, and its customers' host needs a key. Put the key "
        "into an environment variable and its name into [weather] api_key_env"
    )
