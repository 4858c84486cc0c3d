"""Sums to scores: simple rules, plumbing freeze and leads, by hand on seasons made up for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecaster.backtest.climatology import EarlierFalls, reference
from forecaster.backtest.result import SeasonResult, empty_result
from forecaster.backtest.summary import LEADS, Summary
from forecaster.falls import FALL_DAYS

SUSTAINED = 1
DAYS = ((10, 1), (10, 15))


def season(
    year: int, *, middle: float, came: float, usual: float, last: float, chance: float, frozen: float
) -> SeasonResult:
    """One site; the same forecast on both mornings, sustained crossing only."""
    blank = empty_result(year, [date(year, *day) for day in DAYS], ["A"])
    at = (slice(None), 0, SUSTAINED)

    def filled(value: float) -> np.ndarray:
        values = np.full(blank.crps.shape, np.nan)
        values[at] = value
        return values

    quantiles = blank.quantiles.copy()
    quantiles[at] = [middle - 9, middle - 4, middle, middle + 4, middle + 9]
    observed = blank.observed.copy()
    observed[0, SUSTAINED] = came
    scored = blank.scored.copy()
    scored[at] = True
    return replace(
        blank,
        observed=observed,
        quantiles=quantiles,
        scored=scored,
        done=np.ones(len(DAYS), np.bool_),
        crps=filled(2.0),
        reference_crps=filled(4.0),
        bias=filled(min(middle, FALL_DAYS) - came),
        error=filled(abs(min(middle, FALL_DAYS) - came)),
        reference_error=filled(abs(usual - came)),
        last_fall_error=filled(abs(last - came)),
        transform=filled(0.5),
        plumbing_chance=filled(chance),
        plumbing_happened=filled(frozen),
        plumbing_reference=filled(0.5),
    )


@pytest.fixture
def summary() -> Summary:
    found = Summary(DAYS)
    found.add(season(2001, middle=90, came=93, usual=96, last=80, chance=0.8, frozen=1.0))
    found.add(season(2002, middle=90, came=88, usual=96, last=93, chance=0.4, frozen=0.0))
    return found


# --- hand arithmetic
def test_rules_and_plumbing_freeze_by_hand(summary: Summary):
    row = summary.row(0, SUSTAINED, [0, 1], "all")
    assert (row.n, row.seasons) == (4, 2)
    assert row.mae_days == pytest.approx((3 + 2) / 2)
    assert row.mae_climatology_days == pytest.approx((3 + 8) / 2)
    assert row.mae_last_fall_days == pytest.approx((13 + 5) / 2)
    assert row.usual_date_misses_more_days == pytest.approx((0 + 6) / 2)
    assert row.last_fall_misses_more_days == pytest.approx((10 + 3) / 2)
    # drawn with replacement, both seasons may be the first or the second: bounds are the seasons' own
    assert (row.usual_date_misses_more_low, row.usual_date_misses_more_high) == (0.0, 6.0)
    assert (row.last_fall_misses_more_low, row.last_fall_misses_more_high) == (3.0, 10.0)
    assert row.brier_plumbing == pytest.approx(((0.8 - 1) ** 2 + 0.4**2) / 2)
    assert row.brier_plumbing_climatology == pytest.approx(0.25)
    assert row.brier_plumbing_skill == pytest.approx(1 - 0.1 / 0.25)
    assert row.plumbing_share == 0.5
    assert row.brier is None  # no hard freeze was given here
    assert (row.coverage_50, row.coverage_50_low, row.coverage_50_high) == (1.0, 1.0, 1.0)


def test_plumbing_reliability_is_its_own(summary: Summary):
    hard, plumbing = (summary.reliability(0, SUSTAINED, freeze).bins for freeze in (0, 1))
    assert hard.count.sum() == 0
    assert plumbing.count.tolist() == [0, 0, 0, 0, 2, 0, 0, 0, 2, 0]
    assert plumbing.observed_share()[[4, 8]].tolist() == [0.0, 1.0]


def test_a_lead_runs_to_the_middle_of_the_forecast(summary: Summary):
    # Day 90 is 30 October: 29 days after 1 October, 15 after 15 October.
    rows = summary.lead_rows()
    assert [(row.lead, row.n) for row in rows] == [("2 to 3 weeks", 2), ("4 to 6 weeks", 2)]
    assert all(row.as_of_month_day == "all" for row in rows)
    never = Summary(DAYS)
    never.add(season(2003, middle=np.inf, came=FALL_DAYS, usual=1, last=1, chance=0.1, frozen=0.0))
    assert [row.lead for row in never.lead_rows()] == [LEADS[-1]]


@pytest.mark.parametrize(
    ("ahead", "lead"), [(-3, 0), (6, 0), (7, 1), (13, 1), (14, 2), (27, 3), (28, 4), (41, 4), (42, 5)]
)
def test_edges_of_the_leads(ahead: int, lead: int):
    found = Summary(((10, 1),))
    one = season(2001, middle=61 + ahead, came=93, usual=96, last=80, chance=0.8, frozen=1.0)
    keep = {"days": one.days[:1], "done": one.done[:1], "outlook": one.outlook[:1]}
    arrays = {
        name: getattr(one, name)[:1]
        for name in (
            "quantiles", "p_not_reached", "freeze_chance", "freeze_happened", "freeze_reference",
            "plumbing_chance", "plumbing_happened", "plumbing_reference", "reference_count", "reference_crps",
            "reference_error", "last_fall_error", "scored", "crps", "bias", "error", "transform",
        )
    }  # fmt: skip
    found.add(replace(one, **keep, **arrays))
    assert [row.lead for row in found.lead_rows()] == [LEADS[lead]]


def test_as_last_fall_takes_the_latest_fall_still_to_come():
    crossing = np.concatenate([np.arange(70.0, 90.0), [60.0]])[:, None, None]  # the last fall settled early
    freeze = np.full((2, 21, 1, FALL_DAYS), np.inf)
    earlier = EarlierFalls(tuple(range(2000, 2021)), crossing, freeze, np.zeros(1, int))
    early = reference(earlier, np.array([[80.0]]), as_of_day=50, hold_days=5)
    assert early.last_fall.tolist() == [[60.0]]
    late = reference(earlier, np.array([[80.0]]), as_of_day=74, hold_days=5)
    assert late.last_fall.tolist() == [[89.0]]  # 60 is over by then: the fall before counts
