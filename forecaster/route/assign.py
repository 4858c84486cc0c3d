"""What is to be placed on the crews' days, and what a placement is.

A *slot* is one crew on one day. Hours that may be planned are a crew's hours less the share of days that are
lost to weather and breakdowns; a visit that fills a day by itself may take the whole day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_day
from forecaster.route.rounds import PlanProblem
from forecaster.route.travel import Travel, travel_of
from forecaster.route.window import site_allows
from forecaster.season.settings import Costs, Crew, RouteSettings
from forecaster.season.sites import Site
from forecaster.season.travel_times import TravelTimes

Floats = NDArray[np.float64]

STAY_PRICE = 1.0
"""$ that the search sets against moving a visit which the plan in force has but nobody was told: a minute of
the scheduler's. It keeps a plan from being reshuffled for nothing and is no part of the expected loss."""
HAND_MADE_STAY_PRICE = 5.0
"""The same while the scheduler has put a visit on its day by hand: the plan in force is people's work then.
Measured on the demo (five moves by hand): at $1 two to twelve other visits moved, at $5 one to five, for at
most $28 of expected loss more."""
OTHER_CREW_SHARE = 0.25
"""Part of it where only the crew changes."""
NOT_PLACED_TIMES = 10.0
"""A site without a place counts so many times the dearest placement: all are placed while there is room,
booked ones (three times that) first."""


@dataclass(frozen=True, eq=False)
class Visit:
    """One site to close: `loss` [$] by day of the fall, (184,); `hours` on site without ice [h];
    `p_ice` chance that its pond has frozen over by each day, (184,), None where it has none."""

    site: Site
    loss: Floats
    hours: float
    p_ice: Floats | None = None

    def hours_by_day(self, ice_hours_factor: float) -> Floats:
        """Expected hours on site by day of the fall [h], (184,): work in ice takes longer."""
        share = np.zeros(len(self.loss)) if self.p_ice is None else self.p_ice
        return np.asarray(self.hours * (1.0 + (ice_hours_factor - 1.0) * share))


@dataclass(frozen=True)
class Slot:
    """One crew on one day."""

    day: date
    crew: str


@dataclass(frozen=True)
class RouteTask:
    """Everything a plan may depend on; `in_force` is the plan to start from, site -> (day, crew).

    `taken_hours` [h]: what other visits take of a crew's day. `unplaceable`: sites whose bookings or limits
    cannot hold, left out of the plan.
    """

    fall: int
    as_of: date
    visits: tuple[Visit, ...]
    crews: tuple[Crew, ...]
    costs: Costs
    route: RouteSettings
    in_force: Mapping[str, tuple[date, str]] = field(default_factory=dict)
    taken_hours: Mapping[tuple[str, date], float] = field(default_factory=dict)
    travel_times: TravelTimes = field(default_factory=TravelTimes)
    seed: int = 1
    unplaceable: frozenset[str] = frozenset()

    @cached_property
    def slots(self) -> tuple[Slot, ...]:
        """Every crew-day that is left, by day and then in the order of the crews."""
        crews = [crew for crew in self.crews if crew.last_day >= self.as_of]
        if not crews:
            return ()
        last = max(crew.last_day for crew in crews)
        days = [self.as_of + timedelta(days=n) for n in range((last - self.as_of).days + 1)]
        return tuple(Slot(day, crew.name) for day in days for crew in crews if crew.works_on(day))

    @cached_property
    def stay_price(self) -> float:
        """What the search sets against moving a visit of the plan in force [$]."""
        by_hand = any(placing(visit.site, self.as_of) is not None for visit in self.visits)
        return HAND_MADE_STAY_PRICE if by_hand else STAY_PRICE

    @cached_property
    def travel(self) -> Travel:
        """Driving times between start places and sites."""
        sites = [visit.site for visit in self.visits]
        return travel_of(sites, self.crews, self.route, self.travel_times)

    @cached_property
    def crew_index(self) -> dict[str, int]:
        """Crew name -> position in `crews`."""
        return {crew.name: at for at, crew in enumerate(self.crews)}

    def whole_day(self, crew_name: str, day: date) -> float:
        """Hours of the crew on the day less what other visits take, never negative [h]."""
        hours = self.crews[self.crew_index[crew_name]].hours_per_day
        return max(0.0, hours - self.taken_hours.get((crew_name, day), 0.0))


