"""The plan as a whole: ponds caught, worst falls, latest start, shortage, moves with their reasons."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from route_cases import FALL, FRI, MON, THU, TUE, WED, crew, events_of, random_task, task, visit

from forecaster.events import SiteEvents
from forecaster.falls import fall_day
from forecaster.forecast import WorstFall
from forecaster.route.latest_start import latest_start
from forecaster.route.moves import keep_told_dates, moves_of
from forecaster.route.plan_risk import caught_ponds, count_chances, member_loss
from forecaster.route.shortage import crew_day_values, find_shortage
from forecaster.route.solve import solve
from forecaster.route.window import loss_by_day
from forecaster.season.settings import Costs

NO_FROST = SiteEvents(None, None, None, None, None, None, None)


# --- ponds caught


def test_caught_ponds_by_hand():
    monday = float(fall_day(MON, FALL))
    events = {"A": events_of([monday, np.inf]), "B": events_of([monday + 1, monday + 5])}
    caught = caught_ponds({"A": monday, "B": monday + 1}, events)
    assert caught is not None
    assert caught.tolist() == [2.0, 0.0]  # a freeze on the morning of the planned day counts
    assert count_chances(caught, 2) == (0.5, 0.0, 0.5)


def test_a_site_without_a_place_stays_open():
    caught = caught_ponds({"A": np.inf}, {"A": events_of([90.0, np.inf])})
    assert caught is not None
    assert caught.tolist() == [1.0, 0.0]


def test_no_minima_no_number():
    assert caught_ponds({"A": 66.0}, {"A": NO_FROST}) is None
    assert count_chances(None, 3) == ()


@pytest.mark.parametrize("day", [40, 66, 90, 183])
def test_mean_of_the_members_is_the_expected_loss(day: int):
    rng = np.random.default_rng(2)
    days = [
        np.where(rng.random(60) < 0.2, np.inf, rng.integers(30, 160, 60)).astype(np.float32) for _ in "abcd"
    ]
    events = SiteEvents(days[0], None, days[1], None, days[2], days[3], None)
    by_day = loss_by_day(events, Costs(), plumbing_exposure=0.4).total
    assert member_loss(events, Costs(), plumbing_exposure=0.4, day=day).mean() == pytest.approx(by_day[day])


# --- latest start


def test_latest_start_by_hand():
    # one pond of two hours that freezes on Thursday in every fall: Wednesday is the last day that holds
    pond = visit("A", {day: float(n) for n, day in enumerate((MON, TUE, WED, THU, FRI))})
    whole = task(pond, crews=(crew(last=FRI),), max_caught=0)
    found = latest_start(whole, solve(whole), {"A": events_of([float(fall_day(THU, FALL))] * 10)})
    assert found is not None
    assert (found.day, found.limit, found.is_set) == (WED, 0, True)


def test_a_later_start_pushes_the_others_back():
    # two ponds of which one fits in a day; both freeze on Thursday: started on Tuesday the second is in time
    ponds = [visit(name, {MON: 0.0, TUE: 1.0}, hours=3.0, else_loss=5.0) for name in "AB"]
    whole = task(*ponds, crews=(crew(last=FRI),), max_caught=0)
    events = {name: events_of([float(fall_day(THU, FALL))] * 10) for name in "AB"}
    found = latest_start(whole, solve(whole), events)
    assert found is not None
    assert found.day == TUE
    one = replace(whole, route=whole.route.model_copy(update={"max_caught": 1}))
    found = latest_start(one, solve(one), events)
    assert found is not None
    assert found.day == WED


def test_without_a_limit_a_tenth_of_the_sites_or_what_the_plan_keeps():
    whole = task(visit("A", {MON: 0.0}), crews=(crew(last=FRI),))
    early = {"A": events_of([float(fall_day(MON, FALL))] * 10)}  # caught on any day
    found = latest_start(whole, solve(whole), early)
    assert found is not None
    assert (found.limit, found.is_set) == (1, False)
    assert latest_start(whole, solve(whole), {"A": NO_FROST}) is None


def test_no_start_keeps_the_limit():
    whole = task(visit("A", {MON: 0.0}), max_caught=0)
    found = latest_start(whole, solve(whole), {"A": events_of([float(fall_day(MON, FALL))] * 10)})
    assert found is not None
    assert found.day is None


# --- shortage


def windows(whole, last: date) -> dict[str, tuple[int, int]]:
    return {v.site.site_id: (fall_day(MON, FALL), fall_day(last, FALL)) for v in whole.visits}


def test_no_shortage_where_all_are_in_their_windows():
    whole = task(visit("A", {MON: 0.0}))
    assert find_shortage(whole, solve(whole), windows(whole, MON)) is None


def test_shortage_names_hours_sites_and_the_worth_of_a_day():
    # one visit a day; the second pond loses 40 by Tuesday, a second crew on Monday would save it all
    ponds = [visit("A", {MON: 0.0, TUE: 90.0}, hours=3.0), visit("B", {MON: 0.0, TUE: 40.0}, hours=3.0)]
    whole = task(*ponds)
    found = find_shortage(whole, solve(whole), windows(whole, MON))
    assert found is not None
    assert found.crew_hours == pytest.approx(3.0)
    assert found.sites == (("B", pytest.approx(40.0)),)
    assert found.crew_day_values == ((MON, pytest.approx(40.0)),)


def test_a_crew_day_that_places_a_site_is_worth_what_the_site_loses_open():
    # one visit a day and one day: the second pond stays open, which costs it 100
    ponds = [visit(name, {MON: 5.0}, hours=3.0, else_loss=100.0) for name in "AB"]
    whole = task(*ponds, crews=(crew(last=MON),))
    assert crew_day_values(whole, solve(whole)) == ((MON, pytest.approx(95.0)),)


@pytest.mark.parametrize("seed", [32, 39])
def test_a_crew_day_more_is_worth_what_planning_with_it_saves(seed: int):
    whole = replace(random_task(seed, sites=12, days=5, crews=1), in_force={})
    solved = solve(whole)
    assert solved.assignment.not_placed == ()
    values = crew_day_values(whole, solved)
    assert values
    for day, value in values:
        first = next(slot.crew for slot in whole.slots if slot.day == day)
        like = whole.crews[whole.crew_index[first]]
        more = like.model_copy(
            update={"name": "More", "first_day": day, "last_day": day, "days_off": frozenset()}
        )
        visits = tuple(
            replace(v, site=replace(v.site, crews=(*v.site.crews, "More"))) if v.site.crews else v
            for v in whole.visits
        )
        taken = {("More", day): whole.taken_hours.get((first, day), 0.0)}
        wider = replace(
            whole, crews=(*whole.crews, more), visits=visits, taken_hours={**whole.taken_hours, **taken}
        )
        best = solve(wider).assignment
        assert best.exact_driving
        # a lower bound, since only changes for the better are tried
        assert value <= solved.assignment.cost - best.cost + 1e-4


# --- moves


def moved(whole, events=None):
    solved, saves = keep_told_dates(whole, solve(whole))
    seen = events or {v.site.site_id: NO_FROST for v in whole.visits}
    return moves_of(whole, solved, saves, seen)


def test_a_told_date_that_moves_says_what_that_saves():
    whole = task(visit("A", {MON: 0.0, THU: 60.0}, told_date=THU), crews=(crew(last=FRI),))
    frost = {"A": events_of([float(fall_day(WED, FALL))] * 4)}
    (move,) = moved(whole, frost)
    assert (move.from_day, move.to_day, move.told, move.price) == (THU, MON, True, 25.0)
    assert move.saves == pytest.approx(35.0)
    assert "waiting until Thu 9 Oct would cost $60 more" in move.reason
    assert "a hard freeze has come by then in 100 % of falls, by Mon 6 Oct in 0 %" in move.reason
    assert "saves the route $35 beyond the $25 of a call" in move.reason


def test_a_plan_in_force_is_kept_where_nothing_is_gained():
    ponds = [visit(name, {MON: 0.0, TUE: 0.0}) for name in "ABCD"]
    in_force = {"A": (TUE, "North"), "B": (MON, "North"), "C": (TUE, "North"), "D": (MON, "North")}
    whole = task(*ponds, in_force=in_force)
    assert dict(solve(whole).assignment.placed) == in_force
    assert moved(whole) == ()


def test_a_day_off_moves_the_visits_of_that_day_and_says_so():
    pond = visit("A", {MON: 0.0, TUE: 5.0})
    whole = task(pond, crews=(crew(days_off=[MON]),), in_force={"A": (MON, "North")})
    (move,) = moved(whole)
    assert (move.to_day, move.told, move.price) == (TUE, False, 0.0)
    assert "no crew works on Mon 6 Oct any more" in move.reason


def test_who_makes_room_is_told_for_whom():
    early = visit("A", {MON: 0.0, TUE: 100.0}, hours=3.0)
    other = visit("B", {MON: 0.0, TUE: 1.0}, hours=3.0)
    (first, second) = moved(task(early, other, in_force={"A": (TUE, "North"), "B": (MON, "North")}))
    assert (first.site_id, second.site_id) == ("B", "A")
    assert "it makes room on Mon 6 Oct for A" in first.reason


def test_told_dates_move_only_for_more_than_their_price_in_random_seasons():
    for seed in range(12):
        whole = random_task(500 + seed, sites=16, days=9, crews=2)
        solved, saves = keep_told_dates(whole, solve(whole))
        assert all(saving > -1e-6 for saving in saves.values())
        assert solved.assignment.bound <= solved.assignment.cost + 1e-6


def test_the_plan_of_the_demo_adds_up(demo_forecast):
    plan = demo_forecast.plan
    assert sum(plan.caught_chances) == pytest.approx(1.0)
    assert np.searchsorted(np.cumsum(plan.caught_chances), 0.9 - 1e-9) == plan.caught_p90
    weeks = sum(week.expected_loss + week.drive_cost for week in plan.weeks)
    assert weeks + plan.move_cost == pytest.approx(plan.expected_loss)
    assert sum(week.visits for week in plan.weeks) == len(demo_forecast.sites)
    assert plan.gap == 0.0
    assert plan.gap_exact
    falls = [fall.source_fall for fall in plan.worst]
    assert len(falls) == len(set(falls)) == 3
    assert all(isinstance(fall, WorstFall) and fall.loss > plan.expected_loss for fall in plan.worst)
    assert all(0.0 <= move.price <= 25.0 and move.reason.endswith(".") for move in plan.moves)
