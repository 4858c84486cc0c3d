"""Policies by hand: queues, assignments, fixed starts, what a season's closings cost."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from forecaster.backtest.policies import (
    FIXED,
    HINDSIGHT,
    RECOMMENDED,
    actual_loss,
    best_assignment,
    fixed_starts,
    in_queue,
    ranked_starts,
)
from forecaster.backtest.policy_table import PolicyTable, money_notes
from forecaster.backtest.result import empty_result

COSTS = (10.0, 60.0, 400.0, 150.0)


def test_loss_of_each_day_by_hand():
    loss = actual_loss(
        np.array([50.0]), np.array([60.0]), np.array([70.0]), np.array([np.inf]),
        costs=COSTS, exposure=np.array([0.5]),
    )  # fmt: skip
    total = loss[0].sum(axis=1)
    assert total[[47, 50, 59, 60, 69, 70]].tolist() == [30.0, 0.0, 0.0, 60.0, 60.0, 260.0]
    never = actual_loss(*np.full((4, 1), np.inf), costs=COSTS, exposure=np.ones(1))
    assert never[0, 0, 0] == 1840.0  # never is 1 February


def test_assignment_is_the_cheapest_of_all():
    rng = np.random.default_rng(1)
    loss = np.full((4, 184), 1000.0)
    loss[:, 10:14] = rng.integers(1, 90, (4, 4))
    capacity = np.zeros(184, int)
    capacity[10:14] = 1
    days = best_assignment(loss, capacity, 0)
    best = min(sum(loss[s, 10 + d] for s, d in enumerate(order)) for order in permutations(range(4)))
    assert loss[np.arange(4), days].sum() == best
    # published 3 x 3 example, optimum 85 (assignment problem, rows and columns as in scipy's manual form)
    table = np.full((3, 184), 1e4)
    table[:, :3] = [[10, 40, 70], [20, 25, 30], [15, 60, 90]]
    assert table[np.arange(3), best_assignment(table, np.where(np.arange(184) < 3, 1, 0), 0)].sum() == 85
    assert best_assignment(loss, capacity, 13).tolist().count(-1) == 3


def test_two_a_day_over_two_days():
    # extra loss of the second day 50, 60, 10, 20: optimum 30 (the first two first), next 60
    loss = np.zeros((4, 184))
    loss[:, 1] = [50, 60, 10, 20]
    loss[:, 2:] = 999
    days = best_assignment(loss, np.where(np.arange(184) < 2, 2, 0), 0)
    assert days.tolist() == [0, 0, 1, 1]


def test_queue_serves_who_asked_first_and_never_more_than_it_can():
    capacity = np.where(np.arange(184) % 2 == 0, 1, 0)
    closed = in_queue(np.array([5, 4, 5, 184]), np.arange(4), capacity)
    assert closed.tolist() == [6, 4, 8, 183]


def test_fixed_start_in_order():
    loss = np.zeros((3, 184, 1))
    loss[:, :, 0] = np.arange(184)
    capacity = np.where(np.arange(184) >= 10, 2, 0)
    found = fixed_starts(loss, [np.array([2, 0, 1])], capacity)
    assert found[0, 0, 0] == pytest.approx((10 + 10 + 11) / 3)
    assert found[0, 183, 0] == pytest.approx(183)
    ranked = ranked_starts(loss, {0: np.array([0, 1, 2])}, capacity, lambda day: 0)
    assert ranked[20, 0] == pytest.approx((20 + 20 + 21) / 3)


def table(ours: list[float], fixed: list[float], best: list[float]) -> PolicyTable:
    made = PolicyTable()
    for year, (a, b, c) in enumerate(zip(ours, fixed, best, strict=True), start=2000):
        money = {}
        for world in ("unlimited", "limited"):
            money[f"{RECOMMENDED}|{world}"] = [a, 0.0, 0.0, 0.0]
            money[f"{HINDSIGHT}|{world}"] = [0.0, c, 0.0, 0.0]
        loss = np.full((5, 184, 4), 50.0)
        loss[:, 80] = [b, 0.0, 0.0, 0.0]
        result = empty_result(year, [], ["A"])
        orders = ("unlimited", "shallow first", "deep first", "random", "rank")
        made.add(replace(result, money=money, fixed_orders=orders, fixed_loss=loss))
    return made


def test_share_of_the_gap_by_hand():
    rows = table([20.0, 30.0], [40.0, 60.0], [10.0, 10.0]).rows()
    fixed = next(row for row in rows if row.policy == FIXED and row.crews_limited)
    assert fixed.mean_loss == 50.0
    assert fixed.gap_closed == pytest.approx((50 - 25) / (50 - 10))
    assert fixed.more_than_ours == pytest.approx(25.0)
    assert fixed.worst_season == 2001
    assert "closed while warm" in fixed.worst_why
    assert "20 Oct" in fixed.detail
    assert "closes 62%" in money_notes(rows)[1]


def test_hardly_better_is_said():
    rows = table([18.0, 19.0], [20.0, 20.0], [1.0, 1.0]).rows()
    assert all("hardly better" in note for note in money_notes(rows))


def test_dearer_is_said_and_not_called_hardly_better():
    rows = table([24.0, 25.0], [20.0, 20.0], [1.0, 1.0]).rows()
    notes = money_notes(rows)
    assert all("dearer than the simple rule" in note for note in notes)
    assert not any("better than the simple rule:" in note or "closes" in note for note in notes)
