"""The list of weather stations, `stations.csv`: `station_id, name, latitude, longitude, elevation_m`.

Limits: coordinates in decimal degrees, west and south negative; `elevation_ft` may stand for `elevation_m`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from forecaster.distance import haversine_km
from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.tables import Row, Table, column_key, read_table
from forecaster.units import M_PER_FOOT
from forecaster.weather.stations import Station

COLUMNS = ("station_id", "name", "latitude", "longitude", "elevation_m")
LATITUDES = (-60.0, 75.0)
"""Where people keep ponds [degrees]; -87.9 is a longitude of Wisconsin in the wrong column."""
LONGITUDES = (-180.0, 180.0)
ELEVATIONS_M = (-450.0, 6000.0)
FAR_KM, NEAR_KM = 1000.0, 400.0
"""A station this far from all others is suspect if swapping or mirroring its coordinates brings it near."""
_ID = re.compile(r"[\w.\-]+")


def read_stations(folder: Path, *, shown_as: str | None = None) -> tuple[Station, ...]:
    """The stations of a weather folder, in the order of the sheet.

    Args:
        folder: Holds `stations.csv`.
        shown_as: The folder's name in messages; its own name by default.
    Raises:
        BadInput: The sheet is missing or wrong; all its problems at once.
    """
    problems: list[Problem] = []
    stations = read_station_sheet(folder, shown_as or folder.name, problems)
    if problems:
        raise BadInput(problems)
    return stations


def read_station_sheet(folder: Path, shown_as: str, problems: list[Problem]) -> tuple[Station, ...]:
    """As `read_stations`, but problems are added to a list and the stations without one are returned."""
    found: list[Problem] = []
    try:
        table = read_table(folder / "stations.csv", found)
    except BadInput as error:
        problems.extend(Problem(f"{shown_as}/{problem.where}", problem.text) for problem in error.problems)
        return ()
    problems.extend(Problem(f"{shown_as}/{problem.where}", problem.text) for problem in found)
    names = _column_names(table, f"{shown_as}/{table.name} row {table.header_row}", problems)
    if names is None:
        return ()
    stations: list[Station] = []
    rows: dict[str, int] = {}
    for row in table.rows:
        where = f"{shown_as}/{table.name} row {row.number}"
        station = _station(row, names, where, decimal_comma=table.decimal_comma, problems=problems)
        if station is None:
            continue
        key = station.station_id.casefold()
        if key in rows:
            text = f'"{station.station_id}" is in row {rows[key]} too. Give each station its own station_id.'
            problems.append(Problem(f"{where}, station_id", text))
            continue
        rows[key] = row.number
        stations.append(station)
    if not table.rows:
        problems.append(
            Problem(f"{shown_as}/{table.name}", "no station below the names of the columns. Add one.")
        )
    for station in stations:
        hint = _misplaced(station, stations)
        if hint:
            where = f"{shown_as}/{table.name} row {rows[station.station_id.casefold()]}, latitude, longitude"
            problems.append(Problem(where, hint))
    return tuple(stations)


def coordinate_hint(latitude: float, longitude: float, latitudes: np.ndarray, longitudes: np.ndarray) -> str:
    """'are latitude and longitude swapped?' or 'is the minus sign missing?' where that brings the point
    within 400 km of one of the others [degrees], else ''."""
    tries = (
        ("are latitude and longitude swapped?", longitude, latitude),
        ("is the minus sign of the longitude missing or too many? West is negative.", latitude, -longitude),
        ("are latitude and longitude swapped, and the minus sign lost?", longitude, -latitude),
    )
    for text, lat, lon in tries:
        if abs(lat) <= 90.0 and haversine_km(lat, lon, latitudes, longitudes).min() <= NEAR_KM:
            return text
    return ""


def _column_names(table: Table, where: str, problems: list[Problem]) -> Mapping[str, str] | None:
    """Column of the sheet by our name; None where one is missing (the problem is added)."""
    names = {column_key(column): column for column in table.columns}
    required = [name for name in COLUMNS if name != "name"]
    if "elevation_ft" in names and "elevation_m" not in names:
        required[-1] = "elevation_ft"
    missing = [name for name in required if name not in names]
    for name in missing:
        near = did_you_mean(name, [key for key in names if key not in COLUMNS])
        hint = near.replace("Did you mean", "Is it").replace("?", " of the sheet?") if near else ""
        problems.append(Problem(where, f"no column {name} ({', '.join(COLUMNS)}).{hint} Name it {name}."))
    return None if missing else names


def _station(
    row: Row, names: Mapping[str, str], where: str, *, decimal_comma: bool, problems: list[Problem]
) -> Station | None:
    """One row as a station, None with its problems added where a cell is wrong."""
    before = len(problems)

    def number(name: str, unit: str, limits: tuple[float, float]) -> float:
        text = row.cells[names[name]]
        spelt = text.replace(",", ".") if decimal_comma else text
        try:
            value = float(spelt)
        except ValueError:
            value = np.nan
        if limits[0] <= value <= limits[1]:
            return value
        found = f'"{text}" is not' if text else "empty, not"
        hint = ""
        if name == "latitude" and abs(value) <= 180.0:
            hint = " Are latitude and longitude swapped?"
        elif text.replace(",", ".", 1) != text:
            hint = f" Write {text.replace(',', '.', 1)}."
        text = f"{found} a number of {unit} ({limits[0]:g} to {limits[1]:g}).{hint}"
        problems.append(Problem(f"{where}, {name}", text))
        return np.nan

    station_id = row.cells[names["station_id"]]
    if not _ID.fullmatch(station_id):
        text = f'"{station_id}" cannot name a file. Use letters, digits, hyphen, underscore and point.'
        problems.append(Problem(f"{where}, station_id", text))
    latitude = number("latitude", "degrees", LATITUDES)
    longitude = number("longitude", "degrees", LONGITUDES)
    if "elevation_m" in names:
        elevation_m = number("elevation_m", "metres", ELEVATIONS_M)
    else:
        low, high = (limit / M_PER_FOOT for limit in ELEVATIONS_M)
        elevation_m = number("elevation_ft", "feet", (round(low), round(high))) * M_PER_FOOT
    if len(problems) > before:
        return None
    name = row.cells[names["name"]] if "name" in names else ""
    return Station(station_id, name or station_id, latitude, longitude, elevation_m)


def _misplaced(station: Station, stations: list[Station]) -> str:
    """What may be wrong with the place of a station that lies far from all others, '' if nothing shows."""
    others = [other for other in stations if other is not station]
    if not others:
        return ""
    latitudes = np.array([other.latitude for other in others])
    longitudes = np.array([other.longitude for other in others])
    distance = float(haversine_km(station.latitude, station.longitude, latitudes, longitudes).min())
    if distance <= FAR_KM:
        return ""
    hint = coordinate_hint(station.latitude, station.longitude, latitudes, longitudes)
    place = f"{station.latitude:g}, {station.longitude:g} is {distance:.0f} km from the other stations"
    return f"{place}: {hint}" if hint else ""
