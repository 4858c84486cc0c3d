"""NOAA's open daily archive (GHCN-Daily) as it is downloaded: `.dly`, and its three kinds of station CSV.

Values that failed one of the archive's own quality checks are left out and counted. Units: tenths of °C in
`.dly`, in the by-station CSV (one element a row) and in the access CSV; °C or °F in the CSV of its ordering
service, told apart by the numbers. Source: GHCN-Daily readme.txt (format of the files, flags) and
readme-by_station.txt, NOAA NCEI. Limits: TMAX, TMIN and TAVG only; one station a file; a station read in
the morning notes the maximum of the day before: said, not shifted.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.tables import decode, read_bytes
from forecaster.units import f_to_c
from forecaster.weather.own_record import OwnRecord

ELEMENTS = ("TMIN", "TAVG", "TMAX")
MISSING = -9999
QUALITY_FLAGS = {
    "D": "duplicate", "G": "gap", "I": "internal consistency", "K": "streak or frequent value",
    "L": "length of a multiday period", "M": "megaconsistency", "N": "naught", "O": "climatological outlier",
    "R": "lagged range", "S": "spatial consistency", "T": "temporal consistency", "W": "too warm for snow",
    "X": "bounds", "Z": "official investigation",
}  # fmt: skip
"""QFLAG of GHCN-Daily: the check that a value failed (readme.txt, section III)."""
LAGGED = "L"
"""MFLAG: the temperature appears to be lagged with respect to the reported hour of observation."""
MORNING_HOURS = (1, 12)
"""Hours of observation at which the maximum noted is mostly that of the day before."""
SHOWN_PROBLEMS = 10


@dataclass
class _Values:
    """Values [°C] by element and day as they are read, and what was left out."""

    where: str
    values: dict[str, dict[date, float]] = field(default_factory=lambda: {name: {} for name in ELEMENTS})
    flagged: Counter[str] = field(default_factory=Counter)
    lagged: int = 0
    morning: int = 0
    stations: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def add(
        self, row: int, station: str, day: date, element: str, value_c: float, *, m_flag: str = "",
        q_flag: str = "", hour: str = "",
    ) -> None:  # fmt: skip
        """Take one value, unless a quality check failed."""
        self.stations.setdefault(station, row)
        if q_flag.strip():
            self.flagged[q_flag.strip()] += 1
            return
        if day in self.values[element]:
            text = f"{element} of {day} stands in the file twice. Keep one."
            self.problems.append(Problem(f"{self.where} row {row}", text))
            return
        self.lagged += m_flag.strip() == LAGGED
        clock = hour.strip()
        if element == "TMAX" and clock.isdigit() and MORNING_HOURS[0] <= int(clock) // 100 < MORNING_HOURS[1]:
            self.morning += 1
        self.values[element][day] = value_c


def is_ghcn(path: Path) -> bool:
    """True for a file that looks like one of the archive's kinds; nothing is checked yet."""
    if path.suffix.lower() == ".dly":
        return True
    try:
        with path.open("rb") as file:
            first = file.readline(2000).decode("utf-8-sig", errors="replace").upper()
    except OSError:
        return False
    names = [cell.strip().strip('"') for cell in first.split(",")]
    by_element = len(names) >= 4 and len(names[0]) == 11 and names[1].isdigit() and len(names[1]) == 8
    return by_element or ("STATION" in names and "DATE" in names) or {"ID", "ELEMENT"} <= set(names)


def read_ghcn(path: Path, *, unit: str = "") -> OwnRecord:
    """One station's record.

    Args:
        path: `.dly` or CSV.
        unit: "c", "f" or "tenths" for the CSV of the ordering service, where the numbers leave doubt.
    Raises:
        BadInput: The file is not of these formats, holds several stations, or rows cannot be read.
    """
    text = decode(read_bytes(path), path.name)
    found = _Values(path.name)
    place: dict[str, str] = {}
    if path.suffix.lower() == ".dly":
        _read_dly(text, found)
        place = _listed_place(path.parent / "ghcnd-stations.txt", next(iter(found.stations), ""))
    else:
        rows = list(csv.reader(io.StringIO(text, newline=""), skipinitialspace=True))
        header = [cell.strip().upper() for cell in rows[0]] if rows else []
        if "STATION" in header and "DATE" in header:
            place = _read_wide(header, rows[1:], found, unit)
        else:
            _read_long(rows[1:] if "ELEMENT" in header else rows, "ELEMENT" in header, found)
    return _finished(found, place)


