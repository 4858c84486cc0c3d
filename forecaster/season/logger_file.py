"""Files of water temperature loggers: one CSV a site in `loggers/<site_id>.csv`, made to readings.

Any CSV will do that has one column of dates with times and one of temperatures whose name says °F or °C;
lines before the header are skipped. A day that was measured nearly whole becomes its mean, any other day
one single moment; in a file of bare dates each value is taken as the mean of its day. Days are local
calendar days of the season's time zone; times in the file are its local clock unless the header or the
times themselves name another (GMT-05:00, UTC, 2025-10-01T12:00Z).

Limit: samples while the logger lay in a drawer or froze in are only noticed outside -0.5 to 40 °C.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from itertools import islice, pairwise
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.season.quantities import plain_number, shown
from forecaster.season.readings import Reading
from forecaster.season.tables import csv_records, decode, read_bytes
from forecaster.season.timestamps import parse_timestamps
from forecaster.units import c_to_f, f_to_c

WATER_RANGE_C = (-0.5, 40.0)
WRONG_UNIT_SHARE = 0.05
"""More samples than this share outside the range mean a wrong unit or a dry logger, not a few slips."""
WHOLE_DAY_SHARE = 0.8
LONGEST_GAP = timedelta(hours=6)
FEWEST_SAMPLES = 4
HEADER_WITHIN_ROWS = 60
SHOWN_PROBLEMS = 5
NO_VALUE = frozenset({"", "-", "--", "---", "na", "n/a", "nan", "null", "none"})

_UNIT = re.compile(r"(?:°|º|\bdeg(?:rees)?|[(\[_,/\s])\s*(f|c|fahrenheit|celsius|centigrade)(?:\b|_|$)", re.I)
_ZONE = re.compile(r"\b(?:GMT|UTC)\s*(?:([+-])\s*(\d{1,2}):?(\d{2})?)?", re.I)


@dataclass(frozen=True)
class _Columns:
    """Where the header stands and which of its columns are used; `clock` where time has its own column."""

    header: int
    moment: int
    clock: int | None
    water: int
    unit: str
    zone: tzinfo | None


@dataclass(frozen=True)
class _Sample:
    """One value of the file: instant for order and repeats, local clock for the day."""

    row: int
    instant: datetime
    local: datetime
    water_c: float


@dataclass(frozen=True)
class _Rows:
    """Rows of the file with a temperature: their numbers, times, and values in the file's unit."""

    numbers: list[int]
    stamps: list[datetime]
    values: list[float]
    bare_dates: bool


def read_logger(path: Path, *, site_id: str, timezone: str) -> tuple[Reading, ...]:
    """Readings of one logger's file, in order of days: whole days as means, others as one moment each.

    Args:
        path: The CSV.
        site_id: The site whose water it measured.
        timezone: Name of the local time zone, which decides what a day is.
    Raises:
        BadInput: No usable header, two columns that could be meant, times or values that cannot be read.
    Missing values: rows without a temperature are skipped (loggers write such rows for events).
    """
    return _read(path, path.name, site_id, timezone)[0]


def read_loggers(
    folder: Path, site_ids: Iterable[str], timezone: str
) -> tuple[tuple[Reading, ...], tuple[Notice, ...]]:
    """Readings of all files `loggers/<site_id>.csv` of a season folder, by site and day.

    Raises:
        BadInput: A file of an unknown site, or one that cannot be used: the problems of all files at once.
    """
    ids = tuple(site_ids)
    readings: list[Reading] = []
    notices: list[Notice] = []
    problems: list[Problem] = []
    for path in sorted(folder.glob("loggers/*")):
        name = f"loggers/{path.name}"
        if path.name.startswith((".", "~")) or not path.is_file():
            continue
        if path.suffix.lower() != ".csv":
            notices.append(Notice(name, "not read: only .csv files are. Export it as CSV."))
        elif path.stem not in ids:
            hint = did_you_mean(path.stem, ids) or " Name the file after the site_id of the site sheet."
            problems.append(Problem(name, f'"{path.stem}" is not in the site sheet.{hint}'))
        else:
            try:
                found, said = _read(path, name, path.stem, timezone)
            except BadInput as error:
                problems.extend(error.problems)
            else:
                readings.extend(found)
                notices.extend(said)
    if problems:
        raise BadInput(problems)
    return tuple(sorted(readings, key=lambda reading: (reading.site_id, reading.day))), tuple(notices)


