"""Bookings and limits that cannot hold together, named as the smallest set of which none is too many.

A site's own limits can leave it no crew-day; bookings of one day can need more hours than its crews have.
From everything that takes part, one after the other is left out as long as the rest still cannot hold: what
remains is irreducible (deletion filter, Chinneck & Dravnieks 1991). Bookings may take a crew's whole day,
lost days or not. Limit: with more than 12 bookings on a day a conflict may be missed, never invented.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations
from typing import Any

import numpy as np

from forecaster.errors import Notice, Problem
from forecaster.falls import fall_day
from forecaster.known import Known
from forecaster.route.assign import (
    RouteTask,
    Visit,
    binding_crews,
    binding_date,
    booking,
    may_place,
    placing,
)
from forecaster.route.rounds import EPSILON
from forecaster.route.stops import EXACT_STOPS, round_hours, shortest_round
from forecaster.season.sites import Site

OPEN_LIMITS: dict[str, Any] = {
    "booked_date": None,
    "hand_placed": None,
    "not_before": None,
    "not_after": None,
    "weekdays": frozenset(range(7)),
    "crews": (),
}
"""The limits of a site, each as it is when it limits nothing."""


@dataclass(frozen=True)
class Conflict:
    """`sites` cannot be placed as they are; `left_out` is the one that the plan goes without."""

    sites: tuple[str, ...]
    left_out: str
    where: str
    text: str


def find_conflicts(task: RouteTask) -> tuple[Conflict, ...]:
    """All conflicts, those of single sites first, then day by day; each as small as it can be."""
    if not task.crews:
        return ()
    found = [conflict for visit in task.visits if (conflict := _own_conflict(task, visit))]
    alone = {conflict.left_out for conflict in found}
    by_day: dict[date, list[Visit]] = {}
    for visit in task.visits:
        booked = binding_date(visit.site, task.as_of)
        if booked is not None and visit.site.site_id not in alone:
            by_day.setdefault(booked, []).append(visit)
    for day, visits in sorted(by_day.items()):
        kept = list(visits)
        while not _day_holds(task, day, kept):
            conflict = _day_conflict(task, day, kept)
            found.append(conflict)
            kept = [visit for visit in kept if visit.site.site_id != conflict.left_out]
    return tuple(found)


def check_plan(known: Known) -> list[Problem]:
    """What in bookings, limits and crews of the open sites cannot hold together, as problems of the sheet."""
    visits = tuple(
        Visit(site, np.zeros(184), site.hours_on_site)
        for site in known.sites
        if site.winter != "runs" and site.site_id not in known.closed
    )
    settings = known.settings
    task = RouteTask(
        known.fall,
        known.as_of,
        visits,
        known.crews,
        settings.costs,
        settings.route,
        taken_hours=known.taken_hours,
        travel_times=known.travel_times,
    )
    return [Problem(conflict.where, conflict.text) for conflict in find_conflicts(task)]


def notice_of(conflict: Conflict) -> Notice:
    """The conflict as a warning of the plan."""
    return Notice(conflict.where, f"{conflict.text} {conflict.left_out} is not placed until then.")


def irreducible(elements: Sequence[str], holds: Callable[[Sequence[str]], bool]) -> list[str]:
    """A smallest part of `elements` that does not hold: without any one of it, the rest does.

    >>> irreducible(["a", "b", "c"], lambda kept: not {"a", "c"} <= set(kept))
    ['a', 'c']
    """
    kept = list(elements)
    for element in elements:
        rest = [other for other in kept if other != element]
        if not holds(rest):
            kept = rest
    return kept


def _own_conflict(task: RouteTask, visit: Visit) -> Conflict | None:
    site = visit.site
    limits = [name for name, free in OPEN_LIMITS.items() if getattr(site, name) != free]
    passed = {
        "booked_date": booking(site, task.as_of) is None,
        "hand_placed": placing(site, task.as_of) is None,
    }
    limits = [name for name in limits if not passed.get(name, False)]

    def holds(kept: Sequence[str]) -> bool:
        eased = replace(site, **{name: OPEN_LIMITS[name] for name in OPEN_LIMITS if name not in kept})
        return any(
            may_place(eased, slot, task.as_of) and _fits(task, slot.day, slot.crew, [visit])
            for slot in task.slots
        )

    if holds(limits):
        return None
    where = f"sites.csv row {site.row}" if site.row else site.site_id
    if not task.slots or not holds(()):
        if not task.slots:
            return None  # nobody can be placed: said once for the whole plan
        text = f"{site.site_id} needs {visit.hours:.1f} h on site and its drive: no crew has so long a day."
        return Conflict((site.site_id,), site.site_id, where, f"{text} Split the visit or lengthen a day.")
    named = [_said(site, name) for name in irreducible(limits, holds)]
    text = (
        f"{site.site_id}: {' and '.join(named)} cannot hold together with the crews' remaining days. "
        f"Change {'it' if len(named) == 1 else 'one of them'}."
    )
    return Conflict((site.site_id,), site.site_id, where, text)


def _said(site: Site, name: str) -> str:
    value = getattr(site, name)
    if name == "weekdays":
        value = " ".join(("mon", "tue", "wed", "thu", "fri", "sat", "sun")[day] for day in sorted(value))
    if name == "crews":
        name, value = "crew", "; ".join(value)
    if name == "hand_placed":
        name, value = "moved by hand to", f"{value[0]} {value[1]}"
    return f"{name} {value}"


def _day_conflict(task: RouteTask, day: date, visits: list[Visit]) -> Conflict:
    by_id = {visit.site.site_id: visit for visit in visits}
    tied = [f"crew {site_id}" for site_id, visit in by_id.items() if binding_crews(visit.site, task.as_of)]

    def holds(kept: Sequence[str]) -> bool:
        freed = [
            visit
            if f"crew {site_id}" in kept
            else replace(visit, site=replace(visit.site, crews=(), hand_placed=None))
            for site_id, visit in by_id.items()
            if site_id in kept
        ]
        return _day_holds(task, day, freed)

    kept = irreducible([*tied, *by_id], holds)
    sites = [by_id[name] for name in kept if name in by_id]
    names = ", ".join(
        f"{v.site.site_id} (crew {'; '.join(binding_crews(v.site, task.as_of))})"
        if f"crew {v.site.site_id}" in kept
        else v.site.site_id
        for v in sites
    )
    hours = _hours(task, day, sites)
    crews = [crew for crew in task.crews if crew.works_on(day)]
    working = ", ".join(f"{crew.name} {task.whole_day(crew.name, day):g} h" for crew in crews)
    text = (
        f"{names} are all booked on {day:%a} {day}: {hours:.1f} h on site and the driving do not fit in that "
        f"day's crews ({working}). Move one of these bookings, or add a crew."
    )
    left_out = max(sites, key=lambda visit: (visit.hours, visit.site.site_id)).site.site_id
    rows = ", ".join(str(visit.site.row) for visit in sites)
    where = f"sites.csv rows {rows}, booked_date" if all(v.site.row for v in sites) else "booked dates"
    return Conflict(tuple(visit.site.site_id for visit in sites), left_out, where, text)


def _day_holds(task: RouteTask, day: date, visits: Sequence[Visit]) -> bool:
    """True where the crews of the day can do all `visits`, or where that cannot be ruled out."""
    if len(visits) > EXACT_STOPS:
        hours = sum(task.whole_day(crew.name, day) for crew in task.crews if crew.works_on(day))
        return _hours(task, day, visits) <= hours + EPSILON
    return _arranged(task, day, visits) is not None


def _arranged(task: RouteTask, day: date, visits: Sequence[Visit]) -> dict[str, frozenset[int]] | None:
    """Crew -> positions in `visits` so that each crew's whole day suffices; None where that cannot be."""
    reached: dict[frozenset[int], dict[str, frozenset[int]]] = {frozenset(): {}}
    for crew in task.crews:
        if not crew.works_on(day):
            continue
        allowed = [binding_crews(visit.site, task.as_of) for visit in visits]
        able = [at for at, names in enumerate(allowed) if not names or crew.name in names]
        done = [
            frozenset(chosen)
            for size in range(1, len(able) + 1)
            for chosen in combinations(able, size)
            if _fits(task, day, crew.name, [visits[at] for at in chosen])
        ]
        for before, how in list(reached.items()):
            for now in done:
                if not before & now:
                    reached.setdefault(before | now, {**how, crew.name: now})
    return reached.get(frozenset(range(len(visits))))


