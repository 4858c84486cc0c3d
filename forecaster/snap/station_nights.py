"""Each station's nights, with the hours at or below the limits: measured where many values a day are kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np

from forecaster.falls import fall_start
from forecaster.known import Atmosphere, Known
from forecaster.snap.compare import station_lows
from forecaster.snap.records import StationNight
from forecaster.snap.states import Span
from forecaster.snap.this_morning import ThisMorning
from forecaster.units import STORED_TENTH_C
from forecaster.weather.hourly import HourlyRecord, estimated_hours


def station_nights(
    known: Known,
    air: Atmosphere,
    span: Span,
    hourly: Mapping[str, HourlyRecord],
    lows_c: Mapping[str, float],
    morning: ThisMorning,
) -> list[StationNight]:
    """Every station and day looked at, to the last of the soon nights; `lows_c` were read this morning."""
    weather, nights = known.weather, list[StationNight]()
    for row, station in enumerate(weather.stations):
        for index in range(span.since, span.last + 1):
            day = fall_start(known.fall) + timedelta(days=index)
            at = weather.index_of(day)
            known_day = 0 <= at < weather.day_count and np.isfinite(weather.tmin_c[row, at])
            if not known_day:
                if not weather.has_tmin[row] or index < air.members.first_day:
                    nights.append(StationNight(station.station_id, day, None, "expected"))
                    continue
                if day == known.as_of and station.station_id in lows_c:
                    nights.append(StationNight(station.station_id, day, lows_c[station.station_id], "read"))
                    continue
                low = float(np.median(_expected(air, row, span, morning)[:, index]))
                nights.append(StationNight(station.station_id, day, low, "expected"))
                continue
            low = float(weather.tmin_c[row, at])
            kind = "filled" if weather.filled[row, at] else "observed"
            hours, source = _hours(known, hourly.get(station.station_id), row, at, day)
            nights.append(StationNight(station.station_id, day, low, kind, *hours, source))
    return nights


def _expected(air: Atmosphere, row: int, span: Span, morning: ThisMorning) -> np.ndarray:
    """Minima of a station in each member [°C], (m, day to the last night); before the members NaN."""
    low = np.full((air.members.count, span.last + 1), np.nan)
    for day in range(air.members.first_day, span.last + 1):
        low[:, day] = station_lows(air.members, row, day)
    return morning.moved(low)


def _hours(
    known: Known, record: HourlyRecord | None, row: int, at: int, day: date
) -> tuple[tuple[float | None, float | None], str]:
    limits = (known.limits.hard_freeze_c + STORED_TENTH_C, known.limits.plumbing_freeze_c + STORED_TENTH_C)
    if record is not None:
        measured = [record.hours_at_or_below(day, limit) for limit in limits]
        if None not in measured:
            return (measured[0], measured[1]), "measured"
    low, high = float(known.weather.tmin_c[row, at]), float(known.weather.tmax_c[row, at])
    if not np.isfinite([low, high]).all():
        return (None, None), ""
    return (estimated_hours(low, high, limits[0]), estimated_hours(low, high, limits[1])), "estimated"
