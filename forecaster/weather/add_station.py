"""`weather add`: put an own record into the weather folder, beside what is there.

The list of stations is the office's file: a row is added to it, nothing else in it changes. Days that are
in the station's file already stay unless the new record may replace them; nothing is written before all is
known to fit.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.tables import column_key, read_bytes, read_table
from forecaster.units import M_PER_FOOT
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.ghcn import is_ghcn, read_ghcn
from forecaster.weather.kept import write_whole
from forecaster.weather.own_logger import read_own_logger
from forecaster.weather.own_record import OwnRecord
from forecaster.weather.records import record_csv
from forecaster.weather.station_sheet import ELEVATIONS_M, LATITUDES, LONGITUDES, read_stations
from forecaster.weather.stations import Station

AGREE_C = 0.06
"""Values this close [°C] are the same: files keep one decimal."""
_ID = re.compile(r"[\w\-][\w.\-]*")
_COLUMNS = ("station_id", "name", "latitude", "longitude", "elevation_m")


@dataclass(frozen=True)
class Added:
    """What was put into the weather folder."""

    station: Station
    new_days: int
    replaced_days: int
    first_day: str
    last_day: str
    in_list_already: bool
    notices: tuple[Notice, ...]


def read_own_file(path: Path, *, timezone: str, unit: str = "") -> OwnRecord:
    """A record from any of the kinds of file that are understood; see `ghcn` and `own_logger`."""
    if is_ghcn(path):
        return read_ghcn(path, unit=unit)
    return read_own_logger(path, timezone=timezone, unit="" if unit == "tenths" else unit)


def add_record(
    weather_folder: Path,
    record: OwnRecord,
    *,
    station_id: str = "",
    name: str = "",
    latitude: float | None = None,
    longitude: float | None = None,
    elevation_m: float | None = None,
    replace_days: bool = False,
) -> Added:
    """Add a record to the weather folder; what is given here goes before what the file says.

    Raises:
        BadInput: The place is not known, the folder's own files cannot be used, or days are there already
            with other values: all problems at once, and nothing is written.
    """
    wanted = station_id or record.station_id
    place = replace(
        record,
        station_id=wanted,
        name=name or record.name,
        latitude=latitude if latitude is not None else record.latitude,
        longitude=longitude if longitude is not None else record.longitude,
        elevation_m=elevation_m if elevation_m is not None else record.elevation_m,
    )
    sheet = weather_folder / "stations.csv"
    listed = {s.station_id: s for s in read_stations(weather_folder)} if sheet.is_file() else {}
    station = listed.get(wanted) or _new_station(place)
    merged, new, replaced = _merged(weather_folder / f"{station.station_id}.csv", record, replace_days)
    write_whole(weather_folder / f"{station.station_id}.csv", merged)
    if station.station_id not in listed:
        before = read_bytes(sheet) if sheet.is_file() else (",".join(_COLUMNS) + "\n").encode()
        write_whole(sheet, _with_row(before, sheet, station))
    return Added(
        station, new, replaced, str(record.days[0]), str(record.days[-1]), wanted in listed, record.notices
    )


def _new_station(place: OwnRecord) -> Station:
    problems = []
    if not place.station_id:
        problems.append(
            Problem("--station-id", "missing. Give the station a short id, like --station-id YARD.")
        )
    elif (
        not all(letter.isalnum() or letter in "._-" for letter in place.station_id)
        or place.station_id[0] == "."
    ):
        text = f'"{place.station_id}" cannot name a file. Use letters, digits, hyphen, underscore and point.'
        problems.append(Problem("--station-id", text))
    numbers = (
        ("--latitude", place.latitude, LATITUDES, "degrees"),
        ("--longitude", place.longitude, LONGITUDES, "degrees"),
        ("--elevation-m", place.elevation_m, ELEVATIONS_M, "metres"),
    )
    for option, value, (low, high), unit in numbers:
        if value is None:
            problems.append(Problem(option, f"the file does not say it. Give {unit} ({low:g} to {high:g})."))
        elif not low <= value <= high:
            text = f"{value:g} is not a number of {unit} from {low:g} to {high:g}."
            problems.append(Problem(option, f"{text} Correct it."))
    if problems:
        raise BadInput(problems)
    assert place.latitude is not None
    assert place.longitude is not None
    assert place.elevation_m is not None
    return Station(
        place.station_id, place.name or place.station_id, place.latitude, place.longitude, place.elevation_m
    )


def _merged(path: Path, record: OwnRecord, replace_days: bool) -> tuple[bytes, int, int]:
    """The station's file with the record's days in it, how many are new and how many replace others."""
    new = (record.tmin_c, record.tavg_c, record.tmax_c)
    if not path.is_file():
        return record_csv(record.days, *new), int(record.days.size), 0
    names = ("tmin", "tavg", "tmax")
    rows = read_daily_csv(path, path.name, date_columns=("date",), value_columns=names)
    if rows.problems:
        raise BadInput([problem for _, problem in rows.problems])
    old_days, old = rows.dates["date"], [rows.values[column] for column in names]
    shared, at_old, at_new = np.intersect1d(old_days, record.days, return_indices=True)
    differs = np.zeros(shared.size, dtype=np.bool_)
    for before, after in zip(old, new, strict=True):
        a, b = before[at_old], np.round(after[at_new], 1)
        differs |= np.isfinite(a) & np.isfinite(b) & (np.abs(a - b) > AGREE_C)
    if differs.any() and not replace_days:
        text = (
            f"{int(differs.sum())} days are there already with other values (first {shared[differs][0]}). "
            "Add --replace to take the new ones."
        )
        raise BadInput(Problem(path.name, text))
    keep = ~np.isin(old_days, record.days)
    days = np.concatenate([old_days[keep], record.days])
    order = np.argsort(days, kind="stable")
    values = []
    for before, after in zip(old, new, strict=True):
        filled = np.round(after, 1).copy()
        only_old = ~np.isfinite(filled[at_new]) & np.isfinite(before[at_old])
        filled[at_new[only_old]] = before[at_old[only_old]]
        values.append(np.concatenate([before[keep], filled])[order])
    content = record_csv(days[order], values[0], values[1], values[2])
    return content, int(record.days.size - shared.size), int(differs.sum())


def _with_row(before: bytes, sheet: Path, station: Station) -> bytes:
    """The list with one row more, in the columns and with the separator that it has."""
    text = before.decode("utf-8-sig")
    first = text.splitlines()[0] if text.splitlines() else ",".join(_COLUMNS)
    delimiter = max(",;\t", key=first.count)
    columns = read_table(sheet).columns if sheet.is_file() else _COLUMNS
    comma = delimiter == ";"

    def number(value: float) -> str:
        shown = f"{value:.6g}"
        return shown.replace(".", ",") if comma else shown

    cells = {
        "station_id": station.station_id,
        "name": station.name,
        "latitude": number(station.latitude),
        "longitude": number(station.longitude),
        "elevation_m": number(station.elevation_m),
        "elevation_ft": number(station.elevation_m / M_PER_FOOT),
    }
    line = io.StringIO()
    csv.writer(line, delimiter=delimiter, lineterminator="\n").writerow(
        [cells.get(column_key(column), "") for column in columns]
    )
    ending = "" if text.endswith(("\n", "\r")) else "\n"
    return (text + ending + line.getvalue()).encode("utf-8")
