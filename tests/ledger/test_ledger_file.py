"""The file: append-only, its format, what it refuses."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from ledger_office import make_folder

from forecaster.errors import BadInput
from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_file import LedgerFault
from forecaster.season.ledger_schema import MIGRATIONS, Migration, statements

DAY = date(2025, 10, 6)
NOTE = ev.note(DAY, "first")


def raw(folder: Path) -> sqlite3.Connection:
    return sqlite3.connect(folder / "season.sqlite", isolation_level=None)


# --- append-only


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE event SET who = 'x'",
        "DELETE FROM event",
        "INSERT OR REPLACE INTO event SELECT * FROM event WHERE event_id = 1",
        "INSERT INTO event SELECT -5, kind, day, site_id, who, recorded_at, facts, undoes, source, document, "
        "digest FROM event WHERE event_id = 1",
    ],
)
def test_no_event_changes_goes_or_comes_before_others(ledger, folder, sql):
    ledger.append([NOTE, ev.note(DAY, "second")], who="Ann")
    before = ledger.events()
    connection = raw(folder)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(sql)
    connection.close()
    assert ledger.events() == before


def test_the_file_refuses_what_no_event_can_be(ledger, folder):
    ledger.append(NOTE, who="Ann")
    digest = "hex(zeroblob(16))"
    row = f"('note', '2025-10-06', '', '', '2025-10-06T00:00:00.000000Z', '{{}}', NULL, '', x'', {digest})"
    connection = raw(folder)
    columns = "(kind, day, site_id, who, recorded_at, facts, undoes, source, document, digest)"
    for wrong in (
        row.replace("2025-10-06'", "2025-13-06'", 1),
        row.replace("'{}'", "'{'"),
        row.replace("'note'", "''"),
        row.replace("NULL", "7"),
        row.replace("'note'", "'undo'"),
    ):
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute(f"INSERT INTO event {columns} VALUES {wrong}")
    connection.close()


def test_nothing_is_made_before_something_is_recorded(folder):
    with open_ledger(folder) as ledger:
        assert ledger.events() == ()
        assert ledger.last_event_id() == 0
        with pytest.raises(BadInput):
            ledger.write(lambda _: (_ for _ in ()).throw(BadInput([])), who="Ann")
    assert open_ledger(folder, readonly=True) is None
    assert sorted(path.name for path in folder.iterdir()) == ["season.toml", "sites.csv"]


def test_a_write_that_fails_half_way_leaves_nothing(ledger):
    ledger.append(NOTE, who="Ann")
    bad = ev.Entry("undo", DAY, undoes=99)  # there is no event 99
    with pytest.raises(LedgerFault):
        ledger.append([ev.note(DAY, "second"), bad], who="Ann")
    assert [event.facts["text"] for event in ledger.events()] == ["first"]


def test_event_as_recorded(ledger, clock):
    clock.now = datetime(2025, 10, 7, 4, 59, 59, 123456, tzinfo=UTC)
    recorded = ledger.append(ev.closed("L-07", DAY, by="Heron"), who="Ann")[0].event
    assert ledger.event(1) == recorded
    assert (recorded.event_id, recorded.kind, recorded.day, recorded.site_id) == (1, "closed", DAY, "L-07")
    assert (recorded.who, recorded.recorded_at, recorded.facts) == ("Ann", clock.now, {"by": "Heron"})
    assert ledger.event(2) is None


def test_what_was_known_on_a_day_ends_at_midnight_of_the_season(ledger, clock):
    """America/Chicago is 5 hours behind UTC in October (IANA time zone database)."""
    clock.now = datetime(2025, 10, 7, 4, 59, 59, 999_999, tzinfo=UTC)  # 23:59:59 on the 6th
    ledger.append(NOTE, who="Ann")
    clock.now = datetime(2025, 10, 7, 5, 0, tzinfo=UTC)  # 0:00 on the 7th
    ledger.append(ev.note(DAY, "second"), who="Ann")
    assert [e.facts["text"] for e in ledger.events(DAY)] == ["first"]
    assert len(ledger.events(date(2025, 10, 7))) == 2
    assert ledger.events(date(2025, 10, 5)) == ()


# --- the same entry again


def test_once(ledger):
    first = ledger.append(NOTE, who="Ann")[0]
    again = ledger.append(NOTE, who="Bo", once="standing")[0]
    assert (again.new, again.undone, again.event) == (False, False, first.event)
    ledger.append(ev.undo(first.event), who="Ann")
    assert ledger.append(NOTE, who="Bo", once="ever")[0] == (first.event, False, True)
    assert ledger.append(NOTE, who="Bo", once="standing")[0].event.event_id == 3
    assert ledger.append(NOTE, who="Bo")[0].event.event_id == 4


# --- the format


def test_migration_is_recorded_with_its_step(ledger, folder):
    ledger.append(NOTE, who="Ann")
    connection = raw(folder)
    assert connection.execute("SELECT number, purpose FROM migration").fetchall() == [
        (step.number, step.purpose) for step in MIGRATIONS
    ]
    assert connection.execute("PRAGMA user_version").fetchone() == (MIGRATIONS[-1].number,)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    connection.close()


def test_numbers_of_the_steps_go_up_by_one():
    assert [step.number for step in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


MORE = (
    *MIGRATIONS,
    Migration(len(MIGRATIONS) + 1, "a table for the test", "CREATE TABLE more (x TEXT) STRICT;"),
)


def test_an_older_file_is_brought_up_to_date_after_a_copy(folder, clock):
    with open_ledger(folder, clock=clock) as old:
        old.append(NOTE, who="Ann")
    with open_ledger(folder, clock=clock, migrations=MORE) as new:
        assert len(new.events()) == 1
    connection = raw(folder)
    assert connection.execute("SELECT count(*) FROM more").fetchone() == (0,)
    assert connection.execute("SELECT max(number) FROM migration").fetchone() == (MORE[-1].number,)
    connection.close()
    copy = sqlite3.connect(folder / "backups" / "season-2025-10-06.sqlite")
    assert copy.execute("PRAGMA user_version").fetchone() == (MIGRATIONS[-1].number,)
    copy.close()


def test_an_older_file_that_is_only_read_stays_as_it_is(folder, clock):
    with open_ledger(folder, clock=clock) as old:
        old.append(NOTE, who="Ann")
    before = (folder / "season.sqlite").read_bytes()
    with open_ledger(folder, readonly=True, clock=clock, migrations=MORE) as new:
        assert len(new.events()) == 1
    assert (folder / "season.sqlite").read_bytes() == before


def test_a_step_that_fails_changes_nothing(folder, clock):
    with open_ledger(folder, clock=clock) as old:
        old.append(NOTE, who="Ann")
    broken = (
        *MIGRATIONS,
        Migration(2, "broken", "CREATE TABLE more (x TEXT) STRICT; CREATE TABLE event (x);"),
    )
    with pytest.raises(LedgerFault):
        open_ledger(folder, clock=clock, migrations=broken)
    with open_ledger(folder, clock=clock) as ledger:
        assert len(ledger.events()) == 1
    connection = raw(folder)
    assert connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'more'").fetchone() == (0,)
    connection.close()


def test_a_newer_file_is_refused_politely(folder, clock, refusals):
    with open_ledger(folder, clock=clock, migrations=MORE) as new:
        new.append(NOTE, who="Ann")
    for readonly in (True, False):
        (problem,) = refusals(lambda readonly=readonly: open_ledger(folder, readonly=readonly, clock=clock))
        assert problem.startswith(
            "season.sqlite: was written by a newer version of the program (ledger format 2;"
        )
        assert "Update the program" in problem


def test_another_programs_file_is_refused(folder, refusals):
    connection = raw(folder)
    connection.execute("CREATE TABLE customers (name)")
    connection.close()
    before = (folder / "season.sqlite").read_bytes()
    (problem,) = refusals(lambda: open_ledger(folder))
    assert problem.startswith("season.sqlite: is a database of another program.")
    assert (folder / "season.sqlite").read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"no database at all, only text" * 100, b"SQLite format 3\0" + b"x" * 5000]
)
def test_a_damaged_file_tells_how_to_restore(folder, content):
    (folder / "season.sqlite").write_bytes(content)
    for readonly in (True, False):
        with pytest.raises(LedgerFault, match=r"the file is damaged.*forecaster restore"):
            open_ledger(folder, readonly=readonly)


def test_an_empty_file_is_a_new_ledger(folder):
    (folder / "season.sqlite").touch()
    with open_ledger(folder, readonly=True) as empty:
        assert empty.events() == ()
    with open_ledger(folder) as ledger:
        ledger.append(NOTE, who="Ann")
        assert len(ledger.events()) == 1


def test_a_folder_without_settings_is_no_season(tmp_path, refusals):
    assert refusals(lambda: open_ledger(tmp_path))[0].endswith("make one: forecaster new FOLDER")
    assert "no such folder" in refusals(lambda: open_ledger(tmp_path / "none"))[0]


def test_triggers_stay_whole_when_a_script_is_split():
    parts = list(
        statements("CREATE TABLE a (x); CREATE TRIGGER t AFTER INSERT ON a BEGIN SELECT 1; SELECT 2; END;")
    )
    assert len(parts) == 2
    assert parts[1].endswith("END;")


def test_folder_names_that_are_special_in_addresses(tmp_path):
    folder = make_folder(tmp_path / "fall ? #1 100% é")
    with open_ledger(folder) as ledger:
        ledger.append(NOTE, who="Ann")
    assert (folder / "season.sqlite").is_file()
    with open_ledger(folder, readonly=True) as again:
        assert len(again.events()) == 1


def test_a_moved_folder_is_the_same_season(folder, tmp_path):
    with open_ledger(folder) as ledger:
        ledger.append(NOTE, who="Ann")
    shutil.make_archive(str(tmp_path / "packed"), "zip", folder)
    shutil.unpack_archive(tmp_path / "packed.zip", tmp_path / "elsewhere")
    with open_ledger(tmp_path / "elsewhere") as moved:
        moved.append(ev.note(DAY, "second"), who="Ann")
        assert len(moved.events()) == 2
