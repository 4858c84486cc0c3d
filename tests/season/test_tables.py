"""Tables as text: what a spreadsheet program or an office may hand over."""

from __future__ import annotations

import warnings
import zipfile
from datetime import date, datetime, time
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import BadInput, Problem
from forecaster.season.tables import Table, column_key, find_table, in_row_order, read_table

GOOD = "site_id,notes\nA,one\nB,two\n"


def rows(table: Table) -> list[tuple[int, dict[str, str]]]:
    return [(row.number, row.cells) for row in table.rows]


# --- accepted


@pytest.mark.parametrize(
    "content",
    [
        GOOD,
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\r"),
        GOOD.replace(",", ";"),
        GOOD.replace(",", "\t"),
        "sep=;\n" + GOOD.replace(",", ";"),
        GOOD.rstrip(),
        GOOD.replace(",one", ", one ,,"),
        '"site_id","notes"\n"A","one"\n"B","two"\n',
        GOOD.replace("\n", ",,\n"),
    ],
    ids=["plain", "mark", "crlf", "cr", "semicolon", "tab", "sep", "no-end", "spaces", "quoted", "trailing"],
)
def test_the_same_table_in_many_dresses(write, content):
    table = read_table(write("sites.csv", content) / "sites.csv")
    assert table.columns == ("site_id", "notes")
    assert rows(table) == [(2, {"site_id": "A", "notes": "one"}), (3, {"site_id": "B", "notes": "two"})]
    assert table.decimal_comma == (";" in content)


def test_rows_count_as_in_the_spreadsheet(write):
    content = 'site_id,notes\n\nA,"line one\nline two"\n,\nB,"a ""quoted"" word, and a comma"\n'
    table = read_table(write("sites.csv", content) / "sites.csv")
    assert rows(table) == [  # row 2 is blank, row 3 spans two lines, row 4 has only empty cells
        (3, {"site_id": "A", "notes": "line one\nline two"}),
        (5, {"site_id": "B", "notes": 'a "quoted" word, and a comma'}),
    ]


def test_a_header_below_blank_rows(write):
    table = read_table(write("sites.csv", "\n,\nsite_id,notes\nA,one\n") / "sites.csv")
    assert (table.header_row, [row.number for row in table.rows]) == (3, [4])


def test_an_inch_sign_inside_a_cell_is_text(write):
    table = read_table(write("sites.csv", 'site_id,notes\nA,2" pipe\n') / "sites.csv")
    assert table.rows[0].cells["notes"] == '2" pipe'


def test_columns_are_compared_without_case_spaces_and_hyphens():
    assert column_key("Mean-Depth IN ") == "mean_depth_in"


# --- refused


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "sites.csv: the file is empty. Its first row holds the names of the columns."),
        ("\n , \n", "sites.csv: the file is empty."),
        (
            GOOD.encode("utf-16"),
            "sites.csv: stored as UTF-16 (some programs call it Unicode). Save it again as",
        ),
        (GOOD.encode("utf-16-be"), "sites.csv: stored as UTF-16"),
        (
            "site_id,notes\nA,Hütte\n".encode("cp1252"),
            "sites.csv line 2: not UTF-8 text (byte 0xFC, perhaps 'ü'",
        ),
        ("site_id,notes\nA,x,y\n", "sites.csv row 2: 3 cells, but the header names 2 columns. Put a text"),
        ("site_id,notes\nA\n", "sites.csv row 2: only 1 cell, but the header names 2 columns."),
        ("a,A \nx,y\n", 'sites.csv row 1: "A" is the name of columns 1 and 2. Rename or remove one.'),
        ("a,,b\nx,y,z\n", "sites.csv row 1: column 2 holds values but has no name. Name it."),
        (
            'a,b\nx,"y\nz,w\n',
            "sites.csv row 2: a double quote is never closed; rows from here on are not read.",
        ),
        ('a,b\nx,"y"y\n', "sites.csv row 2: "),
    ],
)
def test_refused_text(write, refusals, content, message):
    found = refusals(lambda: read_table(write("sites.csv", content) / "sites.csv"))
    assert len(found) == 1
    assert found[0].startswith(message)


def test_row_problems_can_be_collected_and_the_other_rows_are_there(write):
    problems: list[Problem] = []
    table = read_table(write("sites.csv", "a,b\nx\ny,z\nx,y,z\n") / "sites.csv", problems)
    assert [problem.where for problem in problems] == ["sites.csv row 2", "sites.csv row 4"]
    assert rows(table) == [(3, {"a": "y", "b": "z"})]


def test_a_missing_file_and_a_folder(tmp_path, refusals):
    assert refusals(lambda: read_table(tmp_path / "a.csv"))[0].startswith("a.csv: no such file in ")
    (tmp_path / "b.csv").mkdir()
    assert refusals(lambda: read_table(tmp_path / "b.csv"))[0].startswith("b.csv: cannot be read (")


def test_csv_and_workbook_side_by_side(write, refusals):
    folder = write("sites.csv", GOOD)
    assert find_table(folder, "sites") == folder / "sites.csv"
    assert find_table(folder, "readings") is None
    write("sites.xlsx", b"x")
    assert refusals(lambda: find_table(folder, "sites"))[0].startswith(
        "sites.xlsx: sites.csv and sites.xlsx are"
    )


