"""A table with one day a row, as dates and numbers: fast when it is clean, with every fault named when not.

A clean file goes through pandas' C reader; whatever that reader stumbles over is read again row by row to
say where. Faults carry the date of their row, so that a caller can drop the rows of days that it must not
know before it looks at the rest. Limits: UTF-8 text; dates as 2025-10-06 (with 00:00 behind it at most).
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.tables import csv_records, decode

Days = NDArray[np.datetime64]
Floats = NDArray[np.float64]

MISSING_MARKS = frozenset({"", "na", "n/a", "#n/a", "nan", "-nan", "null", "none", "<na>"})
OTHER_NAMES = {
    "tmean": "tavg", "mean": "tavg", "temp": "tavg", "temperature": "tavg", "avg": "tavg", "average": "tavg",
    "low": "tmin", "high": "tmax", "day": "date", "time": "date", "issue": "issued", "valid": "date",
}  # fmt: skip
DECIMALS = 4
"""Values are rounded to so many decimals: the two readers may differ in the last bit."""
EARLIEST_YEAR = 1700
"""The oldest thermometer records begin about then; an earlier year is a slip of the pen."""

_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[ T]00:00(?::00(?:\.0+)?)?)?")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, eq=False)
class DailyRows:
    """The rows of one file, in its order.

    `dates` and `values` [°C] hold one array a column, shape (row,); a column that the file does not have
    is all NaN and not in `present`. `row_numbers` count as the spreadsheet does (header = 1). `problems`
    are pairs of the row's first date (None where it cannot be read) and what is wrong with the row, which
    is left out of the arrays if its dates cannot be read, and else has NaN where a value cannot be read.
    """

    where: str
    dates: Mapping[str, Days]
    values: Mapping[str, Floats]
    present: frozenset[str]
    row_numbers: NDArray[np.int64]
    problems: tuple[tuple[date | None, Problem], ...] = ()
    notices: tuple[Notice, ...] = ()


def read_daily_csv(
    path: Path, where: str, *, date_columns: Sequence[str], value_columns: Sequence[str]
) -> DailyRows:
    """Read a table of days.

    Args:
        path: The file; comma, semicolon (then with decimal comma) or tab between the cells.
        where: How messages name it.
        date_columns: Columns of dates, all required; the first one dates the row's problems.
        value_columns: Columns of numbers; any may be missing, which ones may is the caller's affair.
    Raises:
        BadInput: The file is missing, empty, not UTF-8 text, or its header cannot be used.
    """
    text = decode(_bytes_of(path, where), where)
    text = text if "\n" in text else text.replace("\r", "\n")
    lines = text.split("\n", 1)
    if not text.strip():
        first = ",".join([*date_columns, *value_columns])
        raise BadInput(Problem(where, f"the file is empty. Its first row is {first}, then one row a day."))
    delimiter = max(",;\t", key=lines[0].count)
    try:
        header = next(csv_records(lines[0].strip("\r"), delimiter), [])
    except csv.Error as error:
        raise BadInput(Problem(f"{where} row 1", f"{error}. Remove the double quote.")) from None
    known = [*date_columns, *value_columns]
    names, notices = _columns(header, where, known)
    problems = [
        Problem(f"{where} row 1", f"no column {name}; the columns are {', '.join(header)}.")
        for name in date_columns
        if name not in names
    ]
    if problems:
        raise BadInput(problems)
    body = lines[1] if len(lines) > 1 else ""
    clean = _read_clean(body, names, date_columns, value_columns) if delimiter == "," else None
    dates, values, row_numbers, row_problems = clean or _read_slowly(
        body, delimiter, names, where, date_columns, value_columns
    )
    present = frozenset(name for name in value_columns if name in names)
    return DailyRows(where, dates, values, present, row_numbers, tuple(row_problems), tuple(notices))


def shortened(problems: Iterable[Problem], where: str, shown: int = 20) -> list[Problem]:
    """The first problems of one file, and how many more there are: one bad file must not hide the others."""
    every = list(problems)
    if len(every) <= shown + 1:
        return every
    return [*every[:shown], Problem(where, f"{len(every) - shown} more problems of this kind, not shown.")]


def parse_day(text: str) -> date | None:
    """The date that `text` spells, None if it spells none.

    >>> parse_day("2025-10-06"), parse_day("2025-10-06 00:00"), parse_day("10/6/2025")
    (datetime.date(2025, 10, 6), datetime.date(2025, 10, 6), None)
    """
    found = _DATE.fullmatch(text.strip())
    if not found:
        return None
    try:
        day = date(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        return None
    return day if day.year >= EARLIEST_YEAR else None


def _bytes_of(path: Path, where: str) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise BadInput(Problem(where, "no such file.")) from None
    except OSError as error:
        raise BadInput(Problem(where, f"cannot be read ({error.strerror}). Close it elsewhere.")) from None


def _columns(header: list[str], where: str, known: Sequence[str]) -> tuple[list[str], list[Notice]]:
    """Names of the columns, in order; near misses and doubles are problems, other strangers notices."""
    row = f"{where} row 1"
    if header and parse_day(header[0]):
        raise BadInput(
            Problem(row, f"this is a day, not the names of the columns. Put {','.join(known)} above.")
        )
    names = [name.casefold() for name in header]
    while names and not names[-1]:
        names.pop()
    problems, notices = [], []
    missing = [name for name in known if name not in names]
    for name in names:
        near = difflib.get_close_matches(name, missing, n=1, cutoff=0.6)
        meant = OTHER_NAMES.get(name) or (near[0] if near else None)
        if name in known:
            if names.count(name) > 1:
                problems.append(
                    Problem(row, f"the column {name} is there {names.count(name)} times. Keep one.")
                )
        elif meant in missing:
            text = f"no such column ({', '.join(known)}). Did you mean {meant}?"
            problems.append(Problem(f"{row}, {name}", text))
        else:
            notices.append(Notice(row, f'the column "{name}" is not used.'))
    if problems:
        raise BadInput(dict.fromkeys(problems))
    return names, notices


Parsed = tuple[dict[str, Days], dict[str, Floats], NDArray[np.int64], list[tuple[date | None, Problem]]]


def _read_clean(
    body: str, columns: list[str], date_columns: Sequence[str], value_columns: Sequence[str]
) -> Parsed | None:
    """The rows by pandas' C reader, or None where a row needs a closer look."""
    lines = body.count("\n") + (not body.endswith("\n") and bool(body))
    if '"' in body or body.count(",") != lines * (len(columns) - 1):
        return None
    wanted = [name for name in columns if name in date_columns or name in value_columns]
    try:
        frame = pd.read_csv(
            io.StringIO(body), header=None, names=columns, usecols=wanted, skip_blank_lines=False, engine="c",
            dtype={name: (str if name in date_columns else np.float64) for name in wanted},
        )  # fmt: skip
        dates = {name: _fast_days(frame[name]) for name in date_columns}
    except (ValueError, pd.errors.ParserError):
        return None
    none = np.full(lines, np.nan)
    values = {
        name: np.round(frame[name].to_numpy(np.float64), DECIMALS) if name in wanted else none
        for name in value_columns
    }
    if len(frame) != lines or any(np.isinf(column).any() for column in values.values()):
        return None
    return dates, values, np.arange(2, lines + 2), []


