"""The plain plan: constraints kept, hand cases, and what it says of the route as a whole."""

import itertools
from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.route.assign import RouteTask, Visit, greedy_assignment
from forecaster.route.plan import caught_ponds, latest_start
from forecaster.route.stops import order_stops, shortest_round
from forecaster.season.settings import Costs, Crew, RouteSettings
from forecaster.season.sites import Site

FALL = 2025
MON, TUE = date(2025, 10, 6), date(2025, 10, 7)


def crew(name: str = "North", hours: float = 4.0, last: date = TUE) -> Crew:
    return Crew(
        name=name,
        latitude=43.0,
        longitude=-88.0,
        hours_per_day=hours,
        work_days=["mon", "tue", "wed", "thu", "fri"],  # type: ignore[arg-type]
        first_day=MON,
        last_day=last,
        start_time=time(8, 0),
    )


def visit(site_id: str, losses: dict[date, float], **site: object) -> Visit:
    loss = np.full(FALL_DAYS, 1000.0)
    for day, amount in losses.items():
        loss[fall_day(day, FALL)] = amount
    place = Site(site_id, site_id, 43.0, -88.0, 1.0, **site)  # type: ignore[arg-type]
    return Visit(place, loss, 2.0)


def task(*visits: Visit, crews: tuple[Crew, ...] | None = None, **route: object) -> RouteTask:
    settings = RouteSettings(**{"lost_day_share": 0.0, **route})  # type: ignore[arg-type]
    return RouteTask(FALL, MON, visits, crews or (crew(),), Costs(), settings)


def test_two_days_two_ponds_a_day_by_hand():
    # extra loss of the second day 50, 60, 10, 20: the first two ponds go on Monday
    ponds = [
        visit(name, {MON: 0.0, TUE: extra})
        for name, extra in (("A", 50.0), ("B", 60.0), ("C", 10.0), ("D", 20.0))
    ]
    placed = greedy_assignment(task(*ponds)).placed
    assert {name: day for name, (day, _) in placed.items()} == {"A": MON, "B": MON, "C": TUE, "D": TUE}


def test_booked_dates_hold_whatever_they_cost():
    booked = visit("A", {MON: 0.0, TUE: 90.0}, booked_date=TUE)
    assert greedy_assignment(task(booked, visit("B", {MON: 0.0, TUE: 1.0}))).placed["A"][0] == TUE


def test_a_told_date_moves_only_where_that_saves_more_than_its_price():
    cheap = visit("A", {MON: 0.0, TUE: 20.0}, told_date=TUE)  # 20 saved, 25 to move
    dear = visit("B", {MON: 0.0, TUE: 30.0}, told_date=TUE)
    placed = greedy_assignment(task(cheap, dear)).placed
    assert placed["A"][0] == TUE
    assert placed["B"][0] == MON


def test_other_visits_take_their_hours():
    ponds = [visit(name, {MON: 0.0, TUE: 1.0}) for name in "ABC"]
    whole = replace(task(*ponds), taken_hours={("North", MON): 2.5})
    placed = greedy_assignment(whole).placed
    assert sorted(day for day, _ in placed.values()) == [TUE, TUE]


def test_access_and_crew_limits_hold():
    only_south = visit("A", {MON: 0.0, TUE: 5.0}, crews=("South",))
    tuesdays = visit("B", {MON: 0.0, TUE: 5.0}, weekdays=frozenset({1}))
    late = visit("C", {MON: 0.0, TUE: 5.0}, not_before=TUE)
    placed = greedy_assignment(task(only_south, tuesdays, late, crews=(crew("North"), crew("South")))).placed
    assert placed["A"][1] == "South"
    assert placed["B"][0] == TUE
    assert placed["C"][0] == TUE


def test_what_finds_no_place_is_named():
    ponds = [visit(f"S{n}", {MON: 0.0, TUE: 1.0}) for n in range(6)]
    found = greedy_assignment(task(*ponds))
    assert len(found.placed) == 4
    assert len(found.not_placed) == 2


@pytest.mark.parametrize("seed", range(20))
def test_no_crew_day_is_overfull(seed: int):
    random = np.random.default_rng(seed)
    last = date(2025, 10, 24)
    ponds = []
    for n in range(25):
        loss = random.uniform(0, 100, FALL_DAYS)
        place = Site(f"S{n}", "c", 43 + random.uniform(-0.2, 0.2), -88 + random.uniform(-0.2, 0.2), 1.0)
        ponds.append(Visit(place, loss, float(random.choice([1.0, 1.5, 2.0, 3.0]))))
    whole = task(*ponds, crews=(crew("North", 8.0, last), crew("South", 6.0, last)), lost_day_share=0.1)
    found = greedy_assignment(whole)
    assert set(found.placed) | set(found.not_placed) == {f"S{n}" for n in range(25)}
    hours = {}
    for pond in ponds:
        if pond.site.site_id in found.placed:
            place = found.placed[pond.site.site_id]
            hours[place] = hours.get(place, 0.0) + pond.hours
    assert all(total <= {"North": 8.0, "South": 6.0}[name] * 0.9 + 1e-9 for (_, name), total in hours.items())


def events_of(hard_freeze: list[float]) -> SiteEvents:
    days = np.array(hard_freeze, np.float32)
    return SiteEvents(None, None, None, None, days, days, days < 0)


def test_caught_ponds_by_hand():
    monday = fall_day(MON, FALL)
    events = {"A": events_of([monday, np.inf]), "B": events_of([monday + 1, monday + 5])}
    found = greedy_assignment(task(visit("A", {MON: 0.0, TUE: 9.0}), visit("B", {MON: 9.0, TUE: 0.0})))
    caught = caught_ponds(found, events, fall=FALL)
    assert caught is not None
    assert caught.tolist() == [2.0, 0.0]  # a freeze on the morning of the planned day counts


def test_latest_start_by_hand():
    # one pond, two hours; it freezes on Thursday in every member: closing on Wednesday is the last that holds
    last = date(2025, 10, 10)
    thursday = fall_day(date(2025, 10, 9), FALL)
    pond = visit("A", {date(2025, 10, day): float(day) for day in range(6, 11)})
    whole = task(pond, crews=(crew(last=last),), max_caught=0, caught_chance=0.9)
    assert latest_start(whole, {"A": events_of([thursday] * 10)}) == date(2025, 10, 8)
    assert latest_start(task(pond), {"A": events_of([thursday] * 10)}) is None


def test_round_of_the_handbook_case():
    # (0,0) through (0,3), (4,3), (4,0), (2,5): optimum 10 + 4 sqrt 2, next best 19.2136
    places = np.array([[0, 0], [0, 3], [4, 3], [4, 0], [2, 5]], float)
    hours = np.linalg.norm(places[:, None] - places[None], axis=2)
    order = [0, *shortest_round(hours), 0]
    assert sum(hours[a, b] for a, b in itertools.pairwise(order)) == pytest.approx(15.656854)


def test_clock_times_follow_each_other():
    sites = [Site(f"S{n}", "c", 43.0 + n / 50, -88.0, 1.0) for n in range(4)]
    stops, driven = order_stops(
        sites, crew(), RouteSettings(), hours_on_site={site.site_id: 1.5 for site in sites}
    )
    assert len(stops) == 4
    assert driven > 0
    assert all(a.leave <= b.arrive for a, b in itertools.pairwise(stops))
    assert stops[0].arrive >= time(8, 0)
