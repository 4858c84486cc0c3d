"""Members' draws of the water against the analytic state: mean, spread, and what ponds share.

Sample figures are held to five Monte Carlo errors.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_ponds import FALL, SERIES, Floats, fixed_fit, invented_pond, invented_rows
from joint_route import PRESENT_A, ROUTE, Joint

from forecaster.events import Limits, WaterEvents
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.water.draws import WaterDraws, draw_route, draw_water
from forecaster.water.lagged import (
    LAG,
    LAG_RANGE_DAYS,
    LEVEL_OF_FALL,
    SiteSeries,
    linearised_columns,
    season_terms,
)
from forecaster.water.pooling import PondFit, RouteFit, fit_route
from forecaster.water.state import water_path

COUNT = 6000
DAY_COUNT = 90
FIT = fixed_fit(ROUTE)
NAMES = [pond.site_id for pond in ROUTE]
NO_LIMITS = Limits(10.0, 7.2, 5, 0.0, -2.2, -6.7)


def draws_of(fit: RouteFit, count: int = COUNT, seed: int = 1) -> WaterDraws:
    return draw_water(list(fit.ponds.values()), draw_route(fit, count=count, seed=seed), seed=seed)


DRAWS = draws_of(FIT)


def columns_of_fit(fit: PondFit) -> Floats:
    """The eight columns of the first DAY_COUNT days."""
    terms, warm_up = season_terms(fit.pond.series, fit.fall, DAY_COUNT)
    return linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)


def log_lag_of(draws: WaterDraws, position: int, fit: PondFit) -> Floats:
    """Shift of the logarithm of the lag in each draw, from its daily step."""
    step = draws.step[position].astype(float)
    return np.log(-1.0 / np.log1p(-step)) - fit.log_lag


def linear_water(draws: WaterDraws, position: int, fit: PondFit) -> Floats:
    """Water of each draw by the linearised regression, shape (day, m)."""
    columns = columns_of_fit(fit)
    six = draws.coefficients[:, position].astype(float)
    level_and_error = draws.residual_c[:DAY_COUNT, position].astype(float)
    lag = np.outer(columns[:, LAG], log_lag_of(draws, position, fit))
    return columns[:, :LAG] @ six + lag + level_and_error


@pytest.mark.parametrize("name", NAMES)
def test_mean_and_spread_of_the_draws_are_those_of_the_state(name: str) -> None:
    # A: earlier and present readings; B: one present reading; C: an earlier fall only; D: none.
    fit = FIT.ponds[name]
    water = linear_water(DRAWS, NAMES.index(name), fit)
    path = water_path(fit, day_count=DAY_COUNT)
    off = (water.mean(axis=1) - path.mean_c) / (path.sd_c / np.sqrt(COUNT))
    assert np.abs(off).max() < 5.0
    ratio = water.var(axis=1) / path.sd_c**2
    assert np.abs(ratio - 1.0).max() < 5.0 * np.sqrt(2.0 / COUNT)


@pytest.mark.parametrize("name", NAMES)
def test_coefficients_of_the_draws(name: str) -> None:
    fit = FIT.ponds[name]
    at = NAMES.index(name)
    drawn = np.vstack([DRAWS.coefficients[:, at].astype(float), log_lag_of(DRAWS, at, fit)])
    sd = np.sqrt(np.diag(fit.all_cov))[: LAG + 1]
    off = (drawn.mean(axis=1) - fit.all_mean[: LAG + 1]) / (sd / np.sqrt(COUNT))
    assert np.abs(off).max() < 5.0
    error = (np.cov(drawn) - fit.all_cov[: LAG + 1, : LAG + 1]) / np.outer(sd, sd)
    assert np.abs(error).max() < 5.0 * np.sqrt(2.0 / COUNT)


def test_what_two_ponds_share() -> None:
    """Covariance between ponds from the joint Gaussian in full: readings at one move both draws together."""
    joint = Joint(ROUTE)
    drawn = [
        np.vstack([DRAWS.coefficients[:, n].astype(float), log_lag_of(DRAWS, n, FIT.ponds[name])])
        for n, name in enumerate(NAMES)
    ]
    seen = 0
    for first, second in [(0, 1), (0, 3), (1, 2), (2, 3)]:
        expected = joint.between(first, second)[: LAG + 1, : LAG + 1]
        sd = [np.sqrt(np.diag(FIT.ponds[NAMES[n]].all_cov))[: LAG + 1] for n in (first, second)]
        sample = np.cov(drawn[first], drawn[second])[: LAG + 1, LAG + 1 :]
        error = (sample - expected) / np.outer(*sd)
        assert np.abs(error).max() < 5.0 / np.sqrt(COUNT) * 1.2
        seen += int((np.abs(expected / np.outer(*sd)) > 0.2).sum())
    assert seen > 8  # the covariance that is checked is not all near zero


def test_error_path_is_ar1_and_knows_the_readings() -> None:
    silent = NAMES.index("D")
    path = DRAWS.residual_c[:, silent].astype(float)
    sd = np.hypot(FIT.ponds["D"].residual.sd_c, np.sqrt(FIT.ponds["D"].all_cov[LEVEL_OF_FALL, LEVEL_OF_FALL]))
    assert path.std(axis=1) == pytest.approx(sd, rel=0.06)
    jumps = np.diff(path, axis=0)  # the level falls out
    rho = FIT.ponds["D"].residual.rho
    expected = FIT.ponds["D"].residual.sd_c * np.sqrt(2 * (1 - rho))
    assert jumps.std(axis=1) == pytest.approx(expected, rel=0.06)
    read = DRAWS.residual_c[:, NAMES.index("A")].astype(float).std(axis=1)
    assert read[PRESENT_A.day].max() < 0.8 * read[150]  # certain where it was read, wide again later


def test_water_run_forward_day_by_day_agrees_with_the_state() -> None:
    """The recursion with its floor and its curved lag against the linear state, far from 0 °C."""
    fit = fit_route([replace(pond) for pond in ROUTE], fall=FALL)
    draws = draws_of(fit)
    events = WaterEvents(draws, NO_LIMITS, as_of_day=200)
    start = (fall_start(FALL) - SERIES.first_day).days
    water = np.stack(
        [events.advance(d, np.full((4, 1), SERIES.air_c[start + d], np.float32)) for d in range(75)]
    )
    for at, name in enumerate(fit.ponds):
        path = water_path(fit.ponds[name], day_count=75)
        miss = water[20:, at].mean(axis=1) - path.mean_c[20:]
        assert np.abs(miss).max() < 0.15, name
        ratio = water[20:, at].std(axis=1) / path.sd_c[20:]
        assert np.abs(ratio - 1.0).max() < 0.1, name


def test_without_any_spread_the_run_is_the_regression() -> None:
    pond = invented_pond("A")
    fit = fixed_fit([pond]).ponds["A"]
    still = replace(
        fit,
        own_mean=fit.physics_mean,
        own_cov=np.zeros((8, 8)),
        to_route=np.zeros((8, 8)),
        residual=replace(fit.residual, sd_c=0.0),
    )
    draws = draw_water([still], np.zeros((3, 8)), seed=1)
    events = WaterEvents(draws, NO_LIMITS, as_of_day=200)
    start = (fall_start(FALL) - SERIES.first_day).days
    water = np.stack(
        [events.advance(d, np.full((1, 1), SERIES.air_c[start + d], np.float32)) for d in range(DAY_COUNT)]
    )
    path = water_path(fit, day_count=DAY_COUNT)
    assert (water >= 0).all()
    assert water[:, 0, 0] == pytest.approx(path.water_c, abs=2e-4)
    assert (water[:, 0, 0] == water[:, 0, 2]).all()


# --- seeds


def same(first: WaterDraws, second: WaterDraws, ours: list[int], theirs: list[int]) -> bool:
    """True where the draws of ponds at `ours` and `theirs` are the same bytes."""
    return (
        all(
            getattr(first, name)[..., ours, :].tobytes() == getattr(second, name)[..., theirs, :].tobytes()
            for name in ("coefficients", "residual_c")
        )
        and (first.step[ours] == second.step[theirs]).all()
        and (first.start_c[ours] == second.start_c[theirs]).all()
    )


def test_same_seed_same_bytes_and_another_seed_others() -> None:
    first, again, other = (draws_of(FIT, count=50, seed=seed) for seed in (3, 3, 4))
    every = [0, 1, 2, 3]
    assert same(first, again, every, every)
    assert not same(first, other, every, every)


def test_a_pond_more_in_the_block_changes_no_other() -> None:
    route = draw_route(FIT, count=50, seed=3)
    all_four = draw_water(list(FIT.ponds.values()), route, seed=3)
    two = draw_water([FIT.ponds["D"], FIT.ponds["A"]], route, seed=3)
    assert same(all_four, two, [3, 0], [0, 1])


def test_ponds_of_one_route_have_errors_of_their_own() -> None:
    twins = fixed_fit([invented_pond("A"), invented_pond("B")])
    draws = draws_of(twins)
    first, second = draws.residual_c[:, 0].astype(float), draws.residual_c[:, 1].astype(float)
    together = np.corrcoef(first[60], second[60])[0, 1]
    level = twins.ponds["A"].all_cov[LEVEL_OF_FALL, LEVEL_OF_FALL]
    shared = (
        level * twins.route_cov[LEVEL_OF_FALL, LEVEL_OF_FALL] / (level + twins.ponds["A"].residual.sd_c ** 2)
    )
    assert together == pytest.approx(shared, abs=5 / np.sqrt(COUNT))


# --- limits


def test_lags_stay_in_their_range() -> None:
    wild = invented_pond("A", depth_m=50.0)
    fit = fixed_fit([replace(wild, prior=replace(wild.prior, log_lag_sd=3.0))])
    step = draws_of(fit, count=500).step
    assert step.min() == pytest.approx(-np.expm1(-1 / LAG_RANGE_DAYS[1]), rel=1e-5)
    assert step.max() <= -np.expm1(-1 / LAG_RANGE_DAYS[0]) * (1 + 1e-6)


def test_a_record_that_begins_on_1_august_will_do() -> None:
    start = fall_start(FALL)
    young = SiteSeries(start, SERIES.slice_from(start, 100), 43.0)
    draws = draws_of(fixed_fit([invented_pond("A", series=young)]), count=20)
    assert np.isfinite(draws.start_c).all()
    assert (draws.start_c > 5.0).all()


def test_shapes_and_precision() -> None:
    draws = draws_of(FIT, count=7)
    assert draws.start_c.shape == draws.step.shape == (4, 7)
    assert draws.coefficients.shape == (6, 4, 7)
    assert draws.residual_c.shape == (FALL_DAYS, 4, 7)
    assert draws.terms.shape == (FALL_DAYS, 3, 4)
    assert {getattr(draws, n).dtype for n in ("start_c", "step", "coefficients", "residual_c", "terms")} == {
        np.dtype("float32")
    }


def test_readings_reach_the_start_of_the_next_days() -> None:
    """A warm reading on the last day makes the next days' water warm, less so as they pass."""
    last = invented_rows([60], [22.0], 0.2)
    plain = draws_of(fixed_fit([invented_pond("A")]), count=2000)
    warm = draws_of(fixed_fit([invented_pond("A", last)]), count=2000)
    lift = (warm.residual_c - plain.residual_c)[:, 0].mean(axis=1)
    assert lift[60] > lift[65] > lift[75] > -0.2
    assert lift[60] > 1.0
