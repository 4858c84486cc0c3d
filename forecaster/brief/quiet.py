"""Quiet hours by the clock on the wall of the season's zone, also on the days when clocks change. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo


def is_quiet(moment: datetime, zone: ZoneInfo, start: time, end: time) -> bool:
    """True where the local clock shows a time from `start` on and before `end`; equal times: never.

    >>> night = datetime(2025, 10, 7, 3, 30, tzinfo=UTC)  # 22:30 of the 6th in Chicago
    >>> is_quiet(night, ZoneInfo("America/Chicago"), time(21), time(6))
    True
    """
    shown = moment.astimezone(zone).time()
    if start <= end:
        return start <= shown < end
    return shown >= start or shown < end


def quiet_until(moment: datetime, zone: ZoneInfo, start: time, end: time) -> datetime:
    """When the quiet hours that hold at `moment` end (UTC); `moment` itself where they do not hold.

    On the day when clocks go back the hour that comes twice is quiet twice.

    >>> night = datetime(2025, 11, 2, 4, 0, tzinfo=UTC)  # 23:00, the night in which clocks go back
    >>> quiet_until(night, ZoneInfo("America/Chicago"), time(21), time(6)).isoformat()
    '2025-11-02T12:00:00+00:00'
    """
    if not is_quiet(moment, zone, start, end):
        return moment.astimezone(UTC)
    today = moment.astimezone(zone).date()
    ends = sorted(
        datetime.combine(today + timedelta(days=day), end, zone).replace(fold=fold).astimezone(UTC)
        for day in (0, 1)
        for fold in (0, 1)
    )
    return next(at for at in ends if at > moment and not is_quiet(at, zone, start, end))
