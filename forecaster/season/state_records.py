"""The ledger's state as a record, and what it is made of: closings, skips, visits, notes, outcomes, runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

from forecaster.season.events import Event, unpack
from forecaster.season.readings import Reading
from forecaster.season.state_readings import Measured, readings_of, uncollected

if TYPE_CHECKING:
    from forecaster.weather.stations import Outlook

DATA_KINDS = frozenset(
    {
        *("reading", "told", "booked", "unbooked", "placed", "closed", "skipped", "visit"),
        *("thermometer", "outlook"),
    }
)
"""Kinds of events that may change a forecast."""


@dataclass(frozen=True)
class ClosedEvent:
    """A closing that was done; `crew_hours` [h] None where nobody said."""

    day: date
    by: str
    what: str
    crew_hours: float | None = None
    event_id: int = 0


@dataclass(frozen=True)
class SkippedEvent:
    """A crew that came and left without closing."""

    site_id: str
    day: date
    reason: str
    by: str = ""
    event_id: int = 0


@dataclass(frozen=True)
class Visit:
    """A visit before or after the closing, done or to come on `day`, and its crew-hours [h]."""

    site_id: str
    day: date
    what: str
    crew_hours: float
    by: str = ""
    event_id: int = 0


@dataclass(frozen=True)
class Note:
    """A note about a site, or about the season ("")."""

    site_id: str
    day: date
    text: str
    who: str = ""
    event_id: int = 0


@dataclass(frozen=True)
class Outcome:
    """What became of a site: damage, ice broken, call-back or no damage; `dollars` None where not said."""

    site_id: str
    day: date
    what: str
    dollars: float | None = None
    text: str = ""
    event_id: int = 0


@dataclass(frozen=True)
class Run:
    """A forecast that was made: its inputs' digests by name, and the last event that it knew of."""

    event_id: int
    as_of: date
    seed: int
    version: str
    digests: Mapping[str, str]
    last_event_id: int
    output_digest: str
    manifest: str
    who: str = ""


@dataclass(frozen=True)
class SettingsChange:
    """Settings that changed between two forecasts: name to what it was and is (None: not there)."""

    event_id: int
    day: date
    who: str
    changed: Mapping[str, Sequence[Any]]


@dataclass(frozen=True, eq=False)
class SeasonState:
    """What holds in the season `season` (its year), as far as the events tell.

    `booked` and `told` are the dates that bind; `placed` the crew-days on which the scheduler put visits. Of
    the sheet's own dates those up to `void[site_id]` have passed without a closing and those in
    `called_off[site_id]` no longer stand. Long lists (readings, outlooks, the plan) are made when first
    asked for.
    """

    season: int | None = None
    closed: Mapping[str, ClosedEvent] = field(default_factory=dict)
    booked: Mapping[str, date] = field(default_factory=dict)
    told: Mapping[str, date] = field(default_factory=dict)
    void: Mapping[str, date] = field(default_factory=dict)
    called_off: Mapping[str, frozenset[date]] = field(default_factory=dict)
    skipped: tuple[SkippedEvent, ...] = ()
    visits: tuple[Visit, ...] = ()
    notes: tuple[Note, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    placed: Mapping[str, tuple[date, str]] = field(default_factory=dict)
    offsets: tuple[tuple[str, date | None, float], ...] = ()
    settings_changes: tuple[SettingsChange, ...] = ()
    runs: tuple[Run, ...] = ()
    plan_event: Event | None = None
    sheet_event: Event | None = None
    outlook_events: tuple[Event, ...] = ()
    reading_events: tuple[Event, ...] = ()
    events: tuple[Event, ...] = field(default=(), repr=False)
    undone: frozenset[int] = frozenset()

    @property
    def last_event_id(self) -> int:
        """Number of the last event, 0 for none."""
        return self.events[-1].event_id if self.events else 0

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings by site, day and hour, corrected by their thermometers' offsets."""
        return self._readings[0]

    @property
    def measured(self) -> tuple[Measured, ...]:
        """How `readings` were made, one each."""
        return self._readings[1]

    @cached_property
    def plan(self) -> dict[str, Any] | None:
        """The plan in force as it was given, None where no plan has been put in force this season."""
        return unpack(self.plan_event.document) if self.plan_event else None

    @cached_property
    def sheet(self) -> dict[str, dict[str, Any]] | None:
        """The sheet as it was last confirmed (see `changes.py`), None before the first time."""
        return unpack(self.sheet_event.document) if self.sheet_event else None

    @cached_property
    def outlooks(self) -> tuple[Outlook, ...]:
        """The outlooks kept, by station and day of issue; of several a day from one source, the last."""
        from forecaster.season.outlook_events import outlook_of  # late: numpy takes longer than a command

        kept = {
            (event.facts["station_id"], event.day, event.facts["source"]): event
            for event in self.outlook_events
        }
        return tuple(outlook_of(kept[key]) for key in sorted(kept))

    def newer_than_plan(self) -> int:
        """Events since the plan in force was made that may change it; 0 where there is no plan."""
        if self.plan_event is None:
            return 0
        known = int(self.plan_event.facts.get("last_event_id", self.plan_event.event_id))
        kinds: dict[int, str] = {}
        for event in self.events:  # an undo counts as what it takes back
            kinds[event.event_id] = event.kind if event.undoes is None else kinds.get(event.undoes, "undo")
        return sum(event_id > known and kind in DATA_KINDS for event_id, kind in kinds.items())

    @cached_property
    def _readings(self) -> tuple[tuple[Reading, ...], tuple[Measured, ...]]:
        with uncollected():
            return readings_of(self.reading_events, self.offsets)
