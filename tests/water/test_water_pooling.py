"""Partial pooling against the joint Gaussian written out in full, and its invariants."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given as cases
from hypothesis import settings
from hypothesis import strategies as st
from invented_ponds import (
    FALL,
    SERIES,
    Floats,
    columns_of,
    fixed_fit,
    given,
    invented_pond,
    invented_rows,
)
from joint_route import (
    EARLIER_A,
    LEVEL_SD,
    MEMORY,
    PRESENT_A,
    PRESENT_B,
    RESIDUAL,
    ROUTE,
    Joint,
    kernel_of,
)

from forecaster.season.sites import Exposure
from forecaster.water.evidence import HALF_LIFE_YEARS, Rows
from forecaster.water.lagged import COLUMNS, LAG, LAG_RANGE_DAYS, LEVEL_OF_FALL, lag_terms, season_terms
from forecaster.water.pooling import (
    DOUBT_Z,
    Pond,
    PondFit,
    Residual,
    RouteFit,
    condition,
    earlier_information,
    fit_route,
    information,
    leave_one_out,
    prior_moments,
    row_covariance,
    square_root,
)
from forecaster.water.state import water_path

# --- earlier falls, each with a level of its own


def test_row_covariance_by_age_and_interleaving() -> None:
    rows = invented_rows([10, 12], [20.0, 19.0], [0.4, 0.6], fall=FALL - 15)
    older = 2 ** (15 / HALF_LIFE_YEARS)
    near = RESIDUAL.rho**2
    expected = older * (RESIDUAL.sd_c**2 * np.array([[1, near], [near, 1]]) + np.diag([0.16, 0.36]))
    assert row_covariance(rows, RESIDUAL, FALL) == pytest.approx(expected)
    assert row_covariance(replace(rows, repeats=5), RESIDUAL, FALL) == pytest.approx(5 * expected)


@pytest.mark.parametrize("years", [(2024,), (2022, 2024), (2015, 2021, 2022)])
def test_earlier_falls_against_explicit_levels(years: tuple[int, ...]) -> None:
    """Levels of all falls as unknowns, AR(1) from year to year with gaps, conditioned in the long form."""
    random = np.random.default_rng(8)
    columns = {year: random.normal(size=(4, LEVEL_OF_FALL)) for year in years}
    noise = {year: np.diag(random.uniform(0.2, 1.0, 4)) for year in years}
    value = {year: random.normal(10.0, 3.0, 4) for year in years}
    prior_mean = random.normal(size=LEVEL_OF_FALL)
    root = random.normal(size=(LEVEL_OF_FALL, LEVEL_OF_FALL))
    prior_cov = root @ root.T

    every = np.array([*years, FALL])
    mean = np.concatenate([prior_mean, np.zeros(len(every))])
    cov = np.zeros((len(mean), len(mean)))
    cov[:7, :7] = prior_cov
    cov[7:, 7:] = LEVEL_SD**2 * MEMORY ** np.abs(every[:, None] - every[None, :])
    seen = np.zeros((4 * len(years), len(mean)))
    for n, year in enumerate(years):
        seen[4 * n : 4 * n + 4, :7] = columns[year]
        seen[4 * n : 4 * n + 4, 7 + n] = 1.0
    spread = np.zeros((len(seen), len(seen)))
    for n, year in enumerate(years):
        spread[4 * n : 4 * n + 4, 4 * n : 4 * n + 4] = noise[year]
    all_mean, all_cov = given(mean, cov, seen, np.concatenate(list(value.values())), spread)
    keep = [*range(7), len(mean) - 1]

    parts = {
        year: information(np.column_stack([columns[year], np.ones(4)]), value[year], noise[year])
        for year in years
    }
    info, pull = earlier_information(parts, fall=FALL, residual=RESIDUAL)
    start = np.zeros((COLUMNS, COLUMNS))
    start[:7, :7], start[7, 7] = prior_cov, LEVEL_SD**2
    ours = condition(np.append(prior_mean, 0.0), start, info, pull)
    assert ours[0] == pytest.approx(all_mean[keep], abs=1e-9)
    assert ours[1] == pytest.approx(all_cov[np.ix_(keep, keep)], abs=1e-9)


# --- the whole route as one Gaussian

FIT = fixed_fit(ROUTE)


def test_coefficients_given_every_row() -> None:
    joint = Joint(ROUTE)
    for n, pond in enumerate(ROUTE):
        mean, cov = joint.coefficients(n)
        assert FIT.ponds[pond.site_id].all_mean == pytest.approx(mean, abs=1e-8), pond.site_id
        assert FIT.ponds[pond.site_id].all_cov == pytest.approx(cov, abs=1e-8), pond.site_id


def test_shift_of_the_route_given_every_row() -> None:
    joint = Joint(ROUTE)
    assert FIT.route_mean == pytest.approx(joint.mean[:COLUMNS], abs=1e-8)
    assert FIT.route_cov == pytest.approx(joint.cov[:COLUMNS, :COLUMNS], abs=1e-8)


@pytest.mark.parametrize(("position", "own"), [(0, PRESENT_A), (1, PRESENT_B)])
def test_coefficients_with_the_ponds_own_present_rows_left_out(position: int, own: Rows) -> None:
    mean, cov = Joint(ROUTE, without=(own,)).coefficients(position)
    fit = FIT.ponds[ROUTE[position].site_id]
    assert fit.mean == pytest.approx(mean, abs=1e-8)
    assert fit.cov == pytest.approx(cov, abs=1e-8)
    assert fit.rows is own


def test_spread_given_the_other_ponds_alone() -> None:
    _, cov = Joint(ROUTE, without=(EARLIER_A, PRESENT_A)).coefficients(0)
    assert FIT.ponds["A"].others_cov == pytest.approx(cov, abs=1e-8)


def test_coefficients_given_the_routes_shift() -> None:
    # own_mean + to_route @ g, own_cov: condition the joint, without A's present rows, on g itself.
    joint = Joint(ROUTE, without=(PRESENT_A,))
    fit = FIT.ponds["A"]
    shift = np.linspace(-0.3, 0.4, COLUMNS)
    pick = np.hstack([np.eye(COLUMNS), np.zeros((COLUMNS, len(joint.mean) - COLUMNS))])
    gain = joint.cov @ pick.T @ np.linalg.inv(pick @ joint.cov @ pick.T)
    joint.mean, joint.cov = (
        joint.mean + gain @ (shift - pick @ joint.mean),
        joint.cov - gain @ pick @ joint.cov,
    )
    mean, cov = joint.coefficients(0)
    assert fit.own_mean + fit.to_route @ shift == pytest.approx(mean, abs=1e-7)
    assert fit.own_cov == pytest.approx(cov, abs=1e-7)


def test_two_sets_of_one_earlier_fall_share_its_level() -> None:
    # Interleaved sets of a dense fall: each with its weight, one level of the fall for all.
    sets = tuple(
        replace(invented_rows([20 + n, 25 + n], [20.0 - n, 18.0 - n], fall=2024), repeats=2) for n in (0, 1)
    )
    fit = fixed_fit([invented_pond("A", *sets)]).ponds["A"]
    pond = invented_pond("A", *sets)
    parts = [information(columns_of(pond, rows), rows.water_c, 2 * kernel_of(rows)) for rows in sets]
    summed = (parts[0][0] + parts[1][0], parts[0][1] + parts[1][1])
    info, pull = earlier_information({2024: summed}, fall=FALL, residual=RESIDUAL)
    mean, cov = condition(*prior_moments(pond.prior, pond.prior.log_lag, LEVEL_SD), info, pull)
    assert fit.all_mean == pytest.approx(mean, abs=1e-9)
    assert fit.all_cov == pytest.approx(cov, abs=1e-9)


# --- spread of the prior


def scaled(pond: Pond, factor: float) -> Pond:
    prior = replace(pond.prior, cov=pond.prior.cov * factor**2, log_lag_sd=pond.prior.log_lag_sd * factor)
    return replace(pond, prior=prior)


def test_no_spread_gives_the_prior() -> None:
    fit = fixed_fit([scaled(ROUTE[0], 0.0)], residual=Residual(level_sd_c=0.0)).ponds["A"]
    assert fit.all_mean == pytest.approx(np.append(ROUTE[0].prior.mean, [0.0, 0.0]), abs=1e-12)
    assert np.abs(fit.all_cov).max() < 1e-12


def test_endless_spread_gives_the_data() -> None:
    days = list(range(5, 125, 6))
    water_c = 16 + 9 * np.cos(2 * np.pi * (np.array(days) - 3) / 365) + np.sin(np.array(days))
    rows = invented_rows(days, list(water_c))
    pond = scaled(invented_pond("A", rows), 1e4)
    fit = fixed_fit([pond]).ponds["A"]
    columns = columns_of(pond, rows)
    sigma = kernel_of(rows) + LEVEL_SD**2  # the fall's level, whose spread is not the prior's
    free = sm.GLS(water_c, columns[:, :LEVEL_OF_FALL], sigma=sigma).fit(cov_type="fixed scale")
    assert columns @ fit.all_mean - fit.all_mean[LEVEL_OF_FALL] == pytest.approx(free.fittedvalues, abs=1e-3)
    assert fit.all_mean[1:LEVEL_OF_FALL] == pytest.approx(free.params[1:], rel=1e-2, abs=1e-3)


# --- invariants over many cases

SPREADS = st.floats(0.2, 2.0)
WATERS = st.floats(0.0, 28.0)
DAYS = st.integers(0, 100)
READINGS = st.lists(st.tuples(DAYS, WATERS, SPREADS), min_size=0, max_size=6)
FEW = settings(derandomize=True, deadline=None, max_examples=25)


def two_ponds(first: list[tuple[int, float, float]], second: list[tuple[int, float, float]]) -> RouteFit:
    def pond(name: str, depth_m: float, found: list[tuple[int, float, float]]) -> Pond:
        rows = [invented_rows(*map(list, zip(*found, strict=True)))] if found else []  # type: ignore[arg-type]
        return invented_pond(name, *rows, depth_m=depth_m)

    return fixed_fit([pond("A", 0.6, first), pond("B", 1.4, second)])


def spreads_c(fit: PondFit) -> Floats:
    return water_path(fit, day_count=120).sd_c


@FEW
@cases(READINGS, READINGS, st.tuples(DAYS, WATERS, SPREADS))
def test_a_reading_never_raises_a_variance(
    first: list[tuple[int, float, float]],
    second: list[tuple[int, float, float]],
    more: tuple[int, float, float],
) -> None:
    before, after = two_ponds(first, second), two_ponds([*first, more], second)
    for name in ("A", "B"):
        assert (spreads_c(after.ponds[name]) <= spreads_c(before.ponds[name]) + 1e-9).all()
        shrunk = before.ponds[name].all_cov - after.ponds[name].all_cov
        assert np.linalg.eigvalsh(shrunk).min() > -1e-9
    assert np.linalg.eigvalsh(before.route_cov - after.route_cov).min() > -1e-9


@FEW
@cases(READINGS, DAYS, WATERS, SPREADS)
def test_two_equal_readings_weigh_as_one_of_half_the_variance(
    others: list[tuple[int, float, float]], day: int, water_c: float, error_c: float
) -> None:
    twice = two_ponds([*others, (day, water_c, error_c), (day, water_c, error_c)], [])
    once = two_ponds([*others, (day, water_c, error_c / np.sqrt(2))], [])
    for name in ("A", "B"):
        assert twice.ponds[name].all_mean == pytest.approx(once.ponds[name].all_mean, abs=1e-8)
        assert spreads_c(twice.ponds[name]) == pytest.approx(spreads_c(once.ponds[name]), abs=1e-8)
        paths = [water_path(fit.ponds[name], day_count=120).mean_c for fit in (twice, once)]
        assert paths[0] == pytest.approx(paths[1], abs=1e-8)


@FEW
@cases(READINGS, st.randoms(use_true_random=False))
def test_the_order_of_ponds_and_readings_does_not_matter(
    found: list[tuple[int, float, float]], shuffler: object
) -> None:
    mixed = list(found)
    shuffler.shuffle(mixed)  # type: ignore[attr-defined]
    fit, other = two_ponds(found, [(60, 15.0, 0.5)]), two_ponds(mixed, [(60, 15.0, 0.5)])
    assert other.ponds["A"].all_mean == pytest.approx(fit.ponds["A"].all_mean, abs=1e-9)
    turned = fixed_fit([other.ponds["B"].pond, other.ponds["A"].pond])
    for name in ("A", "B"):
        assert turned.ponds[name].all_mean == pytest.approx(fit.ponds[name].all_mean, abs=1e-9)
        assert turned.ponds[name].all_cov == pytest.approx(fit.ponds[name].all_cov, abs=1e-9)


@FEW
@cases(READINGS, DAYS, SPREADS, st.floats(0.1, 6.0), st.sampled_from([-1.0, 1.0]))
def test_a_reading_moves_the_water_of_its_day_towards_itself(
    others: list[tuple[int, float, float]], day: int, error_c: float, off_c: float, side: float
) -> None:
    before = water_path(two_ponds(others, []).ponds["A"], day_count=120).mean_c[day]
    after_fit = two_ponds([*others, (day, before + side * off_c, error_c)], []).ponds["A"]
    moved = water_path(after_fit, day_count=120).mean_c[day] - before
    assert 0.0 < moved * side < off_c


# --- a pond without readings


def test_a_pond_without_readings_takes_the_routes_shift() -> None:
    warm = invented_rows([40, 50, 60, 70], [25.0, 22.0, 19.0, 16.0], 0.3)
    alone = fixed_fit([invented_pond("S")]).ponds["S"]
    taught = fixed_fit([invented_pond("S"), invented_pond("W", warm)]).ponds["S"]
    assert taught.all_mean[0] > alone.all_mean[0]
    assert (spreads_c(taught) < spreads_c(alone)).all()
    assert taught.rows is None


@pytest.mark.parametrize("held", [True, False], ids=["held", "estimated"])
@pytest.mark.parametrize("exposure", ["average", "sheltered", "open"])
def test_a_silent_pond_changes_no_other(exposure: Exposure, held: bool) -> None:
    def fit(ponds: tuple[Pond, ...]) -> RouteFit:
        return fixed_fit(ponds) if held else fit_route(ponds, fall=FALL)

    few, more = fit(ROUTE), fit((*ROUTE, invented_pond("E", depth_m=2.5, exposure=exposure)))
    for name in "ABCD":
        for part in ("all_mean", "all_cov", "mean", "cov", "own_mean", "own_cov", "to_route"):
            assert getattr(more.ponds[name], part).tobytes() == getattr(few.ponds[name], part).tobytes()


def test_route_and_own_spread_make_up_the_prior_of_each_pond() -> None:
    fit = fixed_fit([invented_pond("A", exposure="open"), invented_pond("B", exposure="sheltered")])
    for name in ("A", "B"):
        assert fit.ponds[name].all_cov == pytest.approx(fit.ponds[name].physics_cov, rel=1e-9)


# --- the estimated parts: linearisation and residual size


def dense_rows(lag_days: float, error_c: float, seed: int) -> tuple[Pond, Rows]:
    """Readings of a pond whose true lag is not the prior's, every third day of one fall."""
    pond = invented_pond("A")
    terms, warm_up = season_terms(SERIES, FALL, 120)
    true = lag_terms(pond.prior.mean @ terms, lag_days)[warm_up:]
    random = np.random.default_rng(seed)
    path = np.zeros(120)
    for day in range(1, 120):
        path[day] = 0.8 * path[day - 1] + error_c * np.sqrt(1 - 0.8**2) * random.normal()
    days = list(range(5, 120, 5))
    return pond, invented_rows(days, list((true + path)[days]), 0.1)


