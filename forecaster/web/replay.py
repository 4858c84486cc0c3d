"""The replay of past seasons that the Evidence page starts: a process of its own, one at a time.

It says its progress into FOLDER/.pages/evidence/replay.log, so a page can show it; its end changes CURRENT
(see `evidence_store`). A server that stops ends its replay; seasons that were done are not replayed again.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from forecaster.web.evidence_store import PLACE, keep_evidence

LOG = "replay.log"
POLITE = 15
"""Added to the process's niceness: nobody waits for it in front of a page."""


class Replayer:
    """Starts the replay of one folder and tells how far it is. Safe to ask from many threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._ended = False

    def start(self, *, outlook: str, money: bool) -> bool:
        """Begin; False where one is running already.

        Args:
            outlook: "none" or "emulated".
            money: Whether policies are played too, which takes several times as long.
        """
        with self._lock:
            if self._ended or self._running():
                return False
            base = self._folder / PLACE
            base.mkdir(parents=True, exist_ok=True)
            wish = {"folder": str(self._folder.resolve()), "outlook": outlook, "money": money}
            with (base / LOG).open("wb") as log:
                self._process = subprocess.Popen(
                    [sys.executable, "-m", "forecaster.web.replay", json.dumps(wish)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=log,
                    start_new_session=True,
                )
            return True

    def running(self) -> bool:
        """True while a replay runs."""
        with self._lock:
            return self._running()

    def said(self) -> str:
        """The last line of progress, or why the last replay stopped; "" where all is well and quiet."""
        with self._lock:
            running, failed = self._running(), self._process is not None and self._process.returncode
        if not running and not failed:
            return ""
        with suppress(OSError):
            lines = (self._folder / PLACE / LOG).read_text(encoding="utf-8", errors="replace").splitlines()
            for line in reversed(lines):
                if line.strip():
                    return line.strip()[:300]
        return "It has begun." if running else "It stopped without a word."

    def stop(self) -> None:
        """End a running replay with its helpers; no other can begin."""
        with self._lock:
            self._ended = True
            process = self._process
        if process is None or process.poll() is not None:
            return
        with suppress(OSError):
            if hasattr(os, "killpg"):
                os.killpg(process.pid, signal.SIGTERM)
            else:
                process.terminate()
        with suppress(subprocess.TimeoutExpired):
            process.wait(timeout=5)

    def _running(self) -> bool:
        return self._process is not None and self._process.poll() is None


def main(wish: dict[str, Any]) -> int:
    """Replay and keep; progress and what went wrong go to stderr. Returns the exit code."""
    from forecaster import __version__
    from forecaster.backtest.inputs import Asked
    from forecaster.errors import ForecasterError

    folder = Path(wish["folder"])
    asked = Asked(outlook=wish["outlook"], money=bool(wish["money"]))
    try:
        keep_evidence(
            folder,
            asked,
            now=datetime.now(UTC),
            version=__version__,
            workers=os.cpu_count() or 1,
            keep_in=folder / PLACE / "seasons",
            say=lambda text: print(text, file=sys.stderr, flush=True),
        )
    except ForecasterError as error:
        print(" ".join(str(error).split()), file=sys.stderr, flush=True)
        return error.exit_code
    return 0


if __name__ == "__main__":
    with suppress(OSError, AttributeError):
        os.nice(POLITE)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    sys.exit(main(json.loads(sys.argv[1])))
