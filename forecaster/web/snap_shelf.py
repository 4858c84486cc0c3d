"""The finished parts of the snap page, made for each state of the season beside, never in, a request."""

from __future__ import annotations

import atexit
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from threading import Lock
from typing import Any

from forecaster.web.snapshot import Snapshot

FAILED = "The look at the snap could not be made. Look again, or run: forecaster snap FOLDER"


class SnapShelf:
    """Keeps the parts of the last state and the process that makes the next; safe for several threads."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._key = ""
        self._parts: dict[str, Any] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._place: tempfile.TemporaryDirectory[str] | None = None

    def parts(self, folder: Path, snapshot: Snapshot) -> dict[str, Any] | None:
        """The parts for a state; None while they are being made, {"problem": ...} where that failed."""
        key = f"{folder} {snapshot.key}"
        with self._lock:
            if key != self._key:
                self._begin(folder, snapshot, key)
            if self._parts is None and self._process is not None and self._process.poll() is not None:
                self._parts = self._read()
            return self._parts

    def close(self) -> None:
        """End the process that is at work, and leave no file behind."""
        self._end()
        if self._place is not None:
            self._place.cleanup()
            self._place = None

    def _end(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait()

    def _begin(self, folder: Path, snapshot: Snapshot, key: str) -> None:
        self._end()
        if self._place is None:
            self._place = tempfile.TemporaryDirectory(prefix="snap-")
            atexit.register(self.close)
        self._key, self._parts = key, None
        self._target.unlink(missing_ok=True)
        command = [sys.executable, "-m", "forecaster.web.snap_worker"]
        self._process = subprocess.Popen(
            [*command, str(folder.resolve()), snapshot.known.as_of.isoformat(), str(self._target)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def _read(self) -> dict[str, Any]:
        try:
            parts: dict[str, Any] = json.loads(self._target.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {"problem": FAILED}
        return parts

    @property
    def _target(self) -> Path:
        assert self._place is not None
        return Path(self._place.name) / "parts.json"
