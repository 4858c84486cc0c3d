"""Lists in and out: the round trip, the same list twice, formulas, and what is refused."""

from __future__ import annotations

import csv
import io
import tempfile
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledger_office import SetClock, make_folder

from forecaster.season import events as ev
from forecaster.season.exchange import import_list
from forecaster.season.exchange_cells import csv_bytes, xlsx_bytes
from forecaster.season.exchange_export import export_folder, export_tables
from forecaster.season.exchange_lists import LISTS
from forecaster.season.known_sites import read_basics
from forecaster.season.ledger import open_ledger
from forecaster.season.tables import plain_text, read_table, safe_text

DAY = date(2025, 10, 6)
FAST = "/dev/shm" if Path("/dev/shm").is_dir() else None  # a disk in memory: every write is synced
HARD_NAMES = [
    "Zoë Łukasiewicz-Nguyễn",
    "🐸 Frog Court 👩🏽‍🌾",
    'Quoth "the gate", said Ann',
    "first line\nsecond, line\n\nlast",
    '=HYPERLINK("http://invalid.example", "click")',
    "+1 555 0100",
    "-5",
    "@sum",
    "＝1+1",
    "'=already",
    "''",
    "#N/A",
    "TRUE",
    "007",
    "1e5",
    "2025-10-14",
    "_x0041_",
    "tab\tin it",
    "semi;colon",
]


@pytest.fixture
def basics(folder):
    return read_basics(folder)


def take(folder, file, content, basics, *, ledger, **more):
    path = folder / file
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return import_list(ledger, path, basics, who="Ann", **more)


def facts(ledger):
    return [(e.kind, e.site_id, e.day, dict(e.facts)) for e in ledger.events()]


# --- the round trip


def names_through_everything(names: list[str], place: Path) -> list[str]:
    """CSV -> ledger -> XLSX -> a second ledger -> CSV; the names that a spreadsheet would read at the end."""
    clock = SetClock()
    rows = [
        {"site_id": "L-07", "note": name, "said": DAY, "extra": number} for number, name in enumerate(names)
    ]
    first = make_folder(place / "first")
    (first / "notes.csv").write_bytes(csv_bytes(["site_id", "note", "said"], rows))
    basics = read_basics(first)
    with open_ledger(first, clock=clock) as ledger:
        import_list(ledger, first / "notes.csv", basics, who="Ann")
        state = ledger.state()
    export_folder(state, basics, place / "xlsx", fmt="xlsx")
    second = make_folder(place / "second")
    with open_ledger(second, clock=clock) as ledger:
        import_list(ledger, place / "xlsx" / "notes.xlsx", read_basics(second), who="Bo")
        export_folder(ledger.state(), basics, place / "csv")
    text = (place / "csv" / "notes.csv").read_bytes().decode("utf-8-sig")
    return [plain_text(row["note"]) for row in csv.DictReader(io.StringIO(text, newline=""))]


def test_hard_names_survive_the_round_trip(tmp_path):
    assert names_through_everything(HARD_NAMES, tmp_path) == HARD_NAMES


LETTERS = st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff")
NAMES = st.lists(
    st.text(LETTERS | st.sampled_from("\n\t=+-@'\",;"), min_size=1, max_size=20).map(str.strip).filter(bool),
    min_size=1,
    max_size=15,
    unique=True,
)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(NAMES)
def test_any_names_survive_the_round_trip(names):
    with tempfile.TemporaryDirectory(dir=FAST) as place:
        assert names_through_everything(names, Path(place)) == names


@settings(max_examples=500, deadline=None, derandomize=True)
@given(st.text(st.sampled_from("'=+-@\t\r＝ab1")))
def test_safe_text_never_runs_and_comes_back(text):
    assert plain_text(safe_text(text)) == text
    assert not safe_text(text).startswith(tuple("=+-@\t\r＝＋－＠"))


