"""Answers of the outlook services as their documentation describes them, filled with invented numbers."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

CHICAGO = ZoneInfo("America/Chicago")

Course = Callable[[datetime], float]


def hours(first: datetime, count: int, step_hours: int = 1) -> list[datetime]:
    """Instants `step_hours` apart."""
    return [first + timedelta(hours=step_hours * at) for at in range(count)]


# --- api.weather.gov: properties.forecastGridData of /points, layers of /gridpoints


def nws_point(grid_url: str) -> bytes:
    """Answer to /points/{lat},{lon}."""
    return json.dumps({"properties": {"gridId": "ZZZ", "forecastGridData": grid_url}}).encode()


def nws_grid(
    *,
    updated: str,
    lows: Sequence[tuple[str, float | None]],
    highs: Sequence[tuple[str, float | None]],
    hourly: Sequence[tuple[str, float]] = (),
    uom: str = "wmoUnit:degC",
) -> bytes:
    """Answer to /gridpoints/{office}/{x},{y}."""

    def layer(values: Sequence[tuple[str, float | None]]) -> dict[str, Any]:
        return {"uom": uom, "values": [{"validTime": at, "value": value} for at, value in values]}

    properties: dict[str, Any] = {
        "updateTime": updated,
        "minTemperature": layer(lows),
        "maxTemperature": layer(highs),
    }
    if hourly:
        properties["temperature"] = layer(hourly)
    return json.dumps({"type": "Feature", "properties": properties}).encode()


def nws_week(first_day: date, updated: str, lows: Sequence[float], highs: Sequence[float]) -> bytes:
    """Nights from 7 p.m. to 8 a.m. and days from 7 a.m. to 8 p.m. by the clock of Chicago."""

    def interval(day: date, start_hour: int, end_day: date, end_hour: int) -> str:
        start = datetime(day.year, day.month, day.day, start_hour, tzinfo=CHICAGO).astimezone(UTC)
        end = datetime(end_day.year, end_day.month, end_day.day, end_hour, tzinfo=CHICAGO).astimezone(UTC)
        return f"{start.isoformat()}/PT{round((end - start).total_seconds() / 3600)}H"

    days = [first_day + timedelta(days=at) for at in range(len(lows))]
    return nws_grid(
        updated=updated,
        lows=[
            (interval(d - timedelta(days=1), 19, d, 8), low) for d, low in zip(days, lows, strict=True)
        ],
        highs=[(interval(d, 7, d, 20), high) for d, high in zip(days, highs, strict=True)],
    )  # fmt: skip


# --- api.met.no: locationforecast


def met_norway(
    *, updated: str, hourly: Sequence[datetime], later: Sequence[datetime], course: Course,
    unit: str = "celsius",
    extremes: Callable[[datetime], tuple[float, float]] | None = None,
) -> bytes:  # fmt: skip
    """Hourly moments, then 6-hourly ones with stated extremes if `extremes` is given."""
    series = []
    for at in [*hourly, *later]:
        data: dict[str, Any] = {"instant": {"details": {"air_temperature": round(course(at), 2)}}}
        if at in hourly:
            data["next_1_hours"] = {"details": {"precipitation_amount": 0.0}}
        if extremes is not None:
            low, high = extremes(at)
            data["next_6_hours"] = {"details": {"air_temperature_min": low, "air_temperature_max": high}}
        series.append({"time": at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), "data": data})
    meta = {"updated_at": updated, "units": {"air_temperature": unit}}
    return json.dumps({"type": "Feature", "properties": {"meta": meta, "timeseries": series}}).encode()


# --- api.open-meteo.com: hourly variables at unix times


def open_meteo(
    moments: Sequence[datetime], variables: dict[str, Course], *, unit: str = "°C"
) -> bytes:  # fmt: skip
    """Answer of the forecast, ensemble and previous-runs interfaces."""
    hourly: dict[str, Any] = {"time": [int(at.timestamp()) for at in moments]}
    units = {"time": "unixtime"}
    for name, course in variables.items():
        hourly[name] = [round(course(at), 3) for at in moments]
        units[name] = unit
    return json.dumps({"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}).encode()
