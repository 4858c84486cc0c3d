"""Files kept in the season folder and never trusted blindly: each one's checksum stands in an index.

A file that is missing, half written or changed is not served; whoever asks fetches it again. Files are
written beside their place and renamed, so that a power cut leaves the old one. Limit: one update at a time,
held by a lock that the operating system drops with the process.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

from forecaster.errors import ForecasterError

CACHE_FOLDER = ".weather"
"""Folder of the season folder for what was fetched, as it came. No forecast reads it: it may be deleted, and
then the next update fetches everything again."""

_TABLE = """create table if not exists files (
  name text primary key, sha256 text not null, got_at text not null, checked_at text not null,
  why text not null
) strict"""


@dataclass(frozen=True)
class Entry:
    """What the index says of a file; `sha256` is "" where the server has none. `got_at`: when the content
    came; `checked_at`: when the server last stood by it; `why`: what kept it from being asked since."""

    name: str
    sha256: str
    got_at: datetime
    checked_at: datetime
    why: str = ""

    @property
    def absent(self) -> bool:
        """True where the server has said that there is no such file."""
        return not self.sha256


class KeptFiles:
    """The index and the files of one folder. `notes` tell what was found damaged."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.notes = folder, list[str]()
        self._base = self._open()
        self._entries = self._read()

    def close(self) -> None:
        """Let go of the index."""
        self._base.close()

    def path(self, name: str) -> Path:
        """Where the file `name` lies.

        Raises:
            ValueError: The name leaves the folder.
        """
        pure = PurePosixPath(name)
        if pure.is_absolute() or any(
            part in ("..", ".") or ":" in part or "\\" in part for part in pure.parts
        ):
            raise ValueError(f"{name!r} is not the name of a kept file")
        return self.folder.joinpath(*pure.parts)

    def entry(self, name: str) -> Entry | None:
        """What is known of a file, None for nothing."""
        return self._entries.get(name)

    def content(self, name: str) -> bytes | None:
        """The file if it is whole and unchanged, None if it is not there or damaged (a note says so)."""
        entry = self._entries.get(name)
        if entry is None or entry.absent:
            return None
        try:
            content = self.path(name).read_bytes()
        except OSError:
            content = None
        if content is not None and sha256(content) == entry.sha256:
            return content
        self.notes.append(f"{name} is {'missing' if content is None else 'damaged'}: it is fetched again.")
        self.forget(name)
        return None

    def put(
        self, name: str, content: bytes, *, got_at: datetime, checked_at: datetime, why: str = ""
    ) -> bool:
        """Keep a file; True where its content is new. A check once made of the same content still counts."""
        digest = sha256(content)
        before = self._entries.get(name)
        if before is not None and before.sha256 == digest:
            checked_at = max(checked_at, before.checked_at)
        changed = before is None or before.sha256 != digest
        if changed or not self._is_whole(name, digest):
            write_whole(self.path(name), content)
        self._note(Entry(name, digest, got_at, checked_at, why))
        return changed

    def put_absent(self, name: str, checked_at: datetime) -> None:
        """Remember that the server has no such file."""
        self._note(Entry(name, "", checked_at, checked_at))

    def forget(self, name: str) -> None:
        """Know nothing of a file any more."""
        self._entries.pop(name, None)
        with self._base:
            self._base.execute("delete from files where name = ?", (name,))

    def _is_whole(self, name: str, digest: str) -> bool:
        try:
            return sha256(self.path(name).read_bytes()) == digest
        except OSError:
            return False

    def _note(self, entry: Entry) -> None:
        self._entries[entry.name] = entry
        row = (entry.name, entry.sha256, entry.got_at.isoformat(), entry.checked_at.isoformat(), entry.why)
        with self._base:
            self._base.execute("insert or replace into files values (?, ?, ?, ?, ?)", row)

    def _open(self) -> sqlite3.Connection:
        path = self.folder / "index.sqlite"
        try:
            base = sqlite3.connect(path)
            base.execute("pragma journal_mode = wal")
            base.execute("pragma synchronous = normal")
            base.execute(_TABLE)
            if base.execute("pragma quick_check(1)").fetchone()[0] == "ok":
                return base
            base.close()
        except sqlite3.DatabaseError:
            base.close()
        for tail in ("", "-wal", "-shm", "-journal"):
            Path(f"{path}{tail}").unlink(missing_ok=True)
        self.notes.append("the index of kept files was damaged: everything is checked anew.")
        base = sqlite3.connect(path)
        base.execute(_TABLE)
        return base

    def _read(self) -> dict[str, Entry]:
        rows = self._base.execute("select name, sha256, got_at, checked_at, why from files").fetchall()
        return {
            name: Entry(name, digest, datetime.fromisoformat(got), datetime.fromisoformat(checked), why)
            for name, digest, got, checked, why in rows
        }


def sha256(content: bytes) -> str:
    """The checksum that the index holds."""
    return hashlib.sha256(content).hexdigest()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that its place holds the old content or the new one, never half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.part")
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


@contextmanager
def one_at_a_time(folder: Path) -> Iterator[None]:
    """Hold the folder for one update.

    Raises:
        ForecasterError: Another process holds it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lock = sqlite3.connect(folder / "lock.sqlite", timeout=0.0, isolation_level=None)
    try:
        try:
            lock.execute("begin exclusive")
        except sqlite3.OperationalError:
            raise ForecasterError(f"{folder}: another update is running. Wait until it is done.") from None
        yield
    finally:
        lock.close()
