"""Recording what a form says in the season's ledger: rules, stale edits, the audit line, a new forecast.

This is the one way from the pages into the ledger.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from starlette.requests import Request

from forecaster.errors import BadInput, Problem
from forecaster.season.events import SAID, Entry, Event
from forecaster.season.known_sites import Basics, read_basics
from forecaster.season.ledger import Once, Recorded, open_ledger
from forecaster.web.desk import Desk
from forecaster.web.forms import Stale, session_of

WAY_BACK = "undo of event"
"""How the ledger's rules name the way to take something back; on pages it is a button."""

Things = Callable[[Event], bool]


def desk_of(request: Request) -> Desk:
    """The season behind the pages."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


def who_of(request: Request) -> str:
    """The name under which changes of this session are recorded."""
    return session_of(request).name or str(request.app.state.access.local_name)


def basics_of(request: Request) -> Basics:
    """Units, year, zone and sites of the season, as the folder says now.

    Raises:
        BadInput: Settings or sheet cannot be used.
    """
    return read_basics(desk_of(request).folder)


def about_site(site_id: str) -> Things:
    """The things that people say about one site."""
    return lambda event: event.site_id == site_id and event.kind in (*SAID, "undo")


def last_seen(folder: Path, things: Things) -> int:
    """Number of the last event about something, 0 for none: the hidden field `seen` of a form."""
    with_ledger = open_ledger(folder, readonly=True)
    if with_ledger is None:
        return 0
    with with_ledger as ledger:
        return _last(ledger.events(), things)


def _last(events: Sequence[Event], things: Things) -> int:
    return max((event.event_id for event in events if things(event)), default=0)


def record(
    request: Request,
    *entries: Entry,
    seen: int | None = None,
    things: Things | None = None,
    decide: Callable[[tuple[Event, ...]], Sequence[Entry]] | None = None,
    once: Once = "standing",
) -> tuple[Recorded, ...]:
    """Record entries, all or none, after the season's rules were asked under the ledger's lock.

    Args:
        request: Who does it, and from where.
        entries: What is to be recorded.
        seen: The last event about `things` that the person had seen; None: not asked.
        things: Which events make the form stale.
        decide: Makes the entries of all events instead, under the lock (an undo); may raise to refuse.
        once: "no" where the same words may have to be said again (moved there, elsewhere, and back).
    Raises:
        BadInput: A rule refuses; nothing is recorded.
        Stale: Somebody recorded something about `things` meanwhile; nothing is recorded.
        LedgerFault: The ledger cannot be written.
    """
    from forecaster.season.ledger_rules import refusal
    from forecaster.season.ledger_runs import FORECAST_IDLE
    from forecaster.season.state import derive

    desk, basics = desk_of(request), basics_of(request)

    def decided(events: tuple[Event, ...]) -> Sequence[Entry]:
        if seen is not None and things is not None and _last(events, things) > seen:
            raise Stale(stale_words(events, things, basics))
        if decide is not None:
            return decide(events)
        state = derive(events, season=basics.year)
        problems = []
        for entry in entries:
            text = refusal(entry, state, today=desk.as_of(), year=basics.year, cure=WAY_BACK)
            if text is not None:
                problems.append(Problem(basics.name_of(entry.site_id), text))
        if problems:
            raise BadInput(problems)
        return entries

    who = who_of(request)
    with open_ledger(desk.folder, clock=desk.clock) as ledger:
        recorded = ledger.write(decided, who=who, once=once)
    for one in recorded:
        what = f"{one.event.kind} {one.event.site_id} event {one.event.event_id}"
        request.app.state.access.audit(who, request.state.address, what if one.new else f"{what} (again)")
    if any(one.new and one.event.kind not in FORECAST_IDLE for one in recorded):
        desk.touch()
    return recorded


def stale_words(events: Sequence[Event], things: Things, basics: Basics) -> str:
    """What somebody else did meanwhile."""
    from forecaster.season.event_words import event_words

    latest = [event for event in events if things(event)][-1]
    when = f"{latest.recorded_at.astimezone(basics.zone):%H:%M}"
    return (
        f"{latest.who or 'Somebody'} changed this at {when}, after you opened the page: "
        f"{basics.name_of(latest.site_id)}: {event_words(latest, basics)}. "
        "Nothing of yours was recorded. Look again, then decide."
    )