def test_every_list_exported_and_imported_elsewhere_is_the_same(folder, tmp_path, clock, basics):
    entries = [
        ev.reading(
            "L-07", DAY, 11.123457, hour=15.3833333, depth_m=0.3048, by="Zoë", sky="clear", thermometer="B"
        ),
        ev.reading("L-08", DAY, 0.0),
        ev.reading("L-08", date(2024, 10, 6), 9.5, hour=0.0, daily_mean=True),
        ev.thermometer(DAY, "B", -0.833333, from_day=date(2025, 10, 1)),
        ev.told("L-07", DAY, date(2025, 10, 15)),
        ev.booked("L-07", DAY, date(2025, 10, 17)),
        ev.unbooked("L-07", DAY, dates=[date(2025, 10, 17)], reason="away"),
        ev.unbooked("L-09", DAY),
        ev.skipped("L-08", DAY, reason="gate, locked", by="Heron"),
        ev.closed("L-07", DAY, by="Heron", done="pump out\nnet on", crew_hours=1.75),
        ev.visit("L-07", DAY, "net off", visit_date=date(2025, 11, 20), crew_hours=0.5),
        ev.outcome("L-07", DAY, "ice broken", dollars=150.0, text="by hand"),
        ev.note(DAY, "season note"),
        ev.note(DAY, "site note", site_id="L-10"),
    ]
    with open_ledger(folder, clock=clock) as ledger:
        ledger.append(entries, who="Ann")
        state = ledger.state()
    for fmt in ("csv", "xlsx"):
        export_folder(state, basics, tmp_path / fmt, fmt=fmt)
        other = make_folder(tmp_path / f"other-{fmt}")
        clock.wait(days=1)
        with open_ledger(other, clock=clock) as ledger:
            for kind in LISTS:
                import_list(ledger, tmp_path / fmt / f"{kind.name}.{fmt}", basics, who="Bo")
            assert sorted(e.digest for e in ledger.events()) == sorted(entry.digest for entry in entries)
            again = [import_list(ledger, tmp_path / fmt / f"{k.name}.{fmt}", basics, who="Bo") for k in LISTS]
            assert sum(len(one.added) for one in again) == 0
            assert sum(one.there for one in again) == len(entries)


@pytest.mark.parametrize("units", ["us", "metric"])
@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.floats(-0.5, 40), st.floats(0, 6))
def test_a_reading_written_in_either_unit_is_the_same_reading(units, water_c, depth_m):
    from dataclasses import replace as changed
    from zoneinfo import ZoneInfo

    from forecaster.season.exchange_measured import READINGS
    from forecaster.season.known_sites import Basics, KnownSite
    from forecaster.season.ledger_rows import events_of, row_of_entry

    basics = Basics(Path(), units, 2025, ZoneInfo("UTC"), (), {"L-07": KnownSite("L-07")})
    entry = ev.reading("L-07", DAY, water_c, depth_m=depth_m)
    (event,) = events_of([(1, *row_of_entry(entry, "", SetClock()())[1:])])
    row = {"site_id": "L-07", **READINGS.row_of(event, basics)}
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "readings.csv"
        path.write_bytes(csv_bytes(("site_id", *READINGS.columns(basics)[1:]), [row]))
        from forecaster.season.exchange import read_entries

        (again,), _ = read_entries(read_table(path), READINGS, basics, today=DAY)
    assert changed(again, source="") == entry


# --- the same list twice, and lists against decisions

READINGS_CSV = "site_id,taken,water_f,by\nL-07,2025-10-05 15:30,52.3,Heron\nL-08,2025-10-05,50,\n"


def test_the_same_list_twice_adds_nothing(folder, basics, ledger):
    first = take(folder, "r.csv", READINGS_CSV, basics, ledger=ledger)
    assert (len(first.added), first.there) == (2, 0)
    assert [event.source for event in first.added] == ["r.csv row 2", "r.csv row 3"]
    longer = READINGS_CSV + "L-08,2025-10-06,49,\n"
    for name, content, added, there in (
        ("r.csv", READINGS_CSV, 0, 2),
        ("other.csv", READINGS_CSV.replace(",", ";"), 0, 2),
        ("longer.csv", longer, 1, 2),
    ):
        again = take(folder, name, content, basics, ledger=ledger)
        assert (len(again.added), again.there) == (added, there)


def test_a_list_and_what_was_typed_are_compared(folder, basics, ledger):
    ledger.append(ev.reading("L-07", date(2025, 10, 5), (52.3 - 32) / 1.8, hour=15.5, by="Heron"), who="Bo")
    done = take(folder, "r.csv", READINGS_CSV, basics, ledger=ledger)
    assert (len(done.added), done.there) == (1, 1)


def test_a_row_twice_in_a_list_counts_once(folder, basics, ledger):
    done = take(folder, "r.csv", READINGS_CSV + "L-08,2025-10-05,50,\n", basics, ledger=ledger)
    assert (len(done.added), done.there) == (2, 1)


def test_what_was_taken_back_stays_taken_back_and_says_so(folder, basics, ledger):
    done = take(folder, "r.csv", READINGS_CSV, basics, ledger=ledger)
    ledger.append(ev.undo(done.added[1]), who="Ann")
    again = take(folder, "r.csv", READINGS_CSV, basics, ledger=ledger)
    assert (len(again.added), again.there) == (0, 2)
    assert [str(notice) for notice in again.notices] == [
        "r.csv row 3: was recorded as event 2 and taken back since, so it was not added again."
        " To have it again: forecaster undo FOLDER 3"
    ]


