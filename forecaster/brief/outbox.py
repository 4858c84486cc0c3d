"""What is to be sent and what was told, so that no message is lost or doubled: `.brief/outbox.sqlite`.

Queueing a message and moving the memory of what was told is one transaction: a change is either not yet told,
or its message lies here. Each delivery (a message to one mail address or channel) goes

    waiting -> handing -> sent          and back to waiting when the server certainly did not take it;
    waiting -> given up                 after too long; handing -> not sure, after too many unclear ends.

`handing` is written just before the one step after which the server may have taken the message. Who finds
a delivery in that state after a crash cannot know, and sends it again under the same Message-ID or
idempotency key. This file is the only place of these states; the ledger gets a copy of what became of each.
"""

from __future__ import annotations

import json
import secrets as random_source
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any

from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.season.ledger_file import connect, transaction

BRIEF_FOLDER = ".brief"
KEPT_MEMORIES = 400
SETTLED = ("sent", "given up", "not sure")

_TABLES = """
CREATE TABLE IF NOT EXISTS about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS memory (
    number INTEGER PRIMARY KEY, audience TEXT NOT NULL, as_of TEXT NOT NULL, told TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS message (
    key TEXT PRIMARY KEY, kind TEXT NOT NULL, day TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL,
    html TEXT NOT NULL, created_at TEXT NOT NULL, sites TEXT NOT NULL, in_ledger INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE IF NOT EXISTS delivery (
    number INTEGER PRIMARY KEY, key TEXT NOT NULL REFERENCES message (key), channel TEXT NOT NULL,
    target TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'waiting'
        CHECK (state IN ('waiting', 'handing', 'sent', 'given up', 'not sure')),
    attempts INTEGER NOT NULL DEFAULT 0, unclear INTEGER NOT NULL DEFAULT 0, next_try TEXT NOT NULL,
    changed_at TEXT NOT NULL, said TEXT NOT NULL DEFAULT '', in_ledger INTEGER NOT NULL DEFAULT 0,
    UNIQUE (key, channel, target)
) STRICT;
PRAGMA user_version = 1;
"""


@dataclass(frozen=True)
class Message:
    """What somebody gets; `kind` "brief" or the alarm's rule; `day` the local date that it speaks of."""

    key: str
    kind: str
    day: date
    subject: str
    text: str
    html: str
    created_at: datetime
    sites: tuple[str, ...] = ()

    @property
    def is_brief(self) -> bool:
        """True for a brief, False for an alarm."""
        return self.kind == "brief"


@dataclass(frozen=True)
class Delivery:
    """One message to one place: `channel` and, for mail, the address as `target`. Times are UTC.

    `attempts`: how often it was tried; `unclear`: how often nobody knows how it ended; `said`: why it waits.
    """

    number: int
    message: Message
    channel: str
    target: str
    state: str
    attempts: int
    unclear: int
    next_try: datetime
    changed_at: datetime
    said: str

    @property
    def place(self) -> str:
        """Where it goes, in words: no secret."""
        return self.target or self.channel


class OutboxFault(ForecasterError):
    """The outbox cannot be used; the message says what to do. Exit code 1."""


