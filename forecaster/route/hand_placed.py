"""Visits that the scheduler put on a crew-day by hand: kept there, unless that cannot hold any more.

For the search such a visit is like a booked one that only one crew may do; the customer knows nothing of it,
so a told date keeps its price. Where bookings, limits or crews changed so that it no longer fits, it is the
hand-placed visits that give way, the one latest in the list of visits first, and a notice says so.
"""

from __future__ import annotations

from dataclasses import replace

from forecaster.errors import Notice
from forecaster.route.assign import RouteTask, placing
from forecaster.route.conflicts import Conflict, find_conflicts
from forecaster.season.sites import Site


def without_lapsed(task: RouteTask) -> tuple[RouteTask, tuple[Conflict, ...], tuple[Notice, ...]]:
    """The task without hand-placed days that cannot hold, the conflicts that are left, and what to tell."""
    said: list[Notice] = []
    conflicts = find_conflicts(task)
    while lapsed := _giving_way(task, conflicts):
        day, crew = placing(_site_of(task, lapsed), task.as_of) or (task.as_of, "")
        text = (
            f"was moved by hand to {day:%a} {day.day} {day:%b} with {crew}, which does not fit with other "
            "bookings, limits and crews' hours any more: the plan chose again. Move it anew if you like."
        )
        said.append(Notice(lapsed, text))
        visits = tuple(
            replace(visit, site=replace(visit.site, hand_placed=None))
            if visit.site.site_id == lapsed
            else visit
            for visit in task.visits
        )
        task = replace(task, visits=visits)
        conflicts = find_conflicts(task)
    return task, conflicts, tuple(said)


def _giving_way(task: RouteTask, conflicts: tuple[Conflict, ...]) -> str | None:
    """The site whose hand-placed day is given up next, None where no conflict holds any."""
    for conflict in conflicts:
        placed = [name for name in conflict.sites if placing(_site_of(task, name), task.as_of) is not None]
        if placed:
            return placed[-1]
    return None


def _site_of(task: RouteTask, site_id: str) -> Site:
    return next(visit.site for visit in task.visits if visit.site.site_id == site_id)
