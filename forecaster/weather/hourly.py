"""Hours below a limit from records of many values a day, and an estimate where there are only two.

`weather/hourly/STATION.csv` may hold a logger's or station's own export, as `weather add` reads it; it is
used for hours only. Between two values the temperature is a straight line; a day with a hole of more than 3
hours has no hours. Estimates take the day as one cosine from minimum to maximum: rough, and marked as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from forecaster.weather.own_logger import LONGEST_GAP, read_samples

Floats = NDArray[np.float64]
FOLDER = "hourly"


class HourlyRecord:
    """Many values a day of one station: `instants_s` since 1970 (UTC) [s], ascending, and `air_c` [°C]."""

    def __init__(self, instants_s: Floats, air_c: Floats, zone: ZoneInfo) -> None:
        self.instants_s, self.air_c, self.zone = instants_s, air_c, zone

    def hours_at_or_below(self, day: date, limit_c: float) -> float | None:
        """Hours of a local day at or below a limit [h]; None where the day has a long hole."""
        start, end = (
            datetime.combine(d, time(), self.zone).astimezone(UTC).timestamp()
            for d in (day, day + timedelta(days=1))
        )
        at = self.instants_s
        first = max(int(np.searchsorted(at, start, side="right")) - 1, 0)
        last = min(int(np.searchsorted(at, end, side="left")), at.size - 1)
        hole = LONGEST_GAP.total_seconds()
        if last <= first or at[first] > start + hole or at[last] < end - hole:
            return None
        if (np.diff(at[first : last + 1]) > hole).any():
            return None
        below = 0.0
        line = zip(at[first : last + 1], self.air_c[first : last + 1], strict=True)
        for (a, low_a), (b, low_b) in pairwise(line):
            begin, stop = max(a, start), min(b, end)
            if stop > begin:
                path = np.interp([begin, stop], [a, b], [low_a, low_b])
                below += (stop - begin) * _share_below(float(path[0]), float(path[1]), limit_c)
        return below / 3600.0


def _share_below(from_c: float, to_c: float, limit_c: float) -> float:
    """Share of a straight line at or below a limit, 0-1."""
    low, high = min(from_c, to_c), max(from_c, to_c)
    if high <= limit_c:
        return 1.0
    return 0.0 if low > limit_c else (limit_c - low) / (high - low)


def estimated_hours(tmin_c: float, tmax_c: float, limit_c: float) -> float:
    """Hours of a day at or below a limit [h] if its course is one cosine from minimum to maximum.

    >>> estimated_hours(-10.0, 0.0, -5.0), estimated_hours(-10.0, 0.0, -11.0), estimated_hours(-9.0, -8.0, 0)
    (12.0, 0.0, 24.0)
    """
    if limit_c < tmin_c:
        return 0.0
    if limit_c >= tmax_c:
        return 24.0
    middle, half = (tmin_c + tmax_c) / 2.0, (tmax_c - tmin_c) / 2.0
    return float(round(24.0 * np.arccos((middle - limit_c) / half) / np.pi, 9))


def read_hourly(
    weather_folder: Path, station_ids: tuple[str, ...], *, timezone: str, before: date
) -> Mapping[str, HourlyRecord]:
    """Records of many values a day by station, up to the start of `before`; empty where none are kept.

    Raises:
        BadInput: A file that cannot be read.
    """
    zone, found = ZoneInfo(timezone), {}
    end = datetime.combine(before, time(), zone).astimezone(UTC).timestamp()
    for station_id in station_ids:
        path = weather_folder / FOLDER / f"{station_id}.csv"
        if path.is_file():
            at, air = read_samples(path, timezone=timezone)
            known = at < end
            if known.sum() > 1:
                found[station_id] = HourlyRecord(at[known], air[known], zone)
    return found
