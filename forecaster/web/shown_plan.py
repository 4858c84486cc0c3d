"""The plan as the desk shows it: that of the last forecast, with what was recorded since.

A forecast takes seconds; a stop that was just moved must not jump back until it is there. So the crew-days
of a plan put in force since, moves by hand, dates and closings are laid over the forecast: clock times and
chances are those of the new day, while the figures of the plan as a whole stay those of the forecast.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from forecaster.errors import ForecasterError
from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.route.assign import Slot
from forecaster.route.move_cost import DayPlan, MoveDesk, day_plan, move_desk, with_plan
from forecaster.season.events import Event, unpack
from forecaster.season.ledger import open_ledger
from forecaster.season.state import SeasonState, derive
from forecaster.season.state_sheet import apply_state
from forecaster.web.snapshot import Snapshot

KEPT_STATES = 2
"""Plans kept ready: the present one and the one that requests may still ask for."""


@dataclass(frozen=True, eq=False)
class ShownPlan:
    """What the pages show. `moved`: sites whose place was changed by people since the forecast was made;
    `closed`: those closed since; `hand_placed`: kept on a crew-day by hand, site -> (day, crew)."""

    forecast: RouteForecast
    desk: MoveDesk
    plan: DayPlan
    state: SeasonState
    moved: frozenset[str] = frozenset()
    closed: frozenset[str] = frozenset()
    hand_placed: Mapping[str, tuple[date, str]] = field(default_factory=dict)

    @property
    def last_event_id(self) -> int:
        """The last event that is in what is shown."""
        return self.state.last_event_id

    def site(self, site_id: str) -> SiteForecast | None:
        """An open site, None where it is none."""
        return self.desk.forecasts.get(site_id)


class PlanShelf:
    """Makes the shown plan and keeps it while neither forecast nor ledger change. Safe from many threads."""

    def __init__(self) -> None:
        self._made = lru_cache(maxsize=KEPT_STATES)(_made)
        self._latest: dict[Path, Events] = {}

    def shown(self, folder: Path, snapshot: Snapshot) -> ShownPlan:
        """The plan to show for a state of the season.

        Where the ledger cannot be read just now, with the events that were read last.
        """
        try:
            events = self._latest[folder] = ledger_events(folder)
        except (ForecasterError, OSError):
            events = self._latest.get(folder, Events())
        return self._made(folder, _Key(snapshot), events)


@dataclass(frozen=True)
class _Key:
    """A snapshot that is compared by its key."""

    snapshot: Snapshot = field(compare=False)
    key: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "key", self.snapshot.key)


class Events(tuple[Event, ...]):
    """All events; compared by the last one, for nothing in the ledger ever changes."""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Events) and _last(self) == _last(other)

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash(_last(self))


def _last(events: tuple[Event, ...]) -> tuple[int, str]:
    return (events[-1].event_id, events[-1].digest) if events else (0, "")


@lru_cache(maxsize=8)
def _events_upto(folder: Path, last_event_id: int, changed_ns: int) -> Events:
    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return Events()
    with ledger:
        return Events(ledger.events())


def ledger_events(folder: Path) -> Events:
    """All events of the season folder's ledger; read again only when there is a new one."""
    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return Events()
    with ledger:
        last = ledger.last_event_id()
        changed = (folder / "season.sqlite").stat().st_mtime_ns
    return _events_upto(folder, last, changed)


def _made(folder: Path, key: _Key, events: Events) -> ShownPlan:
    snapshot = key.snapshot
    state = derive(events, season=snapshot.forecast.fall)
    return plan_over(snapshot, state)


def plan_over(snapshot: Snapshot, state: SeasonState) -> ShownPlan:
    """A snapshot's plan with what the ledger holds beyond it."""
    forecast = snapshot.forecast
    base = day_plan(forecast)
    before = {site_id: slot for slot, stops in base.items() for site_id in stops}
    if state.last_event_id > snapshot.last_event_id:
        forecast = replace(forecast, sites=_sites(forecast, state))
    desk = move_desk(snapshot.known, forecast)
    plan: DayPlan = base
    event = state.plan_event
    if event is not None and event.event_id > snapshot.last_event_id:
        plan = _of_document(unpack(event.document), desk)
    for site_id, (day, crew) in state.placed.items():
        slot = Slot(day, crew)
        known = site_id in desk.forecasts and slot in desk.task.slots and before.get(site_id) != slot
        if known and _recorded_since(state, site_id, snapshot.last_event_id):
            plan = desk.moved(plan, site_id, slot)
    closed = frozenset(state.closed) & set(before)
    plan = {slot: tuple(s for s in stops if s not in closed) for slot, stops in plan.items()}
    now = {site_id: slot for slot, stops in plan.items() for site_id in stops}
    moved = frozenset(s for s in {*before, *now} if before.get(s) != now.get(s) and s not in closed)
    if moved or closed:
        forecast = replace(with_plan(desk, forecast, plan), last_event_id=state.last_event_id)
        desk = move_desk(snapshot.known, forecast)
    return ShownPlan(forecast, desk, plan, state, moved, closed, dict(state.placed))


def _recorded_since(state: SeasonState, site_id: str, event_id: int) -> bool:
    return any(
        event.event_id > event_id
        and event.site_id == site_id
        and event.kind == "placed"
        and event.event_id not in state.undone
        for event in state.events
    )


def _sites(forecast: RouteForecast, state: SeasonState) -> tuple[SiteForecast, ...]:
    """The sites with the dates that hold now."""
    now = {site.site_id: site for site in apply_state((found.site for found in forecast.sites), state)}
    placed = state.placed
    return tuple(
        replace(found, site=replace(now[found.site.site_id], hand_placed=placed.get(found.site.site_id)))
        for found in forecast.sites
    )


def _of_document(document: Mapping[str, Any], desk: MoveDesk) -> DayPlan:
    """The crew-days of a plan in force, as far as their sites are open and their crews work."""
    slots = set(desk.task.slots)
    plan: dict[Slot, tuple[str, ...]] = {}
    for day in document.get("crew_days", ()):
        slot = Slot(date.fromisoformat(day["date"]), str(day["crew"]))
        stops = tuple(str(stop["site_id"]) for stop in day["stops"])
        if slot in slots:
            plan[slot] = tuple(site_id for site_id in stops if site_id in desk.forecasts)
    return {slot: stops for slot, stops in plan.items() if stops}


def plan_document(forecast: RouteForecast) -> dict[str, Any]:
    """The crew-days of a plan as they are put in force."""
    return {
        "as_of": forecast.as_of.isoformat(),
        "crew_days": [
            {
                "date": crew_day.day.isoformat(),
                "crew": crew_day.crew,
                "stops": [
                    {
                        "site_id": stop.site_id,
                        "arrive": f"{stop.arrive:%H:%M}",
                        "leave": f"{stop.leave:%H:%M}",
                    }
                    for stop in crew_day.stops
                ],
            }
            for crew_day in forecast.crew_days
        ],
    }
