"""What-ifs that are being planned: one at a time in a process of its own, never inside a request."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

MOST_WAITING = 5
MOST_KEPT = 40
LONGEST_S = 300.0
"""A what-if that takes longer is given up [s]."""


@dataclass(frozen=True)
class WhatIf:
    """One what-if: its number, text, who asked, and how far it is; `result` as the worker gives it."""

    number: int
    text: str
    who: str
    state: Literal["waiting", "running", "done", "failed"] = "waiting"
    result: dict[str, Any] | None = None
    problem: str = ""


class Busy(Exception):
    """Too many are waiting already."""


class WhatIfs:
    """The what-ifs of one server, the latest only. Safe from many threads."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[int, WhatIf] = OrderedDict()
        self._waiting: queue.Queue[tuple[int, Path]] = queue.Queue()
        self._lock = threading.Lock()
        self._last = 0
        self._thread: threading.Thread | None = None

    def start(self, text: str, *, who: str, state: Path) -> int:
        """Have a what-if planned; its number.

        Raises:
            Busy: Too many are waiting.
        """
        with self._lock:
            if sum(job.state in ("waiting", "running") for job in self._jobs.values()) >= MOST_WAITING:
                raise Busy
            self._last += 1
            self._jobs[self._last] = WhatIf(self._last, text, who)
            while len(self._jobs) > MOST_KEPT:
                self._jobs.popitem(last=False)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="what-ifs", daemon=True)
                self._thread.start()
            number = self._last
        self._waiting.put((number, state))
        return number

    def get(self, number: int) -> WhatIf | None:
        """A what-if by its number, None where it is not known any more."""
        with self._lock:
            return self._jobs.get(number)

    def latest(self) -> list[WhatIf]:
        """The latest ones, newest first."""
        with self._lock:
            return list(reversed(self._jobs.values()))[:8]

    def _run(self) -> None:
        while True:
            number, state = self._waiting.get()
            job = self.get(number)
            if job is None:
                continue
            self._put(replace(job, state="running"))
            answer = _planned(job.text, state)
            if "done" in answer:
                self._put(replace(job, state="done", result=answer["done"]))
            else:
                self._put(replace(job, state="failed", problem=str(answer.get("problem", ""))))

    def _put(self, job: WhatIf) -> None:
        with self._lock:
            if job.number in self._jobs:
                self._jobs[job.number] = job


def _planned(text: str, state: Path) -> dict[str, Any]:
    line = json.dumps({"state": str(state.resolve()), "text": text}) + "\n"
    try:
        done = subprocess.run(
            [sys.executable, "-m", "forecaster.web.what_if_worker"],
            input=line,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=LONGEST_S,
            check=False,
        )
        answer = json.loads(done.stdout.strip().splitlines()[-1])
        assert isinstance(answer, dict)
        return answer
    except subprocess.TimeoutExpired:
        return {"problem": "It took too long and was given up. Ask for less at once."}
    except (OSError, ValueError, LookupError, AssertionError):
        return {"problem": "It could not be planned. Try it once more."}
