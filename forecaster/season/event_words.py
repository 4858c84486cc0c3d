"""An event in words, for confirmations and the history: short, in the season's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from forecaster.season.dates import short_day
from forecaster.season.events import Event
from forecaster.season.known_sites import Basics
from forecaster.season.quantities import shown

Facts = Mapping[str, Any]


def event_words(event: Event, basics: Basics) -> str:
    """What an event says, without its site and number.

    >>> from datetime import UTC, datetime
    >>> from pathlib import Path
    >>> from zoneinfo import ZoneInfo
    >>> basics = Basics(Path(), "us", 2025, ZoneInfo("UTC"), ())
    >>> facts = {"water_c": 11.277778, "hour": 15.5, "by": "Heron"}
    >>> moment = datetime(2025, 10, 6, tzinfo=UTC)
    >>> event_words(Event(1, "reading", date(2025, 10, 6), "V-03", "Ann", moment, facts), basics)
    'water 52.3 °F on Mon 6 Oct at 15:30, by Heron'
    """
    words = _WORDS.get(event.kind)
    return words(event.day, event.facts, event, basics) if words else event.kind


def clock_text(hour: float) -> str:
    """A local clock time.

    >>> clock_text(15.5), clock_text(7.255)
    ('15:30', '07:15:18')
    """
    seconds = round(hour * 3600)
    text = f"{seconds // 3600:02}:{seconds // 60 % 60:02}"
    return f"{text}:{seconds % 60:02}" if seconds % 60 else text


def _reading(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    unit, length = basics.temperature_unit, basics.length_unit
    text = f"water {shown(round(unit.from_internal(facts['water_c']), 2))} {unit.words} on {short_day(day)}"
    if facts.get("hour") is not None:
        text += f" at {clock_text(facts['hour'])}"
    if facts.get("depth_m") is not None:
        text += f", {shown(round(length.from_internal(facts['depth_m']), 1))} {length.words} deep"
    if facts.get("daily_mean"):
        text += ", mean of the day"
    return text + _by(facts) + (f", thermometer {facts['thermometer']}" if facts.get("thermometer") else "")


def _promise(verb: str) -> Callable[[date, Facts, Event, Basics], str]:
    def words(day: date, facts: Facts, event: Event, basics: Basics) -> str:
        return f"{verb} {short_day(date.fromisoformat(facts['date']))}"

    return words


def _unbooked(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    days = ", ".join(short_day(date.fromisoformat(text)) for text in facts.get("dates", ()))
    return f"called off{f' ({days})' if days else ''}{_because(facts)}"


def _placed(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    if not facts.get("date"):
        return "left to the plan again"
    return f"moved by hand to {short_day(date.fromisoformat(facts['date']))} with {_line(facts['crew'])}"


def _closed(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    hours = f", {shown(facts['crew_hours'])} crew-hours" if facts.get("crew_hours") is not None else ""
    done = f": {_line(facts['done'])}" if facts.get("done") else ""
    return f"closed on {short_day(day)}{_by(facts)}{hours}{done}"


def _skipped(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"skipped on {short_day(day)}{_by(facts)}{_because(facts)}; it is back in the route"


def _visit(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    when = short_day(date.fromisoformat(facts["date"]))
    return f"{_line(facts['what'])} on {when}, {shown(facts['crew_hours'])} crew-hours{_by(facts)}"


def _note(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"note: {_line(facts.get('text', ''))}"


def _outcome(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    cost = f", ${facts['dollars']:,.0f}" if facts.get("dollars") is not None else ""
    text = f": {_line(facts['text'])}" if facts.get("text") else ""
    return f"{facts['what']} on {short_day(day)}{cost}{text}"


def _thermometer(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    step = facts["offset_c"] * (1.8 if basics.units == "us" else 1.0)
    start = facts.get("from_day")
    since = (
        f" for readings from {short_day(date.fromisoformat(start))} on" if start else " for all its readings"
    )
    return f"thermometer {facts['thermometer']}: {step:+.1f} {basics.temperature_unit.words} added{since}"


def _undo(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"undoes event {event.undoes}{_because(facts)}"


def _settings(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    changed = facts.get("changed", {})
    parts = [f"{name} {_or_none(before)} -> {_or_none(now)}" for name, (before, now) in changed.items()]
    return f"settings changed: {', '.join(parts)}" if parts else "settings as they were first seen"


def _plan(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    run = f" of run {facts['run_id']}" if facts.get("run_id") else ""
    return f"plan{run} put in force, made as of {short_day(day)}"


def _run(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"forecast as of {short_day(day)}, version {facts['version']}, seed {facts['seed']}"


def _outlook(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"outlook of {short_day(day)} for station {facts['station_id']}, {len(facts['leads'])} days"


def _sheet(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"site sheet confirmed, {facts.get('sites', 0)} sites"


def _season(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"season of {facts['year']} begun"


def _alarm(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"alarm: {_line(facts['title'])}"


def _message(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    return f"message {facts['state']} ({_line(facts['channel'])}): {_line(facts['title'])}"


def _by(facts: Facts) -> str:
    return f", by {_line(facts['by'])}" if facts.get("by") else ""


def _because(facts: Facts) -> str:
    return f": {_line(facts['reason'])}" if facts.get("reason") else ""


def _line(text: str) -> str:
    """A text on one line."""
    return " / ".join(part.strip() for part in text.splitlines() if part.strip())


def _gear(day: date, facts: Facts, event: Event, basics: Basics) -> str:
    items = ", ".join(_line(item) for item in facts.get("items", ()))
    if facts.get("back"):
        return f"{items} brought back on {short_day(day)}{_by(facts)}"
    store = f" to {_line(facts['store'])}" if facts.get("store") else ""
    return f"{items} taken{store} on {short_day(day)}{_by(facts)}"


def _or_none(value: object) -> str:
    return "(not there)" if value is None else str(value)


_WORDS: dict[str, Callable[[date, Facts, Event, Basics], str]] = {
    "reading": _reading,
    "told": _promise("told"),
    "booked": _promise("booked for"),
    "unbooked": _unbooked,
    "placed": _placed,
    "closed": _closed,
    "skipped": _skipped,
    "visit": _visit,
    "note": _note,
    "outcome": _outcome,
    "thermometer": _thermometer,
    "gear": _gear,
    "undo": _undo,
    "settings": _settings,
    "plan": _plan,
    "run": _run,
    "outlook": _outlook,
    "sheet": _sheet,
    "season": _season,
    "alarm": _alarm,
    "message": _message,
}
