"""The weather of a season folder as a forecast may use it. Reads what is there; never asks the network.

`source = "files"`: own records in the weather folder. `source = "meteostat"`: the records that
`forecaster weather update` has kept; their age is said in days before the as-of date. Outlooks likewise:
own files, or those that were kept when they were fetched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.errors import BadInput, ForecasterError, Notice, Problem
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.credits import credits_of
from forecaster.weather.files import read_weather
from forecaster.weather.level_steps import level_steps
from forecaster.weather.neighbour_check import disagreements, shifted_years
from forecaster.weather.outlook_file import plausible_days
from forecaster.weather.outlook_kept import one_a_day, read_kept
from forecaster.weather.records import (
    MissingWeather,
    RecordsAbout,
    about_notices,
    read_about,
    records_folder,
    verify_records,
)
from forecaster.weather.stations import Outlook, Weather

FRESH_OUTLOOK_DAYS = 1
"""An outlook issued earlier than this before the as-of date is named with its age [days]."""


def load_weather(folder: Path, settings: Settings, *, as_of: date, sites: Sequence[Site] = ()) -> Weather:
    """All stations of the season as known on the morning of `as_of`, with the outlooks known then.

    Args:
        folder: The season folder.
        settings: Say where records and outlooks come from.
        as_of: Nothing of this day or later enters, nor any word about it.
        sites: Those to forecast; ones that were not in the sheet at the last update are named.
    Raises:
        MissingWeather: Records come from the archive and none are kept, or they are damaged (exit code 1).
        BadInput: Files that cannot be used as they are.
    """
    if settings.weather.source == "files":
        weather = read_weather(
            folder / settings.weather.folder,
            as_of=as_of,
            with_outlooks=settings.weather.outlook == "files",
            shown_as=settings.weather.folder,
        )
        shown = settings.weather.folder
    else:
        weather, shown = _kept_records(folder, settings, as_of, sites)
    wheres = [f"{shown}/{station.station_id}.csv" for station in weather.stations]
    said = (
        *disagreements(weather, wheres),
        *shifted_years(weather, wheres),
        *level_steps(weather, wheres),
    )
    weather = replace(weather, notices=(*weather.notices, *said), credits=credits_of(folder, settings))
    if settings.weather.outlook in ("none", "files"):
        return weather
    outlooks, notices = kept_outlooks(folder, settings, weather, as_of=as_of)
    return replace(weather, outlooks=outlooks, notices=(*weather.notices, *notices))


def kept_outlooks(
    folder: Path, settings: Settings, weather: Weather, *, as_of: date
) -> tuple[tuple[Outlook, ...], tuple[Notice, ...]]:
    """The kept outlooks of the chosen service, one a station and day of issue, and how old the last is.

    Raises:
        BadInput: A file of kept outlooks cannot be read.
    """
    ids = [station.station_id for station in weather.stations]
    source = settings.weather.outlook
    kept = one_a_day(read_kept(folder / settings.weather.folder, ids, as_of=as_of, source=source))
    live = [k.outlook for k in kept if k.kind == "forecast"]
    last = {o.station_id: o.issued for o in sorted(live, key=lambda o: o.issued)}
    outlooks = tuple(
        _plausible(k.with_spread)
        for k in kept
        if k.kind == "forecast" or k.outlook.issued < last.get(k.outlook.station_id, date.max)
    )  # one put together later ends with its own making: it must not stand before the last real one
    where = f"outlook {source}"
    if not live:
        text = f"none is kept up to {as_of}: the coming days are as open as all others."
        return outlooks, (Notice(where, f"{text} Run: forecaster weather update"),)
    notices = []
    old: dict[date, list[str]] = {}
    for station_id, issued in last.items():
        if (as_of - issued).days > FRESH_OUTLOOK_DAYS:
            old.setdefault(issued, []).append(station_id)
    for issued, stations in sorted(old.items()):
        age = (as_of - issued).days
        text = (
            f"the last one of {', '.join(stations)} was issued on {issued}, {age} days before the as-of date."
        )
        notices.append(Notice(where, text))
    bare = [station_id for station_id in ids if station_id not in last]
    if bare:
        notices.append(Notice(where, f"none is kept for {', '.join(bare)}."))
    return outlooks, tuple(notices)


def _plausible(outlook: Outlook) -> Outlook:
    """The outlook without days that cannot be, as own files are read."""
    means = outlook.tmean_c if outlook.tmean_c is not None else np.full(len(outlook.days), np.nan)
    _, low, high, mean = plausible_days(outlook.tmin_c, outlook.tmax_c, means)
    return replace(outlook, tmin_c=low, tmax_c=high, tmean_c=mean)


def _kept_records(
    folder: Path, settings: Settings, as_of: date, sites: Sequence[Site]
) -> tuple[Weather, str]:
    """The kept records as known on `as_of`, and how their folder is shown."""
    weather_folder = folder / settings.weather.folder
    about = read_about(weather_folder)
    update = f"Run: forecaster weather update {folder}"
    if about is None or not about.records:
        text = f"{folder}: no station records are kept yet, and a forecast does not fetch any itself."
        raise MissingWeather(f"{text} {update}")
    damaged = verify_records(weather_folder, about)
    if damaged:
        text = f"the kept records of {', '.join(damaged)} are missing or were changed since the last update."
        raise MissingWeather(f"{folder}: {text} {update}")
    shown = records_folder(weather_folder).relative_to(folder).as_posix()
    weather, left_out = _without_unfit(folder, about, as_of, shown)
    used = {station.station_id for station in weather.stations}
    known = RecordsAbout(about.updated_on, tuple(r for r in about.records if r.station_id in used))
    notices = [*about_notices(known, as_of=as_of, shown_as=shown), *left_out]
    new = [site.site_id for site in sites if about.sites and site.site_id not in about.sites]
    if new:
        names = ", ".join(new[:5]) + (f" and {len(new) - 5} more" if len(new) > 5 else "")
        text = f"{names} were not in the sheet at the last update: nearer stations may exist."
        notices.append(Notice("sites.csv", f"{text} Run: forecaster weather update"))
    return replace(weather, notices=(*notices, *weather.notices)), shown


def _without_unfit(
    folder: Path, about: RecordsAbout, as_of: date, shown: str
) -> tuple[Weather, tuple[Notice, ...]]:
    """The weather of the stations that can be used on `as_of`; one with a long gap just before it is left
    out where others remain, because nobody here can add its days."""
    ids = [record.station_id for record in about.records]
    notices: list[Notice] = []
    records = folder / shown
    while True:
        try:
            return read_weather(records, as_of=as_of, station_ids=ids, shown_as=shown), tuple(notices)
        except BadInput as error:
            blamed = {name: text for name in ids if (text := _blame(error, f"{shown}/{name}.csv"))}
            if not blamed or len(blamed) == len(ids) or _others(error, shown, blamed):
                raise _with_update(error, folder, about) from None
            ids = [name for name in ids if name not in blamed]
            notices += [
                Notice(f"{shown}/{name}.csv", f"the station is not used: {text}")
                for name, text in blamed.items()
            ]


def _blame(error: BadInput, where: str) -> str:
    """What is wrong with one file, "" for nothing."""
    return next((p.text for p in error.problems if p.where == where or p.where.startswith(f"{where} ")), "")


def _others(error: BadInput, shown: str, blamed: dict[str, str]) -> bool:
    """True where a problem lies with none of the blamed files."""
    wheres = tuple(f"{shown}/{name}.csv" for name in blamed)
    return any(not problem.where.startswith(wheres) for problem in error.problems)


def _with_update(error: BadInput, folder: Path, about: RecordsAbout) -> ForecasterError:
    text = f"they were fetched on {about.updated_on}. Fetch newer ones: forecaster weather update {folder}"
    return BadInput([*error.problems, Problem("kept records", text)])
