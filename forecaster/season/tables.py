"""The office's tables as text: one reader for `.csv` and `.xlsx`, rows numbered as the spreadsheet does.

Nothing is guessed about meaning here: every cell stays the text that the user wrote (numbers of a
workbook without a trailing `.0`, its dates as ISO text); `cells.py` turns cells into values. Limits: the
first worksheet of a workbook; text files in UTF-8 only, because a wrong guess would spoil names in silence.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from xml.etree.ElementTree import ParseError

from forecaster.errors import BadInput, Problem

DELIMITERS = ",;\t"
DAMAGED = (
    *(zipfile.BadZipFile, zlib.error, ParseError, ArithmeticError, AttributeError, LookupError),
    *(OSError, TypeError, ValueError, NotImplementedError),
)
"""What the workbook reader raises on a file that is no whole workbook (found by damaging one at random)."""
SAVE_AS_UTF8 = 'Save it again as "CSV UTF-8" (in a text editor: encoding UTF-8).'


_RUNS = re.compile("'*[=+\\-@\t\r＝＋－＠]")
"""How a text begins that a spreadsheet program would run (OWASP, "CSV Injection"), apostrophes in front."""


class BadCell(ValueError):
    """The text of a cell cannot be used; the message is what the user reads after the place."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row below the header: its number in the spreadsheet (header = 1) and its cells, trimmed text."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True)
class Table:
    """A table as text. `name` is the file as messages show it, `columns` are spelt as the user spelt them.

    `decimal_comma` is True for a file separated by semicolons: whoever writes one writes 24,5 for 24.5.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool = False
    header_row: int = 1


def column_key(name: str) -> str:
    """Spelling by which columns are compared: case, spaces and hyphens do not count.

    >>> column_key(" Site ID ")
    'site_id'
    """
    return re.sub(r"[\s_\-]+", "_", name.strip()).casefold().strip("_")


def safe_text(text: str) -> str:
    """The text of a CSV cell that no spreadsheet program runs: with an apostrophe, which marks it as text.

    >>> safe_text('=HYPERLINK("http://x")'), safe_text("+1 555 0100"), safe_text("Gate, left")
    ('\\'=HYPERLINK("http://x")', "'+1 555 0100", 'Gate, left')
    """
    return f"'{text}" if _RUNS.match(text) else text


def plain_text(cell: str) -> str:
    """The text that `safe_text` made safe; every CSV file is read this way.

    >>> [plain_text(safe_text(text)) for text in ("=1+1", "'=1+1", "'tis", "-5")]
    ['=1+1', "'=1+1", "'tis", '-5']
    """
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell[1:]) else cell


def decode(raw: bytes, where: str) -> str:
    """Text of a UTF-8 file; a byte-order mark is accepted and dropped.

    Raises:
        BadInput: UTF-16, another encoding, or no text at all; the message says how to save it again.
    """
    start = raw[:4000]
    if start[:2] in (b"\xff\xfe", b"\xfe\xff") or start.count(0) > len(start) // 4:
        raise BadInput(Problem(where, f"stored as UTF-16 (some programs call it Unicode). {SAVE_AS_UTF8}"))
    if b"\x00" in raw:
        raise BadInput(Problem(where, "no text file (it holds zero bytes). Export it again as text."))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        letter = raw[error.start : error.start + 1].decode("cp1252", errors="replace")
        found = f"byte 0x{raw[error.start]:02X}, perhaps {letter!r} of an older Windows encoding"
        raise BadInput(Problem(f"{where} line {line}", f"not UTF-8 text ({found}). {SAVE_AS_UTF8}")) from None


def read_bytes(path: Path) -> bytes:
    """The bytes of a file.

    Raises:
        BadInput: It is missing or cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        folder = path.parent.resolve()
        raise BadInput(Problem(path.name, f"no such file in {folder.name or folder}.")) from None
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Close it in other programs, or check who may read it."
        raise BadInput(Problem(path.name, text)) from None


def find_table(folder: Path, stem: str) -> Path | None:
    """`<stem>.csv` or `<stem>.xlsx` in `folder`, None where neither exists.

    Raises:
        BadInput: Both exist: the program must not choose which one is the office's truth.
    """
    found = [path for path in (folder / f"{stem}.csv", folder / f"{stem}.xlsx") if path.is_file()]
    if len(found) == 2:
        text = f"{stem}.csv and {stem}.xlsx are both there. Keep the one you work in; move the other away."
        raise BadInput(Problem(f"{stem}.xlsx", text))
    return found[0] if found else None


def read_table(path: Path, problems: list[Problem] | None = None) -> Table:
    """Read a `.csv` or `.xlsx` file as text.

    Args:
        path: The file. Comma, semicolon or tab may separate the cells of a `.csv`.
        problems: Where to add rows that do not fit the header (such rows are left out), so that a caller
            can report them together with its own; without it they are raised.
    Raises:
        BadInput: The file cannot be read, is empty, or its header cannot be used.
    """
    found: list[Problem] = []
    workbook = path.suffix.lower() in (".xlsx", ".xlsm")
    if workbook:
        lines, decimal_comma = _workbook_lines(path, found), False
    else:
        text = read_bytes(path)
        lines, decimal_comma = _csv_lines(decode(text, path.name), path.name, found)
    table = _table(path.name, lines, found, pad_short=workbook, decimal_comma=decimal_comma)
    if problems is None:
        if found:
            raise BadInput(found)
    else:
        problems.extend(found)
    return table


def in_row_order(problems: Iterable[Problem]) -> list[Problem]:
    """Problems of one table in the order of its rows, those of the whole file first."""

    def row_of(problem: Problem) -> int:
        found = re.search(r" row (\d+)", problem.where)
        return int(found[1]) if found else 0

    return sorted(problems, key=row_of)


def csv_records(text: str, delimiter: str, *, strict: bool = True) -> Iterator[list[str]]:
    """Records of a CSV text, one list of trimmed cells each; a blank line is an empty list.

    Raises:
        csv.Error: If strict, a double quote is not closed, or text follows a closing one.
    """
    lines = io.StringIO(text, newline="")
    for record in csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=strict):
        yield [cell.strip() for cell in record]


