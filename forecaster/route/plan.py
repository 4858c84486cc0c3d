"""From each site's losses to crew-days, and what the plan means for the route as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day, fall_of
from forecaster.forecast import CrewDay, Plan
from forecaster.known import Known
from forecaster.risk import fall_quantile
from forecaster.route.assign import RouteTask, Visit, move_price
from forecaster.route.bound import drive_shares, gap_of, relax
from forecaster.route.conflicts import notice_of
from forecaster.route.hand_placed import without_lapsed
from forecaster.route.latest_start import latest_start
from forecaster.route.moves import keep_told_dates, moves_of
from forecaster.route.plan_notices import plan_notices
from forecaster.route.plan_risk import caught_ponds, count_chances, plan_weeks, worst_falls
from forecaster.route.shortage import find_shortage
from forecaster.route.solve import DEFAULT_GAP, Solved, solve
from forecaster.route.stops import clock_stops
from forecaster.route.value_of_reading import ReadingTask, reading_values
from forecaster.route.window import share_by_day, window_around
from forecaster.scenarios import Members
from forecaster.season.sites import Site

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PlannedRoute:
    """Crew-days in order of date and crew, site -> (day, crew), and the plan's figures."""

    crew_days: tuple[CrewDay, ...]
    placed: dict[str, tuple[date, str]]
    plan: Plan
    notices: tuple[Notice, ...]
    measure_next: tuple[tuple[str, float], ...] = ()


def plan_route(
    known: Known,
    outcomes: Sequence[tuple[Site, Floats, SiteEvents]],
    members: Members | None = None,
    *,
    gap: float = DEFAULT_GAP,
) -> PlannedRoute:
    """Place every open site.

    Args:
        known: What is known; its `in_force` is the plan to start from.
        outcomes: Each open site, its loss by day of the fall [$] and its events.
        members: The ensemble behind the events, to say what the worst falls are like.
        gap: Target of the search, 0-1 (see solve.py).
    """
    task, conflicts, lapsed = without_lapsed(route_task(known, outcomes))
    task = replace(task, unplaceable=frozenset(conflict.left_out for conflict in conflicts))
    events = {site.site_id: seen for site, _, seen in outcomes}
    solved, saves = keep_told_dates(task, solve(task, gap=gap))
    crew_days = crew_days_of(task, solved)
    plan = _plan(task, solved, crew_days, events, members, saves, known)
    return PlannedRoute(
        crew_days=crew_days,
        placed=solved.assignment.placed,
        plan=plan,
        notices=(
            *(notice_of(conflict) for conflict in conflicts),
            *lapsed,
            *plan_notices(task, plan, events),
        ),
        measure_next=_measure_next(task, solved, events),
    )


def route_task(
    known: Known,
    outcomes: Sequence[tuple[Site, Floats, SiteEvents]],
    unplaceable: frozenset[str] = frozenset(),
) -> RouteTask:
    """What is to be planned, from what is known and forecast."""
    return RouteTask(
        fall=known.fall,
        as_of=known.as_of,
        visits=tuple(
            Visit(site, loss, site.hours_on_site, None if seen.ice_on is None else share_by_day(seen.ice_on))
            for site, loss, seen in outcomes
        ),
        crews=known.crews,
        costs=known.settings.costs,
        route=known.settings.route,
        in_force={
            site_id: place for site_id, place in known.in_force.items() if fall_of(place[0]) == known.fall
        },
        taken_hours=known.taken_hours,
        travel_times=known.travel_times,
        seed=known.settings.season.seed,
        unplaceable=unplaceable,
    )


def crew_days_of(task: RouteTask, solved: Solved) -> tuple[CrewDay, ...]:
    """Stops of each crew-day in driving order with clock times, by date and then crew."""
    problem, days = solved.problem, []
    for at, slot in enumerate(task.slots):
        stops = solved.rounds.stops[at]
        if not stops:
            continue
        crew = task.crews[task.crew_index[slot.crew]]
        legs = [
            problem.out[at, stops[0]],
            *(problem.between[a, b] for a, b in pairwise(stops)),
        ]
        on_site = [float(problem.hours[site, at]) for site in stops]
        ids = [task.visits[site].site.site_id for site in stops]
        timed = clock_stops(ids, legs, on_site, day=slot.day, start=crew.start_time)
        driven = problem.drive_of(at, stops)
        home = datetime.combine(slot.day, crew.start_time) + timedelta(
            hours=sum(on_site) + driven, seconds=30
        )
        days.append(
            CrewDay(
                day=slot.day,
                crew=slot.crew,
                stops=timed,
                site_hours=sum(on_site),
                drive_hours=driven,
                home=home.time().replace(second=0, microsecond=0) if home.date() == slot.day else None,
                drive_estimated=task.travel.estimated > 0,
            )
        )
    return tuple(sorted(days, key=lambda day: (day.day, day.crew)))


