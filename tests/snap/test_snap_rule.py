"""The parts of the snap by hand arithmetic: days, ice, what a visit saves, the day before dark."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest

from forecaster.route.travel import Travel
from forecaster.season.settings import Costs, Crew, SnapSettings
from forecaster.season.sites import Site
from forecaster.season.state_records import ClosedEvent, Note
from forecaster.snap.gas import gas_sites
from forecaster.snap.ice_cover import IceCover, grown_cm
from forecaster.snap.records import Ice, SiteState, SnapSite
from forecaster.snap.saving import closing_hours, hours_left, saved_by_closing, saved_by_quick_visit
from forecaster.snap.spread import LowSpread, drawn_lows, low_spread
from forecaster.snap.states import in_snap
from forecaster.snap.today import crews_today, day_plan
from forecaster.units import f_to_c
from forecaster.water.ice import stefan_thickness_cm, thin_ice_thickness_cm
from forecaster.weather.stations import Station, Weather

HARD, PLUMBING = f_to_c(28), f_to_c(20)
SATURDAY = date(2025, 11, 15)


def pond(site_id: str = "A", **changes) -> Site:
    return replace(Site(site_id, "", 43.0, -88.0, 0.6, waterfall=False, plumbing_exposure=0.6), **changes)


def state(
    site: Site, *, so_far=0.0, new=0.0, hard=0.0, ice=0.0, ice_new=0.0, cover=0.0, warm=0.0, running=False
):
    now = Ice(ice, 0.0, 0.0, 1.0, 2.0)
    return SiteState(
        site, "S", running, (), 0.0, hard, so_far, hard, so_far + new, hard, new,
        now, now, ice_new, cover, cover, warm,
    )  # fmt: skip


# --- days


@pytest.mark.parametrize(
    ("low_f", "days"),
    [
        ([28.0, 29.0, 28.0], []),  # single hard freezes are no snap
        ([30.0, 28.0, 28.04, 31.0], [1, 2]),  # 28 °F stored to a tenth of a degree C is 28.04
        ([27.0, 27.0, 20.04, 31.0, 20.0], [0, 1, 2, 4]),
        ([28.2, 28.2, 20.2], []),
    ],
)
def test_days_of_a_snap(low_f, days):
    member = in_snap((np.array(low_f) - 32) / 1.8, hard_c=HARD, plumbing_c=PLUMBING)
    assert np.flatnonzero(member).tolist() == days


def test_a_day_that_nobody_knows_is_no_freeze_and_parts_a_run():
    assert not in_snap(np.array([-3.0, np.nan, -3.0]), hard_c=HARD, plumbing_c=PLUMBING).any()


# --- ice


def test_day_by_day_growth_is_ashtons_form_and_lies_below_stefan():
    thick, exchange = np.zeros(1), np.array([20.0])
    for n, air in enumerate([-5.0, -5.0, -10.0], start=1):
        thick = grown_cm(thick, np.array([air]), exchange)
        degree_days = np.array([5.0, 10.0, 20.0])[n - 1 : n]
        np.testing.assert_allclose(thick, thin_ice_thickness_cm(degree_days), rtol=1e-9)
        assert (thick < stefan_thickness_cm(degree_days)).all()


def test_a_mild_day_melts_and_ice_is_never_negative():
    # 20 W/m2/K x 2 K x 86,400 s / (917 kg/m3 x 334,000 J/kg) = 1.128 cm
    assert grown_cm(np.array([3.0]), np.array([2.0]), np.array([20.0]))[0] == pytest.approx(
        3 - 1.128, abs=1e-3
    )
    assert grown_cm(np.array([0.5]), np.array([9.0]), np.array([20.0]))[0] == 0.0


def test_ice_begins_at_zero_water_in_frost_and_cover_counts_days_in_a_row():
    cover = IceCover((1, 50), np.random.default_rng(1))
    water = [np.full((1, 50), w, np.float32) for w in (2.0, 0.0, 0.0, 0.0, 0.0)]
    air = [np.full((1, 1), a, np.float32) for a in (-4.0, 1.0, -4.0, -4.0, -1.0)]
    for day, (w, a) in enumerate(zip(water, air, strict=True)):
        cover.advance(day, w, a)
    assert (cover.first_day == 2).all()
    assert (cover.covered_days == 3).all()
    assert (cover.thickness_cm < cover.stefan_cm).all()
    assert cover.stefan_cm[0, 0] == pytest.approx(3.539 * 3.0, rel=1e-3)  # 9 °C days
    cover.advance(5, water[1], np.full((1, 1), 15.0, np.float32))
    assert (cover.covered_days == 0).all()


# --- what a visit saves


def test_dollars_of_a_closing_and_a_quick_visit_by_hand():
    one = state(
        pond(fish=True), so_far=0.5, new=0.3, hard=0.2, ice=0.4, ice_new=0.1, cover=0.25, warm=0.5
    )  # fmt: skip
    close = saved_by_closing(one, Costs(), SnapSettings())
    assert close == pytest.approx(
        {
            "pipes": 400 * 0.6 * 0.3,
            "leak": 400 * 0.6 * 0.25 * 0.5,
            "fish": 250 * 0.25,
            "ice": 150 * 0.1,
            "hard_freeze": 60 * 0.2,
            "warm_day": -10 * 0.5,
        }
    )
    assert saved_by_quick_visit(one, Costs(), SnapSettings()) == pytest.approx(close | {"ice": 0.0})
    assert closing_hours(one, 1.5) == pytest.approx(2.0 * (1 + 0.5 * 0.4))
    assert hours_left(one, 1.5, 25 / 60) == pytest.approx(2.4 - 25 / 60)


def test_running_water_halves_the_pipes_and_keeps_a_hole_for_the_fish():
    still, runs = (state(pond(), new=0.4, so_far=0.2, cover=0.5, running=r) for r in (False, True))
    a, b = (saved_by_closing(s, Costs(), SnapSettings()) for s in (still, runs))
    assert (b["pipes"], b["leak"]) == pytest.approx((a["pipes"] / 2, a["leak"] / 2))
    assert (a["fish"], b["fish"]) == (125.0, 0.0)


def test_what_was_protected_or_looked_at_is_not_saved_twice():
    one = state(pond(), new=0.4, so_far=0.2, hard=0.1, ice_new=0.3, cover=0.2, warm=1.0)
    looked = saved_by_closing(one, Costs(), SnapSettings(), checked=True)
    assert looked["leak"] == 0.0
    assert looked["pipes"] > 0
    protected = saved_by_closing(one, Costs(), SnapSettings(), protected=True, checked=True)
    assert (protected["pipes"], protected["hard_freeze"], protected["warm_day"]) == (0.0, 0.0, 0.0)
    assert protected["ice"] == pytest.approx(45.0)
    assert sum(saved_by_quick_visit(one, Costs(), SnapSettings(), protected=True).values()) == 0.0


# --- before dark


def crew(name: str = "One", start: time = time(13, 0)) -> Crew:
    return Crew(
        name=name, latitude=43.04, longitude=-87.91, hours_per_day=8.0, work_days=["mon"], start_time=start,
        first_day=date(2025, 10, 1), last_day=date(2025, 12, 20),
    )  # fmt: skip


def snap_site(site_id: str, saves: float, **changes) -> SnapSite:
    site = pond(site_id, **changes)
    parts = {"pipes": saves}
    return SnapSite(0, state(site), parts, parts, 2.0, 0.5, 1.5)


def flat_travel(crews: int, sites: int, drive_h: float) -> Travel:
    between = np.full((sites, sites), drive_h)
    np.fill_diagonal(between, 0.0)
    one = np.full((crews, sites), drive_h)
    return Travel(one, one, between)


def test_sites_are_taken_in_order_while_they_end_before_sunset():
    # sunset 16:29 by our formula: from 13:00 on 3 h 29 min, each stop 15 min of driving and half an hour:
    # four end at 16:00, the fifth would at 16:45
    sites = [snap_site(name, 100.0 - n) for n, name in enumerate("ABCDEF")]
    plan = day_plan(
        sites, "quick", [(crew(), False)], flat_travel(1, 6, 0.25), day=SATURDAY, timezone="America/Chicago"
    )  # fmt: skip
    assert plan.done == ("A", "B", "C", "D")
    assert plan.left == ("E", "F")
    assert plan.crews[0].stops[-1].leave == time(16, 0)
    assert plan.saves == 100 + 99 + 98 + 97
    assert plan.left_hours == 4 * 1.5
    close = day_plan(
        sites, "close", [(crew(), False)], flat_travel(1, 6, 0.25), day=SATURDAY, timezone="America/Chicago"
    )  # fmt: skip
    assert (close.done, close.left_hours) == (("A",), 0.0)


def test_a_site_that_no_crew_may_enter_today_is_said_and_one_that_saves_nothing_is_left_alone():
    sites = [snap_site("A", 9.0, weekdays=frozenset({0})), snap_site("B", 8.0), snap_site("C", 0.0)]
    plan = day_plan(
        sites, "quick", [(crew(), False)], flat_travel(1, 3, 0.1), day=SATURDAY, timezone="America/Chicago"
    )  # fmt: skip
    assert (plan.done, plan.left, plan.barred) == (("B",), (), ("A",))


def test_more_crews_never_serve_fewer_and_late_ones_serve_nobody():
    sites = [snap_site(str(n), 50.0 - n) for n in range(12)]
    done = []
    for count in (1, 2, 3):
        crews = crews_today([crew(), crew("Two")], SATURDAY, count)
        assert len(crews) == count
        plan = day_plan(
            sites, "quick", crews, flat_travel(count, 12, 0.25), day=SATURDAY, timezone="America/Chicago"
        )  # fmt: skip
        done.append(len(plan.done))
        assert all(visits.extra for visits in plan.crews)  # a Saturday is in no calendar here
    assert done == [4, 8, 12]
    late = day_plan(
        sites, "quick", [(crew(start=time(18, 0)), False)], flat_travel(1, 12, 0.25), day=SATURDAY,
        timezone="America/Chicago",
    )  # fmt: skip
    assert late.done == ()
    assert crews_today([crew()], SATURDAY, None) == ()


# --- spread


def test_the_spread_of_places_and_nights_is_found_from_stations_left_out():
    # A and B on one spot, B always 2 °C colder with nights of sd 1: left out in turn each is off by 2 and 1
    days = 900
    first = date(2022, 9, 1)
    rng = np.random.default_rng(5)
    low = np.stack([rng.normal(-4.0, 3.0, days)] * 2)
    low[1] += -2.0 + rng.normal(0.0, 1.0, days)
    stations = tuple(Station(name, name, 43.0, -88.0, 200.0) for name in "AB")
    weather = Weather(
        stations, first, low, low + 8.0, low + 4.0, np.zeros(low.shape, bool), (first, first)
    )  # fmt: skip
    spread = low_spread(weather, stations_per_site=3)
    assert spread.places == 2
    # drawn to the usual with the weight of four: (4 x 0.9² + 2 x 2²) / 6 and (4 x 1.7² + 2 x 1²) / 6
    assert spread.place_sd_c == pytest.approx(np.sqrt((4 * 0.81 + 2 * 4.0) / 6), rel=0.06)
    assert spread.night_sd_c == pytest.approx(np.sqrt((4 * 2.89 + 2 * 1.0) / 6), rel=0.06)
    alone = replace(
        weather, stations=stations[:1], tmin_c=low[:1], tmax_c=low[:1] + 8, tmean_c=low[:1] + 4,
        filled=weather.filled[:1], last_observed=(first,),
    )  # fmt: skip
    assert low_spread(alone, stations_per_site=3).place_sd_c == pytest.approx(0.9)


def test_drawn_nights_have_the_spread_and_a_doubtful_offset_adds_to_it():
    spread = LowSpread(0.9, 1.7, 0)
    base = np.full((1, 6), -5.0)
    none, sure = (np.random.default_rng(2) for _ in range(2))
    low = drawn_lows(base, np.zeros(6), spread, pond(), none, count=20_000)
    assert low.mean() == pytest.approx(-5.0, abs=0.03)
    assert low[:, 0].std() == pytest.approx(np.hypot(0.9, 1.7), rel=0.02)
    # two nights share the place and 0.35 of the night
    both = np.cov(low[:, 0], low[:, 1])[0, 1]
    assert both == pytest.approx(0.81 + 0.35 * 2.89, rel=0.05)
    hollow = drawn_lows(base, np.full(6, 1.2), spread, pond(minimum_offset_c=-2.0), sure, count=20_000)
    assert hollow[:, 5].std() == pytest.approx(np.sqrt(0.81 + 0.36 + 2.89 + 1.44), rel=0.02)


# --- closed ponds


def test_a_noted_failure_goes_before_longer_cover_and_words_before_the_closing_do_not_count():
    ponds = [state(pond(name), cover=cover) for name, cover in (("A", 0.9), ("B", 0.3), ("C", 0.01))]
    closed = {name: ClosedEvent(date(2025, 11, 1), "", "") for name in "ABC"}
    notes = [
        Note("B", date(2025, 11, 10), "aerator silent, breaker had tripped"),
        Note("C", date(2025, 10, 20), "de-icer missing"),
    ]
    found = gas_sites(ponds, closed, notes, as_of=SATURDAY, since=date(2025, 11, 5))
    assert [site.site.site_id for site in found] == ["B", "A"]
    assert found[0].trouble == ("2025-11-10: aerator silent, breaker had tripped",)
    dry = state(pond("D", fish=False), cover=0.9)
    assert gas_sites([dry], {}, [], as_of=SATURDAY, since=date(2025, 11, 5)) == []
