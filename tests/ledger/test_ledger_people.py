"""Several people in one folder at the same time."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
import time
from datetime import date

import pytest

from forecaster.season import events as ev
from forecaster.season import ledger_file
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_file import LedgerFault

NOTE = ev.note(date(2025, 10, 6), "first")
SECOND = ev.note(date(2025, 10, 6), "second")

WRITER = """
import sys
from datetime import date
from pathlib import Path
from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_rules import refusal
from forecaster.season.state import derive
from forecaster.errors import BadInput
folder, name = Path(sys.argv[1]), sys.argv[2]
won = 0
for number in range(40):
    entry = ev.closed(f"S-{number}", date(2025, 10, 6), by=name)
    def decide(events):
        if refusal(entry, derive(events), today=date(2025, 10, 6), year=2025):
            raise BadInput([])
        return [entry]
    try:
        with open_ledger(folder) as ledger:
            ledger.write(decide, who=name)
        won += 1
    except BadInput:
        pass
print(won)
"""


def test_two_people_close_the_same_ponds_and_each_is_closed_once(folder):
    """Both read, decide and write at the same time; with a lost update some ponds would be closed twice."""
    started = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(folder), name], stdout=subprocess.PIPE, text=True)
        for name in ("Ann", "Bo")
    ]
    with open_ledger(folder) as server:  # a server looks on
        while any(process.poll() is None for process in started):
            server.state()
    won = [int(process.communicate()[0]) for process in started]
    with open_ledger(folder, readonly=True) as ledger:
        events = ledger.events()
    assert sum(won) == 40
    assert sorted(event.site_id for event in events) == sorted(f"S-{number}" for number in range(40))
    assert [event.event_id for event in events] == list(range(1, 41))


def test_a_command_waits_for_a_slow_one(ledger, folder):
    ledger.append(NOTE, who="Ann")
    other = sqlite3.connect(folder / "season.sqlite", isolation_level=None, check_same_thread=False)
    other.execute("BEGIN EXCLUSIVE")
    release = threading.Timer(0.4, lambda: other.execute("COMMIT"))
    begun = time.monotonic()
    release.start()
    ledger.append(SECOND, who="Bo")
    assert time.monotonic() - begun > 0.3
    release.join()
    other.close()
    assert len(ledger.events()) == 2


def test_who_waits_too_long_is_told_in_plain_words(ledger, folder, monkeypatch):
    ledger.append(NOTE, who="Ann")
    monkeypatch.setattr(ledger_file, "PATIENCE_S", 0.1)
    other = sqlite3.connect(folder / "season.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LedgerFault, match="another program has been writing") as caught:
        ledger.append(NOTE, who="Ann")
    assert "locked" not in str(caught.value)
    other.execute("ROLLBACK")
    other.close()
