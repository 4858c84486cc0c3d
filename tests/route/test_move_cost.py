"""What moving one visit costs: by hand on a small route, and against the plan's own figures on the demo."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from route_cases import FRI, MON, THU, TUE, WED, crew, task, visit

from forecaster.forecast import RouteForecast
from forecaster.known import Known
from forecaster.route.assign import RouteTask, Slot, Visit, move_price
from forecaster.route.move_cost import (
    MoveDesk,
    day_plan,
    move_desk,
    place_of,
    with_plan,
)
from forecaster.units import KM_PER_MILE

KM_PER_DEGREE = 111.195  # of latitude, on a sphere of 6371.0 km


def desk_of(asked: RouteTask, windows: dict[str, tuple[date, date]] | None = None) -> MoveDesk:
    """A desk without a forecast behind it: chances of frost are not known."""
    blank = {v.site.site_id: _Blank() for v in asked.visits}
    return MoveDesk(asked, blank, windows or {})  # type: ignore[arg-type]


class _Blank:
    curves = None
    p_hard_freeze_14d = None
    loss_parts_by_day = None


# --- hand arithmetic


def test_loss_driving_and_call_are_added_up() -> None:
    """B lies 0.1 degrees north of the start: 11.1195 km, by road times 1.3, at 35 mph, there and back."""
    moving = visit("B", {MON: 10.0, WED: 42.0}, latitude=43.1, told_date=MON)
    desk = desk_of(task(visit("A", {MON: 1.0}), moving, crews=(crew(last=FRI),)))
    plan = {Slot(MON, "North"): ("A", "B")}
    cost = desk.price(plan, "B", Slot(WED, "North"))
    one_way_h = 0.1 * KM_PER_DEGREE * 1.3 / (35 * KM_PER_MILE)
    assert cost.losses == (10.0, 42.0)
    # A lies at the start, so leaving B out saves there and back on Monday, and Wednesday pays it again
    assert cost.drive_hours == pytest.approx(0.0, abs=1e-9)
    assert cost.told_price == 25.0
    assert cost.total == pytest.approx(42.0 - 10.0 + 25.0)
    assert cost.joined.drive_hours == pytest.approx(2 * one_way_h, rel=1e-4)
    assert (cost.joined.site_hours, cost.joined.limit, cost.joined.over) == (2.0, 4.0, 0.0)
    assert cost.left is not None
    assert cost.left.site_hours == 2.0


def test_back_to_the_told_date_saves_the_call() -> None:
    desk = desk_of(task(visit("A", {MON: 5.0, TUE: 5.0}, told_date=TUE)))
    assert desk.price({Slot(MON, "North"): ("A",)}, "A", Slot(TUE, "North")).total == -25.0


def test_a_day_too_full_is_said_with_its_hours() -> None:
    """Two visits of 3 hours in 8 hours of which a tenth is lost: 7.2 may be planned, with a third: 9."""
    visits = [visit(name, {}, hours=3.0) for name in "ABC"]
    desk = desk_of(task(*visits, crews=(crew(hours=8.0),), lost_day_share=0.1))
    plan = {Slot(MON, "North"): ("A", "B"), Slot(TUE, "North"): ("C",)}
    cost = desk.price(plan, "C", Slot(MON, "North"))
    assert cost.joined.over == pytest.approx(9.0 - 7.2)
    assert cost.joined.over_whole == pytest.approx(1.0)
    assert "1.8 hours over what is planned for a day (7.2)" in cost.doubts[0]
    assert "some of the 2 others" in cost.doubts[0]
    assert cost.forbidden == ()


def test_all_that_forbids_is_said_at_once() -> None:
    tied = visit("A", {}, crews=("South",), weekdays=frozenset({0}), not_before=FRI, not_after=MON, hours=5.0)
    desk = desk_of(task(tied, crews=(crew(last=FRI, days_off=[TUE]), crew("South", last=FRI))))
    said = " ".join(desk.price({}, "A", Slot(TUE, "North")).forbidden)
    for part in (
        "North does not work on Tue 7 Oct",
        "only South",
        "only Mon there",
        "not before Fri 10 Oct",
        "not after Mon 6 Oct",
        "take 5.0 hours; North has 4.0",
    ):
        assert part in said
    assert "has passed" in desk.price({}, "A", Slot(date(2025, 10, 3), "South")).forbidden[0]


def test_an_agreed_date_needs_the_customer() -> None:
    desk = desk_of(task(visit("A", {}, booked_date=TUE)))
    plan = {Slot(TUE, "North"): ("A",)}
    assert desk.price(plan, "A", Slot(MON, "North")).needs_booking
    assert not desk.price(plan, "A", Slot(TUE, "North")).needs_booking


def test_outside_the_window_and_against_what_was_told() -> None:
    asked = task(visit("A", {}, told_date=MON), crews=(crew(last=FRI),))
    desk = desk_of(asked, {"A": (MON, TUE)})
    doubts = desk.price({}, "A", Slot(THU, "North")).doubts
    assert doubts[0] == "Thu 9 Oct lies after its closing window (Mon 6 Oct to Tue 7 Oct)."
    assert doubts[1] == "The customer was told Mon 6 Oct."


def test_a_visit_without_a_place_is_priced_against_staying_open() -> None:
    desk = desk_of(task(visit("A", {TUE: 30.0}, else_loss=700.0)))
    cost = desk.price({}, "A", Slot(TUE, "North"))
    assert cost.before is None
    assert cost.left is None
    assert cost.total == pytest.approx(30.0 - 700.0)


def test_the_stop_goes_where_the_round_grows_least_and_the_others_keep_their_order() -> None:
    """On a line north of the start: far, middle, near are driven far first; the new one lies between."""
    line = [visit(name, {}, latitude=43.0 + n / 10) for name, n in (("far", 4), ("near", 1), ("new", 2))]
    desk = desk_of(task(*line, crews=(crew(hours=16.0),)))
    plan = {Slot(MON, "North"): ("far", "near"), Slot(TUE, "North"): ("new",)}
    moved = desk.moved(plan, "new", Slot(MON, "North"))
    assert list(moved) == [Slot(MON, "North")]
    assert [name for name in moved[Slot(MON, "North")] if name != "new"] == ["far", "near"]
    assert desk.moved(moved, "new", Slot(MON, "North")) == moved


def test_ice_makes_the_visit_longer_by_its_chance() -> None:
    given = visit("A", {}, hours=2.0)
    icy = Visit(given.site, given.loss, 2.0, np.full(184, 0.5))
    desk = desk_of(task(icy, ice_hours_factor=1.5))
    assert desk.hours(Slot(MON, "North"), ["A"]).site_hours == pytest.approx(2.0 * 1.25)


# --- the demo: against what the plan itself says


@pytest.fixture(scope="session")
def demo_desk(demo_known: Known, demo_forecast: RouteForecast) -> MoveDesk:
    return move_desk(demo_known, demo_forecast)


def test_hours_and_clock_are_those_of_the_plan(demo_desk: MoveDesk, demo_forecast: RouteForecast) -> None:
    for planned in demo_forecast.crew_days:
        slot, stops = Slot(planned.day, planned.crew), tuple(stop.site_id for stop in planned.stops)
        made = demo_desk.crew_day(slot, stops)
        assert made.site_hours == pytest.approx(planned.site_hours)
        assert made.drive_hours == pytest.approx(planned.drive_hours)
        for mine, theirs in zip(made.stops, planned.stops, strict=True):
            assert (
                abs(60 * (mine.arrive.hour - theirs.arrive.hour) + mine.arrive.minute - theirs.arrive.minute)
                <= 1
            )
        assert demo_desk.hours(slot, stops).over < 1e-6


def test_the_price_is_the_difference_of_two_plans(demo_desk: MoveDesk, demo_forecast: RouteForecast) -> None:
    """Loss, driving and told dates of all crew-days, added up before and after, independent of `price`."""
    task = demo_desk.task

    def money(plan: dict[Slot, tuple[str, ...]]) -> float:
        total = 0.0
        for slot, stops in plan.items():
            drive = demo_desk.crew_day(slot, stops).drive_hours
            total += drive * task.costs.drive_hour
            for site_id in stops:
                found = demo_desk.forecasts[site_id]
                assert found.loss_parts_by_day is not None
                total += float(found.loss_parts_by_day[:, (slot.day - date(2025, 8, 1)).days].sum())
                total += move_price(found.site, slot, task)
        return total

    plan = day_plan(demo_forecast)
    rng = np.random.default_rng(4)
    placed = [site.site.site_id for site in demo_forecast.sites if site.planned_date is not None]
    for site_id in rng.choice(placed, 12, replace=False):
        for cost in demo_desk.options(plan, str(site_id))[::7]:
            after = demo_desk.moved(plan, str(site_id), cost.after)
            assert money(after) - money(plan) == pytest.approx(cost.total, abs=1e-6)
            assert sum(cost.parts.values()) == pytest.approx(cost.losses[1] - cost.losses[0], abs=1e-6)


def test_chances_are_those_of_the_forecast(demo_desk: MoveDesk, demo_forecast: RouteForecast) -> None:
    plan = day_plan(demo_forecast)
    for site in demo_forecast.sites:
        here = place_of(plan, site.site.site_id)
        if here is not None:
            cost = demo_desk.price(plan, site.site.site_id, here)
            assert cost.total == pytest.approx(0.0, abs=1e-9)
            assert cost.p_hard_freeze[1] == pytest.approx(site.p_hard_freeze_before_planned)


def test_the_moved_plan_shows_everywhere(demo_desk: MoveDesk, demo_forecast: RouteForecast) -> None:
    plan = day_plan(demo_forecast)
    site = next(s for s in demo_forecast.sites if s.planned_date is not None)
    to = next(cost.after for cost in demo_desk.options(plan, site.site.site_id))
    shown = with_plan(demo_desk, demo_forecast, demo_desk.moved(plan, site.site.site_id, to))
    now = next(s for s in shown.sites if s.site.site_id == site.site.site_id)
    assert (now.planned_date, now.planned_crew) == (to.day, to.crew)
    assert day_plan(shown) == demo_desk.moved(plan, site.site.site_id, to)
    others = [s for s in shown.sites if s.site.site_id != site.site.site_id]
    assert others == [s for s in demo_forecast.sites if s.site.site_id != site.site.site_id]
    assert with_plan(demo_desk, demo_forecast, plan).crew_days == demo_forecast.crew_days


def test_no_option_is_against_a_limit(demo_desk: MoveDesk, demo_forecast: RouteForecast) -> None:
    plan = day_plan(demo_forecast)
    limited = [s.site for s in demo_forecast.sites if s.site.weekdays != frozenset(range(7)) or s.site.crews]
    assert limited
    for site in limited:
        for cost in demo_desk.options(plan, site.site_id):
            assert cost.after.day.weekday() in site.weekdays
            assert not site.crews or cost.after.crew in site.crews


def test_held_by_hand_may_take_the_whole_day() -> None:
    """As for bookings: 7.5 hours of 8 hold though only 7.2 are planned."""
    put = [
        replace(v, site=replace(v.site, hand_placed=(MON, "North")))
        for v in (visit("A", {}, hours=3.5), visit("B", {}, hours=4.0))
    ]
    desk = desk_of(task(*put, crews=(crew(hours=8.0),), lost_day_share=0.1))
    assert desk.hours(Slot(MON, "North"), ["A", "B"]).over == 0.0
