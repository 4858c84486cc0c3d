"""One at a time: a lock that the operating system drops with its process, also after kill -9."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from forecaster.errors import ForecasterError


class Busy(ForecasterError):
    """Another process holds the lock. Exit code 1."""


@contextmanager
def held(path: Path, *, who: str, patience_s: float = 0.0) -> Iterator[None]:
    """Hold the lock `path` for the block; the file stays.

    Args:
        path: The lock's file; its folder exists.
        who: Who holds it, for the message ("a watch over my-season").
        patience_s: How long to wait for it [s].
    Raises:
        Busy: Another process holds it.
    """
    lock = sqlite3.connect(path, timeout=patience_s, isolation_level=None)
    try:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            raise Busy(f"{who} is running already. Wait until it ends, or end it.") from None
        yield
    finally:
        lock.close()


def is_held(path: Path) -> bool:
    """True where some process holds the lock `path` now."""
    if not path.is_file():
        return False
    with closing(sqlite3.connect(path, timeout=0.0, isolation_level=None)) as lock:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            return True
    return False
