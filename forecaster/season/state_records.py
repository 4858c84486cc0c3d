"""What the ledger's state is made of: one record a closing, skip, visit, note, outcome, forecast run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any


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
class Measured:
    """How a reading was made: what the thermometer showed [°C], which one it was, and its offset [°C]."""

    event_id: int
    shown_c: float
    thermometer: str = ""
    offset_c: float = 0.0


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