def read_by_station(text: str, where: str) -> OwnRecord:
    """One station's record from the text of its by-station file (one element a row, with flags).

    Raises:
        BadInput: Rows that cannot be read, several stations, or no temperature.
    """
    found = _Values(where)
    rows = list(csv.reader(io.StringIO(text, newline="")))
    _read_long(rows, False, found)
    return _finished(found, {})


def _finished(found: _Values, place: dict[str, str]) -> OwnRecord:
    """The record of what was read.

    Raises:
        BadInput: Several stations, rows that cannot be read, or no value.
    """
    if len(found.stations) > 1:
        names = ", ".join(list(found.stations)[:4])
        text = f"holds {len(found.stations)} stations ({names}). Split it: one file a station."
        found.problems.append(Problem(found.where, text))
    if found.problems:
        more = len(found.problems) - SHOWN_PROBLEMS
        rest = [Problem(found.where, f"{more} more problems of this kind, not shown.")] if more > 0 else []
        raise BadInput([*found.problems[:SHOWN_PROBLEMS], *rest])
    if not any(found.values.values()):
        text = "no TMIN, TMAX or TAVG that passed its quality checks. Is it a file of GHCN-Daily?"
        raise BadInput(Problem(found.where, text))
    return _record(found, place)


def _read_dly(text: str, found: _Values) -> None:
    """Fixed columns: id 1-11, year 12-15, month 16-17, element 18-21, then 31 times value (5) and 3 flags."""
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        element = line[17:21]
        if element not in ELEMENTS:
            continue
        padded = line.ljust(21 + 31 * 8)
        for day_of_month in range(1, 32):
            cell = padded[13 + day_of_month * 8 : 21 + day_of_month * 8]
            try:
                tenths = int(cell[:5]) if cell[:5].strip() else MISSING
                if tenths == MISSING:
                    continue
                day = date(int(line[11:15]), int(line[15:17]), day_of_month)
            except ValueError:
                said = f'day {day_of_month} holds "{cell}", which is no value of a day that exists'
                found.problems.append(Problem(f"{found.where} row {row}", f"{said}. Download it again."))
                break
            found.add(row, line[:11], day, element, tenths / 10.0, m_flag=cell[5], q_flag=cell[6])


def _read_long(rows: Sequence[Sequence[str]], has_header: bool, found: _Values) -> None:
    """By station: id, day (YYYYMMDD), element, value in tenths, M-, Q- and S-flag, hour of observation."""
    for row, cells in enumerate(rows, start=2 if has_header else 1):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            station, stamp, element, value = (cell.strip() for cell in cells[:4])
            day = date(int(stamp[:4]), int(stamp[4:6]), int(stamp[6:8]))
            tenths = int(value)
            if len(stamp) != 8:
                raise ValueError
        except ValueError:
            shown = ",".join(cells)[:60]
            text = f'"{shown}" is not id, YYYYMMDD, element, value. Download it again.'
            found.problems.append(Problem(f"{found.where} row {row}", text))
            continue
        if element in ELEMENTS and tenths != MISSING:
            flags = [cell.strip() for cell in [*cells[4:8], "", "", "", ""][:4]]
            found.add(
                row, station, day, element, tenths / 10.0, m_flag=flags[0], q_flag=flags[1], hour=flags[3]
            )


