"""The outlook of MET Norway, for the whole world: hourly, later 6-hourly temperatures to local days.

Terms: a User-Agent with a contact, no more than four decimals in a place, and no request before the time in
`Expires`, so this service has a session of its own that honours it. Data: MET Norway, CC BY 4.0.
Limits: about nine days; where steps are 6-hourly a minimum between them is only seen if it is stated.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.weather.http import Fetched, Fetcher
from forecaster.weather.outlook_days import Moment, days_of_moments, parse_instant
from forecaster.weather.outlook_json import json_of, mapping, sequence, temperature_of
from forecaster.weather.outlook_kept import KeptOutlook, make_kept
from forecaster.weather.stations import Station

SOURCE = "met-norway"
KEPT = timedelta(minutes=30)
"""How long a copy is good where the service does not say [time]."""
ENDING = 203
"""Status by which the service says that this version will be shut down."""


def fetch_met_norway(
    fetcher: Fetcher, station: Station, zone: ZoneInfo, *, url: str
) -> tuple[KeptOutlook, Fetched]:
    """The current outlook for a station.

    Args:
        fetcher: One that honours `Expires`.
    Raises:
        FetchFailed: Nothing usable came and no copy is kept.
    """
    place = {
        "lat": f"{station.latitude:.4f}",
        "lon": f"{station.longitude:.4f}",
    }
    if np.isfinite(station.elevation_m):
        place["altitude"] = f"{station.elevation_m:.0f}"
    answer = fetcher.get(url, params=place, keep_for=KEPT, check=_check)
    kept = parse_forecast(json_of(answer.content), station.station_id, zone, fetched_at=answer.checked_at)
    return kept, answer


def parse_forecast(document: Any, station_id: str, zone: ZoneInfo, *, fetched_at: datetime) -> KeptOutlook:
    """The outlook in a location forecast.

    Raises:
        ValueError: It lacks its issue time, unit or moments, or covers no day.
    """
    properties = mapping(document.get("properties") if isinstance(document, dict) else None, "properties")
    meta = mapping(properties.get("meta"), "meta")
    unit = str(mapping(meta.get("units"), "units").get("air_temperature", ""))
    if unit != "celsius":
        raise ValueError(f"air_temperature is in {unit[:40]!r}, not in celsius")
    issued_at = parse_instant(str(meta.get("updated_at", "")))
    moments = [
        _moment(mapping(entry, "moment")) for entry in sequence(properties.get("timeseries"), "moments")
    ]
    days = days_of_moments(_without_repeats(moments), zone)
    if not days:
        raise ValueError("the forecast covers no day")
    return make_kept(station_id, days, source=SOURCE, issued_at=issued_at, fetched_at=fetched_at, zone=zone)


def _moment(entry: Mapping[str, Any]) -> Moment:
    data = mapping(entry.get("data"), "data")
    instant = mapping(mapping(data.get("instant"), "instant").get("details"), "details")
    at = parse_instant(str(entry.get("time", "")))
    value = instant.get("air_temperature")
    now_c = np.nan if value is None else temperature_of(value, "air_temperature")
    ahead = data.get("next_6_hours")
    details = ahead.get("details") if isinstance(ahead, dict) else None
    if not isinstance(details, dict) or "next_1_hours" in data:
        return Moment(at, now_c)
    low, high = (
        temperature_of(details[name], name) if details.get(name) is not None else np.nan
        for name in ("air_temperature_min", "air_temperature_max")
    )
    return Moment(at, now_c, at + timedelta(hours=6), low, high)


def _without_repeats(moments: list[Moment]) -> list[Moment]:
    """One moment an instant: the first one given."""
    first: dict[datetime, Moment] = {}
    for moment in moments:
        first.setdefault(moment.at, moment)
    return list(first.values())


def _check(body: bytes, headers: Mapping[str, str]) -> None:
    parse_forecast(json_of(body), "X", ZoneInfo("UTC"), fetched_at=parse_instant("2000-01-01T00:00:00Z"))
