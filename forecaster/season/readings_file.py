"""Water temperatures that people wrote down: `readings.csv` or `readings.xlsx` of the season folder.

Readings are kept as they are: a date later than the as-of date is dropped by whoever knows that date, and
whether a value is plausible for its pond is asked where the water is known. Loggers: `logger_file.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.season.cells import Cells, columns_notice
from forecaster.season.logger_file import read_logger as read_logger
from forecaster.season.logger_file import read_loggers as read_loggers
from forecaster.season.quantities import LENGTH_UNITS, TEMPERATURE_UNITS, Quantity, Unit
from forecaster.season.readings import Reading
from forecaster.season.tables import Row, column_key, find_table, in_row_order, read_table
from forecaster.units import c_to_f

WATER = Quantity("water", TEMPERATURE_UNITS, low=c_to_f(-0.5), high=c_to_f(40.0))
READING_DEPTH = Quantity("depth", LENGTH_UNITS, low=0, high=240)
SKIES = ("clear", "partly", "cloudy")
COLUMNS = frozenset({"site_id", "taken", "by", "sky", *WATER.columns, *READING_DEPTH.columns})


def read_readings(folder: Path, *, site_ids: Iterable[str]) -> tuple[tuple[Reading, ...], tuple[Notice, ...]]:
    """The readings of the season folder, by site, day and hour, and what the user should know about them.

    Args:
        folder: Season folder; may hold `readings.csv` or `readings.xlsx`, not both. Without: no readings.
        site_ids: The sites of the sheet.
    Raises:
        BadInput: Cells cannot be used: all problems at once.
    """
    path = find_table(folder, "readings")
    if path is None:
        return (), ()
    problems: list[Problem] = []
    table = read_table(path, problems)
    cells = Cells(table, problems)
    water, depth = cells.unit_of(WATER), cells.unit_of(READING_DEPTH)
    _refuse_missing_columns(cells, water is None)
    _refuse_unknown_sites(cells, tuple(site_ids))
    readings = [reading for row in table.rows if (reading := _reading(cells, row, water, depth))]
    if problems:
        raise BadInput(in_row_order(problems))
    readings, repeated = _without_repeats(_midnights_as_days(readings))
    notices = []
    if repeated:
        rows = ", ".join(str(row) for row in repeated[:10]) + (" and others" if len(repeated) > 10 else "")
        text = f"repeats an earlier row exactly ({len(repeated)} in all); counted once."
        notices.append(Notice(f"{table.name} row {rows}", text))
    unknown = [name for name in table.columns if column_key(name) not in COLUMNS]
    notices += columns_notice(table, unknown, COLUMNS, "not used")
    return tuple(sorted(readings, key=_order)), tuple(notices)


def _refuse_unknown_sites(cells: Cells, site_ids: tuple[str, ...]) -> None:
    known, hints = frozenset(site_ids), dict[str, str]()
    for row in cells.table.rows:
        site_id = cells.text(row, "site_id")
        if not site_id or site_id in known:
            continue
        if site_id not in hints:  # looking for the nearest name is slow, and a wrong one comes in many rows
            near = did_you_mean(site_id, site_ids)
            hints[site_id] = near or " Write it as in the sheet, or add the site there."
        cells.refuse(row, "site_id", f'"{site_id}" is not in the site sheet.{hints[site_id]}')


def _reading(
    cells: Cells, row: Row, water: tuple[str, Unit] | None, depth: tuple[str, Unit] | None
) -> Reading | None:
    """The reading of one row, None where a cell of it cannot be used."""
    site_id = cells.needed_text(row, "site_id", "Write the site_id of the site sheet.")
    cells.needed_text(row, "taken", "Write the date, or the date and time, like 2025-10-14 15:30.")
    moment = cells.moment(row, "taken")
    if water is not None:
        cells.needed_text(row, water[0], "Write the temperature, or remove the row.")
    water_c = cells.quantity(row, WATER, water)
    depth_m = cells.quantity(row, READING_DEPTH, depth)
    if moment is None or water_c is None:
        return None
    return Reading(
        site_id=site_id,
        day=moment[0],
        hour=moment[1],
        water_c=water_c,
        depth_m=depth_m,
        by=cells.text(row, "by"),
        sky=cells.choice(row, "sky", SKIES) or "",
        where=f"{cells.table.name} row {row.number}",
    )


def _refuse_missing_columns(cells: Cells, water_missing: bool) -> None:
    table = cells.table
    needed = [key for key in ("site_id", "taken") if cells.spelling(key) is None]
    for key in [*needed, *(["water_f"] if water_missing else [])]:
        unknown = [name for name in table.columns if column_key(name) not in COLUMNS]
        near = next((name for name in unknown if did_you_mean(column_key(name), [key])), None)
        cure = f'"{near}" is there: rename it' if near else "Add it, or rename the column that is meant to"
        names = "water_f or water_c, as its unit is" if key == "water_f" else key
        where = f"{table.name} row {table.header_row}, {key}"
        cells.problems.append(Problem(where, f"this column is needed. {cure} {names}."))


def _midnights_as_days(readings: list[Reading]) -> list[Reading]:
    """Without hours where every one is midnight: so programs write dates; nobody reads only at midnight."""
    if any(reading.hour for reading in readings):
        return readings
    return [replace(reading, hour=None) for reading in readings]


def _without_repeats(readings: list[Reading]) -> tuple[list[Reading], list[int]]:
    """Each reading once, and the rows that repeat an earlier one in everything."""
    kept: dict[Reading, Reading] = {}
    repeated = []
    for reading in readings:
        bare = replace(reading, where="")
        if bare in kept:
            repeated.append(int(reading.where.rsplit(" ", 1)[1]))
        else:
            kept[bare] = reading
    return list(kept.values()), repeated


def _order(reading: Reading) -> tuple[str, object, float, str]:
    return reading.site_id, reading.day, -1.0 if reading.hour is None else reading.hour, reading.where
