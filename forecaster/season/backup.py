"""Verified copies of the ledger inside the season folder, one a day, and putting one back.

Kept are the copies of the last 7 days and the last copy of each of the last 5 weeks, in `backups/`. A copy
is made before the first change of a day and counts only after it was read back whole. Limit: they lie on
the same disk as the ledger; a copy elsewhere is the office's own (the folder may be copied or zipped).
"""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.ledger_file import PATIENCE_S, LedgerFault, connect, connect_to_read, plain_words
from forecaster.season.ledger_schema import check_file

LEDGER_NAME = "season.sqlite"
FOLDER_NAME = "backups"
DAYS_KEPT = 7
WEEKS_KEPT = 5
_NAME = re.compile(r"season-(\d{4}-\d{2}-\d{2})\.sqlite")


@dataclass(frozen=True)
class Restored:
    """What `restore` did: the copy that was put back, its events, and where the ledger of before is kept."""

    copy: Path
    events: int
    events_before: int | None  # None where the file of before could not be read
    kept_as: Path | None  # None where there was no file before


def copies(folder: Path) -> tuple[tuple[date, Path], ...]:
    """The daily copies of a season folder, the oldest first."""
    found = []
    for path in (folder / FOLDER_NAME).glob("season-*.sqlite"):
        name = _NAME.fullmatch(path.name)
        with suppress(ValueError):
            if name:
                found.append((date.fromisoformat(name[1]), path))
    return tuple(sorted(found))


def copy_of_the_day(folder: Path, *, today: date) -> tuple[Notice, ...]:
    """Make today's copy unless it is there or the ledger is still empty, and drop those no longer kept.

    A copy that cannot be made never stops the work: it becomes a notice.
    """
    target = folder / FOLDER_NAME / f"season-{today}.sqlite"
    if target.exists():
        return ()
    scratch = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with closing(connect_to_read(folder / LEDGER_NAME)) as source:
            if _last_event(source) == 0:
                return ()
            target.parent.mkdir(exist_ok=True)
            _verified_copy(source, scratch)
        os.replace(scratch, target)
    except (OSError, sqlite3.Error, LedgerFault) as error:
        with suppress(OSError):
            scratch.unlink(missing_ok=True)
        text = f"today's copy of the ledger could not be made ({error}). The ledger itself is not touched."
        return (Notice(f"{FOLDER_NAME}/{target.name}", text),)
    _prune(folder, today)
    return ()


def kept_days(days: Sequence[date], today: date) -> frozenset[date]:
    """Which daily copies are kept: the last 7, and the last one of each of the last 5 weeks (ISO 8601).

    Copies dated after today are kept too: then the clock was wrong, and nobody knows when.

    >>> days = [date(2025, 10, day) for day in range(1, 32)]
    >>> [day.day for day in sorted(kept_days(days, date(2025, 10, 31)))]
    [5, 12, 19, 25, 26, 27, 28, 29, 30, 31]
    """
    past = sorted(day for day in days if day <= today)
    last_of_week = {day.isocalendar()[:2]: day for day in past}
    weeks = [last_of_week[week] for week in sorted(last_of_week)]
    return frozenset([*past[-DAYS_KEPT:], *weeks[-WEEKS_KEPT:], *(day for day in days if day > today)])


def restore(folder: Path, copy: Path, *, now: datetime) -> Restored:
    """Put a copy in the place of the ledger; the ledger of before is kept in `backups/`.

    Args:
        folder: Season folder.
        copy: A file in `backups/`, or any other copy of a ledger.
        now: Names the file in which the ledger of before is kept.
    Raises:
        BadInput: The copy is missing, damaged, or no ledger.
        LedgerFault: The folder cannot be written.
    """
    ledger = folder / LEDGER_NAME
    with plain_words(ledger), closing(_checked_copy(copy)) as source:
        kept_as, before = None, None
        if ledger.exists():
            kept_as = folder / FOLDER_NAME / f"replaced-{now.astimezone(UTC):%Y-%m-%dT%H%M%S.%fZ}.sqlite"
            kept_as.parent.mkdir(exist_ok=True)
            before = _keep_present(ledger, kept_as)
        if before is None:
            scratch = ledger.with_name(f".{LEDGER_NAME}.{os.getpid()}.part")
            _verified_copy(source, scratch)
            os.replace(scratch, ledger)
        else:
            with closing(connect(ledger, mode="rw")) as present:
                _copy_patiently(source, present)
        return Restored(copy, _count(source), before, kept_as)


def _checked_copy(copy: Path) -> sqlite3.Connection:
    """The opened copy, after a full check."""
    if not copy.is_file():
        raise BadInput(Problem(str(copy), "no such copy. See what is there: forecaster restore FOLDER"))
    try:
        source = connect_to_read(copy)
        try:
            check_file(source, copy.name)
            _check_whole(source)
            _last_event(source)
        except BaseException:
            source.close()
            raise
    except sqlite3.Error as error:
        raise BadInput(Problem(copy.name, f"is damaged ({error}). Take another copy.")) from error
    return source


def _keep_present(ledger: Path, kept_as: Path) -> int | None:
    """Keep the present ledger as a file; the number of its events, None where it is damaged and was moved."""
    try:
        with closing(connect_to_read(ledger)) as present:
            _check_whole(present)
            events = _count(present)
            _verified_copy(present, kept_as)
            return events
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError) and "no such table" not in str(error):
            raise
        with suppress(OSError):
            kept_as.unlink(missing_ok=True)
    journal = ledger.with_name(ledger.name + "-journal")
    if journal.exists():  # it belongs to the damaged file; beside another one it would damage that too
        os.replace(journal, kept_as.with_name(kept_as.name + "-journal"))
    os.replace(ledger, kept_as)
    return None


def _verified_copy(source: sqlite3.Connection, target: Path) -> None:
    """Copy the whole ledger to a new file and read it back."""
    target.unlink(missing_ok=True)
    expected = _last_event(source)
    with closing(connect(target, mode="rwc")) as made:
        _copy_patiently(source, made)
        _check_whole(made)
        if _last_event(made) < expected:
            raise sqlite3.DatabaseError("the copy lacks events")


def _copy_patiently(source: sqlite3.Connection, target: sqlite3.Connection) -> None:
    stop = time.monotonic() + PATIENCE_S

    def give_up(status: int, remaining: int, total: int) -> None:
        if time.monotonic() > stop:
            raise LedgerFault(f"{LEDGER_NAME}: is in use by another program. Try again later.")

    source.backup(target, pages=-1, progress=give_up, sleep=0.002)


def _check_whole(connection: sqlite3.Connection) -> None:
    found = [row[0] for row in connection.execute("PRAGMA integrity_check(3)")]
    if found != ["ok"]:
        raise sqlite3.DatabaseError("; ".join(found))


def _last_event(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT coalesce(max(event_id), 0) FROM event").fetchone()[0])


def _count(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT count(*) FROM event").fetchone()[0])


def _prune(folder: Path, today: date) -> None:
    found = copies(folder)
    kept = kept_days([day for day, _ in found], today)
    for day, path in found:
        if day not in kept:
            with suppress(OSError):
                path.unlink()
    for leftover in (folder / FOLDER_NAME).glob(".season-*.part"):
        with suppress(OSError):  # of a copy that was cut off; one being made is younger than an hour
            if time.time() - leftover.stat().st_mtime > 3600:
                leftover.unlink()
