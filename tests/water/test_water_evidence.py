"""From readings to rows: the day's swing, errors, thinning and the order of rows."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_ponds import FALL, invented_rows, invented_site

from forecaster.falls import fall_start
from forecaster.season.readings import Reading
from forecaster.water.evidence import (
    DENSE_ROWS,
    FIT_FROM,
    FIT_TO,
    FRESH_DAYS,
    MORNING_SD_C,
    THERMOMETER_SD_C,
    THIN_DAYS,
    WARMEST_HOUR,
    Rows,
    daily_mean_of,
    day_swing_c,
    rows_of,
)

SITE = invented_site("A", depth_m=0.5)
SWING = 170.0 / (4.194e6 * 0.5 * 2 * np.pi / 86_400)  # flux / (rho c D omega), 1.115 °C


def reading(day: int, water_c: float = 12.0, *, fall: int = FALL, **more: Any) -> Reading:
    """A reading on a day of the fall."""
    return Reading("A", fall_start(fall) + timedelta(days=day), water_c, **more)


def the_rows(*readings: Reading, day_count: int = 90, present: bool = True, fall: int = FALL) -> Rows:
    found = rows_of(readings, SITE, fall=fall, present=present, day_count=day_count)
    assert len(found) == 1
    return found[0]


# --- hand arithmetic


def test_swing_by_depth() -> None:
    assert day_swing_c(SITE) == pytest.approx(SWING)
    assert day_swing_c(invented_site(depth_m=1.0)) == pytest.approx(0.557, abs=0.001)
    assert day_swing_c(invented_site(depth_m=3.0)) == day_swing_c(invented_site(depth_m=1.0))


@pytest.mark.parametrize(("hour", "share"), [(16.5, 1.0), (4.5, -1.0), (10.5, 0.0), (22.5, 0.0)])
def test_a_reading_with_its_hour_is_moved_to_the_daily_mean(hour: float, share: float) -> None:
    water_c, error_c = daily_mean_of(reading(60, 12.0, hour=hour), SITE)
    assert water_c == pytest.approx(12.0 - share * SWING, abs=1e-9)
    assert error_c == pytest.approx(np.sqrt(0.3**2 + 2 * (0.3 * SWING) ** 2 + (0.15 * SWING) ** 2))


def test_afternoon_in_a_foot_of_water_is_warmer_than_the_day() -> None:
    foot = invented_site("A", depth_m=0.3048)
    assert daily_mean_of(reading(60, 12.0, hour=15.0), foot)[0] < 12.0
    assert daily_mean_of(reading(60, 12.0, hour=6.0), foot)[0] > 12.0


def test_near_the_surface_and_under_a_clear_sky_the_swing_is_larger() -> None:
    def correction(**more: Any) -> float:
        return 12.0 - daily_mean_of(reading(60, 12.0, hour=WARMEST_HOUR, **more), SITE)[0]

    assert correction(depth_m=0.0) == pytest.approx(1.4 * SWING)
    assert correction(depth_m=0.3) == pytest.approx(SWING * (0.8 + 0.6 * np.exp(-1.0)))
    assert correction(depth_m=0.0) > correction(depth_m=0.5)
    assert correction(sky="clear") == pytest.approx(1.4 * SWING)
    assert correction(sky="cloudy") == pytest.approx(0.5 * SWING)


def test_without_its_hour_a_reading_is_taken_as_it_is_with_a_wider_error() -> None:
    water_c, error_c = daily_mean_of(reading(60, 12.0), SITE)
    assert water_c == 12.0
    assert error_c == pytest.approx(np.hypot(0.3, 0.6 * SWING + 0.3 * SWING))
    assert error_c > daily_mean_of(reading(60, 12.0, hour=9.0), SITE)[1]
    with_depth = daily_mean_of(reading(60, 12.0, depth_m=0.5, hour=9.0), SITE)[1]
    assert with_depth < daily_mean_of(reading(60, 12.0, hour=9.0), SITE)[1]


def test_a_loggers_day_is_a_mean_already() -> None:
    assert daily_mean_of(reading(60, 12.0, daily_mean=True), SITE) == (12.0, THERMOMETER_SD_C)


def test_correlation_of_rows_by_their_days() -> None:
    rows = invented_rows([0, 3, 10, 11], [12, 10.5, 8, 7.6])
    expected = [
        [1, 0.75**3, 0.75**10, 0.75**11],
        [0.75**3, 1, 0.75**7, 0.75**8],
        [0.75**10, 0.75**7, 1, 0.75],
        [0.75**11, 0.75**8, 0.75, 1],
    ]
    assert rows.kernel(0.75) == pytest.approx(np.array(expected))
    assert rows.kernel_to(0.75, np.array([3])) == pytest.approx(np.array(expected)[[1]])


@pytest.mark.parametrize(("rho", "share"), [(0.7, 0.6157), (0.75, 0.6678), (0.8, 0.7243)])
def test_variance_of_a_five_day_mean(rho: float, share: float) -> None:
    # Variance of the mean of five neighbouring days of an AR(1) process over that of one day: arithmetic.
    assert invented_rows(range(5), [0.0] * 5).kernel(rho).mean() == pytest.approx(share, abs=1e-4)


# --- which readings count


def test_a_reading_of_the_as_of_morning_counts_for_the_day_before_with_a_wider_error() -> None:
    rows = the_rows(reading(90), day_count=90)
    assert rows.day.tolist() == [89]
    own = daily_mean_of(reading(90), SITE)[1]
    assert rows.error_sd_c[0] == pytest.approx(np.hypot(own, MORNING_SD_C))


def test_readings_of_other_ponds_falls_and_later_days_are_passed_over() -> None:
    other = Reading("B", date(2025, 10, 1), 12.0)
    early, late = Reading("A", date(2025, 7, 31), 22.0), reading(91)
    before = reading(60, fall=2024)
    assert rows_of([other, early, late, before], SITE, fall=FALL, present=True, day_count=90) == ()
    assert rows_of([reading(0)], SITE, fall=FALL, present=True, day_count=0) == ()


def test_earlier_falls_count_from_mid_august_to_november() -> None:
    days = [FIT_FROM - 1, FIT_FROM, 60, FIT_TO, FIT_TO + 1]
    rows = the_rows(*(reading(day, fall=2024) for day in days), present=False, day_count=184, fall=2024)
    assert rows.day.tolist() == days[1:4]


def test_a_dense_record_of_an_earlier_fall_is_interleaved_and_loses_no_reading() -> None:
    days = range(20, 110)
    readings = [reading(day, float(day), fall=2024, daily_mean=True) for day in days]
    sets = rows_of(readings, SITE, fall=2024, present=False, day_count=184)
    assert len(sets) == THIN_DAYS
    assert all(part.repeats == THIN_DAYS for part in sets)
    assert all((np.diff(part.day) == THIN_DAYS).all() for part in sets)
    assert sorted(int(day) for part in sets for day in part.day) == list(days)
    assert all((part.day == part.water_c).all() for part in sets)


def test_a_dense_record_of_the_present_fall_keeps_its_fresh_days() -> None:
    days = range(20, 81)
    rows = the_rows(*(reading(day, daily_mean=True) for day in days), day_count=90)
    fresh = list(range(80 - FRESH_DAYS + 1, 81))
    assert rows.day.tolist()[-len(fresh) :] == fresh
    assert rows.day.tolist()[: -len(fresh)] == list(range(20, 80 - FRESH_DAYS + 1, THIN_DAYS))
    assert rows.repeats == 1


def test_the_limit_of_a_dense_record() -> None:
    at_limit = [reading(day, daily_mean=True) for day in range(20, 20 + DENSE_ROWS)]
    assert len(the_rows(*at_limit).day) == DENSE_ROWS
    assert len(the_rows(*at_limit, reading(20 + DENSE_ROWS, daily_mean=True)).day) < DENSE_ROWS


# --- invariant


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.data())
def test_the_order_of_readings_does_not_matter(data: st.DataObject) -> None:
    days = data.draw(st.lists(st.integers(0, 89), min_size=1, max_size=10))
    readings = [reading(day, 20.0 - 0.1 * n, hour=n % 24) for n, day in enumerate(days)]
    mixed = data.draw(st.permutations(readings))
    first, second = the_rows(*readings), the_rows(*mixed)
    assert first.day.tolist() == second.day.tolist()
    assert first.water_c.tolist() == second.water_c.tolist()
    assert first.error_sd_c.tolist() == second.error_sd_c.tolist()
