"""What may be recorded, seen from what holds already. Pure: asked under the ledger's write lock, so that of
two people who close the same pond at the same time one is told that it was done."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date

from forecaster.errors import BadInput, Problem
from forecaster.season.dates import short_day
from forecaster.season.events import SAID, Entry, Event, undo
from forecaster.season.state import SeasonState, season_of, undone_events

FALL_MONTHS = (8, 9, 10, 11, 12, 1)
UNDONE_KINDS = (*SAID, "plan", "sheet", "outlook", "undo")
"""Kinds of events that can be taken back; what the program did cannot."""

Describe = Callable[[Event], str]


def refusal(
    entry: Entry, state: SeasonState, *, today: date, year: int, cure: str = "forecaster undo"
) -> str | None:
    """Why an entry may not be recorded, with the cure; None where it may.

    Args:
        entry: What is to be recorded.
        state: What holds in the season `year`.
        today: The date on which it is recorded.
        year: The season of the folder.
        cure: The command that takes an event back.
    """
    if entry.day > today:
        return f"{entry.day} is in the future (today is {today}). Correct the day."
    if entry.kind in ("told", "booked"):
        return _promise_refusal(entry, state, year, cure)
    if entry.kind == "placed":
        return _placing_refusal(entry, state, year, cure)
    if entry.kind in ("closed", "skipped"):
        wrong = outside_fall(entry.day, year)
        if wrong:
            return wrong
        done = state.closed.get(entry.site_id)
        if done is not None:
            return (
                f"is closed already, on {short_day(done.day)}{f' by {done.by}' if done.by else ''}"
                f" (event {done.event_id}). If that is wrong, take it back first: {cure} {done.event_id}"
            )
    return None


def outside_fall(day: date, year: int) -> str | None:
    """What is wrong with a day of another fall, None where it lies in that of `year`.

    >>> outside_fall(date(2024, 10, 14), 2025)
    '2024-10-14 is not in the fall of 2025 (2025-08-01 to 2026-01-31). Correct the day.'
    """
    if season_of(day) == year and day.month in FALL_MONTHS:
        return None
    return f"{day} is not in the fall of {year} ({year}-08-01 to {year + 1}-01-31). Correct the day."


def undo_entries(
    events: Sequence[Event],
    said: str,
    *,
    who: str,
    reason: str,
    describe: Describe,
) -> list[Entry]:
    """The undos that somebody asks for.

    Args:
        events: All events.
        said: "17", several as "12-31", or "" for the last one that `who` entered and that stands.
        who: Who asks.
        reason: Why.
        describe: One event in words, for messages.
    Raises:
        BadInput: No such event, undone already, or none that can be taken back.
    """
    undone = undone_events(events)
    by_id = {event.event_id: event for event in events}
    problems, entries = [], []
    for event_id in _asked_for(said, events, undone, who):
        event = by_id.get(event_id)
        where = f"event {event_id}"
        if event is None:
            last = f"The last one is {max(by_id)}." if by_id else "The ledger is empty."
            problems.append(Problem(where, f"there is no such event. {last}"))
        elif event_id in undone:
            takers = [e.event_id for e in events if e.undoes == event_id and e.event_id not in undone]
            text = f"is undone already, by event {takers[-1]} ({describe(event)})."
            problems.append(Problem(where, f"{text} To have it again: forecaster undo FOLDER {takers[-1]}"))
        elif event.kind not in UNDONE_KINDS:
            if "-" not in said:  # in a range, what cannot be taken back is simply not meant
                problems.append(Problem(where, f"cannot be taken back: {describe(event)}."))
        else:
            entries.append(undo(event, reason=reason))
    if problems:
        raise BadInput(problems)
    if not entries:
        raise BadInput(Problem(f"events {said}", "none of them can be taken back."))
    return sorted(entries, key=lambda entry: -(entry.undoes or 0))


def _promise_refusal(entry: Entry, state: SeasonState, year: int, cure: str) -> str | None:
    """Why a date may not be told or booked."""
    promised = date.fromisoformat(entry.facts["date"])
    wrong = outside_fall(promised, year)
    if wrong:
        return wrong
    done = state.closed.get(entry.site_id)
    if done is not None and promised >= done.day:
        return (
            f"is closed already, on {short_day(done.day)} (event {done.event_id})."
            f" If that is wrong, take it back first: {cure} {done.event_id}"
        )
    booked = state.booked.get(entry.site_id)
    if entry.kind == "told" and booked is not None and booked != promised:
        return (
            f"is booked on {short_day(booked)}, so another date cannot just be told."
            " If the customer agreed to the new one, use book; if it was called off, use unbook first."
        )
    return None


def _placing_refusal(entry: Entry, state: SeasonState, year: int, cure: str) -> str | None:
    """Why a visit may not be put on a crew-day by hand."""
    done = state.closed.get(entry.site_id)
    if done is not None:
        return (
            f"is closed already, on {short_day(done.day)} (event {done.event_id})."
            f" If that is wrong, take it back first: {cure} {done.event_id}"
        )
    if not entry.facts.get("date"):
        return None
    day = date.fromisoformat(entry.facts["date"])
    booked = state.booked.get(entry.site_id)
    if booked is not None and booked != day:
        return (
            f"is booked on {short_day(booked)}. If the customer agreed to {short_day(day)}, book that;"
            " if it was called off, use unbook first."
        )
    return outside_fall(day, year)


def _asked_for(said: str, events: Sequence[Event], undone: frozenset[int], who: str) -> list[int]:
    """Numbers of the events that are meant."""
    if not said:
        own = [e for e in events if e.who == who and e.event_id not in undone and e.kind in (*SAID, "plan")]
        if not own:
            cure = "See the numbers: forecaster history FOLDER"
            raise BadInput(Problem("undo", f"nothing that {who or 'you'} entered can be taken back. {cure}"))
        return [own[-1].event_id]
    found = re.fullmatch(r"(\d{1,9})(?:\s*[-–]\s*(\d{1,9}))?", said.strip())
    first, last = (int(found[1]), int(found[2] or found[1])) if found else (1, 0)
    if first > last or last - first > 100_000:
        cure = "Write the number of an event, or several like 12-31."
        raise BadInput(Problem("event", f'"{said}" is not the number of an event. {cure}'))
    if first == last:
        return [first]
    return [e.event_id for e in events if first <= e.event_id <= last and e.event_id not in undone]