def test_an_old_list_of_bookings_does_not_move_dates_back(folder, basics, ledger, clock):
    content = "site_id,booked_date\nL-07,2025-10-15\nL-08,2025-10-16\n"
    assert len(take(folder, "b.csv", content, basics, ledger=ledger).added) == 2
    ledger.append(ev.booked("L-07", DAY, date(2025, 10, 20)), who="Bo")
    clock.wait(days=3)  # nobody wrote the day into the list: it must not count
    again = take(folder, "b.csv", content, basics, ledger=ledger)
    assert (len(again.added), again.there) == (0, 2)
    assert "was booked for 2025-10-15 before (event 1) and moved to 2025-10-20 since" in str(again.notices[0])
    assert ledger.state().booked == {"L-07": date(2025, 10, 20), "L-08": date(2025, 10, 16)}


def test_a_closing_that_is_known_by_its_day(folder, basics, ledger):
    ledger.append(ev.closed("L-07", DAY, by="Heron"), who="Ann")
    done = take(folder, "c.csv", "site_id,closed,done\nL-07,2025-10-06,net on\n", basics, ledger=ledger)
    assert (len(done.added), done.there) == (0, 1)
    assert "recorded as closed on that day (event 1); left as it is" in str(done.notices[0])


# --- refusals


def test_all_problems_at_once_with_row_and_cure(folder, basics, ledger, refusals):
    ledger.append(ev.closed("L-10", date(2025, 10, 1)), who="Ann")
    content = (
        "site_id,closed,by,crew_hours\n"
        "L-77,2025-10-05,,\n"
        ",2025-10-05,,\n"
        "L-07,,,\n"
        "L-07,10/5/2025,,\n"
        "L-07,2025-10-05,a\x07b,\n"
        "L-07,2025-10-05,,lots\n"
    )
    assert refusals(lambda: take(folder, "c.csv", content, basics, ledger=ledger)) == [
        'c.csv row 2, site_id: "L-77" is not in the site sheet. Did you mean L-07?',
        "c.csv row 3, site_id: empty. Write the site_id of the site sheet.",
        "c.csv row 4, closed: empty. Write the date, like 2025-10-14.",
        'c.csv row 5, closed: "10/5/2025" may be 5 October or 10 May. Write 2025-10-05 or 2025-05-10.',
        "c.csv row 6, by: holds the character U+0007, which no sheet can show."
        " Type the text again without it.",
        'c.csv row 7, crew_hours: "lots" is not a number of hours (0 to 200).'
        " Write a number alone (an optional cell may stay empty).",
    ]
    days = ["L-07,2025-10-07", "L-08,2025-10-05", "L-08,2025-10-04", "L-10,2025-10-02", "L-09,2026-10-02"]
    content = "\n".join(["site_id,closed", *days])
    assert refusals(lambda: take(folder, "c.csv", content, basics, ledger=ledger)) == [
        "c.csv row 2: L-07 Fernwhistle: 2025-10-07 is in the future (today is 2025-10-06). Correct the day.",
        "c.csv row 4: L-08 is closed on 2025-10-05 by c.csv row 3 too. Keep one of them.",
        "c.csv row 5: L-10 Mossbottle (Frog Court): the row says closed on 2025-10-02, but it is recorded as"
        " closed on 2025-10-01 (event 1). Correct the row, or take that back: forecaster undo FOLDER 1",
        "c.csv row 6: L-09 Mossbottle (Long terrace): 2026-10-02 is in the future (today is 2025-10-06)."
        " Correct the day.",
    ]
    assert len(ledger.events()) == 1


@pytest.mark.parametrize(
    ("content", "part"),
    [
        ("site_id,pond\nL-07,x\n", "no column says what this list is of"),
        ("site_id,closed,booked_date\nL-07,2025-10-05,\n", "may be a list of closings or bookings"),
        ("closed\n2025-10-05\n", "c.csv row 1, site_id: this column is needed"),
        ("site_id,water_f\nL-07,52\n", "c.csv row 1, taken: this column is needed"),
        ("site_id,taken,water_f\nL-07,2025-10-05,520\n", "outside the allowed 31.1 to 104 °F"),
        ("site_id,taken,water_c\nL-07,2025-10-05,52\n", "Is it in °F? Then write 11.1"),
        ("", "the file is empty"),
        ("site_id,outcome,seen\nL-07,exploded,2025-10-05\n", "is not one of damage, ice broken"),
        ("site_id,visit,visit_date\nL-07,netting,2025-10-05\n", "crew_hours: empty"),
        ("site_id,skipped,reason\nL-07,2025-10-05,\n", "reason: empty. Write why the crew left."),
        ("site_id,booked_date,called_off\nL-07,,14/10/25\n", "year of two figures"),
        ("site_id,booked_date\nL-07,2027-10-05\n", "not in the fall of 2025"),
    ],
)
def test_lists_that_cannot_be_taken(folder, basics, ledger, refusals, content, part):
    assert part in "\n".join(refusals(lambda: take(folder, "c.csv", content, basics, ledger=ledger)))
    assert ledger.events() == ()


