"""Local days from instants: by hand, around the end of daylight time and around New Year."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from invented_outlooks import CHICAGO, hours

from forecaster.weather.outlook_days import Moment, day_bounds, days_of_moments, local_day, parse_interval


def line(first: datetime, values: list[float]) -> list[Moment]:
    return [Moment(at, value) for at, value in zip(hours(first, len(values)), values, strict=True)]


# --- hand arithmetic


def test_a_day_runs_from_midnight_to_midnight_of_the_clock() -> None:
    # 06:00 UTC is 1 a.m. in Chicago in October, so the day 2025-10-06 is 05:00 to 05:00 UTC.
    start, end = day_bounds(date(2025, 10, 6), CHICAGO)
    assert (start, end) == (
        datetime(2025, 10, 6, 5, tzinfo=UTC),
        datetime(2025, 10, 7, 5, tzinfo=UTC),
    )
    values = [float(hour) for hour in range(25)]  # 0 at midnight, 24 at the next
    (day, *_) = days_of_moments(line(start, values), CHICAGO)
    assert (day.tmin_c, day.tmax_c, day.tmean_c) == (0.0, 24.0, 12.0)


def test_the_day_on_which_the_clocks_go_back_has_25_hours() -> None:
    # 2 November 2025: midnight is 05:00 UTC (CDT), the next midnight 06:00 UTC (CST).
    start, end = day_bounds(date(2025, 11, 2), CHICAGO)
    assert start == datetime(2025, 11, 2, 5, tzinfo=UTC)
    assert end == datetime(2025, 11, 3, 6, tzinfo=UTC)
    values = [10.0] * 24 + [-5.0] * 6  # the cold comes in the day's 25th hour, at 05:00 UTC: 11 p.m. CST
    (second,) = days_of_moments(line(start, values), CHICAGO)  # the five hours after it are no day
    assert second.day == date(2025, 11, 2)
    assert second.tmin_c == -5.0
    # Trapezoids: 23 hours at 10 °C, one from 10 to -5 °C (mean 2.5), one at -5 °C.
    assert second.tmean_c == pytest.approx((23 * 10.0 + 2.5 - 5.0) / 25)


@pytest.mark.parametrize("zone", ["America/Chicago", "America/New_York", "Europe/Oslo", "Pacific/Kiritimati"])
def test_days_around_the_first_of_november_follow_one_another_without_hole_or_double(zone: str) -> None:
    local = ZoneInfo(zone)
    start = datetime(2025, 10, 24, tzinfo=UTC)
    found = days_of_moments(line(start, [float(at) for at in range(24 * 16)]), local)
    days = [day.day for day in found]
    assert days == [days[0] + timedelta(days=at) for at in range(len(days))]
    # The temperature rises by 1 °C an hour, so each whole day's range is its length in hours.
    lengths = {day.day: day.tmax_c - day.tmin_c for day in found[1:-1]}
    ends = {"America/Chicago": date(2025, 11, 2), "America/New_York": date(2025, 11, 2),
            "Europe/Oslo": date(2025, 10, 26)}  # fmt: skip
    for day, length in lengths.items():
        assert length == (25.0 if day == ends.get(zone) else 24.0)


def test_new_year_is_a_night_like_any_other() -> None:
    # 31 December 18:00 in Chicago is already 1 January in UTC: the frost of that evening is the 31st's.
    start, _ = day_bounds(date(2025, 12, 31), CHICAGO)
    values = [4.0] * 19 + [-12.0] + [4.0] * 30  # 19 hours after midnight: 7 p.m., 01:00 UTC on 1 January
    first, second = days_of_moments(line(start, values), CHICAGO)
    assert (first.day, first.tmin_c) == (date(2025, 12, 31), -12.0)
    assert (second.day, second.tmin_c) == (date(2026, 1, 1), 4.0)
    assert local_day(datetime(2026, 1, 1, 1, tzinfo=UTC), CHICAGO) == date(2025, 12, 31)


def test_a_day_that_has_begun_has_no_minimum_and_no_mean() -> None:
    start = datetime(2025, 10, 6, 13, tzinfo=UTC)  # 8 a.m.: dawn is over
    (day, *_) = days_of_moments(line(start, [float(at) for at in range(40)]), CHICAGO)
    assert day.day == date(2025, 10, 6)
    assert np.isnan(day.tmin_c)
    assert np.isnan(day.tmean_c)
    assert day.tmax_c == 16.0  # 16 hours after 8 a.m. is midnight


def test_six_hourly_moments_make_days_and_longer_holes_do_not() -> None:
    start, _ = day_bounds(date(2025, 10, 6), CHICAGO)
    six = [Moment(start + timedelta(hours=6 * at), float(at)) for at in range(9)]
    first, second = days_of_moments(six, CHICAGO)
    assert (first.tmin_c, first.tmax_c) == (0.0, 4.0)
    assert (second.tmin_c, second.tmax_c) == (4.0, 8.0)
    with_hole = [m for m in six if m.at != start + timedelta(hours=12)]
    (left,) = days_of_moments(with_hole, CHICAGO)
    assert left.day == date(2025, 10, 7)


def test_stated_extremes_count_for_the_day_in_which_their_hours_lie() -> None:
    start, _ = day_bounds(date(2025, 10, 6), CHICAGO)
    six = [
        Moment(
            start + timedelta(hours=6 * at), 5.0, start + timedelta(hours=6 * at + 6),
            low_c=-3.0 if at == 0 else 4.0, high_c=9.0 if at == 6 else 6.0,
        )
        for at in range(9)
    ]  # fmt: skip
    first, second = days_of_moments(six, CHICAGO)
    assert (first.tmin_c, first.tmax_c) == (-3.0, 6.0)
    assert (second.tmin_c, second.tmax_c) == (4.0, 9.0)


# --- refusals


@pytest.mark.parametrize(
    "text",
    ["", "2025-10-06T00:00:00/PT1H", "2025-10-06T00:00:00+00:00", "2025-10-06T00:00:00+00:00/P",
     "2025-10-06T00:00:00+00:00/PT", "2025-10-06T00:00:00+00:00/P99999999999999D",
     "9999-12-31T00:00:00+00:00/PT13H", "2025-10-06T00:00:00+00:00/PT" + "9" * 5000 + "H"],
)  # fmt: skip
def test_what_is_no_interval_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_interval(text)