@pytest.mark.parametrize("true_lag", [1.0, 4.0])
def test_the_lag_is_found(true_lag: float) -> None:
    pond, rows = dense_rows(true_lag, 0.3, seed=2)
    fit = fit_route([replace(pond, rows=(rows,))], fall=FALL).ponds["A"]
    spread = np.sqrt(fit.all_cov[LAG, LAG])
    assert abs(np.log(fit.lag_days / true_lag)) < 2.5 * spread
    assert spread < 0.6 * pond.prior.log_lag_sd
    assert abs(fit.all_mean[LAG]) < 0.01  # linearised where it ends: the last round moved it by under 1 %
    assert not fit.lag_at_limit


def test_the_size_of_the_residual_follows_the_readings() -> None:
    calm, wild = (
        fit_route([replace(pond, rows=(rows,))], fall=FALL).ponds["A"].residual
        for pond, rows in (dense_rows(2.0, 0.3, seed=4), dense_rows(2.0, 2.0, seed=4))
    )
    assert calm.scale < 1.0 < wild.scale
    assert (calm.rho, calm.sd_c) == (RESIDUAL.rho, RESIDUAL.sd_c)


def test_few_readings_say_nothing_of_the_residuals_size() -> None:
    seven = invented_rows(range(30, 100, 10), [25.0, 3.0, 22.0, 5.0, 20.0, 4.0, 18.0])
    assert fit_route([invented_pond("A", seven)], fall=FALL).ponds["A"].residual.scale == 1.0


