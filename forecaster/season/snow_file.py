"""Snow on the ground, where somebody records it: `snow.csv` of the season folder.

Columns `station_id`, `date` and `depth_in` (or `depth_cm`); stations are those of the weather. Rows from the
as-of date on change nothing. Limit: one depth a station and day, as the source counts its days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.cells import Cells
from forecaster.season.quantities import LENGTH_UNITS, Quantity
from forecaster.season.tables import Row, find_table, in_row_order, read_table

DEPTH = Quantity("depth", LENGTH_UNITS[:2], low=0, high=200)


@dataclass(frozen=True)
class Snow:
    """Snow on the ground [m] by station and day; a day that is not there is not known."""

    depth_m: Mapping[str, Mapping[date, float]] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.depth_m)


def read_snow(folder: Path, *, station_ids: Iterable[str], as_of: date) -> Snow:
    """The snow of the season folder before `as_of`; none where it has no such file.

    Raises:
        BadInput: Cells cannot be used, or a day has two depths: all problems at once.
    """
    path = find_table(folder, "snow")
    if path is None:
        return Snow()
    problems: list[Problem] = []
    table = read_table(path, problems)
    cells = Cells(table, problems)
    column = cells.unit_of(DEPTH)
    missing = [key for key in ("station_id", "date") if cells.spelling(key) is None]
    missing += [] if column else ["depth_in"]
    problems += [
        Problem(f"{table.name} row {table.header_row}, {key}", "this column is needed. Add it.")
        for key in missing
    ]
    known, found = frozenset(station_ids), dict[str, dict[date, float]]()
    for row in table.rows if not missing else ():
        station, day = _station(cells, row, known), cells.day(row, "date")
        depth_m = cells.quantity(row, DEPTH, column)
        if not station or day is None or depth_m is None or day >= as_of:
            continue
        if found.setdefault(station, {}).setdefault(day, depth_m) != depth_m:
            cells.refuse(row, "date", f"{day} has another depth at {station} above. Keep one of them.")
    if problems:
        raise BadInput(in_row_order(problems))
    return Snow(found)


def _station(cells: Cells, row: Row, known: frozenset[str]) -> str:
    """A station of the weather, "" where the cell names none."""
    name = cells.needed_text(row, "station_id", "Write a station of the weather.")
    if name and name not in known:
        hint = did_you_mean(name, known) or f" The stations are {', '.join(sorted(known)[:8])}."
        cells.refuse(row, "station_id", f'"{name}" is no station of the weather.{hint}')
        return ""
    return name
