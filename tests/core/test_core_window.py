"""What closing on each day costs, the best day and how far it moves: by hand and by the formula."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, date_of
from forecaster.route.window import (
    PARTS,
    LossByDay,
    allowed_from,
    best_day,
    date_shifts,
    days_before,
    loss_by_day,
    may_close,
    share_by_day,
    window_around,
)
from forecaster.season.settings import Costs, Crew
from forecaster.season.sites import Site

NEVER = np.inf
COSTS = Costs(warm_day=10, hard_freeze=60, plumbing_freeze=400, ice=150)
SITE = Site("A", "Invented", 43.0, -88.0, 0.6)
CREW = Crew(
    name="North",
    latitude=43.0,
    longitude=-88.0,
    hours_per_day=8.0,
    work_days=["mon", "tue", "wed", "thu", "fri"],  # type: ignore[arg-type]
    first_day=date(2025, 9, 15),
    last_day=date(2025, 12, 12),
    start_time=time(7, 30),
    days_off=[date(2025, 11, 27)],  # type: ignore[arg-type]
)


def events(start: list[float], hard: list[float], plumbing: list[float], ice: list[float]) -> SiteEvents:
    members = [np.array(days, np.float32) for days in (start, hard, plumbing, ice)]
    return SiteEvents(members[0], None, members[3], None, members[1], members[2], None)


TWO = events([70, NEVER], [80, NEVER], [90, NEVER], [100, 101])


# --- by hand: two members; start on day 70 or never, freezes in the first only, ice in both


@pytest.mark.parametrize(
    ("day", "parts"),
    [
        (60, [10 * (10 + 124) / 2, 0, 0, 0]),  # never is 1 February, day 184
        (70, [10 * (0 + 114) / 2, 0, 0, 0]),
        (79, [10 * 105 / 2, 0, 0, 0]),
        (80, [10 * 104 / 2, 60 / 2, 0, 0]),  # minima come at dawn: the day itself counts
        (90, [10 * 94 / 2, 60 / 2, 400 * 0.5 / 2, 0]),
        (100, [10 * 84 / 2, 60 / 2, 400 * 0.5 / 2, 150 / 2]),
        (101, [10 * 83 / 2, 60 / 2, 400 * 0.5 / 2, 150]),
        (183, [10 * 1 / 2, 60 / 2, 400 * 0.5 / 2, 150]),
    ],
)
def test_four_parts_of_the_loss(day: int, parts: list[float]) -> None:
    losses = loss_by_day(TWO, COSTS, plumbing_exposure=0.5)
    assert losses.parts[:, day] == pytest.approx(parts)
    assert losses.total[day] == pytest.approx(sum(parts))


def test_never_is_1_february() -> None:
    assert date_of(FALL_DAYS, 2025) == date(2026, 2, 1)
    assert days_before(np.array([NEVER]))[0] == FALL_DAYS
    assert share_by_day(np.array([NEVER])).tolist() == [0.0] * FALL_DAYS


def test_an_event_before_1_august_has_come_by_then() -> None:
    assert days_before(np.array([-3.0])).tolist() == [0.0] * FALL_DAYS
    assert share_by_day(np.array([-3.0])).tolist() == [1.0] * FALL_DAYS


def test_parts_without_a_forecast_cost_nothing() -> None:
    bare = SiteEvents(None, None, None, None, None, None, None)
    assert loss_by_day(bare, COSTS, plumbing_exposure=1.0).total.tolist() == [0.0] * FALL_DAYS
    no_minima = SiteEvents(np.array([70.0], np.float32), None, None, None, None, None, None)
    losses = loss_by_day(no_minima, COSTS, plumbing_exposure=1.0)
    assert losses.total[60] == 100.0
    assert losses.parts[1:].sum() == 0.0


# --- by the formula, member by member


def test_loss_is_the_mean_of_the_formula_over_members() -> None:
    random = np.random.default_rng(2)
    days = [random.integers(40, 150, 30).astype(float) for _ in range(4)]
    for each in days:
        each[random.random(30) < 0.3] = NEVER
    found = events(*[list(each) for each in days])
    losses = loss_by_day(found, COSTS, plumbing_exposure=0.3)
    for d in (0, 39, 70, 110, 149, 183):
        total = 0.0
        for start, hard, plumbing, ice in zip(*days, strict=True):
            total += 10 * max(0.0, min(start, 184) - d)
            total += 60 * (hard <= d) + 400 * 0.3 * (plumbing <= d) + 150 * (ice <= d)
        assert losses.total[d] == pytest.approx(total / 30)


# --- the best day


def test_best_day_is_the_first_of_the_cheapest_allowed() -> None:
    loss = np.array([5.0, 3.0, 1.0, 1.0, 4.0])
    assert best_day(loss, np.array([True] * 5)) == 2
    assert best_day(loss, np.array([True, True, False, True, True])) == 3
    assert best_day(loss, np.zeros(5, np.bool_)) is None


def test_window_is_the_run_around_the_best_day() -> None:
    loss = np.array([0.0, 30, 12, 3, 1, 16, 17, 2])
    assert window_around(loss, 4, margin=15.0, earliest=0) == (2, 5)  # 1 + 15 = 16 counts
    assert window_around(loss, 4, margin=15.0, earliest=3) == (3, 5)
    assert window_around(loss, 4, margin=100.0, earliest=0) == (0, 7)
    assert window_around(loss, 4, margin=0.0, earliest=0) == (4, 4)


def test_days_that_the_best_day_moves() -> None:
    # One cost falls by the day, the other rises in steps: best day where a day's saving meets the step.
    parts = np.zeros((4, FALL_DAYS))
    parts[0] = 10.0 * np.maximum(100 - np.arange(FALL_DAYS), 0)
    parts[1] = 6.0 * np.maximum(np.arange(FALL_DAYS) - 80, 0)  # slope 6 from day 80
    parts[1] += 6.0 * np.maximum(np.arange(FALL_DAYS) - 90, 0)  # slope 12 from day 90
    allowed = np.ones(FALL_DAYS, np.bool_)
    losses = LossByDay(parts)
    best = best_day(losses.total, allowed)
    assert best == 90
    assert date_shifts(losses, 90, allowed) == {
        "warm_day": (80 - 90, 100 - 90),  # 5 a day is under 6; 20 is over 12
        "hard_freeze": (100 - 90, 80 - 90),  # 3 and 6 are under 10; 12 is over 10
        "plumbing_freeze": (0, 0),
        "ice": (0, 0),
    }


def test_scaling_a_part_is_scaling_its_cost() -> None:
    losses = loss_by_day(TWO, COSTS, plumbing_exposure=0.5)
    for part in PARTS:
        dearer = Costs(**{**COSTS.model_dump(), part: 2 * getattr(COSTS, part)})
        expected = loss_by_day(TWO, dearer, plumbing_exposure=0.5).total
        assert losses.scaled(part, 2.0) == pytest.approx(expected)


def test_dearer_warm_days_never_move_the_date_forward() -> None:
    random = np.random.default_rng(5)
    allowed = random.random(FALL_DAYS) < 0.7
    for _ in range(20):
        found = events(*[list(random.integers(60, 150, 20).astype(float)) for _ in range(4)])
        losses = loss_by_day(found, COSTS, plumbing_exposure=0.6)
        best = best_day(losses.total, allowed)
        assert best is not None
        shifts = date_shifts(losses, best, allowed)
        assert shifts["warm_day"][0] <= 0 <= shifts["warm_day"][1]
        for part in PARTS[1:]:
            assert shifts[part][1] <= 0 <= shifts[part][0]


# --- days on which a crew may come


def test_days_of_a_crew() -> None:
    assert may_close(SITE, CREW, date(2025, 10, 20))
    assert not may_close(SITE, CREW, date(2025, 10, 19))  # Sunday
    assert not may_close(SITE, CREW, date(2025, 11, 27))  # day off
    assert not may_close(SITE, CREW, date(2025, 12, 15))  # after the last day


def test_limits_of_a_site() -> None:
    day = date(2025, 10, 20)  # Monday
    assert not may_close(replace(SITE, crews=("South",)), CREW, day)
    assert may_close(replace(SITE, crews=("South", "North")), CREW, day)
    assert not may_close(replace(SITE, weekdays=frozenset({1})), CREW, day)
    assert not may_close(replace(SITE, not_before=date(2025, 10, 21)), CREW, day)
    assert may_close(replace(SITE, not_before=day, not_after=day), CREW, day)
    assert not may_close(replace(SITE, not_after=date(2025, 10, 19)), CREW, day)


def test_allowed_days_begin_on_the_as_of_date() -> None:
    allowed = allowed_from(SITE, [CREW], fall=2025, as_of=date(2025, 12, 10))
    assert [date_of(float(n), 2025) for n in np.flatnonzero(allowed)] == [
        date(2025, 12, 10),
        date(2025, 12, 11),
        date(2025, 12, 12),
    ]
    assert not allowed_from(SITE, [], fall=2025, as_of=date(2025, 10, 1)).any()
    assert not allowed_from(SITE, [CREW], fall=2025, as_of=date(2026, 1, 10)).any()
