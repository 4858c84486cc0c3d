"""Quiet hours, also on the days when clocks change. Expected times by hand from the zone's rules."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from forecaster.brief.quiet import is_quiet, quiet_until

CHICAGO = ZoneInfo("America/Chicago")
NIGHT = (time(21), time(6))


def local(text: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO, fold=fold).astimezone(UTC)


@pytest.mark.parametrize(
    ("shown", "quiet"),
    [
        ("2025-10-06 20:59:59", False),
        ("2025-10-06 21:00", True),
        ("2025-10-07 05:59:59", True),
        ("2025-10-07 06:00", False),
    ],
)
def test_the_ends_of_the_night(shown, quiet):
    assert is_quiet(local(shown), CHICAGO, *NIGHT) == quiet


def test_a_span_within_one_day_and_none():
    assert is_quiet(local("2025-10-06 13:00"), CHICAGO, time(12), time(14))
    assert not is_quiet(local("2025-10-06 14:00"), CHICAGO, time(12), time(14))
    assert not is_quiet(local("2025-10-06 03:00"), CHICAGO, time(6), time(6))


# --- 2 November 2025: clocks go back from 2:00 to 1:00 (CDT, UTC-5, to CST, UTC-6)


def test_the_night_in_which_clocks_go_back_is_an_hour_longer():
    start = local("2025-11-01 21:00")
    end = quiet_until(start, CHICAGO, *NIGHT)
    assert end == datetime(2025, 11, 2, 12, 0, tzinfo=UTC)  # 6:00 CST
    assert end - start == timedelta(hours=10)
    minutes = [start + timedelta(minutes=m) for m in range(0, 600, 7)]
    assert all(is_quiet(minute, CHICAGO, *NIGHT) for minute in minutes)


def test_quiet_hours_that_end_in_the_hour_that_comes_twice():
    span = (time(22), time(1, 30))
    first = local("2025-11-02 01:10", fold=0)
    assert quiet_until(first, CHICAGO, *span) == local("2025-11-02 01:30", fold=0)
    again = local("2025-11-02 01:10", fold=1)  # shown a second time: quiet again
    assert is_quiet(again, CHICAGO, *span)
    assert quiet_until(again, CHICAGO, *span) == local("2025-11-02 01:30", fold=1)


# --- 8 March 2026: clocks go forward from 2:00 to 3:00


def test_quiet_hours_that_end_in_the_hour_that_is_left_out():
    span = (time(22), time(2, 30))
    end = quiet_until(local("2026-03-08 01:00"), CHICAGO, *span)
    assert not is_quiet(end, CHICAGO, *span)
    assert local("2026-03-08 03:00") <= end <= local("2026-03-08 04:00")


def test_the_end_is_never_quiet_and_never_before():
    for hour in range(24 * 8):
        moment = datetime(2025, 10, 30, tzinfo=UTC) + timedelta(hours=hour)
        for span in (NIGHT, (time(1, 15), time(1, 45)), (time(23, 59), time(0, 1)), (time(0), time(0))):
            end = quiet_until(moment, CHICAGO, *span)
            assert end >= moment
            assert not is_quiet(end, CHICAGO, *span)
            assert end - moment <= timedelta(hours=25)