def _read_wide(
    header: Sequence[str], rows: Sequence[Sequence[str]], found: _Values, unit: str
) -> dict[str, str]:
    """One day a row, one column an element, its flags in `<element>_ATTRIBUTES` ("M,Q,S,hour")."""
    at = {name: position for position, name in enumerate(header) if name}
    present = [name for name in ELEMENTS if name in at]
    cells_of = [[cell.strip() for cell in cells] for cells in rows]
    divisor, in_f = _scale(_numbers(cells_of, [at[name] for name in present]), unit, found.where)
    place: dict[str, str] = {}
    for row, cells in enumerate(cells_of, start=2):
        if not any(cells):
            continue
        cells = [*cells, *[""] * (len(header) - len(cells))]
        place = place or {name: cells[at[name]] for name in ("NAME", *_PLACE) if name in at}
        try:
            day = date.fromisoformat(cells[at["DATE"]][:10])
        except ValueError:
            text = f'"{cells[at["DATE"]][:20]}" is not a date like 2025-10-06. Download it again.'
            found.problems.append(Problem(f"{found.where} row {row}, DATE", text))
            continue
        for name in present:
            cell = cells[at[name]]
            if not cell or cell in ("-9999", "9999"):
                continue
            try:
                value = float(cell) / divisor
            except ValueError:
                text = f'"{cell[:20]}" is not a number. Download it again.'
                found.problems.append(Problem(f"{found.where} row {row}, {name}", text))
                continue
            said = cells[at[f"{name}_ATTRIBUTES"]] if f"{name}_ATTRIBUTES" in at else ""
            flags = [*said.split(","), "", "", "", ""]
            found.add(
                row, cells[at["STATION"]], day, name, f_to_c(value) if in_f else value,
                m_flag=flags[0], q_flag=flags[1], hour=flags[3],
            )  # fmt: skip
    return place


_PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION")


def _numbers(rows: Iterable[Sequence[str]], columns: Sequence[int]) -> Iterator[tuple[float, bool]]:
    """Numbers of some columns, and whether each was written with a decimal point."""
    for cells in rows:
        for column in columns:
            text = cells[column] if column < len(cells) else ""
            try:
                value = float(text)
            except ValueError:
                continue
            if abs(value) < 9000:
                yield value, "." in text


def _scale(numbers: Iterable[tuple[float, bool]], unit: str, where: str) -> tuple[float, bool]:
    """What to divide by to get degrees, and whether they are °F: tenths of °C reach beyond 150 in any year,
    °C are written with a decimal point, whole numbers may be °F or whole °C and must be named."""
    if unit:
        return {"tenths": (10.0, False), "c": (1.0, False), "f": (1.0, True)}[unit]
    values, decimals = [], False
    for value, has_point in numbers:
        values.append(value)
        decimals |= has_point
    if not values:
        return 1.0, False
    if max(map(abs, values)) > 150.0 and not decimals:
        return 10.0, False
    if decimals:
        return 1.0, False
    text = "whole numbers: °F, whole °C or tenths of °C? Add --unit f, --unit c or --unit tenths."
    raise BadInput(Problem(where, text))


def _listed_place(path: Path, station: str) -> dict[str, str]:
    """The place of a station in the archive's own list, if that lies beside the file."""
    if not station or not path.is_file():
        return {}
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        if line[:11] == station:
            columns = {"LATITUDE": line[12:20], "LONGITUDE": line[21:30], "ELEVATION": line[31:37]}
            return {**columns, "NAME": line[41:71]}
    return {}


def _record(found: _Values, place: dict[str, str]) -> OwnRecord:
    days = sorted({day for values in found.values.values() for day in values})
    columns = {name: np.array([found.values[name].get(day, np.nan) for day in days]) for name in ELEMENTS}
    notices = []
    if found.flagged:
        named = ", ".join(
            f"{count} {QUALITY_FLAGS.get(flag, f'flag {flag}')}"
            for flag, count in found.flagged.most_common()
        )
        total = sum(found.flagged.values())
        notices.append(Notice(found.where, f"{total} values failed the archive's checks, left out: {named}."))
    if found.lagged:
        text = f"{found.lagged} values seem to belong to another day than they are noted for (flag L)."
        notices.append(Notice(found.where, text))
    if found.morning:
        text = (
            f"{found.morning} maxima were read in the morning and are mostly those of the day before: daily "
            "means may be a day late."
        )
        notices.append(Notice(found.where, text))
    numbers = {name: _number(place.get(name, "")) for name in _PLACE}
    elevation = numbers["ELEVATION"]
    return OwnRecord(
        np.array(days, dtype="datetime64[D]"), columns["TMIN"], columns["TAVG"], columns["TMAX"],
        station_id=next(iter(found.stations)).strip(), name=place.get("NAME", "").strip(),
        latitude=numbers["LATITUDE"], longitude=numbers["LONGITUDE"],
        elevation_m=None if elevation is None or elevation < -900 else elevation, notices=tuple(notices),
    )  # fmt: skip


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) else None
