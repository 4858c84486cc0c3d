"""A step in a station's level is named with its year and size; a climate that warms is none."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecaster.weather.calendar_axis import CalendarAxis
from forecaster.weather.level_steps import largest_step, level_steps, yearly_means
from forecaster.weather.stations import Station, Weather

NAN = np.nan
FIRST, DAYS = date(1990, 1, 1), 30 * 365 + 7
AXIS = CalendarAxis.of(FIRST, DAYS)
NAMES = ("A", "B", "C", "D")
WHERES = [f"{name}.csv" for name in NAMES]


def weather(changes=(), *, warming=0.0):
    """Four stations of 30 years; `changes` are (station, first year, °C) added to the minima."""
    random = np.random.default_rng(7)
    shared = 9.0 - 13.0 * np.cos(2 * np.pi * AXIS.day_of_year / 366) + random.normal(0, 4, DAYS)
    shared = shared + warming * AXIS.year
    low, high = (shared + off + random.normal(0, 1.2, (4, DAYS)) for off in (-5, 5))
    for station, year, by in changes:
        low[station, AXIS.year >= year - FIRST.year] += by
    return Weather(
        stations=tuple(Station(name, name, 43.0 + at / 10, -89.0, 200.0) for at, name in enumerate(NAMES)),
        first_day=FIRST, tmin_c=low, tmax_c=high, tmean_c=(low + high) / 2,
        filled=np.zeros(low.shape, dtype=bool), last_observed=(date(2019, 12, 31),) * 4,
    )  # fmt: skip


# --- hand arithmetic
def test_the_test_value_by_hand():
    """Ten years at 0 and ten at 1, standardised with n - 1: z = -+0.5 / 0.51299; k z1² + (n - k) z2² = 19."""
    series = np.repeat([0.0, 1.0], 10)
    z = 0.5 / series.std(ddof=1)
    assert 10 * z**2 + 10 * z**2 == pytest.approx(19.0)
    assert largest_step(series) == (10, 1.0)
    assert largest_step(np.where(np.arange(20) == 3, NAN, series)) == (10, 1.0)


def test_what_is_no_step():
    assert largest_step(np.repeat([0.0, 1.0], 7)) is None  # 14 years
    assert largest_step(np.zeros(30)) is None
    assert largest_step(np.r_[np.zeros(29), 1.0]) is None  # one odd year at the end
    assert largest_step(np.r_[np.zeros(27), np.ones(3)])[0] == 26  # a young step is put four years back
    assert largest_step(np.random.default_rng(3).normal(0, 1, 40)) is None


def test_years_need_200_days():
    axis = CalendarAxis.of(date(2001, 1, 1), 730)
    values = np.full(730, 2.0)
    values[:166] = NAN  # 199 days of 2001 are left
    assert np.isnan(yearly_means(values, axis)[0])
    values[165] = 2.0
    assert yearly_means(values, axis).tolist() == [2.0, 2.0]


# --- stations
@pytest.mark.parametrize(("by", "side"), [(1.6, "higher"), (-1.6, "lower")])
def test_a_new_screen_is_named(by, side):
    (notice,) = level_steps(weather([(2, 2004, by)]), WHERES)
    assert notice.where == "C.csv"
    assert notice.text.startswith("minima lie 1.")
    assert f"°C {side} against all neighbours since about 2004 (moved, or another instrument?)" in notice.text


def test_sound_stations_warming_together_and_small_steps_are_left_in_peace():
    assert level_steps(weather(), WHERES) == ()
    assert level_steps(weather(warming=0.08), WHERES) == ()
    assert level_steps(weather([(2, 2004, 0.6)]), WHERES) == ()


def test_of_two_and_two_nobody_is_named():
    assert level_steps(weather([(2, 2004, 2.0), (3, 2004, 2.0)]), WHERES) == ()


def test_filled_days_do_not_count_and_two_stations_are_too_few():
    stepped = weather([(2, 2004, 2.0)])
    filled = stepped.filled.copy()
    filled[2, AXIS.year >= 14] = True
    assert level_steps(replace(stepped, filled=filled), WHERES) == ()
    names = ("tmin_c", "tmax_c", "tmean_c", "filled", "last_observed")
    parts = {name: getattr(stepped, name)[1:3] for name in names}
    two = replace(stepped, stations=stepped.stations[1:3], **parts)
    assert level_steps(two, WHERES[1:3]) == ()