class Outbox:
    """The open outbox of a season folder; use it in a `with` block, one process sends at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / BRIEF_FOLDER
        try:
            self.folder.mkdir(exist_ok=True)
            self._base = connect(self.folder / "outbox.sqlite", mode="rwc")
            with transaction(self._base):
                version = self._base.execute("PRAGMA user_version").fetchone()[0]
                if version == 0:
                    for statement in filter(str.strip, _TABLES.split(";")):
                        self._base.execute(statement)
        except (OSError, sqlite3.Error) as error:
            raise _fault(self.folder, error) from error
        if version > 1:
            self._base.close()
            text = "was written by a newer version of the program. Update the program on this computer."
            raise BadInput(Problem(f"{BRIEF_FOLDER}/outbox.sqlite", text))

    def __enter__(self) -> Outbox:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._base.close()

    def folder_id(self) -> str:
        """A random name of this outbox, made once: it keeps the Message-IDs of two offices apart."""
        fresh = random_source.token_hex(8)
        self._write([("INSERT INTO about VALUES ('folder_id', ?) ON CONFLICT (name) DO NOTHING", [fresh])])
        return str(self._rows("SELECT value FROM about WHERE name = 'folder_id'")[0][0])

    def memory(self, audience: str, as_of: date) -> tuple[date, dict[str, Any]] | None:
        """What was last told to an audience up to `as_of`, with its as-of date; None for nothing."""
        sql = (
            "SELECT as_of, told FROM memory WHERE audience = ? AND as_of <= ?"
            " ORDER BY as_of DESC, number DESC LIMIT 1"
        )
        found = self._rows(sql, [audience, as_of.isoformat()])
        return (date.fromisoformat(found[0][0]), json.loads(found[0][1])) if found else None

    def queue(
        self,
        messages: Iterable[Message],
        places: Mapping[str, Iterable[tuple[str, str]]],
        memories: Mapping[str, Mapping[str, Any]],
        *,
        as_of: date,
        now: datetime,
    ) -> None:
        """Put messages in and move the memories, all or nothing. A message whose key is there stays one.

        Args:
            messages: What is to be sent.
            places: Key of a message -> its (channel, target) pairs.
            memories: Audience -> what has been told to it.
            as_of: The as-of date of the memories.
            now: The moment.
        """
        work: list[tuple[str, list[Any]]] = []
        for m in messages:
            row = [m.key, m.kind, m.day.isoformat(), m.subject, m.text, m.html, _stamp(m.created_at)]
            sql = (
                "INSERT INTO message (key, kind, day, subject, text, html, created_at, sites)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (key) DO NOTHING"
            )
            work.append((sql, [*row, json.dumps(m.sites)]))
            sql = (
                "INSERT INTO delivery (key, channel, target, next_try, changed_at)"
                " VALUES (?, ?, ?, ?, ?) ON CONFLICT (key, channel, target) DO NOTHING"
            )
            for channel, target in places.get(m.key, ()):
                values = [m.key, channel, target, _stamp(now), _stamp(now)]
                work.append((sql, values))
        for audience, told in memories.items():
            sql = "INSERT INTO memory (audience, as_of, told) VALUES (?, ?, ?)"
            work.append((sql, [audience, as_of.isoformat(), json.dumps(told, sort_keys=True)]))
            sql = (
                "DELETE FROM memory WHERE audience = ?1 AND number NOT IN (SELECT number FROM memory"
                f" WHERE audience = ?1 ORDER BY number DESC LIMIT {KEPT_MEMORIES})"
            )
            work.append((sql, [audience]))
        self._write(work)

    def deliveries(self, *states: str) -> list[Delivery]:
        """Deliveries in these states (all without any), oldest message first."""
        where = f"WHERE d.state IN ({', '.join('?' * len(states))})" if states else ""
        sql = (
            "SELECT d.number, d.channel, d.target, d.state, d.attempts, d.unclear, d.next_try, d.changed_at,"
            " d.said, m.key, m.kind, m.day, m.subject, m.text, m.html, m.created_at, m.sites"
            f" FROM delivery d JOIN message m ON m.key = d.key {where} ORDER BY m.created_at, d.number"
        )
        return [_delivery(row) for row in self._rows(sql, list(states))]

    def sent_since(self, channel: str, target: str, moment: datetime) -> int:
        """How many alarms went to a place since `moment`."""
        sql = (
            "SELECT count(*) FROM delivery d JOIN message m ON m.key = d.key WHERE d.channel = ? AND"
            " d.target = ? AND d.state IN ('sent', 'not sure') AND d.changed_at > ? AND m.kind <> 'brief'"
        )
        return int(self._rows(sql, [channel, target, _stamp(moment)])[0][0])

    def mark(
        self,
        delivery: Delivery,
        state: str,
        *,
        now: datetime,
        said: str = "",
        tried: int = 0,
        unclear: int = 0,
        wait: timedelta = timedelta(),
    ) -> None:
        """Write what became of a delivery; when this returns it is on the disk."""
        sql = (
            "UPDATE delivery SET state = ?, attempts = attempts + ?, unclear = unclear + ?, next_try = ?,"
            " changed_at = ?, said = ? WHERE number = ?"
        )
        values = [state, tried, unclear, _stamp(now + wait), _stamp(now), said, delivery.number]
        self._write([(sql, values)])

    def message_count(self, prefix: str) -> int:
        """How many messages have a key that begins with `prefix`."""
        sql = "SELECT count(*) FROM message WHERE substr(key, 1, ?) = ?"
        return int(self._rows(sql, [len(prefix), prefix])[0][0])

    def unrecorded_alarms(self) -> list[Message]:
        """Alarms that the ledger does not hold yet."""
        sql = (
            "SELECT key, kind, day, subject, text, html, created_at, sites FROM message"
            " WHERE kind <> 'brief' AND in_ledger = 0 ORDER BY created_at, key"
        )
        return [_message(row) for row in self._rows(sql)]

    def unrecorded_deliveries(self) -> list[Delivery]:
        """Deliveries that have come to an end and that the ledger does not hold yet."""
        numbers = {
            row[0]
            for row in self._rows(
                "SELECT number FROM delivery WHERE in_ledger = 0 AND state IN (?, ?, ?)", list(SETTLED)
            )
        }
        return [delivery for delivery in self.deliveries(*SETTLED) if delivery.number in numbers]

    def mark_recorded(self, alarms: Iterable[Message], deliveries: Iterable[Delivery]) -> None:
        """The ledger holds these now."""
        work: list[tuple[str, list[Any]]] = [
            ("UPDATE message SET in_ledger = 1 WHERE key = ?", [message.key]) for message in alarms
        ]
        work += [("UPDATE delivery SET in_ledger = 1 WHERE number = ?", [d.number]) for d in deliveries]
        self._write(work)

    def _rows(self, sql: str, values: list[Any] | None = None) -> list[tuple[Any, ...]]:
        try:
            with closing(self._base.execute(sql, values or [])) as cursor:
                return cursor.fetchall()
        except sqlite3.Error as error:
            raise _fault(self.folder, error) from error

    def _write(self, work: Iterable[tuple[str, list[Any]]]) -> None:
        try:
            with transaction(self._base):
                for sql, values in work:
                    self._base.execute(sql, values)
        except sqlite3.Error as error:
            raise _fault(self.folder, error) from error


def has_outbox(folder: Path) -> bool:
    """True where the season folder has an outbox already."""
    return (folder / BRIEF_FOLDER / "outbox.sqlite").is_file()


def _fault(folder: Path, error: Exception) -> OutboxFault:
    """An error of the disk or of SQLite with its cure."""
    if isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError):
        cure = "If it is damaged, move it away; the next brief compares with nothing, what waits is lost."
    else:
        cure = "Ask for the right to write there, free some space, or try again."
    return OutboxFault(f"{folder}/outbox.sqlite: {error}. Nothing was sent. {cure}")


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _moment(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)


def _message(row: tuple[Any, ...]) -> Message:
    key, kind, day, subject, text, html, created_at, sites = row
    return Message(
        key, kind, date.fromisoformat(day), subject, text, html, _moment(created_at), tuple(json.loads(sites))
    )


def _delivery(row: tuple[Any, ...]) -> Delivery:
    number, channel, target, state, attempts, unclear, next_try, changed_at, said, *message = row
    return Delivery(
        number, _message(tuple(message)), channel, target, state, attempts, unclear, _moment(next_try),
        _moment(changed_at), said,
    )  # fmt: skip
