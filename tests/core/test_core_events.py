"""Crossings, freezes, ice and rebound: by hand, and day by day against whole traces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from forecaster.errors import MissingWater
from forecaster.events import (
    REBOUND_C,
    SOON_DAYS,
    FreezeEvents,
    Limits,
    SiteEvents,
    WaterEvents,
    first_freeze,
    sustained_crossing,
)
from forecaster.falls import FALL_DAYS, NOT_REACHED
from forecaster.units import STORED_TENTH_C, c_to_f, f_to_c
from forecaster.water.draws import WaterDraws

LIMITS = Limits(
    start_c=10.0,
    sustained_c=f_to_c(45),
    hold_days=3,
    freeze_c=0.0,
    hard_freeze_c=f_to_c(28),
    plumbing_freeze_c=f_to_c(20),
)


def draws_that_follow_the_air(members: int = 1, residual_c: float = 0.0) -> WaterDraws:
    """Water of one pond is the day's air, held at 0 °C: step 1, slope 1, no sun."""
    coefficients = np.zeros((6, 1, members), np.float32)
    coefficients[0], coefficients[1] = 10.0, 1.0
    return WaterDraws(
        start_c=np.full((1, members), 20.0, np.float32),
        step=np.ones((1, members), np.float32),
        coefficients=coefficients,
        residual_c=np.full((FALL_DAYS, 1, members), residual_c, np.float32),
        terms=np.zeros((FALL_DAYS, 3, 1), np.float32),
    )


def run(water_c: list[float], as_of_day: int = 0, limits: Limits = LIMITS) -> WaterEvents:
    """Events of water that takes these values, from 1 August on."""
    events = WaterEvents(draws_that_follow_the_air(), limits, as_of_day)
    for day, value in enumerate(water_c):
        assert events.advance(day, np.array([[value]], np.float32))[0, 0] == max(np.float32(value), 0)
    return events


# --- sustained crossing, by hand


def test_short_run_is_skipped_and_the_limit_counts() -> None:
    water_c = np.array([7.0, 6.9, 9.0, 7.2, 7.2, 7.1, 9.0, 5.0])  # runs: days 0-1, 3-5, 7
    assert sustained_crossing(water_c, threshold_c=7.2, hold_days=3) == 3


def test_first_of_two_runs_and_a_run_cut_off_by_the_end() -> None:
    water_c = np.array([9.0, 7.0, 7.0, 9.0, 7.0, 7.0, 7.0])
    assert sustained_crossing(water_c, threshold_c=7.2, hold_days=2) == 1
    assert sustained_crossing(water_c, threshold_c=7.2, hold_days=3) == 4
    assert sustained_crossing(water_c, threshold_c=7.2, hold_days=4) == NOT_REACHED


def test_never_and_shorter_than_a_run() -> None:
    assert sustained_crossing(np.full(9, 8.0), threshold_c=7.2, hold_days=1) == NOT_REACHED
    assert sustained_crossing(np.array([1.0, 1.0]), threshold_c=7.2, hold_days=3) == NOT_REACHED
    assert sustained_crossing(np.ones((4, 2)), threshold_c=7.2, hold_days=3).tolist() == [NOT_REACHED] * 4


def test_shape_of_many_traces() -> None:
    water_c = np.full((2, 3, 6), 8.0)
    water_c[1, 2, 2:] = 7.0
    found = sustained_crossing(water_c, threshold_c=7.2, hold_days=4)
    assert found.shape == (2, 3)
    assert found[1, 2] == 2
    assert np.isinf(found).sum() == 5


def test_a_gap_is_refused() -> None:
    with pytest.raises(MissingWater, match="1 of 3 daily water values are missing"):
        sustained_crossing(np.array([7.0, np.nan, 7.0]), threshold_c=7.2, hold_days=1)


def test_warmer_water_never_settles_earlier() -> None:
    water_c = np.random.default_rng(7).normal(8.0, 2.0, size=(50, 90))
    cool, warm = (sustained_crossing(water_c + d, threshold_c=7.2, hold_days=3) for d in (0, 1))
    assert (warm >= cool).all()
    assert (warm > cool).any()
    assert np.isinf(warm).any()


# --- freezes, by hand


def test_28_f_stored_to_a_tenth_is_a_hard_freeze() -> None:
    # 28 °F is -2.222 °C, stored as -2.2 °C, which reads back as 28.04 °F.
    stored_c = round(f_to_c(28), 1)
    assert c_to_f(stored_c) == pytest.approx(28.04)
    minima = np.array([1.0, stored_c, -5.0])
    assert first_freeze(minima, limit_c=f_to_c(28)) == 1
    assert (minima <= f_to_c(28)).argmax() == 2  # the strict comparison comes a day late


