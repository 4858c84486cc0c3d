"""The typed cells of one table: every cell that cannot be used becomes a problem with its place.

A cell that is empty or unusable comes back as None (or the given default); the caller reads all cells of
all rows and raises once, so that the user sees every problem of a sheet at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from typing import TypeVar

from forecaster.errors import Notice, Problem, did_you_mean
from forecaster.season.moments import parse_moment
from forecaster.season.quantities import Quantity, Unit, parse_number, parse_quantity
from forecaster.season.tables import BadCell, Row, Table, column_key

Value = TypeVar("Value")
NEAR_COLUMN = 0.8
"""Likeness (0-1) from which a column counts as misspelt; at 0.6 diffuser_depth_in would be mean_depth_in."""

EQUIPMENT_WORDS = frozenset({"heater"})
"""Columns of equipment that look like a known name but are none: no question is asked."""

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def parse_yes_no(text: str) -> bool:
    """True for yes, y or true; False for no, n or false.

    >>> parse_yes_no("Yes"), parse_yes_no("n")
    (True, False)
    """
    word = text.casefold()
    if word in ("yes", "y", "true"):
        return True
    if word in ("no", "n", "false"):
        return False
    raise BadCell(f'"{text}" is neither yes nor no. Write yes or no.')


def parse_choice(text: str, allowed: Iterable[str]) -> str:
    """One of a few words, in any case.

    >>> parse_choice("clos", ["close", "partly", "runs"])
    Traceback (most recent call last):
    forecaster.season.tables.BadCell: "clos" is not one of close, partly, runs. Did you mean close?
    """
    by_key = {word.casefold(): word for word in allowed}
    key = " ".join(text.casefold().replace("_", " ").split())
    if key in by_key:
        return by_key[key]
    hint = did_you_mean(key, by_key) or " Write one of these."
    raise BadCell(f'"{text}" is not one of {", ".join(by_key.values())}.{hint}')


def parse_weekday(text: str) -> int:
    """Day of the week, 0 = Monday, from its English name or the first three or more letters of it.

    >>> parse_weekday("Thurs")
    3
    """
    key = text.strip().rstrip(".").casefold()
    for index, name in enumerate(WEEKDAYS):
        if len(key) >= 3 and name.startswith(key):
            return index
    hint = did_you_mean(key, [name[:3] for name in WEEKDAYS] + list(WEEKDAYS))
    raise BadCell(f'"{text}" is not a day of the week. Write mon, tue, wed, thu, fri, sat or sun.{hint}')


def parse_weekdays(text: str) -> frozenset[int]:
    """Days of the week, 0 = Monday: names apart, or two names and a hyphen for all from the one to the other.

    >>> sorted(parse_weekdays("mon-wed, sat"))
    [0, 1, 2, 5]
    """
    days: set[int] = set()
    for part in re.split(r"[,;/\s]+", re.sub(r"\s*[-–]\s*", "-", text.strip(" ,;"))):
        first, hyphen, last = part.partition("-")
        start = parse_weekday(first)
        stop = parse_weekday(last) if hyphen else start
        days.update((start + step) % 7 for step in range((stop - start) % 7 + 1))
    return frozenset(days)


def columns_notice(table: Table, unknown: Iterable[str], known: Iterable[str], fate: str) -> list[Notice]:
    """One notice for all columns that the program does not know, with the near misses among them."""
    names, keys = list(unknown), sorted(known)
    if not names:
        return []
    hints = []
    for name in names:
        near = get_close_matches(column_key(name), keys, n=1, cutoff=NEAR_COLUMN)
        if near and column_key(name) not in EQUIPMENT_WORDS:
            hints.append(f" {name}: Did you mean {near[0]}?")
    text = f"{', '.join(names)}: {fate}.{''.join(hints)}"
    return [Notice(f"{table.name} row {table.header_row}", text)]


@dataclass
class Cells:
    """Reads the cells of `table` by the column's known name; adds what cannot be used to `problems`."""

    table: Table
    problems: list[Problem]
    _spelt: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self._spelt = {column_key(column): column for column in self.table.columns}

    def spelling(self, key: str) -> str | None:
        """The user's spelling of a known column, None where the table has no such column."""
        return self._spelt.get(key)

    def refuse(self, row: Row, key: str, text: str) -> None:
        """Add a problem with one cell."""
        self.problems.append(Problem(f"{self.table.name} row {row.number}, {key}", text))

    def text(self, row: Row, key: str) -> str:
        """The cell's text, "" where it is empty or the column is missing."""
        spelt = self._spelt.get(key)
        return row.cells[spelt] if spelt is not None else ""

    def needed_text(self, row: Row, key: str, cure: str) -> str:
        """The cell's text; an empty one is a problem, with `cure` as what to do. Not for missing columns."""
        text = self.text(row, key)
        if not text and key in self._spelt:
            self.refuse(row, key, f"empty. {cure}")
        return text

    def number(self, row: Row, key: str, *, low: float, high: float, noun: str = "a number") -> float | None:
        """A number without a unit."""
        comma = self.table.decimal_comma
        return self._parsed(
            row, key, lambda text: parse_number(text, low=low, high=high, noun=noun, decimal_comma=comma)
        )

    def unit_of(self, quantity: Quantity) -> tuple[str, Unit] | None:
        """Column and unit in which the table gives the quantity, None where it does not.

        Two columns for one quantity are a problem, added each time: ask once a table.
        """
        present = [(column, unit) for column, unit in quantity.columns.items() if column in self._spelt]
        if len(present) > 1:
            names = " and ".join(column for column, _ in present)
            where = f"{self.table.name} row {self.table.header_row}"
            self.problems.append(Problem(where, f"{names} are both there. Keep one of them."))
        return present[0] if present else None

    def quantity(self, row: Row, quantity: Quantity, column: tuple[str, Unit] | None) -> float | None:
        """A quantity in the program's unit; `column` is what `unit_of` gave."""
        if column is None:
            return None
        key, unit = column
        comma = self.table.decimal_comma
        return self._parsed(row, key, lambda text: parse_quantity(text, quantity, unit, decimal_comma=comma))

    def yes_no(self, row: Row, key: str, *, default: bool) -> bool:
        """Yes or no."""
        found = self._parsed(row, key, parse_yes_no)
        return default if found is None else found

    def yes_no_or_unknown(self, row: Row, key: str) -> bool | None:
        """Yes, no, or None where nothing is said."""
        return self._parsed(row, key, parse_yes_no)

    def choice(self, row: Row, key: str, allowed: Iterable[str]) -> str | None:
        """One of a few words."""
        return self._parsed(row, key, lambda text: parse_choice(text, allowed))

    def day(self, row: Row, key: str) -> date | None:
        """A date; a clock time behind it is a problem unless it is midnight (how programs write a date)."""

        def parse(text: str) -> date:
            day, hour = parse_moment(text)
            if hour:
                raise BadCell(f'"{text}" is a date with a time. Write {day}.')
            return day

        return self._parsed(row, key, parse)

    def moment(self, row: Row, key: str) -> tuple[date, float | None] | None:
        """A date with or without a clock time [h]."""
        return self._parsed(row, key, parse_moment)

    def weekdays(self, row: Row, key: str) -> frozenset[int] | None:
        """Days of the week, 0 = Monday."""
        return self._parsed(row, key, parse_weekdays)

    def parsed(self, row: Row, key: str, parse: Callable[[str], Value]) -> Value | None:
        """What `parse` makes of a cell that is not empty; it raises BadCell for what cannot be used."""
        return self._parsed(row, key, parse)

    def _parsed(self, row: Row, key: str, parse: Callable[[str], Value]) -> Value | None:
        text = self.text(row, key)
        if not text:
            return None
        try:
            return parse(text)
        except BadCell as error:
            self.refuse(row, key, str(error))
            return None
