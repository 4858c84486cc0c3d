"""Opening SQLite files of a season folder so that several people can work in it, also on an office share.

A rollback journal, because a write-ahead log needs memory that only one computer sees; one writer at a
time, who waits for the others as long as a person would; and errors in plain words. Limit: the share must
support file locks, which ordinary office shares do.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from forecaster.errors import BadInput, ForecasterError, Notice, Problem

Result = TypeVar("Result")
PATIENCE_S = 60.0
"""How long one command waits for the others before it gives up [s]; a write takes a few milliseconds."""

_PRIMARY = 0xFF  # an extended result code of SQLite holds the primary one in its lowest byte


class LedgerFault(ForecasterError):
    """The ledger's file cannot be used or written; the message says what to do. Exit code 1."""


class PatientConnection(sqlite3.Connection):
    """Every statement waits for the other processes (SQLite's own waiting grows longer and longer)."""

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        """As `sqlite3.Connection.execute`, tried again while another process holds the file."""
        return patiently(lambda: super(PatientConnection, self).execute(sql, parameters))


def connect(path: Path, *, mode: str) -> sqlite3.Connection:
    """A connection without automatic transactions; `mode` is "ro", "rw" or "rwc" (make a missing file)."""
    uri = path.resolve().as_uri()
    if not uri.startswith("file:///"):  # a share of Windows, //server/share: SQLite wants it as a path
        uri = "file:////" + uri.removeprefix("file://")
    connection = sqlite3.connect(
        f"{uri}?mode={mode}", uri=True, timeout=0, isolation_level=None, factory=PatientConnection
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = EXTRA")  # a commit survives a power cut right after it
        if mode != "ro":
            connection.execute("PRAGMA journal_mode = DELETE")
    except BaseException:
        connection.close()
        raise
    return connection


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that cannot write, also where the folder is read-only.

    A write that was cut off is rolled back by whoever opens the file next. Where this cannot be done
    because the folder is read-only, it is done in a copy in memory.
    """
    writable = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    journal = path.with_name(path.name + "-journal")
    if not writable and journal.exists():
        return _recovered_in_memory(path, journal)
    connection = connect(path, mode="rw" if writable else "ro")
    connection.execute("PRAGMA query_only = ON")
    return connection


def _recovered_in_memory(path: Path, journal: Path) -> sqlite3.Connection:
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / path.name
        shutil.copyfile(journal, copy.with_name(journal.name))
        shutil.copyfile(path, copy)
        source = connect(copy, mode="rw")
        try:
            return in_memory(source)
        finally:
            source.close()


def in_memory(source: sqlite3.Connection) -> sqlite3.Connection:
    """A copy of the whole file in memory."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    source.backup(copy)
    return copy


def patiently(action: Callable[[], Result]) -> Result:
    """The result of `action`, tried again while another process holds the file."""
    stop = time.monotonic() + PATIENCE_S
    while True:
        try:
            return action()
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() > stop:
                raise
        time.sleep(random.uniform(0.0005, 0.004))  # short and uneven: no writer is shut out by another one


def is_busy(error: sqlite3.Error) -> bool:
    """True where another process holds the file for now."""
    return _primary_code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """One write, whole or not at all; nobody else writes from its first line to its last."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):  # where the disk is gone, the next one to open the file rolls it back
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        raise


@contextmanager
def plain_words(path: Path) -> Iterator[None]:
    """Turns what SQLite raises into a sentence with the cure."""
    try:
        yield
    except sqlite3.Error as error:
        raise LedgerFault(f"{path.name}: {_words(error, path)}") from error


def _words(error: sqlite3.Error, path: Path) -> str:
    code = _primary_code(error)
    if code == sqlite3.SQLITE_FULL:
        return "the disk is full. Nothing was recorded and nothing is lost. Free some space, then try again."
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return (
            f"another program has been writing to it for {PATIENCE_S:.0f} seconds. Nothing was recorded."
            " Try again; if this stays, end the program that holds it."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return (
            f"cannot be written in {path.parent}. Nothing was recorded. Ask for the right to write in this"
            " folder, or copy the folder to a place where you may write."
        )
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return (
            f"the file is damaged. Nothing was recorded. Put back the last good copy with:"
            f" forecaster restore {path.parent}"
        )
    if code == sqlite3.SQLITE_IOERR:
        return (
            "the disk or the share refused to read or write. Nothing was recorded and nothing is lost."
            " Check the connection and the space left, then try again."
        )
    return f"{error}. Nothing was recorded."


def _primary_code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", 0) or 0) & _PRIMARY


def check_folder(folder: Path) -> None:
    """Refuse a folder that holds no season.

    Raises:
        BadInput: The folder, or its `season.toml`, is missing.
    """
    cure = "Name a season folder, or make one: forecaster new FOLDER"
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), f"no such folder. {cure}"))
    if not (folder / "season.toml").is_file():
        raise BadInput(Problem(str(folder), f"holds no season.toml, so it is no season folder. {cure}"))


def readonly_notice(folder: Path) -> Notice | None:
    """What to tell where the folder can be read but not written, None where it can be written."""
    if os.access(folder, os.W_OK):
        return None
    text = "may only be read here: answers are given, but nothing is recorded, not even this forecast."
    return Notice(str(folder), text)