def _csv_lines(text: str, name: str, problems: list[Problem]) -> tuple[list[tuple[int, list[str]]], bool]:
    """Numbered records of a CSV text, and whether it is separated by semicolons."""
    declared = re.match(r'"?sep=(.)"?\r?\n', text, flags=re.IGNORECASE)
    if declared:
        text, delimiter = text[declared.end() :], declared[1]
    else:
        header = re.sub(r'"[^"]*"', "", next((line for line in text.splitlines() if line.strip()), ""))
        delimiter = max(DELIMITERS, key=header.count)
    lines: list[tuple[int, list[str]]] = []
    try:
        for record in csv_records(text, delimiter):
            lines.append((len(lines) + 1, [plain_text(cell) for cell in record]))
    except csv.Error as error:
        cause = "a double quote is never closed" if "end of data" in str(error) else str(error)
        cure = 'Put the whole text in double quotes, and write "" for a quote inside it.'
        where = f"{name} row {len(lines) + 1}"
        problems.append(Problem(where, f"{cause}; rows from here on are not read. {cure}"))
    return lines, delimiter == ";"


def _workbook_lines(path: Path, problems: list[Problem]) -> list[tuple[int, list[str]]]:
    """Numbered rows of the first worksheet as text; formulas give the value stored with them."""
    from openpyxl.utils import get_column_letter  # imported late: `--help` needs no workbook reader

    values, formulas = _first_worksheet(read_bytes(path), path.name)
    lines = [(number, [_cell_text(value) for value in row]) for number, row in enumerate(values, start=1)]
    for (number, texts), row in zip(lines, formulas, strict=False):
        for index, value in enumerate(row):
            if str(value).startswith("=") and not "".join(texts[index : index + 1]):
                where = f"{path.name} row {number}, column {get_column_letter(index + 1)}"
                cure = "Open the file in your spreadsheet program and save it, or type the value."
                problems.append(Problem(where, f"the formula {value} has no stored value. {cure}"))
    return lines


