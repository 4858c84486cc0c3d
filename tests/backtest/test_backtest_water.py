"""Point water against the program's own recursion, truth and reference against hand-made falls."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecaster.backtest.climatology import EarlierFalls, reference
from forecaster.backtest.past import physics_points
from forecaster.backtest.point_water import (
    Runs,
    Watch,
    member_crossings,
    observed_water,
    runs_until,
    with_level,
)
from forecaster.backtest.station_air import WARM_UP_DAYS
from forecaster.backtest.truth import measured_crossing, measured_falls
from forecaster.events import Limits, WaterEvents, sustained_crossing
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.water.draws import WaterDraws
from forecaster.water.lagged import day_of_year
from forecaster.water.physics import REFERENCE_SUN_W_M2, SUMMER_SOLSTICE, clear_sky_sun

SITES = [
    Site("A", "", 44.0, -90.0, 0.5, exposure="sheltered"),
    Site("B", "", 45.0, -90.0, 1.2, exposure="open", waterfall=False),
]
LIMITS = Limits(10.0, 65 / 9, 5, 0.0, -20 / 9, -20 / 3)


def air(count: int, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    day = np.arange(-WARM_UP_DAYS, FALL_DAYS)
    usual = 21.0 - 26.0 * np.sin(np.pi * np.clip(day + 20, 0, None) / 400.0)
    return usual + rng.normal(0.0, 3.0, (count, len(day)))


# --- the same as the program's own events
def test_same_crossings_as_the_forecasts_own_recursion():
    points = physics_points(SITES)
    points = replace(points, level_c=np.array([0.3, -0.4]))
    drawn = air(40)
    start = observed_water(points, drawn[:2, :WARM_UP_DAYS], 2020)[:, -1]
    days = day_of_year(fall_start(2020), FALL_DAYS)
    turn = 2 * np.pi * (days - SUMMER_SOLSTICE) / 365.25
    sun = [(clear_sky_sun(site.latitude, days) - REFERENCE_SUN_W_M2) / 100.0 for site in SITES]
    terms = np.stack(
        [np.stack(sun, axis=1), *(np.repeat(f(turn)[:, None], 2, axis=1) for f in (np.sin, np.cos))], axis=1
    )
    draws = WaterDraws(
        start_c=np.repeat(start[:, None], 40, axis=1).astype(np.float32),
        step=np.repeat(points.step[:, None], 40, axis=1).astype(np.float32),
        coefficients=np.repeat(points.coefficients.T[:, :, None], 40, axis=2).astype(np.float32),
        residual_c=np.broadcast_to(points.level_c[None, :, None], (FALL_DAYS, 2, 40)).astype(np.float32),
        terms=terms.astype(np.float32),
    )
    events = WaterEvents(draws, LIMITS, as_of_day=0)
    for day in range(FALL_DAYS):
        events.advance(day, np.broadcast_to(drawn[:, WARM_UP_DAYS + day], (2, 40)).astype(np.float32))
    ours = member_crossings(
        points, 2020,
        state_c=start,
        runs=Runs(np.zeros((2, 2), int), np.full((2, 2), np.inf)),
        air_c=np.ascontiguousarray(drawn[:, WARM_UP_DAYS:].T[:, None, :], np.float32),
        air_of=np.zeros(2, int),
        first_day=0,
        watched=(Watch(10.0, 5), Watch(65 / 9, 5)),
    )  # fmt: skip
    assert (ours[0] == events.start).all()
    assert (ours[1] == events.sustained).all()
    assert len(np.unique(ours[1])) > 5


def test_a_run_that_began_before_the_forecast_goes_on():
    points = physics_points(SITES)
    whole = air(1)
    both = np.repeat(whole, 2, axis=0)
    water = with_level(points, observed_water(points, both, 2020)[:, WARM_UP_DAYS:])
    truth = sustained_crossing(water, threshold_c=65 / 9, hold_days=5)
    for first_day in (int(truth[0]) - 3, int(truth[0]) + 2, int(truth[0]) + 30):
        past = observed_water(points, both[:, : WARM_UP_DAYS + first_day], 2020)
        watched = (Watch(65 / 9, 5),)
        found = member_crossings(
            points, 2020,
            state_c=past[:, -1],
            runs=runs_until(with_level(points, past[:, WARM_UP_DAYS:]), watched, first_day),
            air_c=np.ascontiguousarray(whole[:, WARM_UP_DAYS + first_day :].T[:, None, :], np.float32),
            air_of=np.zeros(2, int),
            first_day=first_day,
            watched=watched,
        )  # fmt: skip
        assert found[0, :, 0].tolist() == truth.tolist()


# --- measured truth, by hand
def test_measured_crossing_needs_dense_readings():
    water = np.full(FALL_DAYS, 15.0)
    water[90:] = 6.0
    assert measured_crossing(water, 7.2, 5) == 90.0
    holes = water.copy()
    holes[[50, 51, 70]] = np.nan  # two days at most in a row: bridged
    assert measured_crossing(holes, 7.2, 5) == 90.0
    holes[72:75] = np.nan  # three days in a row
    assert np.isnan(measured_crossing(holes, 7.2, 5))
    ends = water.copy()
    ends[95:] = np.nan  # read only to four days past the crossing: the fifth is missing, 90 % are there
    assert measured_crossing(ends, 7.2, 5) == 90.0
    ends[92:] = np.nan
    assert measured_crossing(ends, 7.2, 5) != 90.0
    late = water.copy()
    late[:60] = np.nan
    assert np.isnan(measured_crossing(late, 7.2, 5))


def test_never_is_measured_only_if_read_to_the_end():
    warm = np.full(FALL_DAYS, 12.0)
    assert np.isinf(measured_crossing(warm, 7.2, 5))
    warm[150:] = np.nan
    assert np.isnan(measured_crossing(warm, 7.2, 5))


def test_few_readings_are_no_truth():
    few = [Reading("A", date(2020, 10, n), 12.0) for n in range(1, 9)]
    assert measured_falls(few, SITES[0], LIMITS) == {}


# --- the reference, by hand
def test_reference_takes_only_falls_still_to_come():
    crossing = np.concatenate([np.arange(80.0, 100.0), [np.inf]])[:, None, None]
    freeze = np.stack([np.full((21, 1, FALL_DAYS), 95.0), np.full((21, 1, FALL_DAYS), 98.0)])
    earlier = EarlierFalls(tuple(range(2000, 2021)), crossing, freeze, np.zeros(1, int))
    known = reference(earlier, np.array([[98.0]]), as_of_day=88, hold_days=5)
    # C + 4 >= 88: those from 84 on, 16 and never; a freeze on day 95 is first where C is 96-99 or never
    assert known.count.tolist() == [[17]]
    assert known.freeze_first[0, 0, 0] == pytest.approx(5 / 17)
    # a plumbing freeze on day 98 is first where C is 99 or never
    assert known.freeze_first[1, 0, 0] == pytest.approx(2 / 17)
    assert known.last_fall[0, 0] == FALL_DAYS  # the last fall never settled: 1 February
    assert known.median[0, 0] == 92.0
    late = reference(earlier, np.array([[98.0]]), as_of_day=91, hold_days=5)
    assert late.count.tolist() == [[14]]
    assert np.isnan(late.crps_days).all()
