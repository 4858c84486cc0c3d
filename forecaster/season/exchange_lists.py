"""The lists in which events leave and enter the ledger: readings, closings, bookings and the rest.

One list has one shape in both directions, so what was exported can be imported. A list to import is
recognised by a column of its own (`closed`, `water_f`, ...); which of them have a value makes the entries.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from forecaster.season import events as ev
from forecaster.season.event_words import clock_text
from forecaster.season.events import Entry, Event
from forecaster.season.exchange_cells import Value
from forecaster.season.exchange_rows import RowReader
from forecaster.season.known_sites import Basics
from forecaster.season.moments import parse_day
from forecaster.season.quantities import STEP_UNITS, Quantity, Unit
from forecaster.season.readings_file import READING_DEPTH, SKIES, WATER
from forecaster.season.tables import BadCell

OFFSET = Quantity("offset", STEP_UNITS, low=-10, high=10)
MOST_DOLLARS = 1_000_000.0

RECORD_COLUMNS = ("customer", "recorded_by", "recorded_at", "event_id")
"""Columns that an export adds to every list; an import takes no notice of them."""


RowOf = Callable[[Event, Basics], dict[str, Value]]
EntriesOf = Callable[[RowReader], list[Entry]]


@dataclass(frozen=True)
class List:
    """One list: its name, the kinds of events in it, its columns in the export, and how rows and events
    become each other. `marks` are the columns by which a file is recognised; `quantities` have units."""

    name: str
    kinds: tuple[str, ...]
    marks: tuple[str, ...]
    columns: Callable[[Basics], tuple[str, ...]]
    row_of: RowOf
    entries_of: EntriesOf
    quantities: tuple[Quantity, ...] = ()
    others: tuple[str, ...] = field(default=())

    @property
    def known_columns(self) -> frozenset[str]:
        """Every column that an import uses or passes over knowingly."""
        units = [column for quantity in self.quantities for column in quantity.columns]
        return frozenset({"site_id", *self.marks, *self.others, *units, *RECORD_COLUMNS})


def _fixed(*names: str) -> Callable[[Basics], tuple[str, ...]]:
    return lambda basics: names


def _reading_columns(basics: Basics) -> tuple[str, ...]:
    water, depth = f"water_{basics.temperature_unit.suffix}", f"depth_{basics.length_unit.suffix}"
    return ("site_id", "taken", water, depth, "by", "sky", "thermometer", "daily_mean")


def _reading_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts, hour, depth_m = event.facts, event.facts.get("hour"), event.facts.get("depth_m")
    _, taken, water, depth, *_ = _reading_columns(basics)
    return {
        taken: event.day if hour is None else f"{event.day} {clock_text(hour)}",
        water: _in_unit(facts["water_c"], basics.temperature_unit),
        depth: None if depth_m is None else _in_unit(depth_m, basics.length_unit),
        **_texts(facts, "by", "sky", "thermometer"),
        "daily_mean": "yes" if facts.get("daily_mean") else None,
    }


def _reading_entries(row: RowReader) -> list[Entry]:
    site_id, cells = row.site(), row.cells
    cells.needed_text(row.row, "taken", "Write the date, or the date and time, like 2025-10-14 15:30.")
    moment = cells.moment(row.row, "taken")
    water = row.units[WATER.name]
    if water is not None:
        cells.needed_text(row.row, water[0], "Write the temperature, or remove the row.")
    water_c, depth_m = row.quantity(WATER), row.quantity(READING_DEPTH)
    sky = cells.choice(row.row, "sky", SKIES) or ""
    daily_mean = cells.yes_no(row.row, "daily_mean", default=False)
    by, thermometer = row.text("by"), row.text("thermometer")
    if not site_id or moment is None or water_c is None:
        return []
    return [
        ev.reading(
            site_id,
            moment[0],
            water_c,
            hour=moment[1],
            depth_m=depth_m,
            by=by,
            sky=sky,
            thermometer=thermometer,
            daily_mean=daily_mean,
            source=row.source,
        )
    ]


def _closing_row(event: Event, basics: Basics) -> dict[str, Value]:
    return {"closed": event.day, **_texts(event.facts, "by", "done"), **_numbers(event.facts, "crew_hours")}


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
    return {"skipped": event.day, **_texts(event.facts, "reason", "by")}


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
        **_numbers(facts, "crew_hours"),
        **_texts(facts, "by"),
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
    return {**row, **_numbers(facts, "dollars"), "text": facts.get("text")}


def _outcome_entries(row: RowReader) -> list[Entry]:
    site_id, day = row.site(), row.day("seen", needed=True)
    row.cells.needed_text(row.row, "outcome", f"Write one of {', '.join(ev.OUTCOMES)}.")
    what = row.cells.choice(row.row, "outcome", ev.OUTCOMES)
    dollars = row.number("dollars", low=0, high=MOST_DOLLARS, noun="a number of dollars")
    text = row.text("text")
    if not site_id or day is None or what is None:
        return []
    return [ev.outcome(site_id, day, what, dollars=dollars, text=text, source=row.source)]


def _offset_columns(basics: Basics) -> tuple[str, ...]:
    return ("thermometer", f"offset_{basics.temperature_unit.suffix}", "from_day", "checked")


def _offset_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts, start = event.facts, event.facts.get("from_day")
    unit = STEP_UNITS[0 if basics.units == "us" else 1]
    return {
        "thermometer": facts["thermometer"],
        f"offset_{unit.suffix}": _in_unit(facts["offset_c"], unit),
        "from_day": date.fromisoformat(start) if start else None,
        "checked": event.day,
    }


def _offset_entries(row: RowReader) -> list[Entry]:
    name, offset_c = row.needed("thermometer", "Write the thermometer's name."), row.quantity(OFFSET)
    start, day = row.day("from_day"), row.day("checked", needed=True)
    if not name or offset_c is None or day is None:
        return []
    return [ev.thermometer(day, name, offset_c, from_day=start, source=row.source)]


def _in_unit(value: float, unit: Unit) -> float:
    """A kept value in the unit, with the fewest decimals that give it back when read.

    >>> from forecaster.season.quantities import TEMPERATURE_UNITS
    >>> _in_unit(16.833333, TEMPERATURE_UNITS[0])
    62.3
    """
    exact = unit.from_internal(value)
    shorter = (round(exact, decimals) for decimals in range(7))
    return next((short for short in shorter if round(unit.to_internal(short), 6) == round(value, 6)), exact)


def _texts(facts: Mapping[str, Any], *names: str) -> dict[str, Value]:
    return {name: facts.get(name) for name in names}


def _numbers(facts: Mapping[str, Any], *names: str) -> dict[str, Value]:
    return {name: None if facts.get(name) is None else float(facts[name]) for name in names}


READINGS = List(
    "readings",
    ("reading",),
    ("taken", *WATER.columns),
    _reading_columns,
    _reading_row,
    _reading_entries,
    (WATER, READING_DEPTH),
    ("by", "sky", "thermometer", "daily_mean"),
)
CLOSINGS = List(
    "closings",
    ("closed",),
    ("closed",),
    _fixed("site_id", "closed", "by", "done", "crew_hours"),
    _closing_row,
    _closing_entries,
    others=("by", "done", "crew_hours"),
)
BOOKINGS = List(
    "bookings",
    ("told", "booked", "unbooked"),
    ("booked_date", "told_date"),
    _fixed("site_id", "said", "told_date", "booked_date", "called_off", "reason"),
    _booking_row,
    _booking_entries,
    others=("said", "called_off", "reason"),
)
SKIPS = List(
    "skips",
    ("skipped",),
    ("skipped",),
    _fixed("site_id", "skipped", "reason", "by"),
    _skip_row,
    _skip_entries,
    others=("reason", "by"),
)
VISITS = List(
    "visits",
    ("visit",),
    ("visit",),
    _fixed("site_id", "visit", "visit_date", "crew_hours", "by", "said"),
    _visit_row,
    _visit_entries,
    others=("visit_date", "crew_hours", "by", "said"),
)
NOTES = List(
    "notes",
    ("note",),
    ("note",),
    _fixed("site_id", "note", "said"),
    _note_row,
    _note_entries,
    others=("said",),
)
OUTCOMES = List(
    "outcomes",
    ("outcome",),
    ("outcome",),
    _fixed("site_id", "outcome", "seen", "dollars", "text"),
    _outcome_row,
    _outcome_entries,
    others=("seen", "dollars", "text"),
)
THERMOMETERS = List(
    "thermometers",
    ("thermometer",),
    tuple(OFFSET.columns),
    _offset_columns,
    _offset_row,
    _offset_entries,
    (OFFSET,),
    ("thermometer", "from_day", "checked"),
)
LISTS = (READINGS, CLOSINGS, BOOKINGS, SKIPS, VISITS, OUTCOMES, THERMOMETERS, NOTES)
