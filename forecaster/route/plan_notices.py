"""What the scheduler must be told about a plan: no crew, no room, a told date moved, a cold snap ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecaster.errors import Notice
from forecaster.events import SiteEvents
from forecaster.falls import date_of, fall_day
from forecaster.forecast import Move, Plan
from forecaster.risk import fall_quantile
from forecaster.route.assign import RouteTask

SNAP_DAYS = 10
"""A hard freeze within so many days, more likely than not at a site, is a cold snap ahead."""
NAMED = 8


def plan_notices(task: RouteTask, plan: Plan, events: Mapping[str, SiteEvents]) -> list[Notice]:
    """All of them, the most important first."""
    if not task.crews:
        return [Notice("season.toml [[crew]]", "no crew is given, so nothing can be planned. Add one.")]
    found = []
    if not task.slots:
        found.append(
            Notice("season.toml [[crew]]", "no crew has a working day left. Set its last_day later.")
        )
    elif plan.not_placed:
        count = len(plan.not_placed)
        text = f"{count} sites found no place in the crews' remaining days: {_names(plan.not_placed)}."
        found.append(Notice("plan", text))
    found += _cold_snap(task, plan, events)
    told = [move for move in plan.moves if move.told]
    if told:
        text = f"{len(told)} told dates are moved: {_names([move.site_id for move in told])}. Call before."
        found.append(Notice("plan", text))
    passed = [
        visit.site.site_id
        for visit in task.visits
        if visit.site.booked_date is not None and visit.site.booked_date < task.as_of
    ]
    if passed:
        text = f"booked dates of {_names(passed)} have passed and no closing is recorded: planned anew."
        found.append(Notice("sites.csv, booked_date", text))
    return found


def _cold_snap(task: RouteTask, plan: Plan, events: Mapping[str, SiteEvents]) -> list[Notice]:
    """A hard freeze that is likely soon: at how many sites, and which of them are moved forward for it."""
    limit = fall_day(task.as_of, task.fall) + SNAP_DAYS
    hit = {
        site_id: fall_quantile(seen.hard_freeze, 0.5)
        for site_id, seen in events.items()
        if seen.hard_freeze is not None and (seen.hard_freeze < limit).mean() >= 0.5
    }
    if not hit:
        return []
    first = date_of(min(hit.values()), task.fall)
    assert first is not None
    forward = [
        move for move in plan.moves if move.site_id in hit and move.to_day and move.to_day < move.from_day
    ]
    text = (
        f"cold snap ahead: at {len(hit)} of {len(events)} sites a hard freeze within {SNAP_DAYS} days is "
        f"more likely than not (first about {first:%a} {first.day} {first:%b})."
    )
    if forward:
        text += f" {len(forward)} of them are moved forward for it: {_names(_by_gain(forward))}."
    return [Notice("plan", text)]


def _by_gain(moves: Sequence[Move]) -> list[str]:
    ordered = sorted(moves, key=lambda m: ((m.to_day or m.from_day) - m.from_day, m.site_id))
    return [move.site_id for move in ordered]


def _names(names: Sequence[str]) -> str:
    return ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")