def _fast_days(column: pd.Series[str]) -> Days:
    """Dates of a clean column; ValueError where one is missing, misspelt or implausible."""
    days = pd.to_datetime(column, format="%Y-%m-%d").to_numpy().astype("datetime64[D]")
    if np.isnat(days).any() or (days.size and days.min() < np.datetime64(f"{EARLIEST_YEAR}-01-01")):
        raise ValueError("a date is missing or implausible")
    return days


def _read_slowly(
    body: str,
    delimiter: str,
    columns: list[str],
    where: str,
    date_columns: Sequence[str],
    value_columns: Sequence[str],
) -> Parsed:
    """The rows one by one, with what is wrong with each."""
    days: list[list[date]] = []
    numbers: list[list[float]] = []
    row_numbers: list[int] = []
    problems: list[tuple[date | None, Problem]] = []
    number = 1
    try:
        for number, cells in enumerate(csv_records(body, delimiter), start=2):
            if not any(cells):
                continue
            row = f"{where} row {number}"
            by_name = dict(zip(columns, cells, strict=False))
            spelt = [by_name.get(name, "") for name in date_columns]
            row_days = [day for text in spelt if (day := parse_day(text))]
            if len(row_days) < len(spelt):
                for name, text in zip(date_columns, spelt, strict=True):
                    if not parse_day(text):
                        found = f'"{text[:40]}" is not a date' if text else "no date"
                        problem = Problem(f"{row}, {name}", f"{found}. Write it like 2025-10-06.")
                        problems.append((parse_day(spelt[0]), problem))
                continue
            if len(cells) < len(columns) or any(cells[len(columns) :]):
                text = f"{len(cells)} cells, but the header names {len(columns)}. Complete or split the row."
                problems.append((row_days[0], Problem(row, text)))
            row_values = []
            for name in value_columns:
                value, fault = _number(by_name.get(name, ""), decimal_comma=delimiter == ";")
                row_values.append(value)
                if fault:
                    problems.append((row_days[0], Problem(f"{row}, {name}", fault)))
            days.append(row_days)
            numbers.append(row_values)
            row_numbers.append(number)
    except csv.Error as error:
        text = f"{error}; rows from here on cannot be read. Remove the double quote."
        problems.append((None, Problem(f"{where} row {number + 1}", text)))
    day_array = np.array(days, dtype="datetime64[D]").reshape(-1, len(date_columns))
    value_array = np.array(numbers, dtype=np.float64).reshape(-1, len(value_columns))
    dates = {name: day_array[:, index] for index, name in enumerate(date_columns)}
    values = {name: np.round(value_array[:, index], DECIMALS) for index, name in enumerate(value_columns)}
    return dates, values, np.array(row_numbers, dtype=np.int64), problems


def _number(text: str, *, decimal_comma: bool) -> tuple[float, str]:
    """Value of a cell [°C], NaN where it is empty, and what is wrong with it or ''."""
    if text.casefold() in MISSING_MARKS:
        return np.nan, ""
    spelt = text.replace(",", ".") if decimal_comma else text
    if _NUMBER.fullmatch(spelt):
        return float(spelt), ""
    with_point = text.replace(",", ".").replace("\u2212", "-").removesuffix("°C").strip()
    cure = (
        f"Write {with_point}."
        if _NUMBER.fullmatch(with_point)
        else "Write a number, or leave the cell empty."
    )
    return np.nan, f'"{text[:40]}" is not a number of °C. {cure}'
