"""Where the crews' days do not suffice: how many hours, which sites pay for it, what one more day is worth.

What a crew-day is worth is found by planning again with it, not from shadow prices: visits are whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np

from forecaster.forecast import Shortage
from forecaster.route.assign import RouteTask
from forecaster.route.bound import drive_shares
from forecaster.route.rounds import NOWHERE, PlanProblem, Rounds
from forecaster.route.search import improve
from forecaster.route.solve import Solved

LEAST_VALUE = 0.5
"""A crew-day that would save less is not listed [$]."""


def find_shortage(task: RouteTask, solved: Solved, windows: Mapping[str, tuple[int, int]]) -> Shortage | None:
    """What is short; None where every visit finds a day inside its closing window.

    Args:
        windows: First and last day of the fall of each site's closing window; sites without any are left out.
    """
    problem, rounds = solved.problem, solved.rounds
    shares = drive_shares(rounds)
    hours, paying = 0.0, list[tuple[str, float]]()
    for site, visit in enumerate(task.visits):
        slot = int(rounds.slot_of[site])
        window = windows.get(visit.site.site_id)
        if window is None or problem.booked[site]:
            continue
        possible = np.isfinite(problem.cost[site])
        best = float(visit.loss[problem.day[possible]].min()) if possible.any() else float(visit.loss.min())
        if slot == NOWHERE:
            hours += visit.hours + shares[site]
            paying.append((visit.site.site_id, float(visit.loss[-1]) - best))
        elif not window[0] <= problem.day[slot] <= window[1]:
            hours += problem.hours[site, slot] + shares[site]
            paying.append((visit.site.site_id, float(visit.loss[problem.day[slot]]) - best))
    if not paying:
        return None
    paying.sort(key=lambda item: (-item[1], item[0]))
    return Shortage(float(hours), tuple(paying), crew_day_values(task, solved))


def crew_day_values(task: RouteTask, solved: Solved) -> tuple[tuple[date, float], ...]:
    """What one more crew-day would save [$] on each day that has one, by date: a lower bound, by re-planning.

    The crew more is like the day's first crew; where sites name the crews that may go, it may go where that
    one may.
    """
    problem, base = solved.problem, solved.rounds
    used = [slot for slot, stops in enumerate(base.stops) if stops]
    if not used and base.slot_of.size == 0:
        return ()
    last = int(problem.day[max(used)]) if used else -1
    if (base.slot_of == NOWHERE).any():
        last = int(problem.day[-1])
    first_slots = {
        int(day): int(slot) for day, slot in zip(*np.unique(problem.day, return_index=True), strict=True)
    }
    values = []
    closed = _with_slot(problem, 0)
    closed.cost[:, -1] = np.inf
    wide = Rounds(closed)
    wide.load_rounds([*base.copy_rounds(), []])
    improve(wide)
    start, before = wide.copy_rounds(), wide.money()
    for day, slot in sorted(first_slots.items()):
        if day > last:
            break
        _open_slot(wide, problem, slot)
        wide.load_rounds(start)
        improve(wide)
        saved = before - wide.money()
        if saved > LEAST_VALUE:
            values.append((task.slots[slot].day, saved))
    return tuple(values)


def _with_slot(problem: PlanProblem, like: int) -> PlanProblem:
    """The task with one slot more, like the slot `like`, last."""
    return replace(
        problem,
        cost=np.column_stack([problem.cost, problem.cost[:, like]]),
        hours=np.column_stack([problem.hours, problem.hours[:, like]]),
        out=np.vstack([problem.out, problem.out[like]]),
        back=np.vstack([problem.back, problem.back[like]]),
        limit=np.r_[problem.limit, problem.limit[like]],
        whole=np.r_[problem.whole, problem.whole[like]],
        day=np.r_[problem.day, problem.day[like]],
    )


def _open_slot(wide: Rounds, problem: PlanProblem, like: int) -> None:
    """Make the last slot one more of the slot `like`."""
    to = wide.problem
    to.cost[:, -1], to.hours[:, -1] = problem.cost[:, like], problem.hours[:, like]
    to.out[-1], to.back[-1] = problem.out[like], problem.back[like]
    to.limit[-1], to.whole[-1], to.day[-1] = problem.limit[like], problem.whole[like], problem.day[like]
    wide.stops[-1] = []
    wide.refresh(len(wide.stops) - 1)
