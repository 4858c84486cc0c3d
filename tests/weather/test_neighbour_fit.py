"""Several neighbours in one fit: exact relations come back, sets of known ones, and what it must not do."""

from datetime import date

import numpy as np
import pytest

from forecaster.weather.calendar_axis import CalendarAxis
from forecaster.weather.neighbour_fit import DAYS_A_NUMBER, MOST_NEIGHBOURS, joint_estimate
from forecaster.weather.neighbours import estimate_from_neighbours, fill_gaps

NAN = np.nan
AXIS = CalendarAxis.of(date(2010, 1, 1), 10 * 365)
ALL = np.ones(AXIS.day_count, dtype=bool)


def neighbour(seed, kinds=2, days=AXIS.day_count):
    return np.random.default_rng(seed).normal(8.0, 5.0, (kinds, days))


def by_hand(one, two):
    """1 + half of one's minimum + 0.3 of two's maximum of yesterday - 0.2 of two's minimum of tomorrow."""
    before, after = np.roll(two[1], 1), np.roll(two[0], -1)
    own = 1.0 + 0.5 * one[0] + 0.3 * before - 0.2 * after
    own[[0, -1]] = NAN
    return own


# --- hand arithmetic
def test_what_the_days_beside_tell_is_found_exactly():
    one, two = neighbour(1), neighbour(2)
    own = by_hand(one, two)
    hidden = own.copy()
    hidden[1500:1700] = NAN
    found = joint_estimate(hidden, [one, two], AXIS, ALL)
    assert np.allclose(found[1:-1], own[1:-1], atol=1e-6)


def test_the_first_and_last_day_have_no_day_beside_them_and_use_their_own_only():
    one, two = neighbour(1), neighbour(2)
    own = 2.0 + 0.7 * one[0] + 0.1 * two[1]
    assert np.allclose(joint_estimate(own, [one, two], AXIS, ALL), own, atol=1e-6)


def test_twenty_days_for_each_number():
    """1 + 3 days x 2 kinds = 7 numbers: 140 common days in the part of the year, else 3 numbers: 60."""
    one = neighbour(3)
    before = 2.0 + np.roll(one[1], 1)

    def off(days):
        own = np.full(AXIS.day_count, NAN)
        # July's part of the year is June to August; both its neighbours' months have enough of their own
        july = np.nonzero(np.isin(AXIS.month, [5, 6, 7]))[0][:days]
        own[july] = before[july]
        found = joint_estimate(own, [one], AXIS, ALL)
        at = (AXIS.month == 6) & (np.arange(AXIS.day_count) > 1000)
        return np.abs(found - before)[at]

    assert DAYS_A_NUMBER == 20
    assert off(7 * 20).max() < 1e-6
    assert off(7 * 20 - 1).min() >= 0.0  # the simpler set knows nothing of the day before
    assert off(7 * 20 - 1).mean() > 1.0
    assert np.isnan(off(3 * 20 - 1)).all()


# --- sets of neighbours
def test_each_set_of_known_neighbours_has_a_fit_of_its_own():
    one, two = neighbour(1), neighbour(2)
    own = 2.0 + 0.7 * one[0] + 0.3 * two[0]
    two[:, 2000:2100] = NAN  # two is silent: the best of one alone is 2 + 0.3 x 8 + 0.7 one, off by 0.3 x 5
    found = joint_estimate(own, [one, two], AXIS, ALL)
    silent = slice(2002, 2098)
    assert np.allclose(found[silent], (4.4 + 0.7 * one[0])[silent], atol=0.6)
    assert np.allclose(found[:1990], own[:1990], atol=1e-6)


def test_the_best_neighbours_only():
    assert MOST_NEIGHBOURS == 4
    several = [neighbour(seed) for seed in range(6)]
    own = sum(values[0] for values in several[:4]) + several[5][1] * 0.0
    assert np.allclose(joint_estimate(own, several, AXIS, ALL), own, atol=1e-6)
    blind = joint_estimate(own + several[4][0] * 3.0, several, AXIS, ALL)
    assert np.nanstd(blind - own - several[4][0] * 3.0) > 10.0  # the fifth is not looked at


def test_sets_on_no_needed_day_are_not_fitted():
    one, two = neighbour(1), neighbour(2)
    two[:, :500] = NAN
    own = one[0] + two[0]
    needed = np.arange(AXIS.day_count) > 3000
    found = joint_estimate(own, [one, two], AXIS, needed)
    assert np.isnan(found[:490]).all()
    assert np.isfinite(found[600:]).all()


# --- invariants
def test_a_stations_own_extremes_never_enter_its_estimate():
    one, two = neighbour(1), neighbour(2)
    own = by_hand(one, two) + np.random.default_rng(9).normal(0, 1, AXIS.day_count)
    values = np.stack([own, one[0], two[0]])
    kinds = np.stack([np.stack([own, one[0], two[0]]), np.stack([own + 9, one[1], two[1]])])
    before = estimate_from_neighbours(values, 0, AXIS, kinds).estimate_c
    kinds[:, 0] = 99.0
    assert np.array_equal(before, estimate_from_neighbours(values, 0, AXIS, kinds).estimate_c, equal_nan=True)


def test_two_neighbours_that_are_the_same_are_no_trouble():
    one = neighbour(4)
    own = one[0] + 1.0
    assert np.allclose(joint_estimate(own, [one, one.copy()], AXIS, ALL), own, atol=1e-6)


# --- what it is for
@pytest.mark.parametrize("kind", ["with extremes", "means only"])
def test_a_hollow_is_told_from_the_slopes_by_their_daily_range(make_record, kind):
    """The hollow lies 4 °C below the slope on still days (a wide range there) and 0 on windy ones."""
    random = np.random.default_rng(11)
    slope = make_record("2005-01-01", "2019-12-31", seed=1)["tavg"]
    axis = CalendarAxis.of(date(2005, 1, 1), slope.size)
    wide = random.uniform(2.0, 12.0, slope.size)
    hollow = slope - 0.4 * (wide - 2.0) + random.normal(0, 0.3, slope.size)
    values = np.stack([hollow, slope])
    values[0, 3000:3200] = NAN
    kinds = np.stack([np.stack([hollow - 5, slope - wide / 2]), np.stack([hollow + 5, slope + wide / 2])])
    filled = fill_gaps(
        values, axis, bridge_all_from=slope.size, kinds_c=kinds if kind == "with extremes" else None
    )
    off = filled.values_c[0, 3000:3200] - hollow[3000:3200]
    assert np.sqrt((off**2).mean()) < 0.4 if kind == "with extremes" else np.sqrt((off**2).mean()) > 1.0
    assert filled.estimates[0].error_c == pytest.approx(np.std(off), rel=0.2)


def test_a_neighbour_without_extremes_is_told_by_its_mean(make_record):
    one = make_record("2012-01-01", "2019-12-31", seed=1)["tavg"]
    axis = CalendarAxis.of(date(2012, 1, 1), one.size)
    other = one + 2.0 + np.random.default_rng(3).normal(0, 0.5, one.size)
    values = np.stack([one, other])
    values[0, 1000:1040] = NAN
    kinds = np.stack(
        [np.stack([one - 5, np.full(one.size, NAN)]), np.stack([one + 5, np.full(one.size, NAN)])]
    )
    filled = fill_gaps(values, axis, bridge_all_from=one.size, kinds_c=kinds)
    assert np.abs(filled.values_c[0, 1000:1040] - one[1000:1040]).mean() < 0.6
