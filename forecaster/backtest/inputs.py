"""What a backtest reads: the office's files and the stations' whole records, and what it was asked for."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem
from forecaster.falls import fall_of
from forecaster.season.readings import Reading
from forecaster.season.readings_file import read_loggers, read_readings
from forecaster.season.settings import Settings, read_settings
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site
from forecaster.visit.kit import KIT_COLUMNS
from forecaster.weather.credits import OUTLOOKS, credits_of
from forecaster.weather.files import read_station_records
from forecaster.weather.known_rows import StationRecord
from forecaster.weather.outlook_file import read_outlooks
from forecaster.weather.outlook_kept import kept_issues
from forecaster.weather.records import RECORDS_FOLDER, records_folder
from forecaster.weather.stations import Outlook

OUTLOOK_KINDS = ("none", "emulated", "perfect", "kept")
FEWEST_EARLIER = 15
"""A season is scored when so many earlier ones are known; the reference needs as many."""


@dataclass(frozen=True)
class Asked:
    """What the user asked for.

    `seasons`: first and last fall, None for all; `as_of_days`: (month, day) pairs, None for the seven weeks
    before the median crossing; `outlook`: see OUTLOOK_KINDS; `members`: for forecasts that draw anything
    (None: as in the settings); `readings_a_fall`: so many readings of each fall are kept, None for all.
    `money_every_days`: days between two decisions; `closings_a_day`: on every working day, None: by the hours
    of the season's crews.
    """

    seasons: tuple[int, int] | None = None
    as_of_days: tuple[tuple[int, int], ...] | None = None
    outlook: str = "none"
    money: bool = False
    members: int | None = None
    readings_a_fall: int | None = None
    money_every_days: int = 1
    closings_a_day: int | None = None


@dataclass(frozen=True, eq=False)
class BacktestInput:
    """Everything a replay may use, each season its part. `sites` carry no booked or told dates."""

    settings: Settings
    sites: tuple[Site, ...]
    readings: tuple[Reading, ...]
    records: tuple[StationRecord, ...]
    outlooks: tuple[Outlook, ...]
    asked: Asked
    notices: tuple[Notice, ...] = ()


def read_backtest(folder: Path, asked: Asked) -> BacktestInput:
    """Read a season folder for a backtest.

    Raises:
        BadInput: Any of the files or of the wishes cannot be used: the problems of all of them at once.
    """
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "there is no such folder. Name the season's folder."))
    problems = list(asked_problems(asked))
    found: dict[str, object] = {}

    def attempt(name: str, read: object) -> object:
        try:
            found[name] = read()  # type: ignore[operator]
        except BadInput as error:
            problems.extend(error.problems)
        return found.get(name)

    settings = attempt("settings", lambda: read_settings(folder))
    assert settings is None or isinstance(settings, Settings)
    crew_names = [crew.name for crew in settings.crews] if settings else []
    attempt("sheet", lambda: read_sites(folder, crew_names=crew_names, extra_columns=KIT_COLUMNS))
    sites, notices = _pair(found.get("sheet"))
    readings: list[Reading] = []
    if "sheet" in found:
        ids = [site.site_id for site in sites]
        zone = settings.season.timezone if settings else "UTC"
        for name, read in (
            ("readings", lambda: read_readings(folder, site_ids=ids)),
            ("loggers", lambda: read_loggers(folder, ids, zone)),
        ):
            attempt(name, read)
            more, told = _pair(found.get(name))
            readings += more
            notices += told
    records: list[StationRecord] = []
    outlooks: list[Outlook] = []
    if settings is not None:
        weather, shown = folder / settings.weather.folder, settings.weather.folder
        own, service = (weather, shown), settings.weather.outlook
        if settings.weather.source == "meteostat":
            weather, shown = records_folder(weather), f"{shown}/{RECORDS_FOLDER}"
        notices += [Notice("weather data", text) for text in credits_of(folder, settings)]
        attempt("records", lambda: read_station_records(weather, shown_as=shown))
        records, told = _pair(found.get("records"))
        notices += told
        if asked.outlook == "kept":
            stations = [record.station for record in records]
            ids = [station.station_id for station in stations]
            if service in OUTLOOKS:
                attempt("kept", lambda: (kept_issues(own[0], ids, service), ()))
            else:
                attempt("kept", lambda: read_outlooks(own[0], stations, as_of=date.max, shown_as=own[1]))
            outlooks, told = _pair(found.get("kept"))
            notices += told
    if problems:
        raise BadInput(dict.fromkeys(problems))
    assert settings is not None
    kept = readings if asked.readings_a_fall is None else thinned(readings, asked.readings_a_fall)
    return BacktestInput(
        settings=settings,
        sites=tuple(replace(site, booked_date=None, told_date=None) for site in sites),
        readings=tuple(sorted(kept, key=lambda r: (r.site_id, r.day, r.hour or 0.0))),
        records=tuple(records),
        outlooks=tuple(outlooks),
        asked=asked,
        notices=tuple(notices),
    )


def _pair(found: object) -> tuple[list, list]:  # type: ignore[type-arg]
    return ([], []) if found is None else (list(found[0]), list(found[1]))  # type: ignore[index]


def asked_problems(asked: Asked) -> list[Problem]:
    """What is wrong with the wishes themselves."""
    problems = []
    if asked.outlook not in OUTLOOK_KINDS:
        allowed = ", ".join(OUTLOOK_KINDS)
        problems.append(Problem("--outlook", f'"{asked.outlook}" is not one of {allowed}.'))
    if asked.seasons and asked.seasons[0] > asked.seasons[1]:
        first, last = asked.seasons
        problems.append(Problem("--seasons", f"{first} comes after {last}. Write {last}-{first}."))
    for month, day in asked.as_of_days or ():
        shown = f"{month:02d}-{day:02d}"
        try:
            inside = fall_of(date(2001 if month >= 8 else 2002, month, day)) is not None
        except ValueError:
            problems.append(Problem("--as-of-days", f'"{shown}" is no day of the year. Write like 10-01.'))
            continue
        if not inside:
            text = f'"{shown}" lies outside a season; allowed are 08-01 to 01-31.'
            problems.append(Problem("--as-of-days", text))
    if asked.members is not None and asked.members < 100:
        problems.append(Problem("--members", f"{asked.members} are too few; 100 or more."))
    if not 1 <= asked.money_every_days <= 28:
        problems.append(Problem("--every", f"{asked.money_every_days} is not 1 to 28 days."))
    if asked.closings_a_day is not None and asked.closings_a_day < 1:
        problems.append(Problem("--closings", f"{asked.closings_a_day} is not 1 or more."))
    return problems


def thinned(readings: list[Reading], a_fall: int) -> list[Reading]:
    """At most `a_fall` readings of each site and fall, on fixed days of the year chosen without looking.

    Of each site and fall the readings nearest to evenly spread days from 1 September to 15 November are
    kept, the earliest at or after each day: what an office would have measured, whatever came later.
    """
    starts = [31 + round(76 * n / a_fall) for n in range(a_fall)] if a_fall else []
    kept: list[Reading] = []
    groups: dict[tuple[str, int], list[Reading]] = {}
    for reading in readings:
        fall = fall_of(reading.day)
        if fall is not None:
            groups.setdefault((reading.site_id, fall), []).append(reading)
    for (_, fall), own in groups.items():
        ordered = sorted(own, key=lambda r: (r.day, r.hour or 0.0))
        for number, start in enumerate(starts):
            end = starts[number + 1] if number + 1 < len(starts) else 107
            first = next((r for r in ordered if start <= (r.day - date(fall, 8, 1)).days < end), None)
            if first is not None:
                kept.append(first)
    return kept


def fingerprint(given: BacktestInput, version: str) -> str:
    """Short name of exactly this input and program version: equal inputs, equal name."""
    digest = hashlib.sha256(version.encode())
    digest.update(json.dumps(_ordered(given.settings.model_dump(mode="json"))).encode())
    digest.update(repr((given.asked, given.sites, given.readings)).encode())
    for record in given.records:
        digest.update(repr((record.station, record.rows.where)).encode())
        for name in sorted(record.rows.dates):
            digest.update(record.rows.dates[name].tobytes())
        for name in sorted(record.rows.values):
            digest.update(record.rows.values[name].tobytes())
    for outlook in given.outlooks:
        digest.update(repr((outlook.station_id, outlook.issued, outlook.days)).encode())
        digest.update(outlook.tmin_c.tobytes() + outlook.tmax_c.tobytes())
    return digest.hexdigest()[:24]


def _ordered(value: object) -> object:
    """The same with every list in order: sets come out in another order in each process."""
    if isinstance(value, dict):
        return {key: _ordered(value[key]) for key in sorted(value)}
    if isinstance(value, list):
        return sorted((_ordered(item) for item in value), key=json.dumps)
    return value
