"""No constraint is broken, on random seasons, by a checker that shares no code with the planner."""

import pytest
from plan_checker import dollars, faults
from route_cases import FRI, MON, TUE, WED, crew, random_task, task, visit

from forecaster.route.assign import RouteTask
from forecaster.route.conflicts import find_conflicts
from forecaster.route.solve import solve


def planned(seed: int) -> tuple[RouteTask, object]:
    from dataclasses import replace

    whole = random_task(1000 + seed, sites=10 + seed % 30, days=6 + seed % 15, crews=1 + seed % 3)
    left_out = frozenset(conflict.left_out for conflict in find_conflicts(whole))
    whole = replace(whole, unplaceable=left_out)
    return whole, solve(whole).assignment


def check_season(seed: int) -> None:
    whole, plan = planned(seed)
    assert faults(whole, plan) == []  # type: ignore[arg-type]
    booked = [v.site for v in whole.visits if v.site.booked_date and v.site.site_id not in whole.unplaceable]
    assert all(plan.placed[site.site_id][0] == site.booked_date for site in booked)  # type: ignore[attr-defined]
    if not plan.not_placed:  # type: ignore[attr-defined]
        # the rest are the small prices of leaving a plan in force
        stay = plan.cost - dollars(whole, plan)  # type: ignore[attr-defined, arg-type]
        assert -1e-6 <= stay <= len(whole.in_force) + 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_random_season(seed: int):
    check_season(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12, 212))
def test_random_season_many(seed: int):
    check_season(seed)


def test_the_checker_sees_each_fault():
    whole = task(
        visit("A", {MON: 0.0, TUE: 5.0}, booked_date=MON),
        visit("B", {MON: 0.0, TUE: 5.0}, weekdays=frozenset({0})),
        crews=(crew(hours=4.0, days_off=[TUE]), crew("South", last=WED)),
    )
    plan = solve(whole).assignment
    assert faults(whole, plan) == []
    from dataclasses import replace

    from forecaster.route.assign import Slot

    wrong = replace(plan, rounds={Slot(TUE, "North"): ("A", "B", "B")}, placed={})
    text = " ".join(faults(whole, wrong))
    for words in ("day off", "h of", "booked on", "weekday", "twice", "differ"):
        assert words in text


def test_access_and_crew_limits_hold():
    only_south = visit("A", {MON: 0.0, TUE: 5.0}, crews=("South",))
    tuesdays = visit("B", {MON: 0.0, TUE: 5.0}, weekdays=frozenset({1}))
    late = visit("C", {MON: 0.0, TUE: 5.0}, not_before=TUE)
    placed = solve(task(only_south, tuesdays, late, crews=(crew("North"), crew("South")))).assignment.placed
    assert placed["A"][1] == "South"
    assert placed["B"][0] == placed["C"][0] == TUE


def test_booked_dates_hold_whatever_they_cost():
    booked = visit("A", {MON: 0.0, TUE: 90.0}, booked_date=TUE)
    assert solve(task(booked, visit("B", {MON: 0.0, TUE: 1.0}))).assignment.placed["A"][0] == TUE


def test_what_finds_no_place_is_named_and_loses_least():
    ponds = [visit(f"S{n}", {MON: 0.0, TUE: 1.0}, else_loss=100.0 + n) for n in range(6)]
    plan = solve(task(*ponds)).assignment
    assert plan.not_placed == ("S0", "S1")


def test_lost_days_take_their_share_of_the_hours():
    ponds = [visit(f"S{n}", {MON: 0.0, TUE: 1.0, WED: 2.0}) for n in range(4)]
    crews = (crew(hours=4.0, last=WED),)
    assert {day for day, _ in solve(task(*ponds, crews=crews)).assignment.placed.values()} == {MON, TUE}
    slow = solve(task(*ponds, crews=crews, lost_day_share=0.1)).assignment
    assert len({day for day, _ in slow.placed.values()}) == 3  # one visit a day, 3.6 h do not hold two
    assert len(slow.not_placed) == 1


def test_other_visits_take_their_hours():
    ponds = [visit(name, {MON: 0.0, TUE: 1.0}) for name in "ABC"]
    plan = solve(task(*ponds, taken_hours={("North", MON): 2.5})).assignment
    assert sorted(day for day, _ in plan.placed.values()) == [TUE, TUE]


def test_work_in_ice_takes_longer():
    from dataclasses import replace

    import numpy as np

    ponds = [visit(f"S{n}", {MON: 0.0, TUE: 1.0}) for n in range(2)]
    iced = [replace(pond, p_ice=np.ones(184)) for pond in ponds]
    assert len({day for day, _ in solve(task(*ponds)).assignment.placed.values()}) == 1
    assert len({day for day, _ in solve(task(*iced)).assignment.placed.values()}) == 2  # 3 h each of 4


def test_a_visit_longer_than_the_planned_share_takes_a_day_of_its_own():
    long = visit("A", {MON: 0.0, TUE: 1.0}, hours=3.9)
    plan = solve(task(long, visit("B", {MON: 0.0, TUE: 1.0}, hours=0.1), lost_day_share=0.1)).assignment
    assert plan.not_placed == ()
    assert plan.placed["A"] != plan.placed["B"]


def test_no_crew_and_no_site():
    assert solve(task(visit("A", {MON: 0.0}), crews=())).assignment.not_placed == ("A",)
    assert solve(task()).assignment.rounds == {}
    ended = crew(first_day=MON, last=MON)
    late = RouteTask(2025, FRI, (visit("A", {}),), (ended,), task().costs, task().route)
    assert solve(late).assignment.not_placed == ("A",)
