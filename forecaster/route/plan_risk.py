"""The plan as a whole, from the same members: ponds caught by frost, loss by week, the worst falls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.forecast import CrewDay, PlanWeek, WorstFall
from forecaster.route.assign import RouteTask
from forecaster.scenarios import Members
from forecaster.season.settings import Costs

Floats = NDArray[np.float64]
WORST_SHOWN = 3


def caught_ponds(last_open: Mapping[str, float], events: Mapping[str, SiteEvents]) -> Floats | None:
    """Sites still open at their first hard freeze in each member, shape (m,); None where no site has minima.

    Args:
        last_open: Day of the fall on which each site is closed, inf for one that is not placed. A freeze on
            the morning of that day counts.
        events: By site.
    """
    total: Floats | None = None
    for site_id, seen in events.items():
        if seen.hard_freeze is None:
            continue
        hit = np.isfinite(seen.hard_freeze) & (seen.hard_freeze <= last_open[site_id])
        total = hit.astype(float) if total is None else total + hit
    return total


def count_chances(caught: Floats | None, sites: int) -> tuple[float, ...]:
    """Chance of exactly 0, 1, ... `sites` caught ponds; empty where it is not known.

    >>> count_chances(np.array([0.0, 2.0, 2.0, 1.0]), 2)
    (0.25, 0.25, 0.5)
    """
    if caught is None:
        return ()
    counts = np.bincount(caught.astype(int), minlength=sites + 1)
    return tuple(float(count / len(caught)) for count in counts)


def member_loss(events: SiteEvents, costs: Costs, *, plumbing_exposure: float, day: int) -> Floats:
    """Loss of closing one site on `day` in each member [$], shape (m,) or (); mean as in `loss_by_day`."""
    loss: Floats = np.zeros(())
    if events.start is not None:
        loss = loss + costs.warm_day * np.maximum(np.minimum(events.start, FALL_DAYS) - day, 0.0)
    for event, cost in (
        (events.hard_freeze, costs.hard_freeze),
        (events.plumbing_freeze, costs.plumbing_freeze * plumbing_exposure),
        (events.ice_on, costs.ice),
    ):
        if event is not None:
            loss = loss + cost * (event <= day)
    return np.asarray(loss, float)


def worst_falls(
    task: RouteTask,
    placed: Mapping[str, tuple[date, str]],
    events: Mapping[str, SiteEvents],
    caught: Floats | None,
    members: Members,
) -> tuple[WorstFall, ...]:
    """The members in which the plan loses most, one of each source season."""
    total = np.zeros(members.count)
    for visit in task.visits:
        site = visit.site
        day = fall_day(placed[site.site_id][0], task.fall) if site.site_id in placed else FALL_DAYS - 1
        total = total + member_loss(
            events[site.site_id], task.costs, plumbing_exposure=site.plumbing_exposure, day=day
        )
    found: dict[int, WorstFall] = {}
    for member in np.argsort(-total, kind="stable"):
        source = int(members.source_fall[member])
        if source in found:
            continue
        number = 0 if caught is None else int(caught[member])
        found[source] = WorstFall(source, int(members.shift_days[member]), number, float(total[member]))
        if len(found) == WORST_SHOWN:
            break
    return tuple(found.values())


def plan_weeks(
    task: RouteTask, crew_days: Sequence[CrewDay], loss_of: Mapping[str, Floats]
) -> tuple[PlanWeek, ...]:
    """Visits, their expected loss and driving by week; `loss_of`: each site's loss by day of the fall."""
    weeks: dict[date, PlanWeek] = {}
    for crew_day in crew_days:
        monday = crew_day.day - timedelta(days=crew_day.day.weekday())
        before = weeks.get(monday, PlanWeek(monday, 0, 0.0, 0.0))
        day = fall_day(crew_day.day, task.fall)
        weeks[monday] = PlanWeek(
            monday,
            before.visits + len(crew_day.stops),
            before.expected_loss + sum(float(loss_of[stop.site_id][day]) for stop in crew_day.stops),
            before.drive_cost + crew_day.drive_hours * task.costs.drive_hour,
        )
    return tuple(weeks[monday] for monday in sorted(weeks))