def test_the_list_may_be_named(folder, basics, ledger, refusals):
    content = "site_id,closed,booked_date\nL-07,2025-10-05,2025-10-05\n"
    assert [e.kind for e in take(folder, "c.csv", content, basics, ledger=ledger, name="closings").added] == [
        "closed"
    ]
    wrong = refusals(lambda: take(folder, "c.csv", content, basics, ledger=ledger, name="closing"))[0]
    assert wrong.startswith('--list: "closing" is no list. Write one of readings, closings')


def test_site_ids_in_another_case_are_the_sheets(folder, basics, ledger):
    take(folder, "c.csv", "site_id,closed\nl-07,2025-10-05\n", basics, ledger=ledger)
    assert ledger.events()[0].site_id == "L-07"


# --- cells that a spreadsheet program must not run


def test_no_cell_of_an_export_is_a_formula(folder, basics, ledger, tmp_path):
    (folder / "sites.csv").write_text(
        'site_id,customer,latitude,longitude,mean_depth_in\n=cmd,"=HYPERLINK(""x"")",43.2,-89.4,24\n'
    )
    basics = read_basics(folder)
    ledger.append([ev.closed("=cmd", DAY, by="@me", done="+1"), ev.note(DAY, "-2+3")], who="=who()")
    export_folder(ledger.state(), basics, tmp_path / "csv")
    export_folder(ledger.state(), basics, tmp_path / "xlsx", fmt="xlsx")
    for path in (tmp_path / "csv").iterdir():
        text = path.read_bytes().decode("utf-8-sig")
        for row in csv.reader(io.StringIO(text, newline="")):
            assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)
    cells = 0
    for path in (tmp_path / "xlsx").iterdir():
        sheet = openpyxl.load_workbook(path).worksheets[0]
        for line in sheet.iter_rows():
            for cell in line:
                assert cell.data_type != "f"
                cells += cell.value == '=HYPERLINK("x")'
    assert cells == 2  # the customer in closings and in events


def test_numbers_below_zero_stay_numbers():
    content = csv_bytes(["x"], [{"x": -3.5}, {"x": -0.0}, {"x": 1e-7}, {"x": None}])
    assert content == b'\xef\xbb\xbfx\r\n-3.5\r\n0\r\n0\r\n""\r\n'
    book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(["x", "d"], [{"x": -3.5, "d": DAY}], title="t")))
    row = book.worksheets[0][2]
    assert (row[0].value, row[1].value.date(), row[1].number_format) == (-3.5, DAY, "yyyy-mm-dd")


# --- the export as a whole


def test_the_export_holds_everything(folder, basics, ledger, tmp_path):
    from forecaster.season.events import Entry, pack

    plan = {
        "as_of": "2025-10-06",
        "crew_days": [
            {
                "date": "2025-10-14",
                "crew": "Heron",
                "stops": [{"site_id": "L-07", "arrive": "08:00", "leave": "10:00"}],
            }
        ],
    }
    ledger.append(
        [
            ev.closed("L-07", DAY),
            ev.closed("L-08", DAY),
            Entry("plan", DAY, {"last_event_id": 0}, document=pack(plan)),
            Entry("settings", DAY, {"changed": {"costs.ice": [150, 200]}}, document=pack({})),
        ],
        who="Ann",
    )
    ledger.append(ev.undo(ledger.event(1)), who="Bo")
    tables = {table.name: table for table in export_tables(ledger.state(), basics)}
    assert [row["site_id"] for row in tables["closings"].rows] == ["L-08"]
    assert [(row["event_id"], row["undone"]) for row in tables["events"].rows][:2] == [(1, "yes"), (2, None)]
    assert len(tables["events"].rows) == 5
    assert [(r["date"], r["crew"], r["customer"]) for r in tables["plan"].rows] == [
        ("2025-10-14", "Heron", "Fernwhistle")
    ]
    assert [(r["setting"], r["was"], r["is"]) for r in tables["settings-changes"].rows] == [
        ("costs.ice", "150", "200")
    ]
    written = export_folder(ledger.state(), basics, tmp_path / "out")
    assert len(written) == len(tables)
    assert (tmp_path / "out" / "events.csv").read_bytes().startswith(b"\xef\xbb\xbfevent_id,")


def test_an_export_overwrites_nothing(folder, basics, ledger, tmp_path, refusals):
    ledger.append(ev.note(DAY, "x"), who="Ann")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    for to, part in (
        (tmp_path / "out", "is not empty"),
        (folder / "sites.csv", "is a file"),
        (tmp_path / "a/b", "does not exist"),
    ):
        assert part in refusals(lambda to=to: export_folder(ledger.state(), basics, to))[0]
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["mine.txt"]
