"""The season as the pages see it: the last good state, made anew in the background, never inside a request.

A thread looks every moment whether the ledger, a file or the day has changed and has the worker process
compute. What is good is kept in FOLDER/.pages, so that a restart with a broken folder still shows it, with
its age. Limit: one forecast at a time; what changes meanwhile is computed after it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from forecaster.errors import ForecasterError
from forecaster.season.ledger import season_zone
from forecaster.web.digest import Digest, digest_of
from forecaster.web.keep import CannotRead, read_record, write_record
from forecaster.web.snapshot import Snapshot, basis_of

KEPT_FOLDER = ".pages"
LOOK_EVERY_S = 2.0
TRY_AGAIN_S = 300.0
"""After this long a forecast that failed is tried again, though nothing has changed [s]."""

LATEST_STATES = 30
"""States remembered for "how the estimate moved"."""


def _now() -> datetime:
    return datetime.now(UTC)


class Desk:
    """The season folder behind the pages. Safe to ask from many threads; only its own thread computes."""

    def __init__(self, folder: Path, as_of: date | None, clock: Callable[[], datetime] = _now) -> None:
        """`as_of`: the morning to stand on, None for each day's own; `clock`: now, with a time zone."""
        self.folder = folder
        self.fixed_as_of = as_of
        self.clock = clock
        self._zone = season_zone(folder)
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._changed = threading.Condition()
        self._current: Snapshot | None = None
        self._yesterday: Digest | None = None
        self._past: deque[Digest] = deque(maxlen=LATEST_STATES)
        self._problem: str | None = None
        self._asked = self._done = 0
        self._tried: tuple[str, datetime] | None = None
        self._thread: threading.Thread | None = None
        self._worker: subprocess.Popen[str] | None = None
        self._scratch: tempfile.TemporaryDirectory[str] | None = None
        self.kept = self._kept_folder()

    # --- asked by pages

    def current(self) -> Snapshot | None:
        """The last good state; None only before the first one was ever made."""
        return self._current

    def problem(self) -> str | None:
        """Why the newest attempt failed, in plain words; None where it did not."""
        return self._problem

    def pending(self) -> bool:
        """True while something has changed that the current state does not know yet."""
        return self._done < self._asked

    def touch(self) -> None:
        """Something was recorded: make a new state soon."""
        with self._changed:
            self._asked += 1
        self._wake.set()

    def as_of(self) -> date:
        """The morning on which the pages stand."""
        return self.fixed_as_of or self.today()

    def today(self) -> date:
        """The date by the clock in the season's time zone."""
        return self.clock().astimezone(self._zone).date()

    def yesterday(self) -> Digest | None:
        """The main numbers of the day before, None as long as they are not known."""
        found = self._yesterday
        return found if found is not None and found.as_of < self.as_of() else None

    def before(self, event_id: int) -> Digest | None:
        """The latest main numbers that did not yet know an event."""
        known = [digest for digest in self._past if digest.last_event_id < event_id]
        return known[-1] if known else None

    def wait(self, seconds: float) -> bool:
        """Wait until nothing is pending; False if it takes longer. For the start of the server and tests."""
        with self._changed:
            return self._changed.wait_for(lambda: not self.pending(), seconds)

    # --- the thread

    def start(self) -> None:
        """Load what was kept and begin to look for changes."""
        self._load()
        self._look()
        self._thread = threading.Thread(target=self._run, name="forecasts", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread and the worker; what is computed now is given up."""
        self._stopping.set()
        self._wake.set()
        if self._worker is not None:
            self._worker.kill()  # its answer, awaited by the thread, ends
        if self._thread is not None:
            self._thread.join(timeout=10)
        self._end_worker()
        if self._scratch is not None:
            self._scratch.cleanup()

    def _run(self) -> None:
        while not self._stopping.is_set():
            if self.pending():
                self._attempt()
            else:
                self._wake.wait(LOOK_EVERY_S)
                self._wake.clear()
            if not self._stopping.is_set() and not self.pending():
                self._look()

    def _look(self) -> None:
        """Ask for a new state where the present one is of another basis, unless that failed just now."""
        basis = basis_of(self.folder, self.as_of())
        if self._current is not None and self._current.basis == basis and self._problem is None:
            return
        tried, at = self._tried or ("", None)
        if tried == basis and (at is None or self.clock() - at < timedelta(seconds=TRY_AGAIN_S)):
            return
        with self._changed:
            self._asked += 1

    def _attempt(self) -> None:
        begun, as_of = self._asked, self.as_of()
        self._tried = (basis_of(self.folder, as_of), self.clock())
        part = self.kept / f"state.{os.getpid()}"
        made, problem = self._compute(as_of, part)
        if self._stopping.is_set():
            return
        if made is not None:
            self._show(made)
            with suppress(OSError):
                part.replace(self.kept / "state")
        self._problem = problem
        self._finish(begun)
        if made is not None and not self.pending():
            self._look_back(as_of)

    def _finish(self, begun: int) -> None:
        with self._changed:
            self._done = max(self._done, begun)
            self._changed.notify_all()

    def _show(self, made: Snapshot) -> None:
        self._past.append(digest_of(made))
        self._current = made

    def _look_back(self, as_of: date) -> None:
        """Compute the day before once, so that Today can say what changed."""
        day = as_of - timedelta(days=1)
        if self._yesterday is not None and self._yesterday.as_of == day:
            return
        part = self.kept / f"yesterday.{os.getpid()}"
        made, _ = self._compute(day, part)
        part.unlink(missing_ok=True)
        if made is not None:
            self._yesterday = digest_of(made)
            with suppress(ForecasterError):
                write_record(self.kept / "yesterday", self._yesterday)

    # --- what is kept

    def _kept_folder(self) -> Path:
        """FOLDER/.pages, or a place for now where the folder cannot be written."""
        kept = self.folder / KEPT_FOLDER
        try:
            kept.mkdir(mode=0o700, exist_ok=True)
            with tempfile.TemporaryFile(dir=kept):
                return kept
        except OSError:
            self._scratch = tempfile.TemporaryDirectory(prefix="forecaster-pages-")
            return Path(self._scratch.name)

    def _load(self) -> None:
        with suppress(CannotRead):
            self._show(read_record(self.kept / "state"))
        with suppress(CannotRead):
            self._yesterday = read_record(self.kept / "yesterday")

    # --- the worker

    def _compute(self, as_of: date, target: Path) -> tuple[Snapshot | None, str | None]:
        """A new state by way of the file `target`, or why there is none."""
        job = {"folder": str(self.folder.resolve()), "as_of": as_of.isoformat(), "to": str(target.resolve())}
        try:
            said = self._ask(json.dumps(job))
            if not said.get("done"):
                return None, str(said.get("problem") or "The forecast stopped without a word.")
            return read_record(target), None
        except (OSError, ValueError, CannotRead) as error:
            self._end_worker()
            text = f"The forecast could not be made ({type(error).__name__})."
            return None, f"{text} If the program was renewed while it ran, end it and start it again."

    def _ask(self, job: str) -> dict[str, object]:
        worker = self._worker
        if worker is None or worker.poll() is not None:
            self._worker = worker = self._begin_worker()
        assert worker.stdin is not None
        assert worker.stdout is not None
        worker.stdin.write(job + "\n")
        worker.stdin.flush()
        line = worker.stdout.readline()
        if not line:
            raise ValueError("the worker ended")
        said = json.loads(line)
        assert isinstance(said, dict)
        return said

    def _begin_worker(self) -> subprocess.Popen[str]:
        log = (self.kept / "worker.log").open("w", encoding="utf-8")
        with log:
            return subprocess.Popen(
                [sys.executable, "-m", "forecaster.web.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                encoding="utf-8",
                start_new_session=True,  # Ctrl-C is for the pages, which then end it
            )

    def _end_worker(self) -> None:
        worker, self._worker = self._worker, None
        if worker is None:
            return
        worker.kill()
        worker.wait()
        for pipe in (worker.stdin, worker.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
