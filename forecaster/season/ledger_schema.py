"""The tables of `season.sqlite`, and the numbered steps that bring an older file up to date.

A step and its record are one transaction, so a file is never half way. Steps are only ever added at the
end. Limit: there is no way back; `backup.py` keeps copies from before.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from forecaster.errors import BadInput, Problem

APPLICATION_ID = 0x506F6E64
"""Marks the file as a ledger of this program (the letters "Pond"); see PRAGMA application_id."""


@dataclass(frozen=True)
class Migration:
    """One step: its number, what it is for, and its SQL."""

    number: int
    purpose: str
    sql: str


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        1,
        "events, never changed and never deleted",
        """
        CREATE TABLE migration (
            number INTEGER PRIMARY KEY,
            purpose TEXT NOT NULL,
            applied_at TEXT NOT NULL
        ) STRICT;
        CREATE TABLE event (
            event_id INTEGER PRIMARY KEY,
            kind TEXT NOT NULL CHECK (kind <> ''),
            day TEXT NOT NULL CHECK (day IS date(day)),
            site_id TEXT NOT NULL,
            who TEXT NOT NULL,
            recorded_at TEXT NOT NULL CHECK (recorded_at GLOB '????-??-??T??:??:??.??????Z'),
            facts TEXT NOT NULL CHECK (json_valid(facts)),
            undoes INTEGER REFERENCES event (event_id) CHECK (undoes < event_id),
            source TEXT NOT NULL,
            document BLOB NOT NULL,
            digest TEXT NOT NULL CHECK (length(digest) = 32),
            CHECK ((kind = 'undo') = (undoes IS NOT NULL))
        ) STRICT;
        CREATE INDEX event_by_digest ON event (digest);
        CREATE INDEX event_by_undone ON event (undoes) WHERE undoes IS NOT NULL;
        CREATE TRIGGER event_never_changes BEFORE UPDATE ON event
        BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
        CREATE TRIGGER event_never_goes BEFORE DELETE ON event
        BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
        CREATE TRIGGER event_never_replaced BEFORE INSERT ON event
        WHEN EXISTS (SELECT 1 FROM event WHERE event_id = NEW.event_id)
        BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
        CREATE TRIGGER event_only_at_the_end AFTER INSERT ON event
        WHEN NEW.event_id <> (SELECT max(event_id) FROM event) OR NEW.event_id < 1
        BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
        """,
    ),
)


def statements(sql: str) -> Iterator[str]:
    """The statements of a script one by one; semicolons inside a trigger do not part them."""
    statement = ""
    for part in sql.split(";"):
        if not (statement or part.strip()):
            continue
        statement += part + ";"
        if sqlite3.complete_statement(statement):
            yield statement.strip()
            statement = ""


def file_version(connection: sqlite3.Connection) -> int:
    """Number of the last step that the file has seen, 0 for a new file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def check_file(
    connection: sqlite3.Connection, name: str, *, migrations: Sequence[Migration] = MIGRATIONS
) -> bool:
    """True where the file is up to date, False where steps are missing.

    Raises:
        BadInput: It is another program's file, or made by a newer version of this one.
    """
    application, version, empty = _stamps(connection)
    known = migrations[-1].number
    if application != APPLICATION_ID and (application or version or not empty):
        text = "is a database of another program. Move it away; the ledger is made new when needed."
        raise BadInput(Problem(name, text))
    if version > known:
        text = (
            f"was written by a newer version of the program (ledger format {version}; this version knows"
            f" {known} and older). Update the program on this computer. Nothing in the ledger is lost."
        )
        raise BadInput(Problem(name, text))
    return version == known


def _stamps(connection: sqlite3.Connection) -> tuple[int, int, bool]:
    """Whose file it is, its version, and whether nothing is in it, all of one moment.

    Read one by one, a file that another process is just making would look like somebody else's.
    """
    alone = not connection.in_transaction
    if alone:
        connection.execute("BEGIN")
    try:
        application = int(connection.execute("PRAGMA application_id").fetchone()[0])
        version = file_version(connection)
        empty = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    finally:
        if alone:
            connection.execute("ROLLBACK")
    return application, version, empty


def migrate(
    connection: sqlite3.Connection, *, now: datetime, migrations: Sequence[Migration] = MIGRATIONS
) -> None:
    """Apply the steps that the file has not seen; the caller holds the write transaction and commits it."""
    version = file_version(connection)
    for migration in migrations:
        if migration.number <= version:
            continue
        for statement in statements(migration.sql):
            connection.execute(statement)
        connection.execute(
            "INSERT INTO migration (number, purpose, applied_at) VALUES (?, ?, ?)",
            (migration.number, migration.purpose, now.isoformat()),
        )
        connection.execute(f"PRAGMA user_version = {migration.number:d}")
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")
