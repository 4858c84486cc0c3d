"""Members: joined to the season at hand, trends weighed by their error; emulated outlooks without bias."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy import stats

from forecaster.anomalies import carried_on, memory, shrunk_trend, usual_course
from forecaster.backtest.emulator import (
    EMULATED_ERROR,
    ERROR_C,
    NO_ERROR,
    emulated_values,
    perfect_outlooks,
)
from forecaster.backtest.inputs import Asked, BacktestInput, read_backtest
from forecaster.backtest.station_air import known_weather
from forecaster.moved_falls import Recipe
from forecaster.outlook_head import error_paths
from forecaster.scenarios import make_members
from forecaster.weather.fall_blocks import fall_block, usable_falls


@pytest.fixture(scope="module")
def given(plain_folder) -> BacktestInput:
    return read_backtest(plain_folder, Asked())


# --- hand arithmetic
def test_shrunk_trend_by_hand():
    years = np.array([1, 2, 3, 4])
    level = np.array([0.0, 2.0, 1.0, 3.0])  # slope 0.8; squared misses 1.8 over 2 over 5: error² 0.18
    assert shrunk_trend(level, years, trend_sd=0.3) == pytest.approx(0.8 * 0.09 / (0.09 + 0.18))
    assert shrunk_trend(level, years, trend_sd=np.inf) == pytest.approx(0.8)


def test_carrying_on_repeats_what_is_known_and_fades():
    known = np.array([-2, -1])
    ahead = np.array([-1, 0, 5, 200])
    carried = carried_on(np.array([[1.0, 3.0]]), known, ahead)[0]
    assert carried[0] == pytest.approx(3.0)  # on a known day: the difference itself
    assert 1.5 < carried[1] < 3.0
    assert abs(carried[3]) < 0.02
    assert carried_on(np.zeros((4, 0)), np.array([], int), ahead).shape == (4, 4)


def test_usual_course_of_a_pure_cycle_is_that_cycle():
    day = np.arange(-10, 194)
    cycle = 5.0 + 9.0 * np.cos(2 * np.pi * (day + 40) / 365.25)
    found = usual_course(np.stack([cycle, cycle])[:, None], margin_days=10, fit_margin_days=10)
    assert np.abs(found[0] - cycle).max() < 1e-9


# --- invariants
def test_joined_members_start_from_what_was_observed(given):
    as_of = date(2015, 10, 20)
    weather = known_weather(given, as_of)
    falls = usable_falls(weather, 2015)
    options = {"fall": 2015, "as_of": as_of, "count": 100, "seed": 1}
    joined = make_members(weather, falls, **options)
    apart = make_members(weather, falls, **options, recipe=Recipe(joined_days=0))
    yesterday = float(weather.tmean_c[0, -1])
    first = joined.first_day
    near, far = (np.abs(m.tmean_base_c[:, 0, first].mean() - yesterday) for m in (joined, apart))
    assert near < far
    assert joined.tmean_base_c[:, 0, first].std() < apart.tmean_base_c[:, 0, first].std()
    assert np.abs(joined.tmean_base_c - apart.tmean_base_c)[:, :, 150:].max() < 1.0
    assert (joined.tmean_base_c[:, :, :first] == apart.tmean_base_c[:, :, :first]).all()


def test_members_know_nothing_of_the_days_after(given):
    as_of = date(2010, 10, 1)
    weather = known_weather(given, as_of)
    assert weather.last_day < as_of
    a, b = (
        make_members(w, usable_falls(w, 2010), fall=2010, as_of=as_of, count=90, seed=1)
        for w in (weather, known_weather(given, as_of))
    )
    assert a.tmean_base_c.tobytes() == b.tmean_base_c.tobytes()


def test_a_perfect_outlook_is_followed_to_the_last_digit(given):
    as_of = date(2012, 10, 10)
    weather, after = known_weather(given, as_of), known_weather(given, date(2013, 2, 12))
    outlooks = perfect_outlooks(after, fall=2012, as_of=as_of)
    members = make_members(
        weather, usable_falls(weather, 2012), fall=2012, as_of=as_of, count=60, seed=1,
        outlooks=outlooks, outlook_errors={"FEN": NO_ERROR},
    )  # fmt: skip
    came = fall_block(after, 2012, margin_days=0)
    first = members.first_day
    assert np.allclose(members.tmean_head_c[:, 0, :10], came.tmean_c[0, first : first + 10])
    assert np.allclose(members.tmin_head_c[:, 0, :10], came.tmin_c[0, first : first + 10])
    # joined to the days after: no jump back to the member's own season
    step = np.diff(members.tmean_head_c[:, 0, 8:12], axis=1)
    assert np.abs(step[:, 1]).mean() < 2.0 * np.abs(step[:, 2]).mean() + 1.0


def test_emulated_outlook_leaves_the_error_it_names():
    """Error independent of the outlook, not of the truth; truth = outlook + err z (README, Outlooks)."""
    rng = np.random.default_rng(8)
    count, spread = 40_000, 4.5
    truth = rng.normal(0.0, spread, (count, 10))
    z = error_paths(rng, count, 10)
    outlook = emulated_values(truth, np.zeros(10), np.full(10, spread), z)
    error = truth - outlook
    sd = np.minimum(ERROR_C, 0.95 * spread)
    assert error.std(axis=0) == pytest.approx(sd, rel=0.02)
    for lead in range(10):
        assert abs(stats.pearsonr(error[:, lead], outlook[:, lead])[0]) < 0.02
    assert (outlook.std(axis=0) < truth.std(axis=0)).all()
    assert np.corrcoef(z[:, 0], z[:, 1])[0, 1] == pytest.approx(0.6, abs=0.02)
    assert np.isinf(EMULATED_ERROR.tail_freedom)


def test_memory_is_a_correlation():
    apart = memory(np.arange(60)[:, None] - np.arange(60)[None, :])
    assert np.linalg.eigvalsh(apart).min() > 0.0
    assert (np.diff(memory(np.arange(100))) < 0).all()
