"""Close today or look again: worked cases, invariants, and a case whose optimum is known."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from forecaster.build import fit_known, forecast_route
from forecaster.events import first_freeze, sustained_crossing
from forecaster.forecast import RouteForecast
from forecaster.known import Known, atmosphere
from forecaster.pipeline import load_known
from forecaster.report.contract import route_json
from forecaster.report.sentences import could_wait
from forecaster.route.looking_again import Candidate, _weather_ahead
from forecaster.route.waiting import Ahead, fitted, waiting_saves
from forecaster.simulate import run_members
from forecaster.water.draws import draw_route

COSTS = (10.0, 60.0, 400.0, 150.0)
NEVER = np.inf


def ahead(start: list[float], hard: list[float], water: np.ndarray | None = None, day: int = 80) -> Ahead:
    count = len(start)
    never = np.full((1, count), NEVER)
    paths = np.zeros((1, count, 10)) if water is None else water[None]
    return Ahead(
        day, paths, np.zeros_like(paths), np.array([start]), np.array([hard]), never, never, np.ones(1)
    )


def test_the_loss_of_a_day_by_hand():
    one = ahead([85.0], [82.0])
    one = replace(one, plumbing_freeze=np.array([[84.0]]), exposure=np.array([0.5]))
    found = [float(one.loss(day, COSTS)[0, 0]) for day in (80, 82, 84, 86)]
    assert found == [50.0, 30.0 + 60.0, 10.0 + 60.0 + 200.0, 260.0]
    assert ahead([NEVER], [NEVER]).loss(80, COSTS)[0, 0] == 1040.0  # never is 1 February, day 184


def test_a_sure_fall_is_waited_for_until_its_best_day():
    # every member: start crossing on day 83, no frost: today costs 30, its best day nothing
    assert waiting_saves(ahead([83.0] * 20, [NEVER] * 20), COSTS) == pytest.approx([30.0])
    # crossed already, a hard freeze tomorrow for sure: waiting costs 60
    assert waiting_saves(ahead([79.0] * 20, [81.0] * 20), COSTS) == pytest.approx([-60.0])


def test_tomorrow_tells_cold_from_warm():
    """Half the falls turn cold tomorrow (crossing today, frost on day 83), half stay warm for ten days.

    Chosen now, closing today costs 0.5 x 0 + 0.5 x 100 = 50 and the best later day 0.5 x 60 = 30 (day 90).
    Looking again tomorrow tells them apart by the water: cold ones close at once, warm ones on day 90.
    """
    start = np.array([80.0] * 50 + [90.0] * 50)
    hard = np.array([83.0] * 50 + [NEVER] * 50)
    water = np.where(np.arange(100)[:, None] < 50, 8.0, 14.0) + np.zeros((100, 12))
    case = ahead(start.tolist(), hard.tolist(), water)
    assert case.loss(80, COSTS).mean() == 50.0
    assert case.loss(90, COSTS).mean() == 30.0
    assert waiting_saves(case, COSTS)[0] == pytest.approx(50.0, abs=0.5)
    blind = replace(case, water_c=np.full_like(case.water_c, 10.0), hard_freeze=case.hard_freeze)
    assert 20.0 - 0.5 <= waiting_saves(blind, COSTS)[0] < 50.0  # only the frost itself tells


def test_waiting_is_worth_no_less_than_choosing_the_best_later_day_and_no_more_than_knowing():
    rng = np.random.default_rng(5)
    for _ in range(20):
        count = 400
        start = rng.normal(88.0, 6.0, count).round()
        hard = (start + rng.normal(4.0, 8.0, count)).round()
        water = 10.0 + (start[:, None] - 80.0 - np.arange(62)) / 3.0 + rng.normal(0.0, 0.5, (count, 62))
        case = ahead(start.tolist(), hard.tolist(), water)
        by_day = np.array([case.loss(day, COSTS)[0] for day in range(80, 140)])
        chosen, knowing = by_day.mean(axis=1)[1:].min(), by_day[1:].min(axis=0).mean()
        value = by_day[0].mean() - waiting_saves(case, COSTS)[0]
        assert knowing - 1e-9 <= value <= chosen + 1.0  # the regression may miss by little


def test_least_squares_is_that_of_numpy():
    rng = np.random.default_rng(2)
    known, value = rng.normal(size=(2, 200, 3)), rng.normal(size=(2, 200))
    theirs = [known[n] @ np.linalg.lstsq(known[n], value[n], rcond=None)[0] for n in range(2)]
    assert fitted(value, known) == pytest.approx(np.array(theirs), abs=0.01)


def test_on_the_last_day_there_is_nothing_to_wait_for():
    assert waiting_saves(ahead([90.0], [NEVER], np.zeros((1, 1)), day=183), COSTS)[0] == -np.inf


# --- with the office's forecast
@pytest.fixture(scope="module")
def morning(plain_folder: Path) -> tuple[Known, RouteForecast]:
    known = load_known(plain_folder, date(2020, 10, 19))
    return known, forecast_route(known)


def test_the_office_is_told_where_today_is_best(morning: tuple[Known, RouteForecast]):
    known, forecast = morning
    told = {site.site.site_id: site.looking_again_saves for site in forecast.sites}
    today = {site.site.site_id for site in forecast.sites if site.recommended_date == known.as_of}
    assert today
    assert {site_id for site_id, saves in told.items() if saves is not None} == today
    record = {site["site_id"]: site for site in json.loads(route_json(forecast))["sites"]}
    for site in forecast.sites:
        found = record[site.site.site_id]["looking_again_saves"]
        assert found == (
            None if told[site.site.site_id] is None else round(told[site.site.site_id] or 0.0, 2)
        )
        words = could_wait(site)
        assert (words == "") == (site.site.site_id not in today)
    some = next(site for site in forecast.sites if site.site.site_id in today)
    assert "look again tomorrow" in could_wait(replace(some, looking_again_saves=12.3))
    assert "$12" in could_wait(replace(some, looking_again_saves=12.3))
    assert "nothing is gained" in could_wait(replace(some, looking_again_saves=-3.0))


def test_the_second_run_is_the_first_one_again(plain_folder: Path):
    """Crossings read off the kept water are those of the forecast's own members."""
    known = load_known(plain_folder, date(2020, 10, 1))
    air = atmosphere(known, known.sites)
    fit, _ = fit_known(known, known.sites, air)
    route = draw_route(fit, count=air.members.count, seed=known.settings.season.seed)
    rows = list(range(len(known.sites)))
    ponds = [fit.ponds[site.site_id] for site in known.sites]
    events = list(
        run_members(
            air.members, air.matrices, air.past_mean_c, ponds, route, limits=known.limits,
            as_of_day=known.as_of_day, seed=known.settings.season.seed,
        )
    )  # fmt: skip
    block = [Candidate(n, ponds[n], events[n], 1.0, np.zeros(1)) for n in rows]
    water, minimum = _weather_ahead(known, air, route, block)
    assert minimum.shape == water.shape
    freeze = first_freeze(minimum, limit_c=known.limits.hard_freeze_c) + known.as_of_day
    for at, event in enumerate(events):
        assert event.hard_freeze is not None
        seen = event.hard_freeze[: water.shape[1]]
        near = seen < known.as_of_day + water.shape[2]
        assert near.any()
        assert (freeze[at][near] == seen[near]).all()
    limit, hold = known.limits.start_c, known.limits.hold_days
    found = sustained_crossing(water, threshold_c=np.float32(limit), hold_days=hold) + known.as_of_day
    for at, event in enumerate(events):
        assert event.start is not None
        drawn = event.start[: water.shape[1]]
        still_warm = (water[at, :, 0] > limit) & (drawn >= known.as_of_day)
        assert still_warm.sum() > 20
        assert (found[at][still_warm] == drawn[still_warm]).all()
