"""What holds now, derived from the ledger's events from the first to the last; nothing of it is stored.

Two rules do most of the work. An event stands unless an undo that itself stands takes it back. And what
was recorded last about a site holds: nobody has to remember in which order things happened. Closings,
dates, skips, visits and the plan belong to one season (1 February to 31 January); readings, outlooks,
thermometer offsets, notes and outcomes carry over, because next fall learns from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from forecaster.season.events import SAID, Entry, Event
from forecaster.season.state_readings import merge_readings as merge_readings
from forecaster.season.state_readings import uncollected
from forecaster.season.state_records import DATA_KINDS as DATA_KINDS
from forecaster.season.state_records import (
    ClosedEvent,
    Note,
    Outcome,
    Run,
    SettingsChange,
    SkippedEvent,
    Visit,
)
from forecaster.season.state_records import SeasonState as SeasonState
from forecaster.season.state_sheet import apply_state as apply_state
from forecaster.season.state_sheet import state_notices as state_notices

SEASON_KINDS = frozenset({*SAID, "plan", "season"}) - {"thermometer", "gear"}
"""Kinds of events whose day tells which season is under way."""


def season_of(day: date) -> int:
    """Year of the season that a day belongs to: February to January, so that the fall is whole.

    >>> season_of(date(2026, 1, 31)), season_of(date(2026, 2, 1))
    (2025, 2026)
    """
    return day.year if day.month >= 2 else day.year - 1


def said_date(entry: Event | Entry) -> date:
    """The date that a told or booked event or a visit is about; for others their own day."""
    text = entry.facts.get("date")
    return date.fromisoformat(text) if text else entry.day


def undone_events(events: Iterable[Event]) -> frozenset[int]:
    """Numbers of the events that do not stand: an undo that stands takes its event back.

    An undo is always younger than what it takes back, so one pass from the last to the first decides.
    """
    undone: set[int] = set()
    for event in sorted((event for event in events if event.undoes is not None), reverse=True):
        if event.event_id not in undone:
            undone.add(int(event.undoes or 0))
    return frozenset(undone)


def derive(events: Iterable[Event], until: date | None = None, *, season: int | None = None) -> SeasonState:
    """The state after these events.

    Args:
        events: In the order in which they were recorded. What was known on a day is decided by the caller:
            `Ledger.events(day)` gives only what had been recorded by then.
        until: Events that speak of a later day are left out; None for all.
        season: Whose closings, dates and plan; by default the season of `until`, else the one begun last,
            else that of the latest event.
    """
    kept = tuple(event for event in events if until is None or event.day <= until)
    undone = undone_events(kept)
    if season is None:
        season = season_of(until) if until is not None else _last_season(kept, undone)
    building = _Building(season)
    acts = building.acts
    with uncollected():
        for event in kept:
            act = acts.get(event.kind)
            if act is not None and event.event_id not in undone:
                act(event)
    return building.finished(kept, undone)


def _last_season(events: Sequence[Event], undone: frozenset[int]) -> int | None:
    standing = [event for event in events if event.kind in SEASON_KINDS and event.event_id not in undone]
    begun = [int(event.facts["year"]) for event in standing if event.kind == "season"]
    if begun:
        return begun[-1]
    return season_of(max(event.day for event in standing)) if standing else None


class _Building:
    """Collects the state, one standing event after the other."""

    def __init__(self, season: int | None) -> None:
        self.season = season
        self.closed: dict[str, ClosedEvent] = {}
        self.booked: dict[str, date] = {}
        self.told: dict[str, date] = {}
        self.void: dict[str, date] = {}
        self.called_off: dict[str, frozenset[date]] = {}
        self.placed: dict[str, tuple[date, str]] = {}
        self.skipped: list[SkippedEvent] = []
        self.visits: list[Visit] = []
        self.notes: list[Note] = []
        self.outcomes: list[Outcome] = []
        self.offsets: list[tuple[str, date | None, float]] = []
        self.changes: list[SettingsChange] = []
        self.runs: list[Run] = []
        self.outlooks: list[Event] = []
        self.reading_events: list[Event] = []
        self.plan: Event | None = None
        self.sheet: Event | None = None
        self.acts = {
            "reading": self.reading_events.append,
            "outlook": self.outlooks.append,
            "told": self._told,
            "booked": self._booked,
            "unbooked": self._unbooked,
            "placed": self._placed,
            "closed": self._closed,
            "skipped": self._skipped,
            "visit": self._visit,
            "note": self._note,
            "outcome": self._outcome,
            "thermometer": self._thermometer,
            "settings": self._settings,
            "sheet": self._sheet,
            "plan": self._plan,
            "run": self._run,
        }

    def _told(self, event: Event) -> None:
        day = said_date(event)
        if season_of(day) == self.season:
            self.told[event.site_id] = day

    def _booked(self, event: Event) -> None:
        day = said_date(event)
        if season_of(day) == self.season:
            self.booked[event.site_id] = self.told[event.site_id] = day
            if self.placed.get(event.site_id, (day, ""))[0] != day:
                del self.placed[event.site_id]

    def _unbooked(self, event: Event) -> None:
        named = [date.fromisoformat(text) for text in event.facts.get("dates", ())]
        if season_of(max(named, default=event.day)) != self.season:
            return
        self.booked.pop(event.site_id, None)
        self.told.pop(event.site_id, None)
        if named:
            before = self.called_off.get(event.site_id, frozenset())
            self.called_off[event.site_id] = before.union(named)
        else:
            self.void[event.site_id] = date.max

    def _placed(self, event: Event) -> None:
        day, crew = said_date(event), event.facts.get("crew", "")
        if season_of(day) != self.season:
            return
        if event.facts.get("date"):
            self.placed[event.site_id] = (day, crew)
        else:
            self.placed.pop(event.site_id, None)

    def _closed(self, event: Event) -> None:
        if season_of(event.day) == self.season:
            facts = event.facts
            self.closed[event.site_id] = ClosedEvent(
                event.day, facts.get("by", ""), facts.get("done", ""), facts.get("crew_hours"), event.event_id
            )

    def _skipped(self, event: Event) -> None:
        if season_of(event.day) == self.season:
            facts = event.facts
            self.void[event.site_id] = max(event.day, self.void.get(event.site_id, date.min))
            for dates in (self.booked, self.told):
                if dates.get(event.site_id, date.max) <= event.day:
                    del dates[event.site_id]
            if self.placed.get(event.site_id, (date.max, ""))[0] <= event.day:
                del self.placed[event.site_id]
            self.skipped.append(
                SkippedEvent(
                    event.site_id, event.day, facts.get("reason", ""), facts.get("by", ""), event.event_id
                )
            )

    def _visit(self, event: Event) -> None:
        day, facts = said_date(event), event.facts
        if season_of(day) == self.season:
            hours = float(facts["crew_hours"])
            self.visits.append(
                Visit(event.site_id, day, facts["what"], hours, facts.get("by", ""), event.event_id)
            )

    def _note(self, event: Event) -> None:
        text = event.facts.get("text", "")
        self.notes.append(Note(event.site_id, event.day, text, event.who, event.event_id))

    def _outcome(self, event: Event) -> None:
        facts = event.facts
        dollars, text = facts.get("dollars"), facts.get("text", "")
        self.outcomes.append(Outcome(event.site_id, event.day, facts["what"], dollars, text, event.event_id))

    def _thermometer(self, event: Event) -> None:
        start = event.facts.get("from_day")
        day = date.fromisoformat(start) if start else None
        self.offsets.append((event.facts["thermometer"], day, float(event.facts["offset_c"])))

    def _settings(self, event: Event) -> None:
        changed = event.facts.get("changed", {})
        self.changes.append(SettingsChange(event.event_id, event.day, event.who, changed))

    def _sheet(self, event: Event) -> None:
        self.sheet = event

    def _plan(self, event: Event) -> None:
        if season_of(event.day) == self.season:
            self.plan = event

    def _run(self, event: Event) -> None:
        facts = event.facts
        self.runs.append(
            Run(
                event_id=event.event_id,
                as_of=event.day,
                seed=int(facts["seed"]),
                version=facts["version"],
                digests=facts["digests"],
                last_event_id=int(facts["last_event_id"]),
                output_digest=facts["output"],
                manifest=facts["manifest"],
                who=event.who,
            )
        )

    def finished(self, events: tuple[Event, ...], undone: frozenset[int]) -> SeasonState:
        return SeasonState(
            season=self.season,
            closed=self.closed,
            booked=self.booked,
            told=self.told,
            void=self.void,
            called_off=self.called_off,
            skipped=tuple(self.skipped),
            visits=tuple(self.visits),
            notes=tuple(self.notes),
            outcomes=tuple(self.outcomes),
            placed=self.placed,
            offsets=tuple(self.offsets),
            settings_changes=tuple(change for change in self.changes if change.changed),
            runs=tuple(self.runs),
            plan_event=self.plan,
            sheet_event=self.sheet,
            outlook_events=tuple(self.outlooks),
            reading_events=tuple(self.reading_events),
            events=events,
            undone=undone,
        )