def booked_rounds(task: RouteTask) -> dict[tuple[date, str], tuple[str, ...]]:
    """Booked visits on the crews of their days, (day, crew) -> site ids; days with over 12 are left out."""
    by_day: dict[date, list[Visit]] = {}
    for visit in task.visits:
        booked = binding_date(visit.site, task.as_of)
        if booked is not None and visit.site.site_id not in task.unplaceable:
            by_day.setdefault(booked, []).append(visit)
    return {
        (day, crew): tuple(visits[at].site.site_id for at in sorted(chosen))
        for day, visits in sorted(by_day.items())
        if len(visits) <= EXACT_STOPS
        for crew, chosen in (_arranged(task, day, visits) or {}).items()
    }


def _hours(task: RouteTask, day: date, visits: Sequence[Visit]) -> float:
    """Hours on site on that day, longer by the chance of ice [h]."""
    on = fall_day(day, task.fall)
    return sum(float(visit.hours_by_day(task.route.ice_hours_factor)[on]) for visit in visits)


def _fits(task: RouteTask, day: date, crew_name: str, visits: Sequence[Visit]) -> bool:
    """True where one crew can do the visits in its whole day, in the shortest round."""
    crew = task.crew_index[crew_name]
    room = task.whole_day(crew_name, day) - _hours(task, day, visits)
    if room < -EPSILON or not visits:
        return not visits
    position = {visit.site.site_id: at for at, visit in enumerate(task.visits)}
    at = [position[visit.site.site_id] for visit in visits]
    travel = task.travel
    hours = np.zeros((len(at) + 1, len(at) + 1))
    hours[0, 1:], hours[1:, 0] = travel.out[crew, at], travel.back[crew, at]
    hours[1:, 1:] = travel.between[np.ix_(at, at)]
    return round_hours(hours, shortest_round(hours)) <= room + EPSILON
