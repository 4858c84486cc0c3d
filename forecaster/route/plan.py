"""From each site's losses to crew-days and the risk of the route as a whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.events import SiteEvents
from forecaster.falls import fall_day
from forecaster.forecast import CrewDay, Plan
from forecaster.known import Known
from forecaster.risk import fall_quantile
from forecaster.route.assign import Assignment, RouteTask, Visit, greedy_assignment, move_cost
from forecaster.route.stops import order_stops
from forecaster.season.sites import Site


@dataclass(frozen=True, eq=False)
class PlannedRoute:
    """Crew-days in order of date and crew, site -> (day, crew), and the plan's figures."""

    crew_days: tuple[CrewDay, ...]
    placed: dict[str, tuple[date, str]]
    plan: Plan
    notices: tuple[Notice, ...]


def plan_route(
    known: Known, outcomes: Sequence[tuple[Site, NDArray[np.float64], SiteEvents]]
) -> PlannedRoute:
    """Place every open site; `outcomes` holds each site, its loss by day [$] and its events."""
    task = RouteTask(
        fall=known.fall,
        as_of=known.as_of,
        visits=tuple(Visit(site, loss, site.hours_on_site) for site, loss, _ in outcomes),
        crews=known.crews,
        costs=known.settings.costs,
        route=known.settings.route,
        in_force=known.in_force,
        taken_hours=known.taken_hours,
    )
    assignment = greedy_assignment(task)
    crew_days = crew_days_of(task, assignment)
    events = {site.site_id: seen for site, _, seen in outcomes}
    caught = caught_ponds(assignment, events, fall=known.fall)
    driving = sum(day.drive_hours for day in crew_days) * known.settings.costs.drive_hour
    loss = sum(
        float(visit.loss[fall_day(assignment.placed[visit.site.site_id][0], known.fall)])
        if visit.site.site_id in assignment.placed
        else float(visit.loss[-1])
        for visit in task.visits
    )
    moves = sum(
        move_cost(visit.site, assignment.placed[visit.site.site_id][0], task.costs)
        for visit in task.visits
        if visit.site.site_id in assignment.placed
    )
    plan = Plan(
        caught_p50=None if caught is None else int(fall_quantile(caught, 0.5)),
        caught_p90=None if caught is None else int(fall_quantile(caught, 0.9)),
        latest_start=latest_start(task, events),
        expected_loss=loss + driving + moves,
        gap=assignment.gap,
        not_placed=assignment.not_placed,
    )
    return PlannedRoute(crew_days, assignment.placed, plan, tuple(_notices(task, assignment)))


def crew_days_of(task: RouteTask, assignment: Assignment) -> tuple[CrewDay, ...]:
    """Stops of each crew-day in driving order, by date and then crew."""
    by_id = {visit.site.site_id: visit for visit in task.visits}
    by_name = {crew.name: crew for crew in task.crews}
    groups: dict[tuple[date, str], list[str]] = {}
    for site_id, place in assignment.placed.items():
        groups.setdefault(place, []).append(site_id)
    days = []
    for (day, name), site_ids in sorted(groups.items()):
        hours = {site_id: by_id[site_id].hours for site_id in site_ids}
        stops, driven = order_stops(
            [by_id[site_id].site for site_id in site_ids], by_name[name], task.route, hours_on_site=hours
        )
        days.append(CrewDay(day, name, stops, site_hours=sum(hours.values()), drive_hours=driven))
    return tuple(days)


def caught_ponds(
    assignment: Assignment, events: dict[str, SiteEvents], *, fall: int
) -> NDArray[np.float64] | None:
    """Sites still open at their first hard freeze in each member, shape (m,); None where no site has minima.

    A freeze on the morning of the planned day counts; a site that is not placed stays open.
    """
    total: NDArray[np.float64] | None = None
    for site_id, seen in events.items():
        if seen.hard_freeze is None:
            continue
        place = assignment.placed.get(site_id)
        last_open = np.inf if place is None else fall_day(place[0], fall)
        hit = np.isfinite(seen.hard_freeze) & (seen.hard_freeze <= last_open)
        total = hit.astype(float) if total is None else total + hit
    return total


def latest_start(task: RouteTask, events: dict[str, SiteEvents]) -> date | None:
    """The latest first day of the route that keeps the caught ponds within the owner's limit.

    At most `max_caught` ponds open at their first hard freeze, with `caught_chance`. None where no limit is
    set, where no site has minima, or where even a start on the as-of date breaks it. Each trial is planned
    anew from its first day; found by halving, as a later start is taken to catch more.
    """
    limit, chance = task.route.max_caught, task.route.caught_chance
    ends = [crew.last_day for crew in task.crews]
    if limit is None or not ends or max(ends) < task.as_of:
        return None

    def holds(days_later: int) -> bool:
        start = task.as_of + timedelta(days=days_later)
        caught = caught_ponds(greedy_assignment(replace(task, as_of=start)), events, fall=task.fall)
        return caught is not None and float((caught <= limit).mean()) >= chance

    if not holds(0):
        return None
    low, high = 0, (max(ends) - task.as_of).days
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if holds(middle) else (low, middle - 1)
    return task.as_of + timedelta(days=low)


def _notices(task: RouteTask, assignment: Assignment) -> list[Notice]:
    if not task.crews:
        return [Notice("season.toml [[crew]]", "no crew is given, so nothing can be planned. Add one.")]
    moved = [
        f"{visit.site.site_id} ({visit.site.told_date} to {place[0]})"
        for visit in task.visits
        if (place := assignment.placed.get(visit.site.site_id)) is not None
        and move_cost(visit.site, place[0], task.costs) > 0
    ]
    notices = []
    if moved:
        text = "dates already told move where that saves more than it costs: "
        notices.append(Notice("plan", f"{text}{', '.join(moved[:8])}{', ...' if len(moved) > 8 else ''}."))
    if not assignment.not_placed:
        return notices
    names = ", ".join(assignment.not_placed[:8]) + (", ..." if len(assignment.not_placed) > 8 else "")
    text = f"{len(assignment.not_placed)} sites found no place in the crews' remaining days: {names}."
    return [*notices, Notice("plan", text)]
