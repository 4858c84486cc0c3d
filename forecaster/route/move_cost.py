"""What moving one visit to another crew-day would cost, before it is done; all other visits stay.

Loss by day comes from the forecast; the moved stop goes where the other round grows least, and the stops of
both rounds keep their order, so a drive saved or added is that of this one stop. Limit: what the next whole
plan does with the room that the move makes or takes is not in here (`what_if.py` plans again).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise

import numpy as np

from forecaster.falls import FALL_DAYS, fall_day
from forecaster.forecast import CrewDay, RouteForecast, SiteForecast
from forecaster.known import Known
from forecaster.route.assign import RouteTask, Slot, Visit, booking, move_price
from forecaster.route.move_doubts import CrewDayHours as CrewDayHours
from forecaster.route.move_doubts import what_forbids, what_to_look_at
from forecaster.route.stops import clock_stops
from forecaster.route.window import PARTS
from forecaster.season.settings import Crew

DayPlan = Mapping[Slot, tuple[str, ...]]
"""Crew-days with their stops in driving order, as site ids."""


@dataclass(frozen=True)
class MoveCost:
    """One move. Money [$], hours [h], chances 0-1; `before` is None for a visit without a place.

    `losses`: expected loss on the old and the new day; of a visit without a place, that of never closing it.
    `parts`: change of each part of it (see PARTS). `told_price`: what telling the customer another date
    costs, change. `drive_hours`: change of the driving. `left` and `joined`: the two crew-days afterwards;
    `left` is None where the visit had no place. `forbidden`: why it cannot be; `doubts`: what to look at.
    `needs_booking`: the customer agreed to another date, so that only a new booking can move it.
    """

    site_id: str
    before: Slot | None
    after: Slot
    losses: tuple[float, float]
    parts: dict[str, float]
    told_price: float
    drive_hours: float
    drive_cost: float
    p_hard_freeze: tuple[float | None, float | None]
    left: CrewDayHours | None
    joined: CrewDayHours
    forbidden: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    needs_booking: bool = False

    @property
    def total(self) -> float:
        """What the move costs in all [$]; negative: it saves."""
        return self.losses[1] - self.losses[0] + self.drive_cost + self.told_price


@dataclass(frozen=True, eq=False)
class MoveDesk:
    """A finished plan and everything that pricing a move needs. Cheap to make; keep one a forecast.

    `forecasts`: the open sites by id. `task`: the same sites as visits, with crews, hours and driving.
    """

    task: RouteTask
    forecasts: Mapping[str, SiteForecast]
    windows: Mapping[str, tuple[date, date]]

    @property
    def crews(self) -> tuple[Crew, ...]:
        """The crews of the season."""
        return self.task.crews

    def visit(self, site_id: str) -> Visit:
        """The visit of an open site.

        Raises:
            KeyError: The site is not open, or not in the sheet.
        """
        return self.task.visits[self._positions[site_id]]

    def hours(self, slot: Slot, stops: Iterable[str]) -> CrewDayHours:
        """Hours of a crew-day with these stops in this order."""
        order = list(stops)
        crew = self.task.crews[self.task.crew_index[slot.crew]]
        whole = self.task.whole_day(slot.crew, slot.day)
        bound = all(self._bound_to(site_id, slot) for site_id in order)
        lost = 0.0 if len(order) == 1 or bound else crew.hours_per_day * self.task.route.lost_day_share
        return CrewDayHours(
            site_hours=sum(self._on_site(site_id, slot.day) for site_id in order),
            drive_hours=self._drive(slot.crew, order),
            limit=max(0.0, whole - lost),
            whole=whole,
        )

    def price(self, plan: DayPlan, site_id: str, to: Slot) -> MoveCost:
        """What it costs to have the visit on `to`, from where it stands in `plan`."""
        visit = self.visit(site_id)
        before = place_of(plan, site_id)
        moved = self.moved(plan, site_id, to)
        at = fall_day(to.day, self.task.fall)
        was = FALL_DAYS - 1 if before is None else fall_day(before.day, self.task.fall)
        driving = sum(
            self._drive(slot.crew, moved.get(slot, ())) - self._drive(slot.crew, plan.get(slot, ()))
            for slot in {to, before} - {None}
            if slot is not None
        )
        told = move_price(visit.site, to, self.task)
        told -= 0.0 if before is None else move_price(visit.site, before, self.task)
        chances = (self._p_freeze(site_id, was if before else None), self._p_freeze(site_id, at))
        joined = self.hours(to, moved[to])
        own = booking(visit.site, self.task.as_of)
        crew = next((crew for crew in self.task.crews if crew.name == to.crew), None)
        alone = None if crew is None else self.hours(to, (site_id,))
        forbidden = tuple(what_forbids(visit.site, to, crew, alone, as_of=self.task.as_of))
        doubts = what_to_look_at(
            visit.site,
            to,
            joined,
            others=len(moved[to]) - 1,
            window=self.windows.get(site_id),
            p_hard_freeze=chances[1],
            as_of=self.task.as_of,
        )
        return MoveCost(
            site_id=site_id,
            before=before,
            after=to,
            losses=(float(visit.loss[was]), float(visit.loss[min(max(at, 0), FALL_DAYS - 1)])),
            parts=self._parts_change(site_id, was, at),
            told_price=told,
            drive_hours=driving,
            drive_cost=driving * self.task.costs.drive_hour,
            p_hard_freeze=chances,
            left=None if before is None else self.hours(before, moved.get(before, ())),
            joined=joined,
            forbidden=forbidden,
            doubts=() if forbidden else tuple(doubts),
            needs_booking=own is not None and own != to.day,
        )

    def options(self, plan: DayPlan, site_id: str) -> tuple[MoveCost, ...]:
        """The move to every crew-day that is left and that nothing forbids, by day and crew."""
        here = place_of(plan, site_id)
        priced = (self.price(plan, site_id, slot) for slot in self.task.slots if slot != here)
        return tuple(cost for cost in priced if not cost.forbidden)

    def moved(self, plan: DayPlan, site_id: str, to: Slot) -> dict[Slot, tuple[str, ...]]:
        """The plan with the visit on `to`; empty crew-days are left out."""
        rest = {slot: tuple(stop for stop in stops if stop != site_id) for slot, stops in plan.items()}
        stops = rest.get(to, ())
        ways = [(*stops[:at], site_id, *stops[at:]) for at in range(len(stops) + 1)]
        if place_of(plan, site_id) == to:
            return dict(plan)
        rest[to] = min(ways, key=lambda way: self._drive(to.crew, way))
        return {slot: kept for slot, kept in rest.items() if kept}

    def crew_day(self, slot: Slot, stops: tuple[str, ...]) -> CrewDay:
        """One crew-day with clock times."""
        crew = self.task.crews[self.task.crew_index[slot.crew]]
        on_site = [self._on_site(site_id, slot.day) for site_id in stops]
        legs = self._legs(slot.crew, stops)
        home = datetime.combine(slot.day, crew.start_time) + timedelta(
            hours=sum(on_site) + sum(legs), seconds=30
        )
        return CrewDay(
            day=slot.day,
            crew=slot.crew,
            stops=clock_stops(stops, legs[:-1], on_site, day=slot.day, start=crew.start_time),
            site_hours=sum(on_site),
            drive_hours=sum(legs),
            home=home.time().replace(second=0, microsecond=0) if home.date() == slot.day else None,
            drive_estimated=self.task.travel.estimated > 0,
        )

    # --- numbers

    @cached_property
    def _positions(self) -> dict[str, int]:
        return {visit.site.site_id: at for at, visit in enumerate(self.task.visits)}

    def _bound_to(self, site_id: str, slot: Slot) -> bool:
        site = self.visit(site_id).site
        return booking(site, self.task.as_of) == slot.day or site.hand_placed == (slot.day, slot.crew)

    def _on_site(self, site_id: str, day: date) -> float:
        at = min(max(fall_day(day, self.task.fall), 0), FALL_DAYS - 1)
        return float(self.visit(site_id).hours_by_day(self.task.route.ice_hours_factor)[at])

    def _legs(self, crew_name: str, stops: Iterable[str]) -> list[float]:
        """Drives of a round with the one home [h], empty for no stop."""
        at = [self._positions[site_id] for site_id in stops]
        if not at:
            return []
        crew, travel = self.task.crew_index[crew_name], self.task.travel
        between = [float(travel.between[a, b]) for a, b in pairwise(at)]
        return [float(travel.out[crew, at[0]]), *between, float(travel.back[crew, at[-1]])]

    def _drive(self, crew_name: str, stops: Iterable[str]) -> float:
        return sum(self._legs(crew_name, stops))

    def _p_freeze(self, site_id: str, day: int | None) -> float | None:
        """Chance that a hard freeze has come by a day of the fall, None where it is not known."""
        found = self.forecasts[site_id]
        if day is None or found.curves is None or found.p_hard_freeze_14d is None:
            return None
        upto = day - fall_day(found.curves.first_day, self.task.fall) + 1
        return float(np.clip(np.nansum(found.curves.p_first_hard_freeze[: max(upto, 0)]), 0.0, 1.0))

    def _parts_change(self, site_id: str, was: int, at: int) -> dict[str, float]:
        parts = self.forecasts[site_id].loss_parts_by_day
        if parts is None:
            return {}
        at = min(max(at, 0), FALL_DAYS - 1)
        return {part: float(parts[n, at] - parts[n, was]) for n, part in enumerate(PARTS)}


def move_desk(known: Known, forecast: RouteForecast) -> MoveDesk:
    """The desk of a finished forecast."""
    ice = known.settings.costs.ice
    visits = []
    for found in forecast.sites:
        parts = found.loss_parts_by_day
        loss = np.zeros(FALL_DAYS) if parts is None else parts.sum(axis=0)
        frozen = None if parts is None or ice <= 0 else parts[PARTS.index("ice")] / ice
        visits.append(Visit(found.site, loss, found.site.hours_on_site, frozen))
    task = RouteTask(
        fall=known.fall,
        as_of=known.as_of,
        visits=tuple(visits),
        crews=known.crews,
        costs=known.settings.costs,
        route=known.settings.route,
        in_force=dict(known.in_force),
        taken_hours=known.taken_hours,
        travel_times=known.travel_times,
        seed=known.settings.season.seed,
    )
    windows = {
        found.site.site_id: (found.window_start, found.window_end)
        for found in forecast.sites
        if found.window_start is not None and found.window_end is not None
    }
    return MoveDesk(task, {found.site.site_id: found for found in forecast.sites}, windows)


def day_plan(forecast: RouteForecast) -> dict[Slot, tuple[str, ...]]:
    """The crew-days of a forecast as stops by slot."""
    return {
        Slot(crew_day.day, crew_day.crew): tuple(stop.site_id for stop in crew_day.stops)
        for crew_day in forecast.crew_days
    }


def place_of(plan: DayPlan, site_id: str) -> Slot | None:
    """Where a visit stands, None for nowhere."""
    return next((slot for slot, stops in plan.items() if site_id in stops), None)


def with_plan(desk: MoveDesk, forecast: RouteForecast, plan: DayPlan) -> RouteForecast:
    """The forecast with other crew-days: clock times and planned days anew, figures of the plan as before."""
    before = day_plan(forecast)
    kept = {Slot(crew_day.day, crew_day.crew): crew_day for crew_day in forecast.crew_days}
    days = [
        kept[slot] if before.get(slot) == stops else desk.crew_day(slot, stops)
        for slot, stops in plan.items()
        if stops
    ]
    places = {site_id: slot for slot, stops in plan.items() for site_id in stops}
    return replace(
        forecast,
        crew_days=tuple(sorted(days, key=lambda crew_day: (crew_day.day, crew_day.crew))),
        sites=tuple(_placed(desk, found, places.get(found.site.site_id)) for found in forecast.sites),
    )


def _placed(desk: MoveDesk, found: SiteForecast, slot: Slot | None) -> SiteForecast:
    now = (None, None) if slot is None else (slot.day, slot.crew)
    if (found.planned_date, found.planned_crew) == now:
        return found
    day = None if slot is None else fall_day(slot.day, desk.task.fall)
    return replace(
        found,
        planned_date=now[0],
        planned_crew=now[1],
        p_hard_freeze_before_planned=desk._p_freeze(found.site.site_id, day),
    )
