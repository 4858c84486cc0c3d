"""All sites in all members run forward together: air of the sites, order, depth, and who shares what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from numpy.typing import NDArray

from forecaster.events import Limits, SiteEvents, first_freeze
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.risk import fall_quantile
from forecaster.scenarios import Members
from forecaster.season.sites import Site
from forecaster.simulate import BLOCK_SITES, run_members, site_air_members
from forecaster.units import f_to_c
from forecaster.water.draws import draw_route
from forecaster.water.lagged import SiteSeries
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond, PondFit, RouteFit, fit_route
from forecaster.water.state import water_path
from forecaster.weather.site_air import AirMatrices

Floats = NDArray[np.float64]

FALL = 2025
AS_OF_DAY = 75
COUNT = 120
LIMITS = Limits(f_to_c(50), f_to_c(45), 5, 0.0, f_to_c(28), f_to_c(20))
DAY = np.arange(FALL_DAYS)


def usual_c(day: NDArray[np.int64]) -> Floats:
    return np.asarray(8.0 + 15.0 * np.cos(2 * np.pi * (day + 12) / 365.25))


def invented_members(head: int = 4) -> Members:
    """Thirty courses at two stations, AR(1) from day to day; the first days replaced by a head."""
    random = np.random.default_rng(9)
    weather = random.normal(0.0, 4.0, (30, 2, FALL_DAYS))
    for day in range(1, FALL_DAYS):
        weather[:, :, day] = 0.7 * weather[:, :, day - 1] + np.sqrt(1 - 0.7**2) * weather[:, :, day]
    means = usual_c(DAY) + weather
    base = np.arange(COUNT) % 30
    return Members(
        fall=FALL,
        first_day=AS_OF_DAY,
        source_fall=2000 + base,
        shift_days=np.zeros(COUNT, np.int64),
        base=base,
        tmean_base_c=means,
        tmin_base_c=means - 5.0,
        head_from=AS_OF_DAY,
        tmean_head_c=random.normal(12.0, 1.0, (COUNT, 2, head)),
        tmin_head_c=random.normal(5.0, 1.0, (COUNT, 2, head)),
    )


MEMBERS = invented_members()
PAST_C = usual_c(DAY)


def matrices(count: int, minima: Sequence[bool] | None = None) -> AirMatrices:
    """Each site: three quarters of the first station, a quarter of the second, half a degree down."""
    weights = np.tile([0.75, 0.25], (count, 1))
    low = weights * np.array([[float(has)] for has in (minima or [True] * count)])
    return AirMatrices(weights, low, np.full(count, -0.5), np.full(count, -1.0))


def pond(site_id: str, depth_m: float) -> Pond:
    days = np.arange(-200, AS_OF_DAY)
    series = SiteSeries(date(2025, 1, 13), usual_c(days) - 0.5, 43.0)
    assert (fall_start(FALL) - series.first_day).days == 200
    return Pond(site_id, pond_prior(Site(site_id, "Invented", 43.0, -88.0, depth_m)), series)


def run(
    fits: Sequence[PondFit | None], route: RouteFit, minima: Sequence[bool] | None = None
) -> list[SiteEvents]:
    return list(
        run_members(
            MEMBERS,
            matrices(len(fits), minima),
            np.tile(PAST_C, (len(fits), 1)),
            fits,
            draw_route(route, count=COUNT, seed=1),
            limits=LIMITS,
            as_of_day=AS_OF_DAY,
            seed=1,
        )
    )


def route_of(*ponds: Pond) -> RouteFit:
    return fit_route(ponds, fall=FALL)


# --- air at the sites


def test_air_is_observed_then_the_head_then_the_course() -> None:
    past = np.stack([PAST_C, PAST_C + 1.0])
    air = site_air_members(MEMBERS, matrices(2), past, [0, 1])
    assert air.mean_c(74)[:, 0].tolist() == past[:, 74].astype(np.float32).tolist()
    assert air.mean_c(74).shape == (2, 1)
    weights = np.array([0.75, 0.25])
    head = MEMBERS.tmean_head_c[:, :, 2] @ weights - 0.5
    assert air.mean_c(AS_OF_DAY + 2)[0] == pytest.approx(head, abs=1e-5)
    course = MEMBERS.tmin_base_c[MEMBERS.base][:, :, 120] @ weights - 1.0
    assert air.minimum_c(120)[1] == pytest.approx(course, abs=1e-5)
    edge = MEMBERS.tmean_base_c[MEMBERS.base][:, :, AS_OF_DAY + 4] @ weights - 0.5
    assert air.mean_c(AS_OF_DAY + 4)[0] == pytest.approx(edge, abs=1e-5)


def test_freezes_are_those_of_the_members_minima() -> None:
    events = run([None], route_of())[0]
    air = site_air_members(MEMBERS, matrices(1), PAST_C[None, :], [0])
    minima = np.stack([air.minimum_c(int(day))[0] for day in DAY[AS_OF_DAY:]], axis=-1)
    hard = first_freeze(minima, limit_c=LIMITS.hard_freeze_c) + AS_OF_DAY
    assert events.hard_freeze is not None
    assert (events.hard_freeze == hard).all()
    assert np.isfinite(hard).any()


# --- who has what


def test_answers_come_in_the_order_of_the_sites() -> None:
    route = route_of(pond("A", 0.5), pond("B", 2.5))
    dry_first = run([None, route.ponds["A"], None, route.ponds["B"]], route)
    wet_first = run([route.ponds["B"], route.ponds["A"]], route)
    assert dry_first[0].sustained is None
    assert dry_first[2].water_now_c is None
    assert dry_first[1].sustained is not None
    assert wet_first[1].sustained is not None
    assert dry_first[1].sustained.tobytes() == wet_first[1].sustained.tobytes()
    assert dry_first[0].hard_freeze is not None
    assert dry_first[1].hard_freeze is not None
    assert dry_first[0].hard_freeze.tobytes() == dry_first[1].hard_freeze.tobytes()


def test_without_minima_freezes_are_refused_and_water_is_not() -> None:
    route = route_of(pond("A", 0.5))
    events = run([route.ponds["A"], None], route, minima=[False, True])
    assert [events[0].hard_freeze, events[0].plumbing_freeze, events[0].hard_freeze_soon] == [None] * 3
    assert events[0].sustained is not None
    assert events[1].hard_freeze is not None


def test_a_site_beyond_the_first_block_is_the_same_as_in_it() -> None:
    names = [f"P{n:02}" for n in range(BLOCK_SITES + 2)]
    route = route_of(*(pond(name, 0.8) for name in names))
    fits = [route.ponds[name] for name in names]
    whole, turned = run(fits, route), run(fits[::-1], route)[::-1]
    for first, second in zip(whole, turned, strict=True):
        for name in ("start", "sustained", "ice_on", "hard_freeze", "water_now_c"):
            assert getattr(first, name).tobytes() == getattr(second, name).tobytes()


def test_a_silent_site_of_the_same_kind_changes_no_event_of_another() -> None:
    few, more = route_of(pond("A", 0.5)), route_of(pond("A", 0.5), pond("Z", 3.0))
    alone = run([few.ponds["A"]], few)[0]
    beside = run([more.ponds["A"], more.ponds["Z"]], more)[0]
    for name in ("start", "sustained", "ice_on", "rebound", "water_now_c"):
        assert getattr(alone, name).tobytes() == getattr(beside, name).tobytes(), name


# --- depth


def medians_by_depth(*depths_m: float) -> list[tuple[float, float]]:
    """Median start and sustained crossing of one pond, everything alike but its depth, draws too."""
    found = []
    for depth_m in depths_m:
        route = route_of(pond("A", depth_m))
        events = run([route.ponds["A"]], route)[0]
        assert events.start is not None
        assert events.sustained is not None
        assert (events.start <= events.sustained).all()
        found.append((fall_quantile(events.start, 0.5), fall_quantile(events.sustained, 0.5)))
    return found


def test_deeper_water_settles_no_earlier() -> None:
    starts, settled = zip(*medians_by_depth(0.6, 1.2, 2.4, 4.8), strict=True)
    assert list(starts) == sorted(starts)
    assert list(settled) == sorted(settled)
    assert settled[-1] > settled[0] + 5


def test_very_shallow_water_may_settle_a_day_later() -> None:
    # A foot of water follows every warm day, which breaks the run of five days that settling asks for.
    shallow, deeper = medians_by_depth(0.15, 0.6)
    assert shallow[0] <= deeper[0] + 1
    assert shallow[1] <= deeper[1] + 1


def test_water_today_starts_the_members() -> None:
    """Members' water of yesterday scatters around the state's with the state's spread."""
    route = route_of(pond("A", 0.8))
    events = run([route.ponds["A"]], route)[0]
    path = water_path(route.ponds["A"], day_count=AS_OF_DAY)
    assert events.water_now_c is not None
    assert events.water_now_c.mean() == pytest.approx(
        path.water_c[-1], abs=5 * path.sd_c[-1] / np.sqrt(COUNT)
    )
    assert events.water_now_c.std() == pytest.approx(path.sd_c[-1], rel=0.3)


def test_freezes_on_the_as_of_date_count_and_earlier_ones_do_not() -> None:
    cold = replace(MEMBERS, tmin_base_c=np.full_like(MEMBERS.tmin_base_c, -9.0), head_from=AS_OF_DAY)
    cold = replace(cold, tmean_head_c=cold.tmean_head_c[:, :, :0], tmin_head_c=cold.tmin_head_c[:, :, :0])
    found = next(
        run_members(
            cold,
            matrices(1),
            PAST_C[None, :],
            [None],
            np.zeros((COUNT, 8)),
            limits=LIMITS,
            as_of_day=AS_OF_DAY,
            seed=1,
        )
    )
    assert found.hard_freeze is not None
    assert (found.hard_freeze == AS_OF_DAY).all()
    assert found.hard_freeze_soon is not None
    assert found.hard_freeze_soon.all()