@dataclass(frozen=True)
class Assignment:
    """Rounds of stops by slot, site -> (day, crew), the sites that found no place in order of the visits.

    `cost`: what the search made least [$]: losses, driving, moved dates, `STAY_PRICE`s and sites without a
    place. `bound`: no plan costs less [$]; `exact_driving` says whether for the bound a drive is what it is,
    or what it takes in this plan (see bound.py).
    """

    rounds: dict[Slot, tuple[str, ...]]
    placed: dict[str, tuple[date, str]]
    not_placed: tuple[str, ...]
    cost: float
    bound: float
    exact_driving: bool


def booking(site: Site, as_of: date) -> date | None:
    """The booked date, None where there is none or it has passed."""
    return site.booked_date if site.booked_date is not None and site.booked_date >= as_of else None


def placing(site: Site, as_of: date) -> tuple[date, str] | None:
    """The crew-day on which the scheduler put the visit, None where nobody did or it has passed."""
    return site.hand_placed if site.hand_placed is not None and site.hand_placed[0] >= as_of else None


def binding_date(site: Site, as_of: date) -> date | None:
    """The date that the plan must keep: booked, else put there by hand; None where it may choose."""
    placed = placing(site, as_of)
    return booking(site, as_of) or (placed[0] if placed else None)


def binding_crews(site: Site, as_of: date) -> tuple[str, ...]:
    """Names of the crews that may go, () for all: the one chosen by hand, else those of the sheet."""
    placed = placing(site, as_of)
    return (placed[1],) if placed else site.crews


def told_date(site: Site, as_of: date) -> date | None:
    """The told date, None where there is none, it has passed, or a booked date binds anyway."""
    if booking(site, as_of) is not None or site.told_date is None or site.told_date < as_of:
        return None
    return site.told_date


def may_place(site: Site, slot: Slot, as_of: date) -> bool:
    """True where limits and a date that binds allow the site in the slot (a day on which the crew works)."""
    bound, crews = binding_date(site, as_of), binding_crews(site, as_of)
    return (
        site_allows(site, slot.crew, slot.day)
        and (bound is None or bound == slot.day)
        and (not crews or slot.crew in crews)
    )


def move_price(site: Site, slot: Slot, task: RouteTask) -> float:
    """$ of a told date that is not kept, 0 where it is or none was told."""
    told = told_date(site, task.as_of)
    return task.costs.move_told_date if told is not None and told != slot.day else 0.0


def stay_price(site: Site, slot: Slot, task: RouteTask) -> float:
    """What the search sets against leaving the plan in force (see STAY_PRICE)."""
    planned = task.in_force.get(site.site_id)
    if planned is None or planned == (slot.day, slot.crew):
        return 0.0
    return task.stay_price * (OTHER_CREW_SHARE if planned[0] == slot.day else 1.0)


def plan_problem(task: RouteTask) -> PlanProblem:
    """The task in numbers."""
    slots, visits = task.slots, task.visits
    at = np.array([task.crew_index[slot.crew] for slot in slots], int)
    day = np.array([fall_day(slot.day, task.fall) for slot in slots], int)
    allowed = np.array(
        [
            [v.site.site_id not in task.unplaceable and may_place(v.site, slot, task.as_of) for slot in slots]
            for v in visits
        ],
        bool,
    ).reshape(len(visits), len(slots))
    loss = np.stack([v.loss for v in visits]) if visits else np.zeros((0, FALL_DAYS))
    cost = np.where(allowed, loss[:, day], np.inf)
    for row, visit in enumerate(visits):
        if told_date(visit.site, task.as_of) or visit.site.site_id in task.in_force:
            cost[row] += [
                move_price(visit.site, slot, task) + stay_price(visit.site, slot, task) for slot in slots
            ]
    factor = task.route.ice_hours_factor
    hours = np.stack([v.hours_by_day(factor)[day] for v in visits]) if visits else np.zeros((0, len(slots)))
    whole = np.array([task.whole_day(slot.crew, slot.day) for slot in slots], float)
    lost = [task.crews[crew].hours_per_day * task.route.lost_day_share for crew in at]
    travel = task.travel
    booked = np.array([binding_date(v.site, task.as_of) is not None for v in visits], bool)
    dearest = float(np.max(cost[np.isfinite(cost)], initial=1.0))
    farthest = float((travel.out + travel.back).max(initial=0.0)) * task.costs.drive_hour
    return PlanProblem(
        cost=cost,
        hours=hours,
        out=travel.out[at],
        back=travel.back[at],
        between=travel.between,
        limit=np.maximum(0.0, whole - lost),
        whole=whole,
        not_placed=loss[:, -1] + NOT_PLACED_TIMES * (dearest + farthest) * np.where(booked, 3.0, 1.0),
        left_open=loss[:, -1],
        drive_hour=task.costs.drive_hour,
        day=day,
        booked=booked,
    )
