"""What the crews can do before dark: sites in the order of the rule, dealt out while they fit.

Sites are taken in order. Each goes to the crew and the place in its round that add the least driving, if all
of that crew's work still ends before sunset; else it is left for tomorrow. So the rule decides who is
served, driving only by whom. Within a crew's day the stops stand in driving order.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.route.stops import clock_stops, round_hours, shortest_round
from forecaster.route.travel import Travel
from forecaster.route.window import site_allows
from forecaster.season.settings import Crew
from forecaster.snap.records import CrewVisits, DayPlan, SnapSite
from forecaster.snap.sun import sunset

LEAST_SAVED = 1.0
"""A visit that saves less than this [$] is none."""
EXACT = 9
"""Rounds of up to so many stops are put into the shortest order exactly."""


@dataclass
class _Round:
    """A crew's round while it grows: positions of sites in driving order."""

    crew: int
    budget_h: float
    stops: list[int] = field(default_factory=list)
    work_h: float = 0.0


def crews_today(crews: Sequence[Crew], day: date, wanted: int | None) -> tuple[tuple[Crew, bool], ...]:
    """Crews that work today with a flag for those beyond the settings' calendar.

    Without `wanted` those whose calendar has the day. With it so many: these first, then the others, then
    more of the first one's kind (its start place and hours).
    """
    working = [crew for crew in crews if crew.works_on(day)]
    if wanted is None:
        return tuple((crew, False) for crew in working)
    chosen = [(crew, False) for crew in working] + [(c, True) for c in crews if c not in working]
    first = chosen[0][0] if chosen else None
    while first is not None and len(chosen) < wanted:
        chosen.append((first.model_copy(update={"name": f"Extra {len(chosen) + 1}"}), True))
    return tuple(chosen[:wanted])


def day_plan(
    sites: Sequence[SnapSite],
    action: str,
    crews: Sequence[tuple[Crew, bool]],
    travel: Travel,
    *,
    day: date,
    timezone: str,
) -> DayPlan:
    """Who is visited today by one kind of visit.

    Args:
        sites: In the order in which to go.
        action: close | quick.
        crews: Of today, each with its flag (see `crews_today`).
        travel: Driving [h] of these crews and sites, in their orders.
        day, timezone: Give the hour of dark at each crew's start place.
    """
    rounds = [_Round(n, _budget_h(crew, day, timezone)) for n, (crew, _) in enumerate(crews)]
    done, left, barred = list[int](), list[int](), list[int]()
    for at, site in enumerate(sites):
        if site.saves(action) < LEAST_SAVED:
            continue
        allowed = [r for r in rounds if site_allows(site.site, crews[r.crew][0].name, day)]
        if rounds and not allowed:
            barred.append(at)
            continue
        tried = [found for r in allowed if (found := _fitted(r, at, site.hours(action), travel))]
        if not tried:
            left.append(at)
            continue
        _, place, chosen = min(tried, key=lambda item: (item[0], item[2].crew))
        chosen.stops.insert(place, at)
        chosen.work_h += site.hours(action)
        done.append(at)
    ids = [site.site.site_id for site in sites]
    return DayPlan(
        action=action,
        crews=tuple(
            _visits(r, crews[r.crew], sites, action, travel, day=day, timezone=timezone) for r in rounds
        ),
        done=tuple(ids[at] for at in done),
        left=tuple(ids[at] for at in left),
        barred=tuple(ids[at] for at in barred),
        saves=float(sum(sites[at].saves(action) for at in done)),
        left_hours=float(sum(sites[at].left_hours for at in done)) if action == "quick" else 0.0,
    )


def _start(crew: Crew, day: date, timezone: str) -> datetime:
    return datetime.combine(day, crew.start_time, ZoneInfo(timezone))


def _budget_h(crew: Crew, day: date, timezone: str) -> float:
    """Hours from the crew's start to sunset [h], at least 0."""
    dark = sunset(day, crew.latitude, crew.longitude, timezone)
    return max(0.0, (dark - _start(crew, day, timezone)).total_seconds() / 3600.0)


def _fitted(r: _Round, at: int, hours: float, travel: Travel) -> tuple[float, int, _Round] | None:
    """Cheapest place of a site in a round: (driving added [h], place, round); None if it ends after dark."""
    best = None
    before = _out_h(r.crew, r.stops, travel)
    for place in range(len(r.stops) + 1):
        stops = [*r.stops[:place], at, *r.stops[place:]]
        out = _out_h(r.crew, stops, travel)
        if out + r.work_h + hours <= r.budget_h and (best is None or out - before < best[0]):
            best = (out - before, place, r)
    return best


def _out_h(crew: int, stops: Sequence[int], travel: Travel) -> float:
    """Driving from the start place to the last stop [h]: the way home may be dark."""
    if not stops:
        return 0.0
    way = float(travel.out[crew, stops[0]])
    return way + float(sum(travel.between[a, b] for a, b in itertools.pairwise(stops)))


def _visits(
    r: _Round,
    crew_of: tuple[Crew, bool],
    sites: Sequence[SnapSite],
    action: str,
    travel: Travel,
    *,
    day: date,
    timezone: str,
) -> CrewVisits:
    crew, extra = crew_of
    stops = _shorter(r, travel)
    legs = [float(travel.out[r.crew, stops[0]])] if stops else []
    legs += [float(travel.between[a, b]) for a, b in itertools.pairwise(stops)]
    home = float(travel.back[r.crew, stops[-1]]) if stops else 0.0
    start = _start(crew, day, timezone)
    return CrewVisits(
        crew=crew.name,
        stops=clock_stops(
            [sites[at].site.site_id for at in stops], legs, [sites[at].hours(action) for at in stops],
            day=day, start=crew.start_time,
        ),
        site_hours=r.work_h,
        drive_hours=sum(legs) + home,
        dark=sunset(day, crew.latitude, crew.longitude, timezone),
        usual_end=start + timedelta(hours=crew.hours_per_day),
        extra=extra,
    )  # fmt: skip


def _shorter(r: _Round, travel: Travel) -> list[int]:
    """The round in its shortest order, where that still ends before dark."""
    if not 2 <= len(r.stops) <= EXACT:
        return r.stops
    hours = np.zeros((len(r.stops) + 1, len(r.stops) + 1))
    hours[0, 1:], hours[1:, 0] = travel.out[r.crew, r.stops], travel.back[r.crew, r.stops]
    hours[1:, 1:] = travel.between[np.ix_(r.stops, r.stops)]
    order = shortest_round(hours)
    assert round_hours(hours, order) <= round_hours(hours, range(1, len(hours))) + 1e-9
    stops = [r.stops[place - 1] for place in order]
    return stops if _out_h(r.crew, stops, travel) + r.work_h <= r.budget_h else r.stops
