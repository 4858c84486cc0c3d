"""Daily copies, which of them are kept, and putting one back."""

from __future__ import annotations

import sqlite3
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season import backup
from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_file import LedgerFault

DAY = date(2025, 10, 6)


def texts(path: Path) -> list[str]:
    with sqlite3.connect(path) as connection:
        rows = connection.execute("SELECT facts ->> 'text' FROM event ORDER BY event_id").fetchall()
    connection.close()
    return [row[0] for row in rows]


def note_a_day(folder: Path, clock, days: int) -> None:
    for _ in range(days):
        with open_ledger(folder, clock=clock) as ledger:
            ledger.append(ev.note(DAY, f"{ledger.today()}"), who="Ann")
            assert ledger.notices == []
        clock.wait(days=1)


def test_one_copy_a_day_of_what_was_there_in_the_morning(folder, clock):
    note_a_day(folder, clock, 3)
    with open_ledger(folder, clock=clock) as ledger:
        ledger.append([ev.note(DAY, "a"), ev.note(DAY, "b")], who="Ann")
        ledger.append(ev.note(DAY, "c"), who="Ann")
    assert [path.name for _, path in backup.copies(folder)] == [
        "season-2025-10-07.sqlite",
        "season-2025-10-08.sqlite",
        "season-2025-10-09.sqlite",
    ]
    assert texts(folder / "backups" / "season-2025-10-09.sqlite") == [
        "2025-10-06",
        "2025-10-07",
        "2025-10-08",
    ]
    assert texts(folder / "backups" / "season-2025-10-07.sqlite") == ["2025-10-06"]


def test_seven_days_and_five_weeks_over_ten_weeks(folder, clock):
    """From Monday 6 Oct on, 70 days; the last is Sunday 14 Dec (ISO week 50). Sundays of 4 weeks before."""
    note_a_day(folder, clock, 70)
    assert [day for day, _ in backup.copies(folder)] == [
        *(date(2025, 11, 16), date(2025, 11, 23), date(2025, 11, 30), date(2025, 12, 7)),
        *(date(2025, 12, 8) + timedelta(days=i) for i in range(7)),
    ]


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.sets(st.integers(0, 400), min_size=1), st.integers(0, 400))
def test_what_is_kept_of_any_days(offsets, today_offset):
    today = date(2025, 1, 1) + timedelta(days=today_offset)
    days = sorted(date(2025, 1, 1) + timedelta(days=offset) for offset in offsets)
    past = [day for day in days if day <= today]
    kept = backup.kept_days(days, today)
    assert kept <= set(days)
    assert set(days) - set(past) <= kept
    assert set(past[-7:]) <= kept
    assert len(kept & set(past)) <= 12
    weeks = {day.isocalendar()[:2] for day in past}
    assert {day.isocalendar()[:2] for day in kept & set(past)} >= set(sorted(weeks)[-5:])
    assert backup.kept_days(sorted(kept), today) == kept


def test_an_interrupted_copy_counts_for_nothing_and_is_made_again(folder, clock):
    note_a_day(folder, clock, 1)
    leftover = folder / "backups" / ".season-2025-10-07.sqlite.99.part"
    leftover.parent.mkdir()
    leftover.write_bytes(b"half")
    note_a_day(folder, clock, 1)
    assert texts(folder / "backups" / "season-2025-10-07.sqlite") == ["2025-10-06"]


def test_a_copy_that_cannot_be_made_stops_nothing(folder, clock):
    note_a_day(folder, clock, 1)
    (folder / "backups").write_text("a file where the folder should be")
    with open_ledger(folder, clock=clock) as ledger:
        ledger.append(ev.note(DAY, "goes on"), who="Ann")
        (notice,) = ledger.notices
    assert str(notice).startswith(
        "backups/season-2025-10-07.sqlite: today's copy of the ledger could not be made"
    )
    assert texts(folder / "season.sqlite") == ["2025-10-06", "goes on"]


def test_restore_puts_back_and_keeps_the_one_before(folder, clock):
    note_a_day(folder, clock, 3)
    copy = folder / "backups" / "season-2025-10-07.sqlite"
    with open_ledger(folder, clock=clock) as server:  # a server has the file open all the time
        assert len(server.events()) == 3
        done = backup.restore(folder, copy, now=clock())
        assert (done.events, done.events_before) == (1, 3)
        assert [event.facts["text"] for event in server.events()] == ["2025-10-06"]
        server.append(ev.note(DAY, "after"), who="Ann")
    assert texts(folder / "season.sqlite") == ["2025-10-06", "after"]
    assert texts(done.kept_as) == ["2025-10-06", "2025-10-07", "2025-10-08"]
    assert backup.restore(folder, done.kept_as, now=clock() + timedelta(seconds=1)).events == 3


@pytest.mark.parametrize("damage", ["text", "middle", "empty", "gone"])
def test_restore_of_a_damaged_ledger(folder, clock, damage):
    note_a_day(folder, clock, 12)
    ledger, journal = folder / "season.sqlite", folder / "season.sqlite-journal"
    content = ledger.read_bytes()
    if damage == "text":
        ledger.write_bytes(b"spilt coffee" * 1000)
        journal.write_bytes(b"of the damaged file")
    elif damage == "middle":
        ledger.write_bytes(content[:4096] + b"\xff" * 8192 + content[12288:])
    elif damage == "empty":
        ledger.write_bytes(b"")
    else:
        ledger.unlink()
    day, copy = backup.copies(folder)[-1]
    done = backup.restore(folder, copy, now=clock())
    assert day == date(2025, 10, 17)
    assert (done.events, done.events_before) == (11, None)
    assert not journal.exists()
    with open_ledger(folder, clock=clock) as opened:
        assert len(opened.events()) == 11
        opened.append(ev.note(DAY, "goes on"), who="Ann")
    if damage == "gone":
        assert done.kept_as is None
    elif damage == "text":
        assert done.kept_as.read_bytes() == b"spilt coffee" * 1000


def test_what_is_no_copy_is_refused_and_nothing_changes(folder, clock, refusals):
    note_a_day(folder, clock, 2)
    before = (folder / "season.sqlite").read_bytes()
    damaged = folder / "damaged.sqlite"
    damaged.write_bytes(b"x" * 9000)
    other = folder / "other.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE customers (name)")
    connection.close()
    for path, part in [(damaged, "is damaged"), (other, "another program"), (folder / "no", "no such copy")]:
        assert part in refusals(lambda path=path: backup.restore(folder, path, now=clock()))[0]
    assert (folder / "season.sqlite").read_bytes() == before


def test_restore_gives_up_in_plain_words_while_somebody_writes(folder, clock, monkeypatch):
    note_a_day(folder, clock, 2)
    monkeypatch.setattr(backup, "PATIENCE_S", 0.1)
    other = sqlite3.connect(folder / "season.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LedgerFault, match="in use by another program"):
        backup.restore(folder, folder / "backups" / "season-2025-10-07.sqlite", now=clock())
    other.execute("ROLLBACK")
    other.close()
    assert texts(folder / "season.sqlite") == ["2025-10-06", "2025-10-07"]