def test_a_lag_beyond_the_range_is_held_and_reported() -> None:
    pond = invented_pond("A", invented_rows([40, 60, 80, 100], [20.0, 20.0, 20.0, 20.0], 0.1), depth_m=60.0)
    fit = fit_route([pond], fall=FALL).ponds["A"]
    assert fit.log_lag == pytest.approx(np.log(LAG_RANGE_DAYS[1]))
    assert fit.lag_at_limit


# --- rows that the others contradict


def test_what_a_row_should_have_been_by_the_others() -> None:
    random = np.random.default_rng(6)
    columns, value = random.normal(size=(6, 3)), random.normal(size=6)
    root = random.normal(size=(6, 6))
    noise, mean, cov = root @ root.T + np.eye(6), random.normal(size=3), np.diag([1.0, 0.2, 3.0])
    miss, sd = leave_one_out(columns, value, mean, cov, noise)
    for row in range(6):
        others = [n for n in range(6) if n != row]
        joint = columns @ cov @ columns.T + noise
        seen = np.eye(6)[others]
        expected, spread = given(columns @ mean, joint, seen, value[others], np.zeros((5, 5)))
        assert miss[row] == pytest.approx(value[row] - expected[row], abs=1e-8)
        assert sd[row] == pytest.approx(np.sqrt(spread[row, row]), abs=1e-8)


