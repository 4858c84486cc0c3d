"""Filling: straight lines from neighbours, bridges over short gaps, and how far off they are."""

from datetime import date

import numpy as np
import pytest

from forecaster.weather.calendar_axis import CalendarAxis
from forecaster.weather.neighbours import (
    bridge_gaps,
    bridge_weights,
    estimate_from_neighbours,
    fill_gaps,
    local_level,
    seasonal_lines,
)

NAN = np.nan


def axis_of(days, first=date(2015, 1, 1)):
    return CalendarAxis.of(first, days)


# --- hand arithmetic
def test_an_exact_line_is_found_in_each_month():
    axis = axis_of(3 * 365)
    other = np.random.default_rng(1).normal(8.0, 5.0, 3 * 365)
    slope, intercept, error = seasonal_lines(other, 1.5 + 0.8 * other, axis)
    assert np.allclose(slope, 0.8)
    assert np.allclose(intercept, 1.5)
    assert np.allclose(error, 0.1)  # the floor


@pytest.mark.parametrize(("days", "usable"), [(99, False), (100, True)])
def test_a_hundred_common_days_in_the_part_of_the_year(days, usable):
    axis = axis_of(2 * 365)
    other = np.random.default_rng(2).normal(8.0, 5.0, 2 * 365)
    own = np.full(2 * 365, NAN)
    fall = np.nonzero(np.isin(axis.month, [8, 9, 10]))[0][:days]
    own[fall] = other[fall] + 1.0
    slope, _, error = seasonal_lines(other, own, axis)
    assert np.isfinite(slope[9]) == usable  # October sees September to November
    assert np.isfinite(error[9]) == usable
    assert np.isnan(slope[3])


def test_an_unrelated_neighbour_is_not_used():
    random = np.random.default_rng(3)
    values = random.normal(8.0, 5.0, (2, 1000))
    estimate = estimate_from_neighbours(values, 0, axis_of(1000))
    assert estimate.used == ()
    assert np.isnan(estimate.estimate_c).all()
    assert np.isnan(estimate.error_c)


def test_two_neighbours_count_by_the_inverse_of_their_error_variances():
    random = np.random.default_rng(4)
    truth = random.normal(8.0, 8.0, 20000)
    near, far = truth + random.normal(0.0, 1.0, truth.size), truth + random.normal(0.0, 2.0, truth.size)
    estimate = estimate_from_neighbours(np.stack([truth, near, far]), 0, axis_of(truth.size))
    # variances about 1 and 4 * 64 / 68: the error of the weighted mean is sqrt(1 / (1 + 1 / 3.76)) = 0.889
    assert estimate.error_c == pytest.approx(0.889, abs=0.02)
    assert estimate.used == (1, 2)


def test_bridge_weights_are_the_conditional_expectation():
    # normal equations of an AR(1) with 0.7 a day on days 0-4, known on days 0 and 4, solved in general
    lag = np.abs(np.subtract.outer(np.arange(5), np.arange(5)))
    covariance = 0.7**lag
    expected = covariance[1:4][:, [0, 4]] @ np.linalg.inv(covariance[np.ix_([0, 4], [0, 4])])
    left, right = bridge_weights(4)
    assert np.allclose(np.stack([left, right], axis=1), expected)


def test_local_level_by_hand():
    decay = np.exp(-1 / 8)
    level = local_level(np.array([1.0, NAN, NAN, 2.0]))
    assert level[1] == pytest.approx((1.0 + 2.0 * decay) / (1 + decay + 2))
    assert level[0] == pytest.approx(2.0 * decay**2 / (decay**2 + 2))  # not its own 1.0
    assert local_level(np.full(5, NAN)).tolist() == [0.0] * 5


# --- bridges
def test_gaps_of_five_days_are_bridged_and_six_are_not(make_record):
    tavg = make_record("2015-01-01", "2017-12-31")["tavg"]
    axis = axis_of(tavg.size)
    gappy = tavg.copy()
    gappy[100:105] = gappy[200:206] = NAN
    gappy[:3] = gappy[-2:] = NAN
    bridged = bridge_gaps(gappy, axis, bridge_all_from=tavg.size)
    assert np.isfinite(bridged[100:105]).all()
    assert np.isnan(bridged[200:206]).all()
    assert np.isnan(bridged[:3]).all()
    assert np.isnan(bridged[-2:]).all()
    known = np.isfinite(gappy)
    assert np.array_equal(bridged[known], gappy[known])
    later = bridge_gaps(gappy, axis, bridge_all_from=203)
    assert np.isfinite(later[200:206]).all()
    assert np.isnan(bridge_gaps(gappy, axis, bridge_all_from=206)[200:206]).all()


def test_a_short_record_is_bridged_by_a_straight_line():
    values = np.array([4.0, NAN, NAN, NAN, 8.0])
    assert bridge_gaps(values, axis_of(5), bridge_all_from=5).tolist() == [4.0, 5.0, 6.0, 7.0, 8.0]


# --- the whole
def test_filled_days_are_those_that_were_missing(make_record):
    one = make_record("2015-01-01", "2018-12-31", seed=1)["tavg"]
    random = np.random.default_rng(6)
    values = np.stack([one, one - 2 + random.normal(0, 1, one.size), np.full(one.size, NAN)])
    values[0, 300:340] = NAN
    values[1, 330:350] = NAN
    filled = fill_gaps(values, axis_of(one.size), bridge_all_from=one.size)
    assert filled.from_neighbours[0].nonzero()[0].tolist() == [*range(300, 330)]
    assert filled.from_neighbours[1].nonzero()[0].tolist() == [*range(340, 350)]
    assert np.isnan(filled.values_c[:2, 330:340]).all()  # nobody knows, and the gap is long
    assert np.isnan(filled.values_c[2]).all()
    assert filled.estimates[2] is None
    known = np.isfinite(values)
    assert np.array_equal(filled.values_c[known], values[known])


def test_hidden_days_come_back_within_the_stated_error(make_record):
    one = make_record("2005-01-01", "2019-12-31", seed=1)["tavg"]
    random = np.random.default_rng(8)
    values = np.stack(
        [one] + [one + bias + random.normal(0, sd, one.size) for bias, sd in ((-3, 1.5), (2, 1.0))]
    )
    hidden = np.zeros(one.size, dtype=bool)
    hidden[1000:1400] = hidden[3000:3010] = True
    gappy = values.copy()
    gappy[0, hidden] = NAN
    filled = fill_gaps(gappy, axis_of(one.size, date(2005, 1, 1)), bridge_all_from=one.size)
    error = filled.values_c[0, hidden] - one[hidden]
    # two weighted lines alone: sqrt(1 / (1 / 1 + 1 / 2.25)) = 0.83; weather lasts: days beside tell too
    assert 0.70 < filled.estimates[0].error_c < 0.83
    assert np.std(error) == pytest.approx(filled.estimates[0].error_c, rel=0.1)
    assert abs(error.mean()) < 0.15


def test_a_station_that_has_drifted_is_followed(make_record):
    one = make_record("2010-01-01", "2019-12-31", seed=2)["tavg"]
    random = np.random.default_rng(9)
    other = one + random.normal(0, 0.5, one.size)
    other[2000:] += 4.0  # the neighbour's new screen
    gappy = np.stack([one, other])
    gappy[0, 3000:3004] = NAN
    filled = fill_gaps(gappy, axis_of(one.size, date(2010, 1, 1)), bridge_all_from=one.size)
    # without following, the pooled line would be 2 °C off
    assert abs(filled.values_c[0, 3000:3004] - one[3000:3004]).mean() < 1.0
