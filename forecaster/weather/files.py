"""Weather from files: loggers and open archives, no network.

A weather folder holds `stations.csv`, one `<station_id>.csv` a station (`date, tmin, tavg, tmax` in °C) and,
if there are outlooks, `outlook/<station_id>.csv`. Limits: one local calendar day a row, as the source
counts it; a station that is read in the morning must be moved to the right day by its owner.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Sequence
from datetime import date
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.known_rows import StationRecord
from forecaster.weather.outlook_file import collect_outlooks
from forecaster.weather.prepare import prepare_weather
from forecaster.weather.station_sheet import read_station_sheet
from forecaster.weather.stations import Station, Weather


def read_weather(
    folder: Path,
    *,
    as_of: date,
    station_ids: Collection[str] | None = None,
    with_outlooks: bool = False,
    shown_as: str | None = None,
) -> Weather:
    """The weather of a folder as it was known on the morning of `as_of`.

    Args:
        folder: The weather folder.
        as_of: Rows from this day on, and outlooks issued after it, change nothing in the result.
        station_ids: Stations to read; None for all of `stations.csv`.
        with_outlooks: Read the kept outlooks as well.
        shown_as: The folder's name in messages; its own name by default.
    Returns:
        All stations on one axis from the earliest station's first day to the day before `as_of`, cleaned
        and filled, with notices of everything that was mended.
    Raises:
        BadInput: All problems of all files at once; see `prepare_weather` for what counts as one.
    """
    shown = shown_as or folder.name
    problems: list[Problem] = []
    records, notices = _records(folder, shown, station_ids, problems)
    outlooks, told = (
        collect_outlooks(folder, [r.station for r in records], as_of=as_of, shown_as=shown, problems=problems)
        if with_outlooks
        else ((), ())
    )
    return prepare_weather(
        records, as_of=as_of, outlooks=outlooks, notices=[*notices, *told], problems=problems
    )


def read_station_records(
    folder: Path, *, station_ids: Collection[str] | None = None, shown_as: str | None = None
) -> tuple[tuple[StationRecord, ...], tuple[Notice, ...]]:
    """The files of the stations as they are, for whoever prepares them for many as-of dates.

    Raises:
        BadInput: A file is missing or its header cannot be used. What is wrong with rows stays in the
            records: only `prepare_weather` knows which rows count.
    """
    problems: list[Problem] = []
    records, notices = _records(folder, shown_as or folder.name, station_ids, problems)
    if problems:
        raise BadInput(problems)
    return tuple(records), tuple(notices)


def _records(
    folder: Path, shown: str, station_ids: Collection[str] | None, problems: list[Problem]
) -> tuple[list[StationRecord], list[Notice]]:
    """Every station's file; problems are added to the list."""
    if not folder.is_dir():
        problems.append(Problem(shown, f"no such folder in {folder.parent}. Check [weather] folder."))
        raise BadInput(problems)
    listed = read_station_sheet(folder, shown, problems)
    stations = _chosen(listed, station_ids, shown, problems)
    if not stations:
        raise BadInput(problems)
    files = {path.stem: path for path in sorted(folder.glob("*.csv")) if path.name != "stations.csv"}
    strangers = sorted(set(files) - {station.station_id for station in listed})
    records: list[StationRecord] = []
    claimed: set[str] = set()
    for station in stations:
        where = f"{shown}/{station.station_id}.csv"
        if station.station_id not in files:
            near = _nearest(station.station_id, strangers)
            claimed.update(near)
            hint = f" Did you mean {near[0]}.csv?" if near else ""
            text = f"no such file, but stations.csv names the station.{hint} Add it, or take the station out."
            problems.append(Problem(where, text))
            continue
        try:
            rows = read_daily_csv(
                files[station.station_id],
                where,
                date_columns=("date",),
                value_columns=("tmin", "tavg", "tmax"),
            )
        except BadInput as error:
            problems.extend(error.problems)
            continue
        records.append(StationRecord(station, rows))
    text = "no station of this name in stations.csv: the file is not read."
    notices = [Notice(f"{shown}/{name}.csv", text) for name in strangers if name not in claimed]
    if not records:
        raise BadInput(problems)
    return records, notices


def _chosen(
    listed: Sequence[Station], station_ids: Collection[str] | None, shown: str, problems: list[Problem]
) -> list[Station]:
    """The stations asked for, in the order of the sheet."""
    if station_ids is None:
        return list(listed)
    names = {station.station_id for station in listed}
    for wanted in sorted(set(station_ids) - names):
        text = f"no station {wanted}.{did_you_mean(wanted, names)} Add it, or ask for another."
        problems.append(Problem(f"{shown}/stations.csv", text))
    return [station for station in listed if station.station_id in station_ids]


def _nearest(name: str, others: Sequence[str]) -> list[str]:
    """The one of `others` spelt most like `name`, capitals aside; empty where none is like it."""
    by_key = {other.casefold(): other for other in others}
    return [by_key[key] for key in difflib.get_close_matches(name.casefold(), by_key, n=1)]
