"""What can stand in the ledger: one `Entry` as somebody says it, one `Event` as it was recorded.

Each function below makes the entry of one kind, in the program's units (°C, metres, hours, dollars, local
dates), rounded so that the same fact typed in °F or °C has the same digest. Facts that were not given are
left out. Texts keep their letters, commas, quotes and line breaks; only what no sheet can hold is refused.
Limit: whether an entry fits the season (the site exists, is still open) is asked by whoever records it.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from math import isfinite
from typing import Any, NamedTuple

from forecaster.errors import BadInput, Problem

SAID = (
    "reading",
    "told",
    "booked",
    "unbooked",
    "placed",
    "closed",
    "skipped",
    "visit",
    "note",
    "outcome",
    "thermometer",
    "gear",
)
"""Kinds that people enter."""

KEPT = ("settings", "sheet", "plan", "outlook", "run", "season", "alarm", "message")
"""Kinds that the program keeps of what it did or read."""

KINDS = (*SAID, *KEPT, "undo")
OUTCOMES = ("damage", "ice broken", "call-back", "no damage")
LONGEST_TEXT = 5000
"""Letters that a text may have; a cell of a workbook holds 32,767 (ECMA-376 implementations' limit)."""

Facts = dict[str, Any]


@dataclass(frozen=True)
class Entry:
    """What is to be recorded: `kind`, the `day` it speaks of, the site ("" for none), and its facts.

    `undoes` is the event that an undo takes back; `source` says where it was read ("readings.csv row 3"),
    "" where typed; `document` is a long fact (a plan), compressed JSON, b"" for none. `day_said` is False
    where nobody said on which day and `day` is the day of recording: it then does not count in the digest.
    """

    kind: str
    day: date
    facts: Facts = field(default_factory=dict)
    site_id: str = ""
    undoes: int | None = None
    source: str = ""
    document: bytes = b""
    day_said: bool = True

    @property
    def digest(self) -> str:
        """32 hexadecimal figures that two entries share only if they say the same (128 bits of SHA-256)."""
        document = hashlib.sha256(self.document).hexdigest() if self.document else ""
        day = self.day.isoformat() if self.day_said else ""
        said = [self.kind, self.site_id, day, self.facts, self.undoes, document]
        return hashlib.sha256(canonical_json(said).encode()).hexdigest()[:32]


class Event(NamedTuple):
    """An entry that the ledger holds: its number, when it was recorded (UTC), who did, and its digest."""

    event_id: int
    kind: str
    day: date
    site_id: str
    who: str
    recorded_at: datetime
    facts: Mapping[str, Any]
    undoes: int | None = None
    source: str = ""
    document: bytes = b""
    digest: str = ""


def canonical_json(value: object) -> str:
    """JSON with sorted keys and no spaces: the same value always gives the same text.

    >>> canonical_json({"b": 1, "a": "é"})
    '{"a":"é","b":1}'
    """
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def pack(value: object) -> bytes:
    """A JSON value as the compressed document of an entry."""
    return zlib.compress(canonical_json(value).encode(), 9)


def unpack(document: bytes) -> Any:
    """The JSON value of a document.

    >>> unpack(pack({"sites": [1, 2]}))
    {'sites': [1, 2]}
    """
    return json.loads(zlib.decompress(document))


def clean_text(text: str, where: str) -> str:
    """The text without blanks around it, line breaks as "\\n".

    Raises:
        BadInput: A character that no sheet can hold (control characters, half a surrogate pair), or too long.
    Example:
        >>> clean_text(" Gate, left\\r\\nof the barn ", "note")
        'Gate, left\\nof the barn'
    """
    cleaned = text.replace("\r\n", "\n").replace("\r", "\n").strip()
    for letter in cleaned:
        category = unicodedata.category(letter)
        if (category == "Cc" and letter not in "\n\t") or category == "Cs" or letter in "\ufffe\uffff":
            found = f"holds the character U+{ord(letter):04X}, which no sheet can show."
            raise BadInput(Problem(where, f"{found} Type the text again without it."))
    if len(cleaned) > LONGEST_TEXT:
        found = f"has {len(cleaned):,} letters; at most {LONGEST_TEXT:,} are kept in one entry."
        raise BadInput(Problem(where, f"{found} Shorten it, or make two notes."))
    return cleaned


def reading(
    site_id: str,
    day: date,
    water_c: float,
    *,
    hour: float | None = None,
    depth_m: float | None = None,
    by: str = "",
    sky: str = "",
    thermometer: str = "",
    daily_mean: bool = False,
    source: str = "",
) -> Entry:
    """A water temperature [°C] as the thermometer showed it, before its offset; `hour` local [h], depth [m].

    >>> reading("L-07", date(2025, 10, 6), (52.3 - 32) / 1.8).facts
    {'water_c': 11.277778}
    """
    facts = _given(
        water_c=_number(water_c, 6, "water_c"),
        hour=_number(_whole_second(hour), 6, "hour"),
        depth_m=_number(depth_m, 6, "depth_m"),
        by=clean_text(by, "by"),
        sky=sky,
        thermometer=clean_text(thermometer, "thermometer"),
        daily_mean=daily_mean,
    )
    return Entry("reading", day, facts, _site(site_id), source=source)


def told(site_id: str, day: date, told_date: date, *, source: str = "") -> Entry:
    """On `day` the customer was told `told_date`."""
    return Entry("told", day, {"date": told_date.isoformat()}, _site(site_id), source=source)


def booked(site_id: str, day: date, booked_date: date, *, source: str = "") -> Entry:
    """On `day` the customer agreed to `booked_date`; so it has been told too."""
    return Entry("booked", day, {"date": booked_date.isoformat()}, _site(site_id), source=source)


def unbooked(
    site_id: str, day: date, *, dates: Iterable[date] = (), reason: str = "", source: str = ""
) -> Entry:
    """On `day` the site's booked and told `dates` were called off; without any given, whatever they are."""
    called_off = sorted({called_off.isoformat() for called_off in dates})
    facts = _given(dates=called_off or None, reason=clean_text(reason, "reason"))
    return Entry("unbooked", day, facts, _site(site_id), source=source)


def placed(site_id: str, day: date, on: date | None, crew: str = "", *, source: str = "") -> Entry:
    """On `day` the scheduler put the visit on the crew-day `on` of `crew`, where the plan keeps it; None: the
    plan may choose again. No customer knows of it."""
    facts = _given(date=on.isoformat() if on else None, crew=clean_text(crew, "crew") if on else None)
    return Entry("placed", day, facts, _site(site_id), source=source)


def closed(
    site_id: str,
    day: date,
    *,
    by: str = "",
    done: str = "",
    crew_hours: float | None = None,
    source: str = "",
) -> Entry:
    """The closing was done on `day` by a crew; what was done, and the crew-hours it took [h]."""
    facts = _given(
        by=clean_text(by, "by"),
        done=clean_text(done, "done"),
        crew_hours=_number(crew_hours, 4, "crew_hours"),
    )
    return Entry("closed", day, facts, _site(site_id), source=source)


def skipped(site_id: str, day: date, *, reason: str, by: str = "", source: str = "") -> Entry:
    """The crew left without closing on `day`: the site is still to be closed, its dates up to `day` void."""
    facts = _given(reason=clean_text(reason, "reason"), by=clean_text(by, "by"))
    return Entry("skipped", day, facts, _site(site_id), source=source)


def visit(
    site_id: str,
    day: date,
    what: str,
    *,
    visit_date: date,
    crew_hours: float,
    by: str = "",
    source: str = "",
) -> Entry:
    """A visit that is no closing (netting, net off): done or, said on `day`, to come on `visit_date`."""
    facts = _given(
        date=visit_date.isoformat(),
        what=clean_text(what, "what"),
        crew_hours=_number(crew_hours, 4, "crew_hours"),
        by=clean_text(by, "by"),
    )
    return Entry("visit", day, facts, _site(site_id), source=source)


def note(day: date, text: str, *, site_id: str = "", source: str = "") -> Entry:
    """Anything worth keeping, about a site or the season."""
    return Entry("note", day, {"text": clean_text(text, "note")}, _site(site_id, ""), source=source)


def outcome(
    site_id: str, day: date, what: str, *, dollars: float | None = None, text: str = "", source: str = ""
) -> Entry:
    """What became of it (one of OUTCOMES) and what it cost [$], to check the season's dollars against."""
    facts = _given(what=what, dollars=_number(dollars, 2, "dollars"), text=clean_text(text, "text"))
    return Entry("outcome", day, facts, _site(site_id), source=source)


def thermometer(
    day: date, name: str, offset_c: float, *, from_day: date | None = None, source: str = ""
) -> Entry:
    """On `day` it was found that `offset_c` [°C] must be added to what a thermometer shows.

    It holds for readings taken on `from_day` or later; without it, for all its readings.
    """
    facts = {
        "thermometer": clean_text(name, "thermometer"),
        "offset_c": _number(offset_c, 6, "offset_c"),
        **_given(from_day=from_day.isoformat() if from_day else None),
    }
    return Entry("thermometer", day, facts, source=source)


def undo(event: Event, *, reason: str = "") -> Entry:
    """Takes an event back, or an undo back. It speaks of the event's own day, so that both come and go
    together when a state is derived up to a day."""
    facts = _given(reason=clean_text(reason, "reason"))
    return Entry("undo", event.day, facts, event.site_id, undoes=event.event_id)


def _given(**facts: Any) -> Facts:
    """Facts without those that were not given, so that a later kind of fact changes no digest."""
    return {
        name: value
        for name, value in facts.items()
        if value is not None and value is not False and value != ""
    }


def _number(value: float | None, decimals: int, name: str) -> float | None:
    if value is None:
        return None
    if not isfinite(value):
        raise BadInput(Problem(name, f"{value} is not a number. Write it again."))
    return round(float(value), decimals) + 0.0  # + 0.0: minus zero is zero


def _whole_second(hour: float | None) -> float | None:
    """Clock times are kept to the second, as sheets write them."""
    return None if hour is None else min(round(hour * 3600), 86_399) / 3600


def _site(site_id: str, empty: str | None = None) -> str:
    cleaned = clean_text(site_id, "site_id")
    if not cleaned and empty is None:
        raise BadInput(Problem("site_id", "empty. Write the site_id of the site sheet."))
    return cleaned
