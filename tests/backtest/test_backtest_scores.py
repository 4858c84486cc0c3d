"""Scores against hand values, independent libraries and their own invariants."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.backtest.scores import (
    brier_parts,
    brier_score,
    fair_crps,
    fair_crps_of_sorted,
    probability_transform,
    quantiles_of_sorted,
    ratio_bounds,
    reliability_bins,
    scored_days,
)
from forecaster.risk import fall_quantile


# --- hand arithmetic
def test_fair_score_by_hand():
    # {1, 2, 4}, 3: mean distance 4/3, pairs 1 + 3 + 2 = 6 over 3 * 2; {10, 12, 13, 15, 20}, 14: 2.8 - 2.3
    assert fair_crps(np.array([1.0, 2, 4]), np.array(3.0)) == pytest.approx(4 / 3 - 6 / 6)
    assert fair_crps(np.array([10.0, 12, 13, 15, 20]), np.array(14.0)) == pytest.approx(0.5)
    assert fair_crps(np.array([5.0, 5, 5]), np.array(5.0)) == 0.0


def test_one_member_has_no_fair_score():
    with pytest.raises(ValueError, match="2 members or more"):
        fair_crps(np.array([1.0]), np.array(1.0))


def test_brier_decomposition_by_hand():
    # Murphy 1973: .1 four times (never), .5 three (2 came), .9 three (2 came)
    chance = np.array([0.1] * 4 + [0.5] * 3 + [0.9] * 3)
    came = np.array([0, 0, 0, 1, 0, 1, 1, 1, 1, 0])
    parts = brier_parts(reliability_bins(chance, came))
    assert brier_score(chance, came) == pytest.approx(0.242)
    assert parts.reliability == pytest.approx(0.0336667, abs=1e-7)
    assert parts.resolution == pytest.approx(0.0416667, abs=1e-7)
    assert parts.uncertainty == pytest.approx(0.25)
    assert parts.score == pytest.approx(0.242)


def test_never_is_the_first_of_february_and_stays_in_the_quantiles():
    assert scored_days(np.array([np.inf, 10.0])).tolist() == [184.0, 10.0]
    days = np.array([10.0, 20.0, np.inf, np.inf])
    found = quantiles_of_sorted(days, np.array(4), np.array([0.25, 0.5, 0.9]))
    assert found.tolist() == [10.0, 20.0, np.inf]


def test_half_of_equal_members_count_below():
    assert probability_transform(np.array([3.0, 3.0, 5.0, 1.0]), np.array(3.0)) == 0.5


# --- independent references: scoringrules 0.10, estimator "fair"; scores 2.7, method "fair"
@pytest.mark.parametrize("size", [2, 15, 150])
def test_equals_scoringrules(size: int):
    scoringrules = pytest.importorskip("scoringrules")
    rng = np.random.default_rng(size)
    members = np.round(rng.normal(95.0, 11.0, (40, size)))
    observed = np.round(rng.normal(95.0, 11.0, 40))
    theirs = scoringrules.crps_ensemble(observed, members, estimator="fair")
    assert np.abs(fair_crps(members, observed) - theirs).max() < 1e-9
    chance, came = rng.uniform(size=200), rng.integers(0, 2, 200)
    assert abs(brier_score(chance, came) - float(scoringrules.brier_score(came, chance).mean())) < 1e-9


@pytest.mark.parametrize("size", [2, 15, 150])
def test_equals_scores(size: int):
    probability = pytest.importorskip("scores.probability")
    xarray = pytest.importorskip("xarray")
    rng = np.random.default_rng(size)
    members = np.round(rng.normal(95.0, 11.0, (40, size)))
    observed = np.round(rng.normal(95.0, 11.0, 40))
    theirs = probability.crps_for_ensemble(
        xarray.DataArray(members, dims=("case", "member")),
        xarray.DataArray(observed, dims="case"),
        "member",
        method="fair",
        preserve_dims="all",
    )
    assert np.abs(fair_crps(members, observed) - theirs.values).max() < 1e-9
    chance, came = rng.uniform(size=200), rng.integers(0, 2, 200)
    brier = probability.brier_score(
        xarray.DataArray(chance, dims="case"), xarray.DataArray(came, dims="case")
    )
    assert abs(brier_score(chance, came) - float(brier)) < 1e-9


def test_two_libraries_agree_on_hand_cases():
    scoringrules = pytest.importorskip("scoringrules")
    probability = pytest.importorskip("scores.probability")
    xarray = pytest.importorskip("xarray")
    for members, observed, by_hand in (([1.0, 2, 4], 3.0, 4 / 3 - 1.0), ([10.0, 12, 13, 15, 20], 14.0, 0.5)):
        one = scoringrules.crps_ensemble(observed, np.array(members), estimator="fair")
        other = probability.crps_for_ensemble(
            xarray.DataArray(members, dims="member"), xarray.DataArray(observed), "member", method="fair"
        )
        ours = float(fair_crps(np.array(members), np.array(observed)))
        assert [float(one), float(other), ours] == pytest.approx([by_hand] * 3, abs=1e-9)


# --- invariants
def test_sizes_may_differ_row_by_row():
    rng = np.random.default_rng(1)
    rows = [rng.normal(size=n) for n in (2, 5, 9)]
    padded = np.full((3, 9), np.inf)
    for at, row in enumerate(rows):
        padded[at, : len(row)] = np.sort(row)
    ours = fair_crps_of_sorted(padded, np.array([2, 5, 9]), np.zeros(3))
    assert ours == pytest.approx([float(fair_crps(row, np.array(0.0))) for row in rows])
    assert np.isnan(fair_crps_of_sorted(padded, np.array([1, 0, 9]), np.zeros(3))[:2]).all()


def test_fair_score_does_not_depend_on_the_number_of_members():
    rng = np.random.default_rng(2)
    observed = rng.normal(size=4000)
    few, many = (fair_crps(rng.normal(size=(4000, m)), observed).mean() for m in (5, 200))
    assert few == pytest.approx(many, abs=0.02)
    assert many == pytest.approx(1 / np.sqrt(np.pi), abs=0.02)  # CRPS of N(0,1) under itself


def test_quantiles_are_those_of_the_forecast():
    rng = np.random.default_rng(3)
    days = np.sort(rng.integers(60, 120, 37).astype(float))
    for share in (0.1, 0.25, 0.5, 0.75, 0.9):
        ours = quantiles_of_sorted(days, np.array(37), np.array([share]))[0]
        assert ours == fall_quantile(days, share)


def test_bootstrap_bounds_hold_the_ratio_and_widen_with_fewer_seasons():
    rng = np.random.default_rng(4)
    above = rng.normal(10.0, 2.0, 60)
    wide, narrow = ratio_bounds(above[:10], np.full(10, 10.0)), ratio_bounds(above, np.full(60, 10.0))
    assert narrow[0] < above.mean() / 10.0 < narrow[1]
    assert wide[1] - wide[0] > narrow[1] - narrow[0]
    assert np.isnan(ratio_bounds(np.zeros(3), np.zeros(3))[0])
