"""Where a reading is worth most: the quick values against planning again for every outcome of the reading."""

from dataclasses import replace

import numpy as np
from route_cases import FALL, MON, crew, task

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.route.assign import RouteTask, Visit
from forecaster.route.solve import solve
from forecaster.route.value_of_reading import (
    ReadingTask,
    parts_of,
    promise,
    reading_keys,
    reading_value,
    reading_values,
)
from forecaster.route.window import loss_by_day
from forecaster.season.settings import Costs
from forecaster.season.sites import Site

MEMBERS = 300
COSTS = Costs()
LAST = MON.replace(day=31)


def events(rng: np.random.Generator, *, spread_c: float, days_a_degree: float) -> SiteEvents:
    """Water today spreads, the start crossing follows it; frost comes at any time."""
    water_c = rng.normal(11.0, spread_c, MEMBERS)
    start = 75 + days_a_degree * (water_c - 11.0) + rng.normal(0, 2, MEMBERS)
    frost = rng.normal(90, 9, MEMBERS).round()
    return SiteEvents(
        start.round().astype(np.float32),
        start.astype(np.float32) + 9,
        np.full(MEMBERS, np.inf, np.float32),
        None,
        frost.astype(np.float32),
        (frost + 12).astype(np.float32),
        None,
        water_c.astype(np.float32),
    )


def reading_task(site_id: str, seen: SiteEvents) -> ReadingTask:
    day = np.arange(FALL_DAYS)
    allowed = (day >= fall_day(MON, FALL)) & (day <= fall_day(LAST, FALL))
    loss = loss_by_day(seen, COSTS, plumbing_exposure=0.6).total
    best = int(np.argmin(np.where(allowed, loss, np.inf)))
    return ReadingTask(site_id, seen, 0.6, allowed, np.zeros(FALL_DAYS), best)


def test_a_surer_water_and_a_loss_that_does_not_hang_on_it_are_worth_less():
    sure, unsure, idle = (
        reading_task(name, events(np.random.default_rng(4), spread_c=spread, days_a_degree=slope))
        for name, spread, slope in (("sure", 0.1, 6.0), ("unsure", 1.5, 6.0), ("idle", 1.5, 0.0))
    )
    value = {task.site_id: reading_value(task, COSTS, seed=1) for task in (sure, unsure, idle)}
    assert value["unsure"] > 4 * max(value["sure"], value["idle"])
    assert promise(unsure, COSTS) > promise(sure, COSTS) > 0
    assert promise(unsure, COSTS) > promise(idle, COSTS)
    assert reading_values([sure, unsure, idle], COSTS, seed=1)[0][0] == "unsure"


def test_no_water_forecast_no_value():
    dry = SiteEvents(None, None, None, None, None, None, None)
    assert reading_value(reading_task("dry", dry), COSTS, seed=1) == 0.0
    assert promise(reading_task("dry", dry), COSTS) == 0.0


def small_season() -> tuple[RouteTask, dict[str, SiteEvents]]:
    rng = np.random.default_rng(9)
    seen = {
        f"S{n}": events(rng, spread_c=float(spread), days_a_degree=float(slope))
        for n, (spread, slope) in enumerate(
            zip([0.2, 2.0, 1.2, 0.6, 1.8, 0.3], [5.0, 7.0, 1.0, 6.0, 4.0, 2.0], strict=True)
        )
    }
    return planned_on(seen, {}), seen


def planned_on(seen: dict[str, SiteEvents], parts: dict[str, np.ndarray]) -> RouteTask:
    """The season as it would be planned if some sites' water were known to lie in a part of the members."""
    visits = []
    for n, (site_id, own) in enumerate(seen.items()):
        known = own.pick(parts[site_id]) if site_id in parts else own
        site = Site(site_id, site_id, 43.0 + n / 50, -88.0, 1.0)
        visits.append(Visit(site, loss_by_day(known, COSTS, plumbing_exposure=0.6).total, 2.0))
    return task(*visits, crews=(crew(hours=5.0, last=LAST),))


def full_value(seen: dict[str, SiteEvents], site_id: str, before: float) -> float:
    """By how much the whole plan gets cheaper on average, planned anew for every outcome of one reading."""
    water_c = np.asarray(seen[site_id].water_now_c, float)
    shown_c, by_chance = reading_keys(water_c, seed=1)

    def mean_cost(key: np.ndarray) -> float:
        parts = parts_of(key)
        costs = [solve(planned_on(seen, {site_id: part})).assignment.cost for part in parts]
        return float(np.average(costs, weights=[len(part) for part in parts]))

    assert mean_cost(by_chance) <= before + 1e-6
    return mean_cost(by_chance) - mean_cost(shown_c)


def test_the_quick_values_rank_as_the_full_analysis_does():
    whole, seen = small_season()
    before = solve(whole).assignment.cost
    full = {site_id: full_value(seen, site_id, before) for site_id in seen}
    quick = {
        site_id: reading_value(reading_task(site_id, own), COSTS, seed=1) for site_id, own in seen.items()
    }
    screened = {site_id: promise(reading_task(site_id, own), COSTS) for site_id, own in seen.items()}
    first_two = sorted(full, key=lambda s: -full[s])[:2]
    assert set(sorted(quick, key=lambda s: -quick[s])[:2]) == set(first_two)
    assert set(first_two) <= set(sorted(screened, key=lambda s: -screened[s])[:3])
    assert max(abs(quick[s] - full[s]) for s in seen) < 0.35 * max(full.values())


def test_dear_hours_on_other_days_make_a_reading_worth_less():
    seen = events(np.random.default_rng(4), spread_c=1.5, days_a_degree=6.0)
    free = reading_task("A", seen)
    day = np.arange(FALL_DAYS)
    tied = replace(free, price=np.where(day == free.planned, 0.0, 500.0))
    assert reading_value(tied, COSTS, seed=1) < 0.2 * reading_value(free, COSTS, seed=1)


def test_the_demo_lists_at_most_five_with_a_value(demo_forecast):
    values = [value for _, value in demo_forecast.measure_next]
    assert 1 <= len(values) <= 5
    assert values == sorted(values, reverse=True)
    assert min(values) > 0
