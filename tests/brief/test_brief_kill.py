"""kill -9 at each point of sending, then a restart: the alarm arrives, and arrives once.

One window remains, and the test pins it: between the end of a mail and the note that the server took it.
There the mail comes twice under one Message-ID, the same bytes; a server that honours the idempotency key of
a POST takes one.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from brief_servers import MailServer, WebServer
from run_sender import ALARM

from forecaster.brief.outbox import Outbox
from forecaster.season.ledger import open_ledger

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
SENDER = Path(__file__).with_name("run_sender.py")
FEW = ("after:queue", "after:handing", "taken", "after:sent", "after:ledger")
MORE = ("before:queue", "before:handing", "before:sent", "before:ledger", "before:recorded", "after:recorded")
POINTS = [*FEW, *(pytest.param(point, marks=pytest.mark.slow) for point in MORE)]
TWICE = ("taken", "before:sent")
"""The window that is left: the server has answered, the answer is not on the disk."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A season folder with a ledger; nothing else of it is read here."""
    (tmp_path / "season.toml").write_text(
        '[season]\nyear = 2025\ntimezone = "America/Chicago"\n', encoding="utf-8"
    )
    from forecaster.season import events

    with open_ledger(tmp_path) as ledger:
        ledger.append(events.note(ALARM.day, "begun"), who="test")
    return tmp_path


def run(folder: Path, place: str, port: int, point: str) -> int:
    words = [sys.executable, str(SENDER), str(folder), place, str(port), point]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode in (0, -signal.SIGKILL), done.stderr
    return done.returncode


def check_end(folder: Path) -> None:
    """Everything is settled, and the ledger holds each thing once."""
    with Outbox(folder) as outbox:
        assert [delivery.state for delivery in outbox.deliveries()] == ["sent"]
        assert outbox.memory("alarms", ALARM.day) is not None
    with open_ledger(folder, readonly=True) as ledger:  # type: ignore[union-attr]
        kinds = [event.kind for event in ledger.events()]
    assert kinds == ["note", "alarm", "message"]


@pytest.mark.parametrize("point", POINTS)
def test_mail_through_a_kill_and_a_restart(folder, mail_server: MailServer, point):
    assert run(folder, "mail", mail_server.port, point) == -signal.SIGKILL
    assert run(folder, "mail", mail_server.port, "none") == 0
    assert len(mail_server.box.got) == (2 if point in TWICE else 1)
    assert len(set(mail_server.box.got)) == 1  # the same bytes
    check_end(folder)
    assert run(folder, "mail", mail_server.port, "none") == 0
    assert len(mail_server.box.got) <= 2


@pytest.mark.parametrize("point", [pytest.param("after:handing", marks=pytest.mark.slow), "taken"])
def test_a_post_is_taken_once_through_any_kill(folder, web_server: WebServer, point):
    assert run(folder, "board", web_server.port, point) == -signal.SIGKILL
    assert run(folder, "board", web_server.port, "none") == 0
    assert len(web_server.taken) == 1
    check_end(folder)


@pytest.mark.slow
@pytest.mark.parametrize("place", ["mail", "board"])
def test_random_kills(folder, mail_server: MailServer, web_server: WebServer, place):
    """80 processes, each with an alarm of its own, killed at random moments: each that was queued comes, and
    comes once by its key; what comes twice was in the window that is left."""
    dice = random.Random(7)
    port = mail_server.port if place == "mail" else web_server.port
    begun = time.monotonic()
    run(folder, place, port, "none")
    life = time.monotonic() - begun
    for number in range(2, 81):
        words = [sys.executable, str(SENDER), str(folder), place, str(port), "none", str(number)]
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(dice.uniform(0.4 * life, 1.1 * life))
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    assert run(folder, place, port, "none") == 0
    with Outbox(folder) as outbox:
        deliveries = outbox.deliveries()
    assert {delivery.state for delivery in deliveries} == {"sent"}
    assert len(deliveries) > 20
    received = mail_server.box.ids() if place == "mail" else list(web_server.taken)
    assert len(set(received)) == len(deliveries)
    tries = len(received) if place == "mail" else len(web_server.posts)
    print(f"{len(deliveries)} of 80 alarms were queued, {tries} messages came")
    assert tries - len(deliveries) <= sum(delivery.unclear for delivery in deliveries)
