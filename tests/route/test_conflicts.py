"""Bookings and limits that cannot hold together: the smallest set is named, nothing crashes."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from route_cases import FRI, MON, TUE, WED, crew, random_task, task, visit

from forecaster.build import forecast_route
from forecaster.route.conflicts import _day_holds, check_plan, find_conflicts, irreducible
from forecaster.route.solve import solve


def test_one_hour_too_many_names_the_bookings_of_that_day_only():
    # two crews of 4 h; five visits of 2 h on Monday: any four fit, five do not
    ponds = [visit(f"S{n}", {MON: 0.0}, booked_date=MON) for n in range(5)]
    whole = task(*ponds, visit("T", {TUE: 0.0}, booked_date=TUE), crews=(crew(), crew("South")))
    (conflict,) = find_conflicts(whole)
    assert conflict.sites == ("S0", "S1", "S2", "S3", "S4")
    assert "Mon 2025-10-06" in conflict.text
    assert "North 4 h, South 4 h" in conflict.text
    assert conflict.left_out in conflict.sites


def test_only_those_that_matter_are_named():
    long = [visit(f"L{n}", {MON: 0.0}, hours=3.0, booked_date=MON) for n in range(2)]
    short = visit("S", {MON: 0.0}, hours=0.5, booked_date=MON)
    (conflict,) = find_conflicts(task(*long, short))
    assert conflict.sites == ("L0", "L1")


def test_a_tie_to_a_crew_is_part_of_the_set_only_if_it_matters():
    tied = [visit(f"S{n}", {MON: 0.0}, hours=3.0, booked_date=MON, crews=("North",)) for n in range(2)]
    (conflict,) = find_conflicts(task(*tied, crews=(crew(), crew("South"))))
    assert "(crew North)" in conflict.text
    (alone,) = find_conflicts(task(*tied, crews=(crew(),)))
    assert "(crew" not in alone.text.split(" are all booked")[0]


@pytest.mark.parametrize(
    ("limits", "named", "not_named"),
    [
        ({"booked_date": TUE, "weekdays": frozenset({0})}, ("booked_date", "weekdays mon"), ("not_",)),
        ({"not_before": FRI}, ("not_before",), ("weekdays",)),
        ({"not_after": MON, "weekdays": frozenset({1})}, ("not_after", "weekdays"), ("booked",)),
        ({"crews": ("South",), "not_after": FRI}, ("crew South",), ("not_after",)),
    ],
)
def test_a_sites_own_limits(limits: dict[str, object], named: tuple[str, ...], not_named: tuple[str, ...]):
    (conflict,) = find_conflicts(task(visit("A", {MON: 0.0}, **limits)))
    assert conflict.left_out == "A"
    assert all(name in conflict.text for name in named)
    assert not any(name in conflict.text for name in not_named)


def test_a_visit_longer_than_every_day():
    (conflict,) = find_conflicts(task(visit("A", {MON: 0.0}, hours=9.0)))
    assert "no crew has so long a day" in conflict.text


def test_a_booking_may_fill_the_whole_day_lost_days_or_not():
    ponds = [visit(f"S{n}", {MON: 0.0}, booked_date=MON) for n in range(2)]
    whole = task(*ponds, lost_day_share=0.2)  # 3.2 h may be planned, 4 h are booked
    assert find_conflicts(whole) == ()
    assert solve(whole).assignment.not_placed == ()


def test_a_booking_that_has_passed_binds_no_more():
    passed = replace(task(visit("A", {WED: 0.0}, booked_date=MON), crews=(crew(last=FRI),)), as_of=TUE)
    assert find_conflicts(passed) == ()
    assert solve(passed).assignment.placed["A"][0] == WED


@pytest.mark.parametrize("seed", range(30))
def test_every_named_set_is_irreducible(seed: int):
    rng = np.random.default_rng(seed)
    crews = (crew("North", 5.0), crew("South", float(rng.choice([3.0, 5.0]))))
    ponds = [
        visit(f"S{n}", {MON: 0.0}, hours=float(rng.choice([1.0, 1.5, 2.5])), booked_date=MON)
        for n in range(7)
    ]
    whole = task(*ponds, crews=crews)
    conflicts = find_conflicts(whole)
    by_id = {pond.site.site_id: pond for pond in ponds}
    for conflict in conflicts:
        chosen = [by_id[name] for name in conflict.sites]
        assert not _day_holds(whole, MON, chosen)
        assert all(_day_holds(whole, MON, list(part)) for part in combinations(chosen, len(chosen) - 1))
    left = {conflict.left_out for conflict in conflicts}
    assert _day_holds(whole, MON, [pond for pond in ponds if pond.site.site_id not in left])


def test_irreducible_without_any_conflict_inside():
    assert irreducible(["a", "b"], lambda kept: False) == []  # what never holds needs no element


def test_no_crew_is_no_conflict_of_a_site():
    assert find_conflicts(task(visit("A", {MON: 0.0}), crews=())) == ()


def test_random_seasons_never_crash():
    for seed in range(20):
        whole = random_task(seed, sites=20, days=8, crews=2)
        left = frozenset(conflict.left_out for conflict in find_conflicts(whole))
        solve(replace(whole, unplaceable=left))


def test_check_plan_on_the_demo_and_with_a_contradiction(demo_copy, demo_known):
    assert check_plan(demo_known) == []
    # V-05 is booked on Friday 17 October, when only Heron works
    demo_copy.edit("season.toml", "days_off = [2025-10-13, 2025-11-11]", "days_off = [2025-10-17]")
    (problem,) = check_plan(demo_copy.known())
    assert problem.where == "sites.csv row 6"
    assert "V-05: booked_date 2025-10-17 cannot hold together with the crews' remaining days" in problem.text


def test_the_route_goes_on_without_it_and_says_so(demo_copy):
    demo_copy.edit("season.toml", "days_off = [2025-10-13, 2025-11-11]", "days_off = [2025-10-17]")
    forecast = forecast_route(demo_copy.known())
    assert forecast.plan.not_placed == ("V-05",)
    assert any("V-05 is not placed until then" in notice.text for notice in forecast.warnings)