def test_square_root_of_a_covariance() -> None:
    mixed = np.array([[2.0, 0.5], [0.5, 1.0]])
    assert square_root(mixed) @ square_root(mixed) == pytest.approx(mixed)
    assert square_root(np.diag([4.0, 0.0])) == pytest.approx(np.diag([2.0, 0.0]))
    assert square_root(np.ones((2, 2))) == pytest.approx(np.full((2, 2), np.sqrt(0.5)))


def test_a_reading_in_the_wrong_unit_is_doubted_and_kept() -> None:
    days, water_c = [40, 48, 56, 64], [21.0, 19.5, 17.0, 14.0]
    clean = fit_route([invented_pond("A", invented_rows(days, water_c))], fall=FALL).ponds["A"]
    wrong = [21.0, 19.5, 17.0, 57.2]  # 14 °C written in °F
    fit = fit_route([invented_pond("A", invented_rows(days, wrong))], fall=FALL).ponds["A"]
    assert fit.rows is not None
    assert fit.rows.water_c.tolist() == wrong
    assert fit.rows.error_sd_c[3] > 5.0
    assert fit.rows.error_sd_c.argmax() == 3
    kept = fit_route([invented_pond("A", invented_rows(days, wrong))], fall=FALL, doubt_outliers=False)
    now, doubted, trusted = (
        water_path(each, day_count=65).mean_c[-1] for each in (clean, fit, kept.ponds["A"])
    )
    assert abs(doubted - now) < 1.0
    assert trusted > now + 20.0


