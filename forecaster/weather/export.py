"""`weather export`: the exact data that a forecast used, as own files, so that it can be made again for good.

The folder written is a weather folder: with `source = "files"` and, if there are outlooks, `outlook =
"files"` a forecast of the same as-of date comes out the same, without network and without this program's
kept files. It is read back and compared before the work counts as done.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from forecaster import __version__
from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.credits import CREDITS_FILE, credits_of
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.files import read_weather
from forecaster.weather.kept import write_whole
from forecaster.weather.load import load_weather
from forecaster.weather.outlook_errors import outlook_mean_c
from forecaster.weather.records import read_about, records_folder
from forecaster.weather.stations import Outlook, Station, Weather

_VALUES = ("tmin", "tavg", "tmax")
_MORE: tuple[tuple[str, Callable[[Outlook], np.ndarray | None]], ...] = (
    ("tmean", lambda outlook: outlook.tmean_c),
    ("tmin_sd", lambda outlook: outlook.spread_min_c),
    ("tmean_sd", lambda outlook: outlook.spread_mean_c),
)
"""Columns of an outlook that it may lack."""
_SPREADS = (
    lambda o: np.zeros(0) if o.spread_min_c is None else o.spread_min_c,
    lambda o: np.zeros(0) if o.spread_mean_c is None else o.spread_mean_c,
)


@dataclass(frozen=True)
class Exported:
    """What was written: the folder, its stations, days of records and outlooks, and the settings to use."""

    folder: Path
    stations: tuple[str, ...]
    days: int
    outlooks: int
    settings_lines: tuple[str, ...]


def export_weather(
    folder: Path, settings: Settings, *, as_of: date, to: Path, sites: Sequence[Site] = ()
) -> Exported:
    """Write the weather of a season folder as it was known on `as_of`.

    Args:
        folder: The season folder.
        as_of: Nothing of this day or later is written.
        to: A folder that does not exist or is empty.
    Raises:
        BadInput: `to` holds something, or the weather cannot be used.
        ForecasterError: What was written does not read back the same.
    """
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise BadInput(Problem(str(to), "is there already. Name a new folder, or empty this one."))
    weather = load_weather(folder, settings, as_of=as_of, sites=sites)
    source = folder / settings.weather.folder
    if settings.weather.source == "meteostat":
        source = records_folder(source)
    days = 0
    for station in weather.stations:
        content, count = _record(source / f"{station.station_id}.csv", as_of)
        write_whole(to / f"{station.station_id}.csv", content)
        days += count
    write_whole(to / "stations.csv", _stations(weather.stations))
    for station in weather.stations:
        own = [o for o in weather.outlooks if o.station_id == station.station_id]
        if own:
            write_whole(to / "outlook" / f"{station.station_id}.csv", _outlooks(own))
    write_whole(to / "about.txt", _about(folder, settings, as_of).encode("utf-8"))
    named = credits_of(folder, settings)
    if named:
        write_whole(to / CREDITS_FILE, ("\n".join(named) + "\n").encode("utf-8"))
    _check_same(weather, to, as_of)
    outlook = "files" if weather.outlooks else "none"
    named_so = _seen_from(folder, to)
    lines = ("[weather]", 'source = "files"', f'folder = "{named_so}"', f'outlook = "{outlook}"')
    names = tuple(station.station_id for station in weather.stations)
    return Exported(to, names, days, len(weather.outlooks), lines)


def _seen_from(folder: Path, to: Path) -> str:
    """The exported folder as `season.toml` in `folder` has to name it."""
    try:
        return Path(os.path.relpath(to.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive of Windows
        return to.resolve().as_posix()


def _record(path: Path, as_of: date) -> tuple[bytes, int]:
    """The rows of a station before the as-of date, each value as it was read."""
    rows = read_daily_csv(path, path.name, date_columns=("date",), value_columns=_VALUES)
    keep = rows.dates["date"] < np.datetime64(as_of, "D")
    names = [name for name in _VALUES if name in rows.present]
    table = [rows.values[name][keep].tolist() for name in names]
    lines = [",".join(["date", *names])]
    for day, *values in zip(rows.dates["date"][keep].tolist(), *table, strict=True):
        lines.append(",".join([day.isoformat(), *map(_number, values)]))
    return ("\n".join(lines) + "\n").encode("utf-8"), int(keep.sum())


def _number(value: float) -> str:
    """A value so that it reads back the same; the readers keep four decimals."""
    return "" if value != value else f"{value:.4f}".rstrip("0").rstrip(".")


def _stations(stations: Iterable[Station]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["station_id", "name", "latitude", "longitude", "elevation_m"])
    for s in stations:
        writer.writerow([s.station_id, s.name, repr(s.latitude), repr(s.longitude), repr(s.elevation_m)])
    return text.getvalue().encode("utf-8")


def _outlooks(outlooks: Iterable[Outlook]) -> bytes:
    listed = list(outlooks)
    more = [name for name, values in _MORE if any(values(outlook) is not None for outlook in listed)]
    lines = [",".join(["issued", "date", "tmin", "tmax", *more])]
    for outlook in sorted(listed, key=lambda o: o.issued):
        bare = np.full(len(outlook.days), np.nan)
        columns = [outlook.tmin_c, outlook.tmax_c]
        columns += [bare if (c := values(outlook)) is None else c for name, values in _MORE if name in more]
        for at, day in enumerate(outlook.days):
            cells = [_number(float(column[at])) for column in columns]
            lines.append(",".join([outlook.issued.isoformat(), day.isoformat(), *cells]))
    return ("\n".join(lines) + "\n").encode("utf-8")


def _about(folder: Path, settings: Settings, as_of: date) -> str:
    weather = settings.weather
    lines = [
        f"Weather of {settings.season.name} as known on the morning of {as_of}.",
        f"Records: {weather.source}. Outlooks: {weather.outlook}. Days are local calendar days, values °C.",
        f"Written by forecaster {__version__}.",
        *credits_of(folder, settings),
    ]
    about = read_about(folder / weather.folder) if weather.source == "meteostat" else None
    if about is not None:
        lines += [
            f"{r.station_id}: {r.name}; from {', '.join(r.sources) or 'unknown sources'}; last checked "
            f"{r.checked_on}."
            for r in about.records
        ]
    return "\n".join(lines) + "\n"


def _check_same(weather: Weather, to: Path, as_of: date) -> None:
    again = read_weather(to, as_of=as_of, with_outlooks=True)
    pairs = [
        *zip((weather.tmin_c, weather.tmax_c, weather.tmean_c), (again.tmin_c, again.tmax_c, again.tmean_c),
             strict=True),
        *((values(a), values(b))
          for a, b in zip(_in_order(weather.outlooks), _in_order(again.outlooks), strict=True)
          for values in (lambda o: o.tmin_c, lambda o: o.tmax_c, outlook_mean_c, *_SPREADS)),
    ]  # fmt: skip
    same = weather.stations == again.stations and weather.first_day == again.first_day
    if not same or not all(np.array_equal(a, b, equal_nan=True) for a, b in pairs):
        raise ForecasterError(f"{to}: what was written does not read back the same. Do not use it.")


def _in_order(outlooks: Iterable[Outlook]) -> list[Outlook]:
    return sorted((o for o in outlooks if o.days), key=lambda o: (o.station_id, o.issued))
