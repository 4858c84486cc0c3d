"""Driving times that the office knows better than a straight line: `travel_times.csv` of the season folder.

Columns `from`, `to` and `minutes`; places are site ids and crew names (a crew's start place). Any pair may be
missing; a pair given one way counts both ways unless the other way is given too. Limit: one time a pair, no
rush hours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.season.cells import Cells, columns_notice
from forecaster.season.tables import Row, column_key, find_table, in_row_order, read_table

COLUMNS = frozenset({"from", "to", "minutes"})
LONGEST_MINUTES = 600.0


@dataclass(frozen=True)
class TravelTimes:
    """Driving times [h] by (from, to); `hours` gives a pair either way round, None where none is known."""

    table: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def hours(self, start: str, end: str) -> float | None:
        """Driving from `start` to `end` [h].

        >>> TravelTimes({("North", "S1"): 0.5}).hours("S1", "North")
        0.5
        """
        given = self.table.get((start, end))
        return self.table.get((end, start)) if given is None else given


def read_travel_times(
    folder: Path, *, site_ids: Iterable[str], crew_names: Iterable[str]
) -> tuple[TravelTimes, tuple[Notice, ...]]:
    """The travel times of the season folder; an empty table where it has none.

    Raises:
        BadInput: Cells cannot be used, or a pair has two different times: all problems at once.
    """
    path = find_table(folder, "travel_times")
    if path is None:
        return TravelTimes(), ()
    problems: list[Problem] = []
    table = read_table(path, problems)
    cells = Cells(table, problems)
    missing = [key for key in ("from", "to", "minutes") if cells.spelling(key) is None]
    problems += [
        Problem(f"{table.name} row {table.header_row}, {key}", "this column is needed. Add it.")
        for key in missing
    ]
    places = frozenset(site_ids) | frozenset(crew_names)
    found: dict[tuple[str, str], float] = {}
    rows: dict[tuple[str, str], int] = {}
    for row in table.rows if not missing else ():
        start, end = (_place(cells, row, key, places) for key in ("from", "to"))
        cells.needed_text(row, "minutes", "Write the driving time in minutes, or remove the row.")
        minutes = cells.number(row, "minutes", low=0, high=LONGEST_MINUTES, noun="a number of minutes")
        if not start or not end or minutes is None:
            continue
        earlier = rows.setdefault((start, end), row.number)
        if found.setdefault((start, end), minutes / 60) != minutes / 60:
            cells.refuse(row, "minutes", f"row {earlier} says another time for this pair. Keep one of them.")
    if problems:
        raise BadInput(in_row_order(problems))
    unknown = [name for name in table.columns if column_key(name) not in COLUMNS]
    return TravelTimes(found), tuple(columns_notice(table, unknown, COLUMNS, "not used"))


def _place(cells: Cells, row: Row, key: str, places: frozenset[str]) -> str:
    """A known place, "" where the cell names none."""
    name = cells.needed_text(row, key, "Write a site_id or the name of a crew.")
    if name and name not in places:
        hint = did_you_mean(name, places) or " Write a site_id of the sheet or the name of a crew."
        cells.refuse(row, key, f'"{name}" is neither a site nor a crew.{hint}')
        return ""
    return name
