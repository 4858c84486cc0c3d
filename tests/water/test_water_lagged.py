"""The lagged columns: relaxation by hand, by pandas, and the derivative by the lag."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from invented_ponds import FALL, RECORD_FROM, SERIES

from forecaster.events import sustained_crossing
from forecaster.falls import fall_start
from forecaster.water.lagged import (
    LAG,
    LEVEL_OF_FALL,
    WARM_UP_DAYS,
    SiteSeries,
    day_of_year,
    lag_terms,
    linearised_columns,
    season_terms,
)
from forecaster.water.physics import relaxation_step

# --- hand arithmetic


def test_five_days_of_relaxation() -> None:
    # From 15 °C, lag 2 days; the weights are k (1-k)^j, the start keeps (1-k)^5.
    forced = np.array([[15.0, 10, 8, 6, 4, 2]])
    water = lag_terms(forced, 2.0)[0]
    assert water[1:] == pytest.approx([13.032653, 11.052459, 9.064471, 7.071757, 5.076176], abs=1e-6)
    k = 0.3934693403
    weights = np.array([k * (1 - k) ** j for j in range(5)])
    assert weights == pytest.approx([0.393469, 0.238651, 0.144749, 0.087795, 0.053250], abs=1e-6)
    assert water[-1] == pytest.approx(weights @ [2, 4, 6, 8, 10] + 0.082085 * 15, abs=1e-5)


def test_constant_forcing_is_an_exponential() -> None:
    # 15 -> 10 °C towards 5 °C with lag 2 takes 2 ln 2 = 1.3863 days: not yet after one day, done after two.
    water = lag_terms(np.array([[15.0] + [5.0] * 6]), 2.0)[0]
    assert water == pytest.approx(5 + 10 * np.exp(-np.arange(7) / 2))
    assert sustained_crossing(water, threshold_c=10.0, hold_days=1) == 2


@pytest.mark.parametrize(("lag", "trails"), [(2.0, 1.5415), (4.0, 3.5208)])
def test_steady_ramp(lag: float, trails: float) -> None:
    # With a ramp of r a day the daily recursion trails by r (1-k) / k.
    ramp = -0.5 * np.arange(400.0)
    assert lag_terms(ramp[None, :], lag)[0, -1] - ramp[-1] == pytest.approx(0.5 * trails, abs=1e-4)


@pytest.mark.parametrize(
    ("period", "lag", "gain"), [(10, 1, 0.847), (10, 2, 0.623), (10, 4, 0.370), (365.25, 2, 0.9994)]
)
def test_sine_forcing(period: float, lag: float, gain: float) -> None:
    # Continuous water: 1 / sqrt(1 + (w lag)²). Daily steps raise a 10-day wave's gain by up to 2 %.
    day = np.arange(int(40 * period))
    water = lag_terms(np.sin(2 * np.pi * day / period)[None, :], lag)[0]
    settled = water[int(20 * period) :]
    assert settled.max() == pytest.approx(gain, rel=0.03)
    k = float(relaxation_step(lag))
    exact = k / abs(1 - (1 - k) * np.exp(-2j * np.pi / period))
    assert settled.std() * np.sqrt(2) == pytest.approx(exact, rel=2e-3)


# --- independent reference: pandas


@pytest.mark.parametrize("lag", [0.5, 2.0, 9.0])
def test_same_as_pandas_ewm_without_adjustment(lag: float) -> None:
    air_c = SERIES.air_c[:500]
    k = float(relaxation_step(lag))
    ours = lag_terms(air_c[None, :], lag)[0]
    assert ours == pytest.approx(pd.Series(air_c).ewm(alpha=k, adjust=False).mean().to_numpy(), abs=1e-10)


def test_pandas_with_adjustment_is_another_thing() -> None:
    # A trap for whoever checks us: with its default (adjust=True) ewm gives 4.5562 instead of 5.0762.
    forced = pd.Series([15.0, 10, 8, 6, 4, 2])
    k = float(relaxation_step(2.0))
    assert forced.ewm(alpha=k, adjust=False).mean().iloc[-1] == pytest.approx(5.0762, abs=1e-4)
    assert forced.ewm(alpha=k).mean().iloc[-1] == pytest.approx(4.5562, abs=1e-4)


# --- the season's axis


def test_day_of_year_over_new_year_and_in_a_leap_year() -> None:
    assert day_of_year(date(2024, 12, 30), 4).tolist() == [365, 366, 1, 2]
    assert day_of_year(date(2025, 8, 1), 1).tolist() == [213]


def test_warm_up_is_shorter_where_the_record_is() -> None:
    terms, warm_up = season_terms(SERIES, FALL, 10)
    assert (terms.shape, warm_up) == ((6, WARM_UP_DAYS + 10), WARM_UP_DAYS)
    young = SiteSeries(date(2025, 7, 20), SERIES.slice_from(date(2025, 7, 20), 60), 43.0)
    assert season_terms(young, FALL, 10)[1] == 12
    late = SiteSeries(date(2025, 8, 3), SERIES.slice_from(date(2025, 8, 3), 60), 43.0)
    terms, warm_up = season_terms(late, FALL, 10)
    assert warm_up == 0
    assert terms[1, :3].tolist() == [terms[1, 2]] * 3  # days before the record repeat its first


def test_air_of_a_season_is_that_of_its_dates() -> None:
    terms, warm_up = season_terms(SERIES, FALL, 3)
    offset = (fall_start(FALL) - RECORD_FROM).days
    assert terms[1, warm_up:] == pytest.approx(SERIES.air_c[offset : offset + 3] - 10.0)


def test_a_day_without_air_repeats_the_last_one() -> None:
    air_c = SERIES.air_c.copy()
    gap = (date(2025, 8, 4) - RECORD_FROM).days
    air_c[gap] = np.nan
    terms, warm_up = season_terms(SiteSeries(RECORD_FROM, air_c, 43.0), FALL, 6)
    assert np.isfinite(terms).all()
    assert terms[1, warm_up + 3] == terms[1, warm_up + 2]


# --- the linearisation


def test_columns_reproduce_the_curve_and_its_slope_by_log_lag() -> None:
    coefficients = np.array([9.8, 0.84, 2.0, 0.3, 0.05, -0.05])
    terms, warm_up = season_terms(SERIES, FALL, 120)
    columns = linearised_columns(terms, warm_up, np.log(3.0), coefficients)
    assert columns.shape == (120, 8)
    assert columns[:, :LAG] @ coefficients == pytest.approx(lag_terms(coefficients @ terms, 3.0)[warm_up:])
    assert (columns[:, LEVEL_OF_FALL] == 1.0).all()
    # A lag 5 % longer: the linearised curve misses the true one by little of what it moves.
    true = lag_terms(coefficients @ terms, 3.0 * 1.05)[warm_up:]
    moved = columns[:, :LAG] @ coefficients + np.log(1.05) * columns[:, LAG]
    at_first = columns[:, :LAG] @ coefficients
    assert np.abs(moved - true).max() < 0.03 * np.abs(true - at_first).max()


def test_warm_up_forgets_where_it_started() -> None:
    terms, warm_up = season_terms(SERIES, FALL, 30)
    moved = terms.copy()
    moved[:, 0] += 10.0
    assert lag_terms(moved, 20.0)[:, warm_up:] == pytest.approx(lag_terms(terms, 20.0)[:, warm_up:], abs=0.01)
