"""What carries on from day to day: links of mean and minimum, against hand values and statsmodels' VAR."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.tsa.api import VAR

from forecaster.anomalies import SLOW_DAYS, SLOW_SHARE, carried_on, lingering
from forecaster.carrying import LARGEST_GROWTH, LINK_DAYS, carried, carried_together, day_links, growth

Floats = np.ndarray


def two_variables(falls: int, days: int = 120, seed: int = 2) -> Floats:
    """Means with memory, minima that follow yesterday's mean: (fall, 2, day)."""
    rng = np.random.default_rng(seed)
    shock = rng.normal(0.0, 2.0, (falls, 2, days))
    out = np.zeros((falls, 2, days))
    for day in range(1, days):
        mean, low = out[:, 0, day - 1], out[:, 1, day - 1]
        out[:, 0, day] = 0.6 * mean + 0.1 * low + shock[:, 0, day]
        out[:, 1, day] = 0.5 * mean + 0.2 * low + shock[:, 1, day]
    return out


# --- hand arithmetic
def test_links_of_a_series_without_noise_by_hand():
    fading = 8.0 * 0.5 ** np.arange(6.0)  # each day is half of the day before: any exact links say so
    links = day_links(np.stack([fading, 3.0 * fading])[:, None])
    assert links.shape == (LINK_DAYS, 1)
    assert np.array([4.0, 8.0, 16.0]) @ links[:, 0] == pytest.approx(2.0)


def test_carrying_by_hand():
    # Links 0.5, 0, 0 and nothing that lingers beyond its share: the passing part halves each day.
    known, ahead = np.arange(7, 10), np.arange(10, 13)
    gap = np.array([[1.0, -2.0, 4.0]])
    slow = lingering(gap, known, np.arange(7, 13))[0]
    last = 4.0 - slow[2]
    found = carried_together([gap], np.array([[0.5], [0.0], [0.0]]), known, ahead)[0][0]
    assert found == pytest.approx([last / 2 + slow[3], last / 4 + slow[4], last / 8 + slow[5]])


def test_the_second_variable_is_carried_by_the_first():
    # Tomorrow's minimum is 0.4 of today's mean whatever the minimum was.
    links = np.zeros((2 * LINK_DAYS, 2))
    links[0] = 0.8, 0.4
    known = np.arange(100, 103)
    gaps = [np.array([[0.0, 0.0, 5.0]]), np.array([[0.0, 0.0, -3.0]])]
    slow = [lingering(gap, known, np.arange(100, 104))[0] for gap in gaps]
    mean, low = carried_together(gaps, links, known, np.array([103]))
    assert mean[0, 0] == pytest.approx(0.8 * (5.0 - slow[0][2]) + slow[0][3])
    assert low[0, 0] == pytest.approx(0.4 * (5.0 - slow[0][2]) + slow[1][3])


def test_what_lingers_of_one_day_by_hand():
    # One known day 10 away by 4: its lingering share is expected on it, fading by e in SLOW_DAYS.
    found = lingering(np.array([4.0]), np.array([10]), np.array([10, 10 + int(SLOW_DAYS)]))
    assert found == pytest.approx([4.0 * SLOW_SHARE, 4.0 * SLOW_SHARE / np.e])


# --- independent reference: statsmodels 0.14, vector autoregression without constant
def test_links_and_what_they_carry_equal_statsmodels_var():
    series = two_variables(1, days=400)
    fitted = VAR(series[0].T).fit(LINK_DAYS, trend="n")
    links = day_links(series)
    assert links == pytest.approx(fitted.params, abs=1e-9)
    known, ahead = np.arange(0, 60), np.arange(60, 75)
    past = series[0, :, 100:160]
    slow = np.stack([lingering(values, known, np.r_[known[-3:], ahead]) for values in past])
    forecast = fitted.forecast((past[:, -3:] - slow[:, :3]).T, len(ahead)).T + slow[:, 3:]
    found = carried_together(list(past), links, known, ahead)
    assert np.stack(found) == pytest.approx(forecast, abs=1e-9)
    roots = np.abs(1.0 / fitted.roots).max()
    assert growth(links) == pytest.approx(roots, abs=1e-9)


# --- invariants
def test_links_of_many_falls_come_near_the_truth_and_do_not_join_falls():
    series = two_variables(60)
    links = day_links(series)
    assert pytest.approx(np.array([[0.6, 0.1], [0.5, 0.2]]), abs=0.06) == links[:2].T
    assert np.abs(links[2:]).max() < 0.06
    turned = day_links(series[::-1])
    assert turned == pytest.approx(links, abs=1e-9)  # order of falls says nothing


def test_a_difference_never_grows():
    growing = 1.08 ** np.arange(40.0)
    links = day_links(np.stack([growing, growing * 2])[:, None])
    assert growth(links) == pytest.approx(LARGEST_GROWTH)
    known, ahead = np.arange(50, 60), np.arange(60, 160)
    pull = carried_together([np.full((1, 10), 5.0)], links, known, ahead)[0][0]
    assert np.abs(pull[-1]) < 1.0


def test_no_difference_carries_nothing_and_twice_it_carries_twice():
    past = two_variables(20)
    known, ahead = np.arange(40, 100), np.arange(100, 120)
    gaps = [past[:5, n, 10:70] for n in range(2)]
    anomalies = [past[:, n] for n in range(2)]
    once, twice = (carried([k * gap for gap in gaps], anomalies, known, ahead) for k in (1.0, 2.0))
    assert np.stack(twice) == pytest.approx(2.0 * np.stack(once), abs=1e-9)
    still = carried([0.0 * gap for gap in gaps], anomalies, known, ahead)
    assert np.abs(np.stack(still)).max() == 0.0


# --- days that lack
def test_a_variable_that_was_not_read_of_late_carries_on_alone():
    past = two_variables(20)
    known, ahead = np.arange(40, 100), np.arange(100, 110)
    gaps = [past[:5, n, 10:70].copy() for n in range(2)]
    anomalies = [past[:, n] for n in range(2)]
    gaps[1][:, -1] = np.nan  # last night's minimum lacks
    mean, low = carried(gaps, anomalies, known, ahead)
    assert low == pytest.approx(carried_on(gaps[1][:, :-1], known[:-1], ahead))
    alone = carried_together([gaps[0]], day_links(past[:, :1]), known, ahead)[0]
    assert mean == pytest.approx(alone)


def test_a_station_without_minima_has_means_all_the_same():
    past = two_variables(20)
    known, ahead = np.arange(40, 100), np.arange(100, 110)
    none = np.full((5, 60), np.nan)
    mean, low = carried([past[:5, 0, 10:70], none], [past[:, 0], np.full((20, 120), np.nan)], known, ahead)
    assert np.isfinite(mean).all()
    assert not low.any()


def test_no_days_ahead_and_none_known():
    past = two_variables(20)
    anomalies = [past[:, n] for n in range(2)]
    gaps = [past[:5, n, 10:70] for n in range(2)]
    nothing = carried(gaps, anomalies, np.arange(40, 100), np.array([], int))
    assert [part.shape for part in nothing] == [(5, 0), (5, 0)]
    unknown = carried([gap[:, :0] for gap in gaps], anomalies, np.array([], int), np.arange(3))
    assert [part.tolist() for part in unknown] == [[[0.0] * 3] * 5] * 2
