"""How late the route can start: the same order of work from another first day, and what frost then catches.

Each site keeps its turn and comes no earlier than planned; what no longer fits on its day moves to the next
crew-day with room. A booked visit stays on its day. Driving is each stop's share in the plan.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import ceil

import numpy as np

from forecaster.events import SiteEvents
from forecaster.risk import fall_quantile
from forecaster.route.assign import RouteTask
from forecaster.route.bound import drive_shares
from forecaster.route.plan_risk import caught_ponds
from forecaster.route.rounds import EPSILON, NOWHERE
from forecaster.route.solve import Solved

ASSUMED_SHARE = 0.1
"""Limit of caught ponds where the owner has set none: this share of the open sites, or what the plan itself
keeps where that is more."""


@dataclass(frozen=True)
class LatestStart:
    """`day` is None where no start keeps `limit`; `is_set` tells whether the owner set the limit."""

    day: date | None
    limit: int
    is_set: bool


def latest_start(task: RouteTask, solved: Solved, events: Mapping[str, SiteEvents]) -> LatestStart | None:
    """The latest first day that keeps the limit of caught ponds; None without minima or without a plan."""
    chance = task.route.caught_chance
    days = sorted({int(day) for day in solved.problem.day})
    planned = _closed_on(task, solved, days[0]) if days else {}
    caught = caught_ponds(planned, events) if planned else None
    if caught is None:
        return None
    is_set = task.route.max_caught is not None
    limit = task.route.max_caught
    if limit is None:
        limit = max(ceil(ASSUMED_SHARE * len(task.visits)), int(fall_quantile(caught, chance)))
    latest = None
    for day in days:
        caught = caught_ponds(_closed_on(task, solved, day), events)
        if caught is None or fall_quantile(caught, chance) > limit:
            break
        latest = day
    by_day = {int(day): slot.day for day, slot in zip(solved.problem.day, task.slots, strict=True)}
    return LatestStart(None if latest is None else by_day[latest], limit, is_set)


def _closed_on(task: RouteTask, solved: Solved, first_day: int) -> dict[str, float]:
    """Day of the fall on which each site is closed if the route starts on `first_day`; inf: never."""
    problem, rounds = solved.problem, solved.rounds
    order = np.where(rounds.slot_of == NOWHERE, problem.slot_count, rounds.slot_of)
    need = problem.hours + drive_shares(rounds)[:, None]
    left = np.maximum(problem.limit, rounds.load + rounds.drive)
    closed = {}
    for site in np.lexsort((np.arange(len(order)), order, ~problem.booked)):
        site_id = task.visits[site].site.site_id
        closed[site_id] = np.inf
        if order[site] == problem.slot_count:
            continue
        planned = int(problem.day[order[site]])
        earliest = planned if problem.booked[site] else max(first_day, planned)
        may = (
            np.isfinite(problem.cost[site]) & (problem.day >= earliest) & (left >= need[site] - 10 * EPSILON)
        )
        if planned >= earliest and may[order[site]]:
            slot = int(order[site])
        elif may.any():
            slot = int(np.argmax(may))
        else:
            continue
        left[slot] -= need[site, slot]
        closed[site_id] = float(problem.day[slot])
    return closed