def _plan(
    task: RouteTask,
    solved: Solved,
    crew_days: tuple[CrewDay, ...],
    events: Mapping[str, SiteEvents],
    members: Members | None,
    saves: Mapping[str, float],
    known: Known,
) -> Plan:
    placed, assignment = solved.assignment.placed, solved.assignment
    loss_of = {visit.site.site_id: visit.loss for visit in task.visits}
    slot_of = {site_id: slot for slot, ids in assignment.rounds.items() for site_id in ids}
    closed_on = {
        site_id: float(fall_day(placed[site_id][0], task.fall)) if site_id in placed else np.inf
        for site_id in loss_of
    }
    loss = sum(
        float(loss[int(closed_on[site_id]) if site_id in placed else FALL_DAYS - 1])
        for site_id, loss in loss_of.items()
    )
    moved = sum(
        move_price(visit.site, slot_of[visit.site.site_id], task)
        for visit in task.visits
        if visit.site.site_id in slot_of
    )
    driving = sum(day.drive_hours for day in crew_days) * task.costs.drive_hour
    expected = loss + driving + moved
    caught = caught_ponds(closed_on, events)
    latest = latest_start(task, solved, events)
    return Plan(
        caught_p50=None if caught is None else int(fall_quantile(caught, 0.5)),
        caught_p90=None if caught is None else int(fall_quantile(caught, 0.9)),
        latest_start=None if latest is None else latest.day,
        expected_loss=expected,
        gap=gap_of(assignment.cost, assignment.bound, expected) if task.crews else None,
        not_placed=assignment.not_placed,
        gap_exact=assignment.exact_driving,
        drive_cost=driving,
        move_cost=moved,
        caught_chances=count_chances(caught, len(loss_of)),
        caught_limit=None if latest is None else latest.limit,
        caught_limit_set=latest is not None and latest.is_set,
        weeks=plan_weeks(task, crew_days, loss_of),
        worst=() if members is None else worst_falls(task, placed, events, caught, members),
        shortage=find_shortage(task, solved, _windows(task, solved, known)),
        moves=moves_of(task, solved, saves, events),
    )


def _windows(task: RouteTask, solved: Solved, known: Known) -> dict[str, tuple[int, int]]:
    """First and last day of the fall of each site's closing window."""
    margin, windows = task.costs.window_margin, dict[str, tuple[int, int]]()
    for site, visit in enumerate(task.visits):
        days = solved.problem.day[np.isfinite(solved.problem.cost[site])]
        if len(days):
            best = int(days[np.argmin(visit.loss[days])])
            windows[visit.site.site_id] = window_around(
                visit.loss, best, margin=margin, earliest=known.as_of_day
            )
    return windows


def _measure_next(
    task: RouteTask, solved: Solved, events: Mapping[str, SiteEvents]
) -> tuple[tuple[str, float], ...]:
    problem, rounds = solved.problem, solved.rounds
    if problem.slot_count == 0:
        return ()
    prices, shares = relax(rounds).hour_price, drive_shares(rounds)
    tasks = []
    for site, visit in enumerate(task.visits):
        price = np.full(FALL_DAYS, np.inf)
        open_slots = np.isfinite(problem.cost[site])
        np.minimum.at(
            price,
            problem.day[open_slots],
            ((problem.hours[site] + shares[site]) * prices)[open_slots],
        )
        slot = int(rounds.slot_of[site])
        tasks.append(
            ReadingTask(
                site_id=visit.site.site_id,
                events=events[visit.site.site_id],
                plumbing_exposure=visit.site.plumbing_exposure,
                allowed=np.isfinite(price),
                price=np.where(np.isfinite(price), price, 0.0),
                planned=int(problem.day[slot]) if slot >= 0 else None,
            )
        )
    return reading_values(tasks, task.costs, seed=task.seed)
