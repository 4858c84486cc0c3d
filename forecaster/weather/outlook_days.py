"""From moments of a forecast to local calendar days: minimum, maximum and mean of each.

Moments are instants in UTC; a day runs from midnight to midnight by the clock of the station's zone, so it
has 23 or 25 hours where the clocks change. Between two moments the temperature is taken as a straight line.
Limit: minima between 6-hourly moments are missed unless the source states them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

LONGEST_STEP = timedelta(hours=6)
"""Moments farther apart leave a hole between them."""
LONGEST_DAYS = 400
YEARS = (1900, 2200)
"""Bounds that only a broken or hostile answer exceeds."""
LOW_HOURS, HIGH_HOURS = (3, 21), (11, 17)
"""Hours of the local clock that must be covered before a day's minimum (and mean), or its maximum, is one:
minima come at dawn or, behind a front, late in the evening; common practice, no source."""


@dataclass(frozen=True)
class Moment:
    """Temperature at an instant [°C]; `low_c`, `high_c`: extremes until `until`, where they are stated."""

    at: datetime
    temperature_c: float
    until: datetime | None = None
    low_c: float = np.nan
    high_c: float = np.nan


@dataclass(frozen=True)
class DayValues:
    """One local day of a forecast [°C]; NaN where its hours do not suffice."""

    day: date
    tmin_c: float
    tmax_c: float
    tmean_c: float


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """First instant of a local day and of the next one, UTC.

    >>> start, end = day_bounds(date(2025, 11, 2), ZoneInfo("America/Chicago"))  # clocks go back
    >>> (end - start).total_seconds() / 3600
    25.0
    """
    first, last = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (day, day + timedelta(days=1)))
    return first, last


def local_day(instant: datetime, zone: ZoneInfo) -> date:
    """The calendar day of an instant in a zone.

    >>> local_day(datetime(2025, 11, 1, 4, 59, tzinfo=UTC), ZoneInfo("America/Chicago"))
    datetime.date(2025, 10, 31)
    """
    return instant.astimezone(zone).date()


def days_of_moments(moments: Iterable[Moment], zone: ZoneInfo) -> tuple[DayValues, ...]:
    """The local days that moments touch, in order.

    Args:
        moments: In any order; NaN temperatures are left out.
        zone: Of the station.
    Returns:
        Days with at least one value; see LOW_HOURS and HIGH_HOURS for when a value is one.
    """
    line = sorted((m for m in moments if np.isfinite(m.temperature_c)), key=lambda m: m.at)
    if len(line) < 2:
        return ()
    instants = np.array([m.at.timestamp() for m in line])
    values = np.array([m.temperature_c for m in line])
    first, last = local_day(line[0].at, zone), local_day(line[-1].at, zone)
    days = []
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        found = _one_day(day, zone, line, instants, values)
        if np.isfinite([found.tmin_c, found.tmax_c, found.tmean_c]).any():
            days.append(found)
    return tuple(days)


def _one_day(
    day: date, zone: ZoneInfo, line: Sequence[Moment], instants: np.ndarray, values: np.ndarray
) -> DayValues:
    start, end = (bound.timestamp() for bound in day_bounds(day, zone))
    has_low, has_high = (_covered(day, zone, hours, instants) for hours in (LOW_HOURS, HIGH_HOURS))
    from_s, to_s = max(start, instants[0]), min(end, instants[-1])
    if from_s >= to_s:
        return DayValues(day, np.nan, np.nan, np.nan)
    inside = (instants > from_s) & (instants < to_s)
    path_s = np.concatenate([[from_s], instants[inside], [to_s]])
    path_c = np.interp(path_s, instants, values)
    stated = [
        m for m in line
        if m.until is not None and start <= (m.at.timestamp() + m.until.timestamp()) / 2.0 < end
    ]  # fmt: skip
    low = float(np.nanmin([path_c.min(), *(m.low_c for m in stated)]))
    high = float(np.nanmax([path_c.max(), *(m.high_c for m in stated)]))
    mean = float(np.trapezoid(path_c, path_s) / (to_s - from_s))
    return DayValues(
        day,
        low if has_low else np.nan,
        high if has_high else np.nan,
        mean if has_low else np.nan,
    )


def _covered(day: date, zone: ZoneInfo, hours: tuple[int, int], instants: np.ndarray) -> bool:
    """True where moments reach over these hours of the clock without a hole."""
    start, end = (datetime.combine(day, time(hour), zone).timestamp() for hour in hours)
    if instants[0] > start or instants[-1] < end:
        return False
    first = int(np.searchsorted(instants, start, side="right")) - 1
    last = int(np.searchsorted(instants, end, side="left"))
    return bool((np.diff(instants[first : last + 1]) <= LONGEST_STEP.total_seconds()).all())


_DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")


def parse_interval(text: str) -> tuple[datetime, datetime]:
    """Start and end of an ISO 8601 interval "start/duration", UTC.

    Raises:
        ValueError: It is none, or its start has no zone.

    >>> start, end = parse_interval("2025-10-06T00:00:00+00:00/PT13H")
    >>> end.isoformat()
    '2025-10-06T13:00:00+00:00'
    """
    start_text, _, duration = text.partition("/")
    found = _DURATION.fullmatch(duration)
    start = parse_instant(start_text)
    if not found or not any(found.groups()):
        raise ValueError(f"{text[:60]!r} is no interval of time")
    days, hours, minutes, seconds = (int(part or 0) for part in found.groups())
    if max(days, hours // 24, minutes // 1440, seconds // 86_400) > LONGEST_DAYS:
        raise ValueError(f"{text[:60]!r} is longer than any forecast")
    return start, start + timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)


def parse_instant(text: str) -> datetime:
    """An instant of ISO 8601 with its zone, as UTC.

    Raises:
        ValueError: It is none, or has no zone.

    >>> parse_instant("2025-10-06T05:37:54Z").hour
    5
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text[:60]!r} does not say its time zone")
    if not YEARS[0] <= moment.year <= YEARS[1]:
        raise ValueError(f"{text[:60]!r} is no time of a forecast")
    return moment.astimezone(UTC)