def test_other_limits_survive_storing() -> None:
    for limit_f in (20, 32, 45, 50):
        assert round(f_to_c(limit_f), 1) <= f_to_c(limit_f) + STORED_TENTH_C
        assert round(f_to_c(limit_f + 0.2), 1) > f_to_c(limit_f) + STORED_TENTH_C


def test_allowance_is_a_twentieth_and_no_more() -> None:
    assert first_freeze(np.array([-2.17]), limit_c=f_to_c(28)) == NOT_REACHED
    assert first_freeze(np.array([-2.18]), limit_c=f_to_c(28)) == 0


def test_freezes_count_from_a_day_on_and_gaps_are_none() -> None:
    minima = np.array([-3.0, 1.0, np.nan, -3.0])
    assert first_freeze(minima, limit_c=0.0) == 0
    assert first_freeze(minima, limit_c=0.0, from_day=1) == 3
    assert first_freeze(minima, limit_c=-9.0) == NOT_REACHED
    assert first_freeze(minima[:0], limit_c=0.0) == NOT_REACHED
    assert first_freeze(minima, limit_c=0.0, from_day=4) == NOT_REACHED


def test_freezes_from_the_as_of_date_on() -> None:
    freeze = FreezeEvents((1, 4), LIMITS, as_of_day=70)
    for day, minima in [(70, [1, -2.2, -7, 1]), (71, [-2.2, -7, -9, 1]), (83, [0, 0, 0, 1])]:
        freeze.advance(day, np.array([minima], np.float32))
    assert freeze.hard_freeze.tolist() == [[71, 70, 70, NOT_REACHED]]
    assert freeze.plumbing_freeze.tolist() == [[NOT_REACHED, 71, 70, NOT_REACHED]]
    assert freeze.hard_freeze_soon.tolist() == [[True, True, True, False]]


def test_soon_is_the_as_of_date_and_the_13_days_after() -> None:
    freeze = FreezeEvents((1, 2), LIMITS, as_of_day=70)
    freeze.advance(70 + SOON_DAYS - 1, np.array([[-5.0, 0.0]], np.float32))
    freeze.advance(70 + SOON_DAYS, np.array([[-5.0, -5.0]], np.float32))
    assert freeze.hard_freeze_soon.tolist() == [[True, False]]


# --- water events, by hand


def test_start_and_sustained_crossing_follow_one_rule() -> None:
    events = run([12, 9.9, 10.1, 10.0, 9.0, 7.3, f_to_c(45), 7.0, 6.0, 9.0])
    assert events.start[0, 0] == 3
    assert events.sustained[0, 0] == 6


def test_a_crossing_may_lie_before_the_as_of_date() -> None:
    assert run([7.0] * 8, as_of_day=6).sustained[0, 0] == 0


def test_rebound_needs_two_days_a_degree_above() -> None:
    settled, above, below = [7.0] * 3, LIMITS.sustained_c + REBOUND_C + 0.01, LIMITS.sustained_c + 0.9
    assert not run([*settled, above, 7.0, below]).rebound[0, 0]
    assert run([*settled, above, 7.0, above]).rebound[0, 0]
    assert run([*settled, 7.0, above, above]).rebound[0, 0]
    assert not run([above, above, above, *settled]).rebound[0, 0]
    assert not run([above] * 6).rebound[0, 0]


def test_ice_needs_water_at_zero_and_heat_still_leaving() -> None:
    assert run([3.0, 0.0, 0.0]).ice_on[0, 0] == NOT_REACHED
    assert run([3.0, 0.0, -0.1, -2.0]).ice_on[0, 0] == 2
    assert run([-2.0, -2.0, -2.0], as_of_day=1).ice_on[0, 0] == 1
    assert run([-2.0, 1.0, 2.0], as_of_day=1).ice_on[0, 0] == NOT_REACHED


def test_water_now_is_that_of_the_day_before() -> None:
    assert run([12.0, 11.0, 10.0], as_of_day=2).water_now_c[0, 0] == 11.0
    assert run([12.0, 11.0], as_of_day=0).water_now_c[0, 0] == 20.0  # 31 July


def test_the_error_shifts_the_water_but_not_its_heat() -> None:
    events = WaterEvents(draws_that_follow_the_air(residual_c=-2.0), LIMITS, 0)
    water = [events.advance(day, np.array([[value]], np.float32))[0, 0] for day, value in enumerate((9, 1))]
    assert water == [7.0, 0.0]


# --- day by day against whole traces