def _read(
    path: Path, name: str, site_id: str, timezone_name: str
) -> tuple[tuple[Reading, ...], list[Notice]]:
    """Readings of one file and what the user should know; `name` is the file as messages show it."""
    records, columns = _find_header(decode(read_bytes(path), name), name)
    rows = _rows(records, columns, name)
    samples, notices = _samples(rows, columns, name, ZoneInfo(timezone_name))
    step = None if rows.bare_dates else _usual_step(samples)
    by_day: dict[date, list[_Sample]] = {}
    for sample in samples:
        by_day.setdefault(sample.local.date(), []).append(sample)
    if rows.bare_dates:
        notices.append(Notice(name, "holds dates without times: each value is taken as the mean of its day."))
    readings = [_day_reading(day, found, step, site_id, name) for day, found in sorted(by_day.items())]
    return tuple(readings), notices


def _find_header(text: str, name: str) -> tuple[list[list[str]], _Columns]:
    """Records of the file and the first row that names a date-time and a temperature column."""
    if not text.strip():
        raise BadInput(Problem(name, "the file is empty. Export the logger again."))
    nearly: Problem | None = None
    for delimiter in ",;\t":
        try:
            for index, record in enumerate(
                islice(csv_records(text, delimiter, strict=False), HEADER_WITHIN_ROWS)
            ):
                found = _columns(index, record, name)
                if isinstance(found, _Columns):
                    return list(csv_records(text, delimiter, strict=False)), found
                nearly = nearly or found
        except csv.Error:
            nearly = nearly or Problem(name, "a double quote is never closed. Export the logger again.")
    cure = "Name a column date_time and one water_f or water_c."
    missing = Problem(name, f"no header with a date-time and a temperature column was found. {cure}")
    raise BadInput(nearly or missing)


def _columns(index: int, record: Sequence[str], name: str) -> _Columns | Problem | None:
    """The columns of a header row; None where it is none, a problem where it is one but leaves doubt."""
    moments = [i for i, cell in enumerate(record) if re.search(r"date|time|taken", cell, re.I)]
    warm = [i for i, cell in enumerate(record) if re.search(r"temp|water|°|º", cell, re.I)]
    if not moments or not warm or set(moments) & set(warm):  # both in one cell: parted by another sign
        return None
    where = f"{name} row {index + 1}"
    named = [i for i in warm if re.search("water", record[i], re.I)] or warm
    if len(named) > 1:
        names = ", ".join(f'"{record[i]}"' for i in named)
        return Problem(where, f"{names} may all be the water. Rename the right one water_f or water_c.")
    unit = _UNIT.search(f" {record[named[0]]}")
    if unit is None:
        return Problem(where, f'"{record[named[0]]}" does not say °F or °C. Rename it water_f or water_c.')
    dated = [i for i in moments if re.search(r"date|taken", record[i], re.I)] or moments
    clocks = [i for i in moments if i not in dated and not re.search("date", record[i], re.I)]
    both = [i for i in dated if re.search("time", record[i], re.I)]
    if len(dated) > 1 and len(both) != 1:
        names = ", ".join(f'"{record[i]}"' for i in dated)
        return Problem(where, f"{names} may all be the time. Rename the right one date_time.")
    moment = both[0] if both else dated[0]
    clock = clocks[0] if clocks and not both and len(clocks) == 1 else None
    zone = _zone_of(record[moment] + " " + (record[clock] if clock is not None else ""))
    return _Columns(index, moment, clock, named[0], unit[1][0].lower(), zone)


def _zone_of(header: str) -> tzinfo | None:
    """The zone that a header names by its distance from GMT, None where it names none."""
    found = _ZONE.search(header)
    if not found:
        return None
    away = timedelta(hours=int(found[2] or 0), minutes=int(found[3] or 0))
    return timezone(-away if found[1] == "-" else away)


def _rows(records: Sequence[Sequence[str]], columns: _Columns, name: str) -> _Rows:
    """Rows with a temperature, as numbers and times."""
    texts, values, numbers, problems = [], [], [], []
    last = max(columns.moment, columns.water, columns.clock or 0)
    for number, record in enumerate(records[columns.header + 1 :], start=columns.header + 2):
        if len(record) <= last or record[columns.water].casefold() in NO_VALUE:
            continue
        moment, value = record[columns.moment], plain_number(record[columns.water].replace(",", "."))
        if value is not None:
            texts.append(moment if columns.clock is None else f"{moment} {record[columns.clock]}")
            values.append(value)
            numbers.append(number)
        elif any(letter.isdigit() for letter in moment):  # else a footer
            found = f'"{record[columns.water]}" is not a temperature. Correct it or remove the row.'
            problems.append(Problem(f"{name} row {number}", found))
    stamps = parse_timestamps(texts, numbers, name, problems)
    if problems:
        more = len(problems) - SHOWN_PROBLEMS
        rest = [Problem(name, f"{more} more rows like these.")] if more > 0 else []
        raise BadInput(problems[:SHOWN_PROBLEMS] + rest)
    if not values:
        raise BadInput(Problem(name, "no temperatures below the header. Export the logger again."))
    known = [stamp for stamp in stamps if stamp is not None]
    return _Rows(numbers, known, values, bare_dates=not any(":" in text for text in texts))