def test_problems_in_row_order():
    wheres = ["a.csv row 12, x", "a.csv row 2, y", "a.csv", "a.csv row 2, x"]
    ordered = in_row_order([Problem(where, "") for where in wheres])
    assert [problem.where for problem in ordered] == [
        "a.csv",
        "a.csv row 2, y",
        "a.csv row 2, x",
        "a.csv row 12, x",
    ]


# --- workbooks


def workbook(path: Path, lines: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    for line in lines:
        book.active.append(line)
    book.save(path)
    return path


def test_workbook_values_become_the_text_that_one_would_type(tmp_path):
    values = [7, 24.0, 43.0934, 0.1 + 0.2, True, False, date(2025, 10, 14), datetime(2025, 10, 14, 15, 30)]
    values += [datetime(2025, 10, 14, 15, 29, 59, 999_900), time(7, 30), " text ", None]
    path = workbook(tmp_path / "sites.xlsx", [[f"c{i}" for i in range(len(values))], values])
    assert list(read_table(path).rows[0].cells.values()) == [
        *("7", "24", "43.0934", "0.3", "yes", "no", "2025-10-14", "2025-10-14 15:30:00"),
        *("2025-10-14 15:30:00", "07:30:00", "text", ""),
    ]


def test_workbook_rows_keep_their_numbers_and_short_rows_are_filled(tmp_path):
    path = workbook(
        tmp_path / "sites.xlsx", [["a", "b", None], ["x", "y"], [], [None, None], ["z"], [None, "w"]]
    )
    table = read_table(path)
    assert table.columns == ("a", "b")
    assert rows(table) == [(2, {"a": "x", "b": "y"}), (5, {"a": "z", "b": ""}), (6, {"a": "", "b": "w"})]


def test_workbook_with_drop_down_lists_and_a_second_sheet(tmp_path):
    from openpyxl.worksheet.datavalidation import DataValidation

    book = openpyxl.Workbook()
    book.active.append(["a"])
    book.active.append(["x"])
    book.active.add_data_validation(DataValidation(type="list", formula1='"open,average"', sqref="B1:B9"))
    book.create_sheet("other").append(["not", "read"])
    book.save(tmp_path / "sites.xlsx")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert rows(read_table(tmp_path / "sites.xlsx")) == [(2, {"a": "x"})]


def test_formula_without_a_stored_value(tmp_path, refusals):
    path = workbook(tmp_path / "sites.xlsx", [["a", "b"], [3, "=A2*12"]])
    found = refusals(lambda: read_table(path))
    assert found == [
        "sites.xlsx row 2, column B: the formula =A2*12 has no stored value."
        " Open the file in your spreadsheet program and save it, or type the value."
    ]


def edited(path: Path, target: Path, old: bytes, new: bytes) -> Path:
    """The workbook with bytes of its parts replaced: what other programs write and openpyxl does not."""
    replaced = 0
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w") as out:
        for entry in source.namelist():
            content = source.read(entry)
            replaced += content.count(old)
            out.writestr(entry, content.replace(old, new))
    assert replaced == 1
    return target


def test_formula_with_its_stored_value(tmp_path):
    plain = workbook(tmp_path / "plain.xlsx", [["a", "b"], [3, 36]])
    path = edited(plain, tmp_path / "sites.xlsx", b"<v>36</v>", b"<f>A2*12</f><v>36</v>")
    assert rows(read_table(path)) == [(2, {"a": "3", "b": "36"})]


def test_workbook_that_states_a_wrong_size(tmp_path):
    plain = workbook(tmp_path / "plain.xlsx", [["a", "b"], [3, 36]])
    path = edited(plain, tmp_path / "sites.xlsx", b'<dimension ref="A1:B2"', b'<dimension ref="A1:A1"')
    assert rows(read_table(path)) == [(2, {"a": "3", "b": "36"})]


@pytest.mark.parametrize(
    "content", [b"", b"a,b\n1,2\n", b"\xd0\xcf\x11\xe0 old or protected", b"PK\x03\x04 cut off"]
)
def test_not_a_workbook(write, refusals, content):
    found = refusals(lambda: read_table(write("sites.xlsx", content) / "sites.xlsx"))
    assert found[0].startswith("sites.xlsx: cannot be opened as a workbook (protected by a password")


def test_a_damaged_workbook(tmp_path, refusals):
    plain = workbook(tmp_path / "plain.xlsx", [["a", "b"], [3, 36]])
    path = edited(plain, tmp_path / "sites.xlsx", b"<sheetData>", b"<sheetDat>")
    assert "damaged" in refusals(lambda: read_table(path))[0]


def test_an_empty_workbook(tmp_path, refusals):
    found = refusals(lambda: read_table(workbook(tmp_path / "sites.xlsx", [])))
    assert found[0].startswith("sites.xlsx: the file is empty.")


# --- invariant


cells = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=8).map(str.strip)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(lines=st.lists(st.tuples(cells, cells), min_size=1, max_size=5))
def test_text_written_by_the_standard_library_is_read_back(tmp_path_factory, lines):
    import csv

    path = tmp_path_factory.mktemp("table") / "sites.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([("first", "second"), *lines])
    filled = [line for line in lines if any(line)]
    if not filled:
        assert read_table(path).rows == ()
        return
    try:
        found = [tuple(row.cells.values()) for row in read_table(path).rows]
    except BadInput as error:  # pragma: no cover
        raise AssertionError(str(error)) from None
    assert found == filled