def _first_worksheet(raw: bytes, name: str) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    """Values of the first worksheet, and its formulas where it has any (else no rows)."""
    import openpyxl

    def read(*, values: bool) -> list[tuple[object, ...]]:
        book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=values)
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # programs store wrong ones; then cells would be missing
        rows = [tuple(row) for row in sheet.iter_rows(values_only=True)]
        book.close()
        return rows

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # drop-down lists and styles that openpyxl cannot carry
            return read(values=True), read(values=False) if _has_formulas(raw) else []
    except DAMAGED:
        text = (
            "cannot be opened as a workbook (protected by a password, damaged, or an older format renamed?)."
        )
        cure = "Save it again as .xlsx without password, or as CSV UTF-8."
        raise BadInput(Problem(name, f"{text} {cure}")) from None


def _has_formulas(raw: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        sheets = [entry for entry in archive.namelist() if entry.startswith("xl/worksheets/")]
        return any(re.search(rb"<f[ >/]", archive.read(entry)) for entry in sheets)


def _cell_text(value: object) -> str:
    """A workbook's value as the text that a user would have typed into a CSV file."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.15g}" if not value.is_integer() else f"{value:.0f}"
    if isinstance(value, datetime):
        rounded = (value + timedelta(microseconds=500_000)).replace(microsecond=0)
        return rounded.date().isoformat() if rounded.time() == time() else rounded.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value).strip()


def _table(
    name: str,
    lines: Iterable[tuple[int, list[str]]],
    problems: list[Problem],
    *,
    pad_short: bool,
    decimal_comma: bool,
) -> Table:
    """Header and rows of the numbered lines; rows of another length than the header are problems."""
    filled = [(number, cells) for number, cells in lines if any(cells)]
    if not filled:
        text = "the file is empty. Its first row holds the names of the columns."
        raise BadInput([Problem(name, text), *problems])
    (header_row, header), *body = filled
    columns = _header(name, header_row, header, body, problems)
    width = len(columns)
    rows = []
    for number, cells in body:
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if len(cells) > width or (len(cells) < width and not pad_short):
            problems.append(Problem(f"{name} row {number}", _wrong_width(len(cells), width)))
            continue
        cells.extend([""] * (width - len(cells)))
        pairs = zip(columns, cells, strict=True)
        rows.append(Row(number, {column: cell for column, cell in pairs if column}))
    named = tuple(column for column in columns if column)
    return Table(name, named, tuple(rows), decimal_comma=decimal_comma, header_row=header_row)


def _header(
    name: str,
    header_row: int,
    header: list[str],
    body: Sequence[tuple[int, list[str]]],
    problems: list[Problem],
) -> list[str]:
    """Column names; empty ones at the end are dropped, an empty one above cells is a problem."""
    while header and not header[-1]:
        header.pop()
    where = f"{name} row {header_row}"
    seen: dict[str, int] = {}
    for index, column in enumerate(header):
        key = column_key(column)
        if not key:
            if any(index < len(cells) and cells[index] for _, cells in body):
                problems.append(Problem(where, f"column {index + 1} holds values but has no name. Name it."))
            header[index] = ""
        elif key in seen:
            text = f'"{column}" is the name of columns {seen[key] + 1} and {index + 1}. Rename or remove one.'
            problems.append(Problem(where, text))
            header[index] = ""
        else:
            seen[key] = index
    return header


def _wrong_width(found: int, width: int) -> str:
    if found > width:
        cure = 'Put a text that holds the separator in double quotes, like "12 Mill Lane, rear".'
        return f"{found} cells, but the header names {width} columns. {cure}"
    cells = "cell" if found == 1 else "cells"
    return f"only {found} {cells}, but the header names {width} columns. Add the missing separators."
