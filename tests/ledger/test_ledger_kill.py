"""Two processes write to one ledger and are killed (kill -9) at random moments: nothing said is missing."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from kill_writer import PIECES
from ledger_model import Model
from ledger_office import make_folder

from forecaster.season.ledger import open_ledger
from forecaster.season.state import derive

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
FAST = Path("/dev/shm")
WRITER = Path(__file__).with_name("kill_writer.py")


class Writer:
    """One of the two processes; remembers what it said that it had recorded, over all its lives."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder, name
        self.lives, self.said, self.rest = 0, list[str](), b""
        self.begin()

    def begin(self) -> None:
        self.lives += 1
        words = [sys.executable, str(WRITER), str(self.folder), self.name, str(self.lives)]
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert self.process.stdout is not None
        os.set_blocking(self.process.stdout.fileno(), False)
        self.rest = b""

    def listen(self) -> None:
        """Take in what was said up to now; half a line was not said."""
        assert self.process.stdout is not None
        heard = self.rest + (self.process.stdout.read() or b"")
        *lines, self.rest = heard.split(b"\n")
        self.said += [line.decode() for line in lines]

    def wait_until_it_writes(self) -> None:
        before = len(self.said)
        for _ in range(2000):
            self.listen()
            if len(self.said) > before:
                return
            assert self.process.poll() is None, self.process.stderr.read()
            time.sleep(0.005)
        raise AssertionError("the writer did not write")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        self.listen()
        assert self.process.stderr is not None
        assert self.process.stderr.read() == b""  # nobody ever saw "database is locked"
        self.process.stdout.close()
        self.process.stderr.close()


def check(folder: Path, said: set[str]) -> int:
    """The file is whole, every token said is there once, pieces are whole, the state equals a replay."""
    with sqlite3.connect(folder / "season.sqlite", timeout=30) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    raw.close()
    with open_ledger(folder, readonly=True) as ledger:
        events = ledger.events()
    tokens = Counter(token_of(event) for event in events)
    del tokens[""]
    assert set(tokens.values()) <= {1}
    assert said <= set(tokens)
    pieces = Counter(
        token.rsplit(".", 1)[0] for token in tokens if token[-2:-1] == "." and token[-1] in PIECES
    )
    assert set(pieces.values()) <= {len(PIECES)}
    assert [event.event_id for event in events] == list(range(1, len(events) + 1))
    compare_with_replay(events)
    return len(events)


def token_of(event) -> str:
    facts = event.facts
    return facts.get("text", facts.get("done", facts.get("reason", ""))).removeprefix("piece ").split(" ")[0]


def compare_with_replay(events) -> None:
    model = Model()
    undone = {event.undoes for event in events if event.undoes}  # the writers never undo an undo
    for event in events:
        if event.event_id not in undone and event.kind in ("closed", "booked"):
            promised = date.fromisoformat(event.facts["date"]) if event.kind == "booked" else None
            model.add(event.kind, event.site_id, event.day, promised)
    state = derive(events)
    assert dict(state.booked) == model.dates()[0]
    assert {site: done.day for site, done in state.closed.items()} == model.closed()
    assert state.undone == undone


def kill_often(place: Path, *, points: int, seed: int) -> None:
    folder, rng = make_folder(place / "fall"), random.Random(seed)
    writers = [Writer(folder, "A"), Writer(folder, "B")]
    counts = []
    try:
        for point in range(points):
            victim = rng.choice(writers)
            victim.wait_until_it_writes()
            time.sleep(rng.uniform(0, 0.03))
            victim.kill()
            if point % 10 == 9 or point == points - 1:  # the other one goes on writing while this is checked
                counts.append(check(folder, {token for writer in writers for token in writer.said}))
            victim.begin()
    finally:
        for writer in writers:
            writer.process.kill()
            writer.process.wait()
            writer.process.stdout.close()
            writer.process.stderr.close()
    assert counts == sorted(counts)
    assert counts[-1] > points


def test_killed_at_20_points():
    """On a disk in memory, where a kill falls into the program's own steps more often than into waiting."""
    with tempfile.TemporaryDirectory(dir=FAST if FAST.is_dir() else None) as place:
        kill_often(Path(place), points=20, seed=1)


@pytest.mark.slow
def test_killed_at_200_points(tmp_path):
    kill_often(tmp_path, points=200, seed=2)


@pytest.mark.slow
def test_killed_at_200_points_in_memory():
    if not FAST.is_dir():
        pytest.skip("this computer has no disk in memory")
    with tempfile.TemporaryDirectory(dir=FAST) as place:
        kill_often(Path(place), points=200, seed=3)
