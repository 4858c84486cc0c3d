"""Which visits stand on another day than before, and why: against dates told, else the plan in force.

A told date is moved only when that saves more than its price. The search already weighs the price; here each
moved date is tried once more on its old day, with all others making the best of it, and goes back there if
the route then costs no more. What the move saves is the difference.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from forecaster.events import SiteEvents
from forecaster.falls import fall_day
from forecaster.forecast import Move
from forecaster.route.assign import RouteTask, Visit, placing, told_date
from forecaster.route.rounds import EPSILON, NOWHERE, Rounds
from forecaster.route.solve import Solved, cost_if_held, resolved

TRIED_AGAIN = 40
"""Most told dates that are tried on their old day."""
MANY = 4


def keep_told_dates(task: RouteTask, solved: Solved) -> tuple[Solved, dict[str, float]]:
    """The plan with told dates put back where moving them saves nothing, and what each other move saves [$].

    The saving is beyond the price. A site whose old day is no working day for it any more has none.
    """
    rounds, saves = solved.rounds, dict[str, float]()
    changed, tried = True, 0
    while changed:
        changed = False
        for site, visit in enumerate(task.visits):
            told = told_date(visit.site, task.as_of)
            if told is None or tried >= TRIED_AGAIN or _day_of(task, rounds, site) == told:
                continue
            if placing(visit.site, task.as_of) is not None:
                continue
            tried += 1
            cost, held = cost_if_held(rounds, site, fall_day(told, task.fall))
            if cost <= rounds.total() + EPSILON:
                rounds.load_rounds(held)
                changed = True
            elif cost - rounds.total() < float(rounds.problem.not_placed[site]) / 2:
                saves[visit.site.site_id] = cost - rounds.total()
    return resolved(task, solved), saves


def _day_of(task: RouteTask, rounds: Rounds, site: int) -> date | None:
    slot = int(rounds.slot_of[site])
    return None if slot == NOWHERE else task.slots[slot].day


def moves_of(
    task: RouteTask, solved: Solved, saves: Mapping[str, float], events: Mapping[str, SiteEvents]
) -> tuple[Move, ...]:
    """Every visit whose day is another one, told ones first, each with its reason."""
    placed = solved.assignment.placed
    before = {v.site.site_id: _before(task, v) for v in task.visits}
    found = []
    for visit in task.visits:
        site_id = visit.site.site_id
        old, told = before[site_id]
        new = placed[site_id][0] if site_id in placed else None
        if old is None or old == new:
            continue
        came = [
            other
            for other, (day, _) in placed.items()
            if day == old and before[other][0] != old and other != site_id
        ]
        found.append(
            Move(
                site_id=site_id,
                from_day=old,
                to_day=new,
                told=told,
                price=task.costs.move_told_date if told and new is not None else 0.0,
                saves=saves.get(site_id),
                reason=_reason(task, visit, old, new, told, saves.get(site_id), came, events[site_id]),
            )
        )
    return tuple(sorted(found, key=lambda move: (not move.told, move.from_day, move.site_id)))


def _before(task: RouteTask, visit: Visit) -> tuple[date | None, bool]:
    """The day that held before and whether the customer knows it; passed days do not count."""
    told = told_date(visit.site, task.as_of)
    if told is not None:
        return told, True
    planned = task.in_force.get(visit.site.site_id)
    if planned is None or planned[0] < task.as_of:
        return None, False
    return planned[0], False


def _reason(
    task: RouteTask,
    visit: Visit,
    old: date,
    new: date | None,
    told: bool,
    saves: float | None,
    came: list[str],
    events: SiteEvents,
) -> str:
    if new is None:
        return "no crew-day is left for it."
    placed = placing(visit.site, task.as_of)
    if placed is not None and placed[0] == new:
        return "moved there by hand."
    crews = [slot.crew for slot in task.slots if slot.day == old]
    loss_old, loss_new = (float(visit.loss[fall_day(day, task.fall)]) for day in (old, new))
    frost = _frost(task, events, old, new)
    others = ", ".join(came[:MANY]) + (f" and {len(came) - MANY} more" if len(came) > MANY else "")
    if not crews:
        text = f"no crew works on {_said(old)} any more"
    elif loss_new < loss_old - 0.5 and new < old:
        text = f"waiting until {_said(old)} would cost ${loss_old - loss_new:.0f} more{frost}"
    elif loss_new < loss_old - 0.5:
        text = f"on {_said(new)} it costs ${loss_old - loss_new:.0f} less"
    elif came:
        text = (
            f"it makes room on {_said(old)} for {others}, and costs ${max(0.0, loss_new - loss_old):.0f} more"
        )
    else:
        more = f"costs ${max(0.0, loss_new - loss_old):.0f} more"
        text = f"the route as a whole is cheaper so, though this visit {more}"
    if told and saves is not None:
        text += (
            f"; the move saves the route ${saves:.0f} beyond the ${task.costs.move_told_date:.0f} of a call"
        )
    return f"{text}."


def _frost(task: RouteTask, events: SiteEvents, old: date, new: date) -> str:
    if events.hard_freeze is None:
        return ""
    chances = [float((events.hard_freeze <= fall_day(day, task.fall)).mean()) for day in (new, old)]
    if new > old or chances[1] - chances[0] < 0.05:
        return ""
    return (
        f": a hard freeze has come by then in {chances[1] * 100:.0f} % of falls, by {_said(new)} in "
        f"{chances[0] * 100:.0f} %"
    )


def _said(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"
