"""The lists in which events leave and enter the ledger: readings, closings, bookings and the rest.

One list has one shape in both directions, so what was exported can be imported. A list to import is
recognised by a column of its own (`closed`, `water_f`, ...); which of them have a value makes the entries.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from forecaster.season import events as ev
from forecaster.season.events import Entry, Event
from forecaster.season.exchange_cells import Value
from forecaster.season.exchange_list import List, fixed, numbers, texts
from forecaster.season.exchange_measured import READINGS, THERMOMETERS
from forecaster.season.exchange_rows import RowReader
from forecaster.season.known_sites import Basics
from forecaster.season.moments import parse_day
from forecaster.season.tables import BadCell

MOST_DOLLARS = 1_000_000.0


def _closing_row(event: Event, basics: Basics) -> dict[str, Value]:
    return {"closed": event.day, **texts(event.facts, "by", "done"), **numbers(event.facts, "crew_hours")}


def _closing_entries(row: RowReader) -> list[Entry]:
    site_id, day = row.site(), row.day("closed", needed=True)
    by, done, hours = row.text("by"), row.text("done"), row.hours()
    if not site_id or day is None:
        return []
    return [ev.closed(site_id, day, by=by, done=done, crew_hours=hours, source=row.source)]


def _booking_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts = event.facts
    row: dict[str, Value] = {"said": event.day}
    if event.kind == "unbooked":
        row["called_off"] = "; ".join(facts.get("dates", ())) or "yes"
        row["reason"] = facts.get("reason")
    else:
        row[f"{event.kind}_date"] = date.fromisoformat(facts["date"])
    return row


def _booking_entries(row: RowReader) -> list[Entry]:
    site_id, (day, day_said) = row.site(), row.said()
    told, booked, called_off = row.day("told_date"), row.day("booked_date"), row.text("called_off")
    reason, dates = row.text("reason"), list[date]()
    for part in called_off.split(";"):
        if part.strip().casefold() not in ("", "yes", "no"):
            try:
                dates.append(parse_day(part.strip()))
            except BadCell as error:
                row.cells.refuse(row.row, "called_off", str(error))
    if not site_id:
        return []
    entries = [ev.told(site_id, day, told, source=row.source)] if told else []
    entries += [ev.booked(site_id, day, booked, source=row.source)] if booked else []
    if called_off and called_off.casefold() != "no":
        entries.append(ev.unbooked(site_id, day, dates=dates, reason=reason, source=row.source))
    if day_said:
        return entries
    return [replace(entry, day_said=False) for entry in entries]


def _skip_row(event: Event, basics: Basics) -> dict[str, Value]:
    return {"skipped": event.day, **texts(event.facts, "reason", "by")}


def _skip_entries(row: RowReader) -> list[Entry]:
    site_id, day = row.site(), row.day("skipped", needed=True)
    reason, by = row.needed("reason", "Write why the crew left."), row.text("by")
    if not site_id or day is None or not reason:
        return []
    return [ev.skipped(site_id, day, reason=reason, by=by, source=row.source)]


def _visit_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts = event.facts
    return {
        "visit": facts["what"],
        "visit_date": date.fromisoformat(facts["date"]),
        **numbers(facts, "crew_hours"),
        **texts(facts, "by"),
        "said": event.day,
    }


def _visit_entries(row: RowReader) -> list[Entry]:
    site_id, what = row.site(), row.needed("visit", 'Write what it is for, like "netting".')
    day, hours = row.day("visit_date", needed=True), row.hours()
    by, (said, day_said) = row.text("by"), row.said()
    if hours is None and not row.cells.text(row.row, "crew_hours"):
        row.cells.refuse(row.row, "crew_hours", "empty. Write the crew-hours, like 0.5.")
    if not site_id or not what or day is None or hours is None:
        return []
    entry = ev.visit(
        site_id,
        said if day_said else min(said, day),
        what,
        visit_date=day,
        crew_hours=hours,
        by=by,
        source=row.source,
    )
    return [replace(entry, day_said=day_said)]


def _note_row(event: Event, basics: Basics) -> dict[str, Value]:
    return {"note": event.facts.get("text"), "said": event.day}


def _note_entries(row: RowReader) -> list[Entry]:
    site_id, text = row.site(needed=False), row.needed("note", "Write the note, or remove the row.")
    day, day_said = row.said()
    if not text:
        return []
    entry = ev.note(day, text, site_id=site_id, source=row.source)
    return [replace(entry, day_said=day_said)]


def _outcome_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts = event.facts
    row: dict[str, Value] = {"outcome": facts["what"], "seen": event.day}
    return {**row, **numbers(facts, "dollars"), "text": facts.get("text")}


def _outcome_entries(row: RowReader) -> list[Entry]:
    site_id, day = row.site(), row.day("seen", needed=True)
    row.cells.needed_text(row.row, "outcome", f"Write one of {', '.join(ev.OUTCOMES)}.")
    what = row.cells.choice(row.row, "outcome", ev.OUTCOMES)
    dollars = row.number("dollars", low=0, high=MOST_DOLLARS, noun="a number of dollars")
    text = row.text("text")
    if not site_id or day is None or what is None:
        return []
    return [ev.outcome(site_id, day, what, dollars=dollars, text=text, source=row.source)]


CLOSINGS = List(
    "closings",
    ("closed",),
    ("closed",),
    fixed("site_id", "closed", "by", "done", "crew_hours"),
    _closing_row,
    _closing_entries,
    others=("by", "done", "crew_hours"),
)
BOOKINGS = List(
    "bookings",
    ("told", "booked", "unbooked"),
    ("booked_date", "told_date"),
    fixed("site_id", "said", "told_date", "booked_date", "called_off", "reason"),
    _booking_row,
    _booking_entries,
    others=("said", "called_off", "reason"),
)
SKIPS = List(
    "skips",
    ("skipped",),
    ("skipped",),
    fixed("site_id", "skipped", "reason", "by"),
    _skip_row,
    _skip_entries,
    others=("reason", "by"),
)
VISITS = List(
    "visits",
    ("visit",),
    ("visit",),
    fixed("site_id", "visit", "visit_date", "crew_hours", "by", "said"),
    _visit_row,
    _visit_entries,
    others=("visit_date", "crew_hours", "by", "said"),
)
NOTES = List(
    "notes",
    ("note",),
    ("note",),
    fixed("site_id", "note", "said"),
    _note_row,
    _note_entries,
    others=("said",),
)
OUTCOMES = List(
    "outcomes",
    ("outcome",),
    ("outcome",),
    fixed("site_id", "outcome", "seen", "dollars", "text"),
    _outcome_row,
    _outcome_entries,
    others=("seen", "dollars", "text"),
)
LISTS = (READINGS, CLOSINGS, BOOKINGS, SKIPS, VISITS, OUTCOMES, THERMOMETERS, NOTES)
