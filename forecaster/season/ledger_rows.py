"""Entries and events as rows of the ledger's table."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

from forecaster.season.events import Entry, Event

COLUMNS = "event_id, kind, day, site_id, who, recorded_at, facts, undoes, source, document, digest"
INSERT_SQL = f"INSERT INTO event ({COLUMNS}) VALUES ({', '.join('?' * 11)})"


def row_of_entry(entry: Entry, who: str, now: datetime) -> tuple[Any, ...]:
    """The row of an entry, for INSERT_SQL; its number is the next one."""
    return (
        *(None, entry.kind, entry.day.isoformat(), entry.site_id, who, stamp_of(now)),
        *(json.dumps(entry.facts, ensure_ascii=False, allow_nan=False), entry.undoes),
        *(entry.source, entry.document, entry.digest),
    )


def row_of_event(event: Event) -> tuple[Any, ...]:
    """The row of an event, for INSERT_SQL, as it stands in its ledger."""
    return (
        *(event.event_id, event.kind, event.day.isoformat(), event.site_id, event.who),
        *(stamp_of(event.recorded_at), json.dumps(event.facts, ensure_ascii=False, allow_nan=False)),
        *(event.undoes, event.source, event.document, event.digest),
    )


def stamp_of(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def events_of(rows: Sequence[tuple[Any, ...]]) -> tuple[Event, ...]:
    """Events of rows in the order of COLUMNS; the facts of all are parsed at once, which is faster."""
    all_facts = json.loads(f"[{','.join([row[6] for row in rows])}]")
    to_date, to_moment = date.fromisoformat, datetime.fromisoformat
    return tuple(
        [
            Event(number, kind, to_date(day), site, who, to_moment(stamp), facts, undoes, source, doc, digest)
            for (number, kind, day, site, who, stamp, _, undoes, source, doc, digest), facts in zip(
                rows, all_facts, strict=True
            )
        ]
    )
