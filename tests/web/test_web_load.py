"""A minute in the life of the server, shortened: people read and write at once, and no request fails.

WEB_LOAD_SECONDS sets the length; the slow test takes ten minutes.
"""

from __future__ import annotations

import os
import random
import threading
import time
from pathlib import Path

import httpx
import pytest
from web_server import Served, copied, send

SECONDS = float(os.environ.get("WEB_LOAD_SECONDS", "10"))
READERS, WRITERS = 5, 2
SITES = ("V-01", "V-02", "V-16", "B-02", "U-04")
PATHS = (
    "/",
    "/",
    "/data/route.json",
    "/data/state.json",
    "/site/V-03/reading",
    "/site/V-03/closing",
    "/nowhere",
)
OPTIONAL = ("/route", "/route/table", "/site/V-03", "/evidence", "/snap", "/sheets", "/words", "/winter")


class Tally:
    """What went wrong, and how much was done."""

    def __init__(self) -> None:
        self.failed: list[str] = []
        self.read = self.written = 0


def reads(served: Served, seed: int, until: float, tally: Tally) -> None:
    """One who looks around."""
    chosen = random.Random(seed)
    present = [path for path in OPTIONAL if path.strip("/").split("/")[0] in served.app.state.pages]
    with served.client() as client:
        while time.monotonic() < until:
            path = chosen.choice([*PATHS, *present])
            answer = client.get(path)
            if answer.status_code != (404 if path == "/nowhere" else 200):
                tally.failed.append(f"{path} {answer.status_code}")
            tally.read += 1
            time.sleep(chosen.uniform(0.05, 0.2))


def writes(served: Served, seed: int, until: float, tally: Tally) -> None:
    """One who enters readings and takes every second one back."""
    chosen = random.Random(seed)
    number = 0
    with served.client() as client:
        while time.monotonic() < until:
            clock = f"{6 + seed:02}:{number // 60 % 60:02}:{number % 60:02}"
            fields = {"water": f"{chosen.uniform(45, 52):.1f}", "day": "2025-10-05", "sure": "yes"}
            answer = send(client, f"/site/{chosen.choice(SITES)}/reading", clock=clock, **fields)
            if answer.status_code == 303 and number % 2:
                at = answer.headers["location"]
                answer = send(client, at.replace("entered", "undo"), at=at)
            if answer.status_code != 303:
                tally.failed.append(f"write {answer.status_code}")
            number += 1
            tally.written += 1
            time.sleep(chosen.uniform(0.2, 0.6))


def live(folder: Path, seconds: float) -> Tally:
    """Readers and writers at once for a while."""
    tally = Tally()

    def guarded(work: object, *given: object) -> None:
        try:
            work(*given)  # type: ignore[operator]
        except (httpx.HTTPError, AssertionError) as error:
            tally.failed.append(repr(error)[:300])

    with Served(folder) as served:
        until = time.monotonic() + seconds
        threads = [
            threading.Thread(target=guarded, args=(work, served, number, until, tally))
            for number, work in enumerate([reads] * READERS + [writes] * WRITERS)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        served.settled(300)
        assert served.desk.problem() is None
    return tally


def test_people_read_and_write_at_once_and_nothing_fails(season: Path) -> None:
    tally = live(season, SECONDS)
    assert tally.failed == []
    assert tally.read > 3 * SECONDS
    assert tally.written > SECONDS / 2


@pytest.mark.slow
def test_ten_minutes_of_reading_and_writing(base_folder: Path, tmp_path: Path) -> None:
    tally = live(copied(base_folder, tmp_path / "long"), 600)
    assert tally.failed == []
    assert tally.read > 5_000
    assert tally.written > 500