def test_good_readings_beside_a_wrong_one_keep_their_error() -> None:
    rows = invented_rows([40, 48, 56, 64], [21.0, 57.2, 17.0, 14.0])
    fit = fit_route([invented_pond("A", rows)], fall=FALL).ponds["A"]
    assert fit.rows is not None
    assert fit.rows.error_sd_c[[0, 2, 3]].tolist() == [0.5, 0.5, 0.5]


def test_a_row_at_the_limit_of_doubt_is_not_widened() -> None:
    def error_at(z: float) -> float:
        pond = invented_pond("A", invented_rows([60], [10.0]))
        alone = fixed_fit([invented_pond("A")]).ponds["A"]
        path = water_path(alone, day_count=61)
        sd = float(np.hypot(path.sd_c[-1], 0.5))
        row = invented_rows([60], [path.mean_c[-1] + z * sd])
        fit = fit_route([replace(pond, rows=(row,))], fall=FALL, log_lags={"A": pond.prior.log_lag}).ponds[
            "A"
        ]
        assert fit.rows is not None
        return float(fit.rows.error_sd_c[0])

    assert error_at(DOUBT_Z - 0.01) == 0.5
    assert error_at(-(DOUBT_Z + 0.1)) > 0.5


def test_an_empty_route() -> None:
    fit = fit_route([], fall=FALL)
    assert fit.ponds == {}
    assert fit.route_mean.tolist() == [0.0] * COLUMNS
