"""Sites to crew-days: what is to be placed, what a placement is, and a plain greedy one.

The greedy plan places booked visits first, then always the site that would lose most by its second-best
day. It is the first answer of the solver and what stands where the solver finds none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import fall_day
from forecaster.route.window import may_close
from forecaster.season.settings import Costs, Crew, RouteSettings
from forecaster.season.sites import Site
from forecaster.weather.distance import haversine_km

Floats = NDArray[np.float64]
NEIGHBOUR_DRIVE_SHARE = 0.5
"""Share of the crew's drive from its start place that one more stop costs: stops of a day lie together."""


@dataclass(frozen=True, eq=False)
class Visit:
    """One site to close: `loss` [$] by day of the fall, shape (184,); booked and told dates are in `site`."""

    site: Site
    loss: Floats
    hours: float


@dataclass(frozen=True)
class RouteTask:
    """Everything an assignment may depend on; `in_force` is the plan to start from, site -> (day, crew);
    `taken_hours` [h] what other visits take of a crew's day."""

    fall: int
    as_of: date
    visits: tuple[Visit, ...]
    crews: tuple[Crew, ...]
    costs: Costs
    route: RouteSettings
    in_force: Mapping[str, tuple[date, str]] = field(default_factory=dict)
    taken_hours: Mapping[tuple[str, date], float] = field(default_factory=dict)


@dataclass(frozen=True)
class Assignment:
    """Site -> (day, crew); `not_placed` in order of the visits; `gap` (plan - bound) / plan or None."""

    placed: dict[str, tuple[date, str]]
    not_placed: tuple[str, ...]
    gap: float | None = None


def working_days(crew: Crew, task_from: date, task_to: date) -> list[date]:
    """The crew's working days from `task_from` to `task_to`, both included."""
    span = (task_to - task_from).days
    return [day for n in range(span + 1) if crew.works_on(day := task_from + timedelta(days=n))]


def drive_hours_from_start(site: Site, crew: Crew, route: RouteSettings) -> float:
    """Estimated driving from the crew's start place to the site [h], straight line times road factor."""
    away = float(haversine_km(crew.latitude, crew.longitude, site.latitude, site.longitude))
    return away * route.road_factor / route.speed_km_h


def greedy_assignment(task: RouteTask) -> Assignment:
    """A plan by regret: booked visits first, then whoever loses most by not getting the best open day."""
    left = {
        (crew.name, day): crew.hours_per_day * (1.0 - task.route.lost_day_share)
        - task.taken_hours.get((crew.name, day), 0.0)
        for crew in task.crews
        for day in working_days(crew, max(task.as_of, crew.first_day), crew.last_day)
    }
    by_name = {crew.name: crew for crew in task.crews}
    need = {
        (visit.site.site_id, crew.name): visit.hours
        + NEIGHBOUR_DRIVE_SHARE * drive_hours_from_start(visit.site, crew, task.route)
        for visit in task.visits
        for crew in task.crews
    }
    options = {
        visit.site.site_id: [
            (float(visit.loss[fall_day(day, task.fall)]) + move_cost(visit.site, day, task.costs), day, name)
            for name, day in left
            if may_close(visit.site, by_name[name], day) and _wanted(visit.site, day)
        ]
        for visit in task.visits
    }
    placed: dict[str, tuple[date, str]] = {}
    waiting = {visit.site.site_id: visit for visit in task.visits}
    for site_id in [s for s, visit in waiting.items() if visit.site.booked_date] + [""] * len(waiting):
        chosen = site_id if site_id in waiting else _most_regret(waiting, options, left, need)
        if chosen is None:
            break
        visit = waiting.pop(chosen, None)
        best = min((o for o in options[chosen] if left[o[2], o[1]] >= need[chosen, o[2]]), default=None)
        if visit is not None and best is not None:
            placed[chosen] = (best[1], best[2])
            left[best[2], best[1]] -= need[chosen, best[2]]
    ids = [visit.site.site_id for visit in task.visits]
    return Assignment(placed, tuple(site_id for site_id in ids if site_id not in placed))


def move_cost(site: Site, day: date, costs: Costs) -> float:
    """What coming on another day than the customer was told costs [$]."""
    return costs.move_told_date if site.told_date is not None and day != site.told_date else 0.0


def _wanted(site: Site, day: date) -> bool:
    return site.booked_date is None or day == site.booked_date


def _most_regret(
    waiting: Mapping[str, Visit],
    options: Mapping[str, list[tuple[float, date, str]]],
    left: Mapping[tuple[str, date], float],
    need: Mapping[tuple[str, str], float],
) -> str | None:
    best: tuple[float, str] | None = None
    for site_id in sorted(waiting):
        open_losses = sorted({o[0] for o in options[site_id] if left[o[2], o[1]] >= need[site_id, o[2]]})
        if not open_losses:
            continue
        regret = (open_losses[1] - open_losses[0]) if len(open_losses) > 1 else np.inf
        if best is None or regret > best[0] + 1e-9:
            best = (regret, site_id)
    return best[1] if best else None
