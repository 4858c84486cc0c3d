"""The outlook of the US National Weather Service: daily extremes of the grid square of a station.

The service knows a station's square by its place; the square's data hold maxima of days and minima of
nights. A night's minimum counts for the day on whose morning it ends: the interval's end less a second.
After a sharp front it can differ from the minimum of the calendar day; the learnt error takes that up.
Data: public domain; a User-Agent with a contact is required. Limits: United States; about seven days.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.season.addresses import origin_of
from forecaster.weather.http import Fetched, Fetcher, FetchFailed
from forecaster.weather.outlook_days import DayValues, day_bounds, local_day, parse_instant, parse_interval
from forecaster.weather.outlook_json import json_of, mapping, temperature_of
from forecaster.weather.outlook_kept import KeptOutlook, make_kept
from forecaster.weather.stations import Station

SOURCE = "nws"
SQUARE_KEPT, GRID_KEPT = timedelta(days=30), timedelta(hours=1)
WHOLE_MEAN_HOURS = 22.0
"""Hours of a day that its temperatures must cover before their mean is the day's."""


def fetch_nws(
    fetcher: Fetcher, station: Station, zone: ZoneInfo, *, base_url: str
) -> tuple[KeptOutlook, Fetched]:
    """The current outlook for a station.

    Raises:
        FetchFailed: Nothing usable came and no copy is kept, or the service does not cover the place.
    """
    place = f"{base_url}/points/{_degrees(station.latitude)},{_degrees(station.longitude)}"
    try:
        square = fetcher.get(place, keep_for=SQUARE_KEPT, check=_check_square)
    except FetchFailed as failed:
        if failed.status != 404:
            raise
        why = 'the service covers the United States only; choose outlook = "met-norway"'
        raise FetchFailed(place, why, 404) from None
    grid_url = str(json.loads(square.content)["properties"]["forecastGridData"])
    try:
        same = origin_of(grid_url) == origin_of(base_url)
    except ValueError:
        same = False
    if not same:
        raise FetchFailed(place, "it names the data of another host, which is not asked")
    grid = fetcher.get(_clean(grid_url), keep_for=GRID_KEPT, check=_check_grid)
    return parse_grid(json.loads(grid.content), station.station_id, zone, fetched_at=grid.checked_at), grid


def parse_grid(document: Any, station_id: str, zone: ZoneInfo, *, fetched_at: datetime) -> KeptOutlook:
    """The outlook in a grid document.

    Raises:
        ValueError: It lacks its issue time or the extremes, or they are not in °C.
    """
    properties = mapping(document.get("properties") if isinstance(document, dict) else None, "properties")
    issued_at = parse_instant(str(properties.get("updateTime", "")))
    lows, highs = (_extremes(properties, f"{name}Temperature", zone) for name in ("min", "max"))
    means = _means(properties, zone)
    days = [
        DayValues(day, lows.get(day, np.nan), highs.get(day, np.nan), means.get(day, np.nan))
        for day in sorted({*lows, *highs})
    ]
    if not days:
        raise ValueError("the grid data hold no temperatures")
    return make_kept(station_id, days, source=SOURCE, issued_at=issued_at, fetched_at=fetched_at, zone=zone)


def _extremes(properties: Mapping[str, Any], name: str, zone: ZoneInfo) -> dict[Any, float]:
    """Values of a layer [°C] by the local day on which each interval ends."""
    found: dict[Any, float] = {}
    for _, end, value in _layer(properties, name):
        day = local_day(end - timedelta(seconds=1), zone)
        better = min if name.startswith("min") else max
        found[day] = better(found[day], value) if day in found else value
    return found


def _means(properties: Mapping[str, Any], zone: ZoneInfo) -> dict[Any, float]:
    """Means of the days that the layer of temperatures covers nearly whole [°C]; none where it is missing."""
    if "temperature" not in properties:
        return {}
    steps = _layer(properties, "temperature")
    days = {local_day(at, zone) for start, end, _ in steps for at in (start, end - timedelta(seconds=1))}
    means = {}
    for day in days:
        first, last = day_bounds(day, zone)
        hours = [
            (max(0.0, (min(end, last) - max(start, first)).total_seconds() / 3600.0), value)
            for start, end, value in steps
        ]
        covered = sum(share for share, _ in hours)
        if covered >= WHOLE_MEAN_HOURS:
            means[day] = sum(share * value for share, value in hours) / covered
    return means


def _layer(properties: Mapping[str, Any], name: str) -> list[tuple[datetime, datetime, float]]:
    """Start, end and value [°C] of the intervals of a layer; null values are left out."""
    layer = mapping(properties.get(name), name)
    unit = str(layer.get("uom", ""))
    if unit.rpartition(":")[2] != "degC":
        raise ValueError(f"{name} is in {unit[:40]!r}, not in °C")
    values = layer.get("values")
    if not isinstance(values, list):
        raise ValueError(f"{name} has no values")
    steps = []
    for entry in values:
        value = mapping(entry, name).get("value")
        if value is None:
            continue
        start, end = parse_interval(str(entry.get("validTime", "")))
        steps.append((start, end, temperature_of(value, name)))
    return steps


def _check_square(body: bytes, headers: Mapping[str, str]) -> None:
    document = json_of(body)
    properties = mapping(document.get("properties") if isinstance(document, dict) else None, "properties")
    if not isinstance(properties.get("forecastGridData"), str):
        raise ValueError("the answer names no grid data")


def _check_grid(body: bytes, headers: Mapping[str, str]) -> None:
    zone = ZoneInfo("UTC")
    parse_grid(json_of(body), "X", zone, fetched_at=parse_instant("2000-01-01T00:00:00Z"))


def _degrees(value: float) -> str:
    """Four decimals without trailing zeros: the service redirects any other spelling.

    >>> _degrees(43.05), _degrees(-87.0)
    ('43.05', '-87')
    """
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _clean(url: str) -> str:
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}{parts.path}"
