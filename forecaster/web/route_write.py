"""What the Route page writes: a visit moved by hand, the plan put in force, the dates said to customers.

Everything is decided under the ledger's lock from what holds then. A move writes up to three events in one
piece: what the customer was told or agreed to, that the visit was put on its crew-day, and the plan as it was
shown with the move, so that the other visits keep their places too. Taking the group back undoes all three.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from forecaster.errors import BadInput, Notice, Problem
from forecaster.report.words import weekday_date
from forecaster.route.assign import Slot
from forecaster.route.move_cost import MoveCost, place_of, with_plan
from forecaster.season import events as said
from forecaster.season.changes import sheet_changes, sheet_entry, sheet_snapshot
from forecaster.season.events import Entry, Event, pack
from forecaster.season.ledger_rules import refusal
from forecaster.season.sites import Site
from forecaster.season.state import SeasonState, derive
from forecaster.web.forms import Stale
from forecaster.web.shown_plan import ShownPlan, plan_document, plan_over
from forecaster.web.snapshot import Snapshot

Customer = Literal["no", "told", "booked"]
MOVING_KINDS = frozenset({"placed", "booked", "told", "unbooked", "closed", "skipped", "undo"})
"""Kinds of events about a site after which a move has to be looked at again."""

Decide = Callable[[tuple[Event, ...]], Sequence[Entry]]


@dataclass(frozen=True)
class AskedMove:
    """A move as a person asked for it. `seen`: the last event that the person's page knew; `before`: where
    the page showed the visit; `customer`: whether the new date was told or agreed."""

    site_id: str
    before: Slot | None
    after: Slot
    seen: int
    customer: Customer = "no"


def decide_move(snapshot: Snapshot, asked: AskedMove, *, today: date, year: int) -> Decide:
    """The entries of a move, decided when all events are known.

    Raises (from the function that is returned):
        Stale: Somebody moved the same visit, or changed the crew-day that it is to join, after `seen`.
        BadInput: The move is not allowed.
    """

    def decide(events: tuple[Event, ...]) -> Sequence[Entry]:
        shown = plan_over(snapshot, derive(events, season=year))
        _refuse_stale(events, asked, shown)
        cost = shown.desk.price(shown.plan, asked.site_id, asked.after)
        _refuse_forbidden(cost, asked)
        day = asked.after.day
        entries: list[Entry] = []
        if asked.customer == "booked":
            entries.append(said.booked(asked.site_id, today, day))
        elif asked.customer == "told":
            entries.append(said.told(asked.site_id, today, day))
        entries.append(said.placed(asked.site_id, today, day, asked.after.crew))
        _refuse(entries, events, today=today, year=year)
        plan = shown.desk.moved(shown.plan, asked.site_id, asked.after)
        return [*entries, _plan_entry(with_plan(shown.desk, shown.forecast, plan), events, len(entries))]

    return decide


def decide_release(site_id: str, *, seen: int, today: date, year: int) -> Decide:
    """The entry that leaves a visit to the plan again."""

    def decide(events: tuple[Event, ...]) -> Sequence[Entry]:
        _refuse_newer(events, site_id, seen)
        state = derive(events, season=year)
        if site_id not in state.placed:
            text = "was not moved by hand, or is free again already. Nothing was changed."
            raise BadInput(Problem(site_id, text))
        return [said.placed(site_id, today, None)]

    return decide


def decide_accept(
    snapshot: Snapshot, *, seen: int, sites: Sequence[Site], confirmed: bool, today: date, year: int
) -> Decide:
    """The entries that put the plan as shown in force, and confirm the sheet that it rests on."""

    def decide(events: tuple[Event, ...]) -> Sequence[Entry]:
        newer = [e for e in standing(events) if e.event_id > seen and e.kind in ("plan", "placed")]
        if newer:
            who = newer[-1].who or "Somebody"
            text = f"{who} changed the plan after you opened the page (event {newer[-1].event_id})."
            raise Stale(f"{text} Nothing was put in force. Look again, then decide.")
        state = derive(events, season=year)
        doubts = accept_doubts(state, sites, units=snapshot.forecast.units)
        if doubts and not confirmed:
            raise BadInput([*(Problem(d.where, d.text) for d in doubts), Problem("confirm", _CONFIRM)])
        shown = plan_over(snapshot, state)
        confirming = [sheet_entry(sites, today)] if state.sheet != sheet_snapshot(sites) else []
        return [_plan_entry(shown.forecast, events, 0), *confirming]

    return decide


_CONFIRM = "is needed, because the sheet changed. Tick it if these changes are meant."


def accept_doubts(state: SeasonState, sites: Sequence[Site], *, units: str) -> tuple[Notice, ...]:
    """Serious changes of the sheet since it was confirmed, which a plan must not carry in unseen."""
    changes = sheet_changes(state.sheet, sites, units=units)
    return tuple(change.notice() for change in changes if change.serious)


def standing(events: Sequence[Event]) -> list[Event]:
    """The events that were not taken back."""
    from forecaster.season.state import undone_events

    undone = undone_events(events)
    return [event for event in events if event.event_id not in undone]


def group_of(events: Sequence[Event], event_id: int) -> tuple[int, int]:
    """First and last number of the events that were written with one: a move is taken back as a whole.

    They have one writer and one moment, and follow each other.
    """
    by_id = {event.event_id: event for event in events}
    found = by_id.get(event_id)
    if found is None:
        return event_id, event_id
    first = last = event_id
    while _together(by_id.get(first - 1), found):
        first -= 1
    while _together(by_id.get(last + 1), found):
        last += 1
    return first, last


def _together(other: Event | None, event: Event) -> bool:
    return (
        other is not None
        and other.recorded_at == event.recorded_at
        and other.who == event.who
        and (other.undoes is None) == (event.undoes is None)
    )


def _plan_entry(forecast: object, events: Sequence[Event], before: int) -> Entry:
    """The plan as shown; it knows all events up to those written just before it."""
    from forecaster.forecast import RouteForecast

    assert isinstance(forecast, RouteForecast)
    last = (events[-1].event_id if events else 0) + before
    document = pack(plan_document(forecast))
    return Entry("plan", forecast.as_of, {"last_event_id": last}, document=document)


def _refuse_stale(events: Sequence[Event], asked: AskedMove, shown: ShownPlan) -> None:
    if asked.site_id not in shown.desk.forecasts:
        text = "is closed, runs all winter or is not in the sheet. Nothing was moved."
        raise BadInput(Problem(asked.site_id, text))
    _refuse_newer(events, asked.site_id, asked.seen)
    joined = [
        event
        for event in standing(events)
        if event.event_id > asked.seen
        and event.kind == "placed"
        and (event.facts.get("date"), event.facts.get("crew"))
        == (asked.after.day.isoformat(), asked.after.crew)
    ]
    if joined:
        who = joined[-1].who or "Somebody"
        text = f"{who} moved {joined[-1].site_id} to the same crew-day after you opened the page."
        raise Stale(f"{text} Nothing was moved. Look at the cost again, then decide.")
    if place_of(shown.plan, asked.site_id) != asked.before:
        raise Stale(
            f"The plan was made again meanwhile and has {asked.site_id} elsewhere now. Nothing was moved. "
            "Look at the cost again, then decide."
        )


def _refuse_newer(events: Sequence[Event], site_id: str, seen: int) -> None:
    newer = [e for e in events if e.event_id > seen and e.site_id == site_id and e.kind in MOVING_KINDS]
    if newer:
        who = newer[-1].who or "Somebody"
        raise Stale(
            f"{who} changed {site_id} after you opened the page: {_short(newer[-1])} "
            f"(event {newer[-1].event_id}). Nothing of yours was written. Look again, then decide."
        )


def _short(event: Event) -> str:
    if event.kind == "placed" and event.facts.get("date"):
        day = weekday_date(date.fromisoformat(event.facts["date"]))
        return f"moved by hand to {day} with {event.facts['crew']}"
    return {"undo": "something was taken back", "placed": "left to the plan again"}.get(
        event.kind, event.kind
    )


def _refuse_forbidden(cost: MoveCost, asked: AskedMove) -> None:
    problems = [Problem(asked.site_id, text) for text in cost.forbidden]
    if cost.needs_booking and asked.customer != "booked":
        text = "has a date agreed with the customer. Ask first; then say that the customer agreed."
        problems.append(Problem(asked.site_id, text))
    if cost.before == cost.after and asked.customer == "no":
        problems.append(Problem(asked.site_id, "stands on that crew-day already. Nothing was moved."))
    if problems:
        raise BadInput(problems)


def _refuse(entries: Sequence[Entry], events: Sequence[Event], *, today: date, year: int) -> None:
    """Ask the season's rules, each entry after those before it."""
    from datetime import UTC, datetime

    now, problems = list(events), []
    for entry in entries:
        text = refusal(entry, derive(now, season=year), today=today, year=year, cure="undo of event")
        if text is not None:
            problems.append(Problem(entry.site_id, text))
        moment = datetime.now(UTC)
        now.append(
            Event(len(now) + 1, entry.kind, entry.day, entry.site_id, "", moment, entry.facts, entry.undoes)
        )
    if problems:
        raise BadInput(problems)