def _samples(
    rows: _Rows, columns: _Columns, name: str, local_zone: ZoneInfo
) -> tuple[list[_Sample], list[Notice]]:
    """Samples in order of time, each instant once; what is left out is said in notices."""
    samples: dict[datetime, _Sample] = {}
    outside, repeated = [], []
    for number, stamp, value in zip(rows.numbers, rows.stamps, rows.values, strict=True):
        zone = local_zone if rows.bare_dates else stamp.tzinfo or columns.zone or local_zone
        instant = stamp.replace(tzinfo=zone).astimezone(UTC)
        water_c = f_to_c(value) if columns.unit == "f" else value
        if not WATER_RANGE_C[0] <= water_c <= WATER_RANGE_C[1]:
            outside.append((number, value))
        elif instant in samples:
            repeated.append(number)
        else:
            samples[instant] = _Sample(number, instant, instant.astimezone(local_zone), water_c)
    notices = _outside(outside, len(rows.values), columns.unit, name)
    if repeated:
        text = f"repeats the time of an earlier row ({len(repeated)} in all); left out."
        notices.append(Notice(f"{name} row {repeated[0]}", text))
    return [samples[instant] for instant in sorted(samples)], notices


def _outside(outside: Sequence[tuple[int, float]], count: int, unit: str, name: str) -> list[Notice]:
    """A notice for a few values that are no water temperature, a problem for many."""
    if not outside:
        return []
    low, high = (shown(c_to_f(end) if unit == "f" else end) for end in WATER_RANGE_C)
    row, value = outside[0]
    allowed = f"{low} to {high} °{unit.upper()}"
    found = f"{len(outside)} of {count} values lie outside {allowed}, the first is {shown(value)}"
    if len(outside) > WRONG_UNIT_SHARE * count:
        other = "water_c" if unit == "f" else "water_f"
        cure = (
            f"Is the unit wrong? Then rename the column {other}; else remove what was measured out of water."
        )
        raise BadInput(Problem(f"{name} row {row}", f"{found}. {cure}"))
    return [Notice(f"{name} row {row}", f"{found}; left out.")]


def _usual_step(samples: Sequence[_Sample]) -> timedelta:
    """Median time between samples; a day where there is only one."""
    steps = [(b.instant - a.instant).total_seconds() for a, b in pairwise(samples)]
    return timedelta(seconds=median(steps)) if steps else timedelta(days=1)


def _day_reading(
    day: date, samples: Sequence[_Sample], step: timedelta | None, site_id: str, name: str
) -> Reading:
    """The day's mean where it was measured nearly whole, else the sample nearest noon.

    `step` is None in a file of bare dates, whose values are means already.
    """
    if step is None or _is_whole(day, samples, step):
        mean_c = sum(sample.water_c for sample in samples) / len(samples)
        first, last = samples[0].row, samples[-1].row
        where = f"{name} row {first}" if first == last else f"{name} rows {first}-{last}"
        return Reading(site_id=site_id, day=day, water_c=mean_c, by="logger", daily_mean=True, where=where)
    sample = min(samples, key=lambda sample: (abs(_hour(sample.local) - 12), sample.row))
    return Reading(
        site_id=site_id,
        day=day,
        water_c=sample.water_c,
        hour=_hour(sample.local),
        by="logger",
        where=f"{name} row {sample.row}",
    )


def _is_whole(day: date, samples: Sequence[_Sample], step: timedelta) -> bool:
    """At least 80 % of the samples of a day with that step, and no long gap, also not at its ends."""
    expected = timedelta(days=1) / step
    if expected < FEWEST_SAMPLES or len(samples) < WHOLE_DAY_SHARE * expected:
        return False
    start = datetime.combine(day, datetime.min.time(), tzinfo=samples[0].local.tzinfo)
    end = datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=samples[0].local.tzinfo)
    moments = [start.astimezone(UTC), *(s.instant for s in samples), end.astimezone(UTC)]
    return max(b - a for a, b in pairwise(moments)) <= LONGEST_GAP + step


def _hour(moment: datetime) -> float:
    return moment.hour + moment.minute / 60 + moment.second / 3600