def random_draws(random: np.random.Generator, sites: int, members: int) -> WaterDraws:
    day = np.arange(FALL_DAYS)
    terms = np.stack([1.5 - day / 60, np.cos(day / 60), np.sin(day / 60)], axis=1)[:, :, None]
    coefficients = random.normal(0.0, 0.05, (6, sites, members)) + np.array(
        [9.8, 0.84, 2.0, 0.0, 0.0, 0.0]
    ).reshape(6, 1, 1)
    return WaterDraws(
        start_c=random.normal(22.0, 1.0, (sites, members)).astype(np.float32),
        step=random.uniform(0.1, 0.8, (sites, members)).astype(np.float32),
        coefficients=coefficients.astype(np.float32),
        residual_c=random.normal(0.0, 0.8, (FALL_DAYS, sites, members)).astype(np.float32),
        terms=np.repeat(terms, sites, axis=2).astype(np.float32),
    )


def whole_trace(draws: WaterDraws, air_c: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Water and equilibrium in double precision, shape (site, m, day); `air_c` (day, site, m)."""
    c = draws.coefficients.astype(float)
    heat = draws.start_c.astype(float)
    water, equilibrium = [], []
    for day in range(FALL_DAYS):
        sun, sine, cosine = draws.terms[day].astype(float)[:, :, None]
        slope = c[1] + c[4] * cosine + c[5] * sine
        target = c[0] + c[2] * sun + c[3] * sine + slope * (air_c[day] - 10.0)
        heat = np.maximum(heat * (1 - draws.step) + draws.step * target, 0.0)
        water.append(np.maximum(heat + draws.residual_c[day], 0.0))
        equilibrium.append(target)
    return np.stack(water, axis=-1), np.stack(equilibrium, axis=-1)


def test_events_kept_day_by_day_are_those_of_the_whole_trace() -> None:
    random = np.random.default_rng(4)
    draws = random_draws(random, 3, 40)
    day = np.arange(FALL_DAYS).reshape(-1, 1, 1)
    air_c = 22.0 - 0.22 * day + random.normal(0.0, 4.0, (FALL_DAYS, 3, 40))
    minima = air_c - 5.0
    as_of_day = 75
    limits = replace(LIMITS, hold_days=5)
    events = WaterEvents(draws, limits, as_of_day)
    freeze = FreezeEvents((3, 40), limits, as_of_day)
    for n in range(FALL_DAYS):
        events.advance(n, air_c[n].astype(np.float32))
        if n >= as_of_day:
            freeze.advance(n, minima[n].astype(np.float32))
    water, equilibrium = whole_trace(draws, air_c)
    start = sustained_crossing(water, threshold_c=limits.start_c, hold_days=5)
    sustained = sustained_crossing(water, threshold_c=limits.sustained_c, hold_days=5)
    assert (events.start == start).all()
    assert (events.sustained == sustained).all()
    assert np.isfinite(sustained).any()
    later = np.arange(FALL_DAYS) > sustained[..., None]
    warm = (later & (water >= limits.sustained_c + REBOUND_C)).sum(axis=-1)
    assert (events.rebound == (warm >= 2)).all()
    assert 0 < events.rebound.sum() < 120
    ice = (water <= 0.0) & (equilibrium < 0.0) & (np.arange(FALL_DAYS) >= as_of_day)
    assert (events.ice_on == np.where(ice.any(axis=-1), ice.argmax(axis=-1), NOT_REACHED)).all()
    assert events.water_now_c == pytest.approx(water[..., as_of_day - 1], abs=1e-4)
    trace = np.moveaxis(minima, 0, -1)
    hard = first_freeze(trace, limit_c=limits.hard_freeze_c, from_day=as_of_day)
    assert (freeze.hard_freeze == hard).all()
    plumbing = first_freeze(trace, limit_c=limits.plumbing_freeze_c, from_day=as_of_day)
    assert (freeze.plumbing_freeze == plumbing).all()
    assert (freeze.plumbing_freeze >= freeze.hard_freeze).all()


def test_some_members_of_a_sites_events() -> None:
    events = SiteEvents(
        start=np.arange(4, dtype=np.float32),
        sustained=None,
        ice_on=None,
        rebound=np.array([True, False, True, False]),
        hard_freeze=None,
        plumbing_freeze=None,
        hard_freeze_soon=None,
    )
    picked = events.pick(np.array([3, 0]))
    assert picked.start is not None
    assert picked.rebound is not None
    assert picked.start.tolist() == [3.0, 0.0]
    assert picked.rebound.tolist() == [False, True]
    assert picked.sustained is None
