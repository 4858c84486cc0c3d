"""The CSV of a private weather station or air logger: daily summaries, or many values a day made to days.

The unit must stand in the names of the columns ((°F), _f, Celsius) or be given; it is never guessed. Days
are local calendar days; times are the local clock unless they name their zone. Limits: one sensor a file;
a logger's box in the sun reads too warm, which nothing here can see.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice, pairwise
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.quantities import plain_number
from forecaster.season.tables import csv_records, decode, read_bytes
from forecaster.season.timestamps import parse_timestamps
from forecaster.units import f_to_c
from forecaster.weather.own_record import OwnRecord

HEADER_WITHIN_ROWS = 60
NO_VALUE = frozenset({"", "-", "--", "---", "na", "n/a", "nan", "null", "none"})
LONGEST_GAP = timedelta(hours=3)
"""A day with a longer hole between its values may have missed its minimum and is left out."""
FEWEST_A_DAY = 8
SHOWN_PROBLEMS = 5

_UNIT = re.compile(r"(?:°|º|\bdeg(?:rees)?|[(\[_,/\s])\s*(f|c|fahrenheit|celsius|centigrade)(?:\b|_|$)", re.I)
_ROLES = (
    ("tmin", re.compile(r"\b(min(imum)?|low(est)?)\b", re.I)),
    ("tmax", re.compile(r"\b(max(imum)?|high(est)?)\b", re.I)),
    ("tavg", re.compile(r"\b(mean|avg|average)\b", re.I)),
)
_TEMPERATURE = re.compile(r"temp|°|º|\bair\b|\bt(min|max|avg|mean)\b", re.I)
_MOMENT = re.compile(r"date|time|day", re.I)
_OTHER = re.compile(r"dew|humid|rain|wind|press|soil|water|heat index|chill|solar|uv|indoor|battery", re.I)


@dataclass(frozen=True)
class _Columns:
    """Where the header stands, its column of times, and the temperature columns by role ("" = any moment)."""

    header: int
    moment: int
    roles: dict[str, int]
    unit: str


def read_own_logger(path: Path, *, timezone: str, unit: str = "") -> OwnRecord:
    """Daily values of a private station.

    Args:
        path: CSV with a column of dates or times and one or more of air temperature.
        timezone: Name of the zone whose clock makes the days.
        unit: "f" or "c" where the columns do not say it.
    Raises:
        BadInput: No usable header, unit unknown, or rows that cannot be read.
    """
    name = path.name
    known, numbers, values = _read(path, unit)
    if "" in values:
        return _days_of_samples(known, values[""], ZoneInfo(timezone), name)
    return _days_of_summary(known, numbers, values, name)


def read_samples(path: Path, *, timezone: str) -> tuple[np.ndarray, np.ndarray]:
    """Many values a day as they are: seconds since 1970 (UTC), ascending, and temperatures [°C], (n,) each.

    Raises:
        BadInput: As `read_own_logger`, or the file holds daily summaries.
    """
    stamps, _, values = _read(path, "")
    if "" not in values:
        text = "holds daily lows and highs, not many values a day. Put it in with: forecaster weather add"
        raise BadInput(Problem(path.name, text))
    zone, found = ZoneInfo(timezone), dict[float, float]()
    for stamp, value in zip(stamps, values[""], strict=True):
        if np.isfinite(value):
            found.setdefault(stamp.replace(tzinfo=stamp.tzinfo or zone).timestamp(), value)
    at = np.array(sorted(found))
    return at, np.array([found[moment] for moment in at])


def _read(path: Path, unit: str) -> tuple[list[datetime], list[int], dict[str, list[float]]]:
    """Moments, row numbers and temperatures by role of a logger's file."""
    name = path.name
    records, columns = _find_header(decode(read_bytes(path), name), name, unit)
    rows = [
        (number, record)
        for number, record in enumerate(records[columns.header + 1 :], start=columns.header + 2)
        if len(record) > columns.moment and any(char.isdigit() for char in record[columns.moment])
    ]
    problems: list[Problem] = []
    texts, numbers = [r[columns.moment] for _, r in rows], [number for number, _ in rows]
    stamps = parse_timestamps(texts, numbers, name, problems)
    values = {role: _values(rows, at, columns.unit, name, problems) for role, at in columns.roles.items()}
    if problems:
        more = len(problems) - SHOWN_PROBLEMS
        rest = [Problem(name, f"{more} more rows like these.")] if more > 0 else []
        raise BadInput(problems[:SHOWN_PROBLEMS] + rest)
    known = [stamp for stamp in stamps if stamp is not None]
    if not known:
        raise BadInput(Problem(name, "no rows with a date below the header. Export it again."))
    return known, numbers, values


def _find_header(text: str, name: str, unit: str) -> tuple[list[list[str]], _Columns]:
    for delimiter in ",;\t":
        try:
            for index, record in enumerate(
                islice(csv_records(text, delimiter, strict=False), HEADER_WITHIN_ROWS)
            ):
                columns = _columns(index, record, unit, name)
                if columns is not None:
                    return list(csv_records(text, delimiter, strict=False)), columns
        except csv.Error:
            continue
    cure = "Name a column date and others like low_f and high_f, or one air_temp_f."
    raise BadInput(Problem(name, f"no header with a date and an air temperature was found. {cure}"))


def _columns(index: int, record: Sequence[str], unit: str, name: str) -> _Columns | None:
    """The columns of a header row, None where it is none."""
    plain = [cell.replace("_", " ") for cell in record]
    moments = [i for i, cell in enumerate(plain) if _MOMENT.search(cell) and not _TEMPERATURE.search(cell)]
    warm = [
        i for i, cell in enumerate(plain)
        if i not in moments and not _OTHER.search(cell)
        and (_TEMPERATURE.search(cell) or any(role.search(cell) for _, role in _ROLES))
    ]  # fmt: skip
    if not moments or not warm:
        return None
    where = f"{name} row {index + 1}"
    roles: dict[str, int] = {}
    for i in warm:
        role = next((key for key, pattern in _ROLES if pattern.search(plain[i])), "")
        if role in roles:
            both = f'"{record[roles[role]]}" and "{record[i]}"'
            raise BadInput(Problem(where, f"{both} may both be meant. Rename or remove one of them."))
        roles[role] = i
    if "" in roles and len(roles) > 1:
        roles.setdefault("tavg", roles.pop(""))
    units = {found[1][0].lower() for i in roles.values() if (found := _UNIT.search(f" {record[i]}"))}
    if not unit and len(units) != 1:
        said = "do not say °F or °C" if not units else "say both °F and °C"
        cure = "Rename them like low_f and high_f, or add --unit f or --unit c."
        raise BadInput(Problem(where, f"the temperature columns {said}. {cure}"))
    return _Columns(index, moments[0], roles, unit or units.pop())


def _values(
    rows: Sequence[tuple[int, Sequence[str]]], at: int, unit: str, name: str, problems: list[Problem]
) -> list[float]:
    """Values of a column [°C], NaN where empty."""
    values = []
    for number, record in rows:
        text = record[at].strip() if at < len(record) else ""
        value = plain_number(text.replace(",", ".")) if text.casefold() not in NO_VALUE else np.nan
        if value is None:
            cure = "Correct it or leave the cell empty."
            problems.append(Problem(f"{name} row {number}", f'"{text[:40]}" is not a temperature. {cure}'))
            value = np.nan
        values.append(f_to_c(value) if unit == "f" else float(value))
    return values


def _days_of_summary(
    stamps: Sequence[datetime], rows: Sequence[int], values: dict[str, list[float]], name: str
) -> OwnRecord:
    """A file with one row a day."""
    days = [stamp.date() for stamp in stamps]
    problems, first = [], dict[date, int]()
    for day, row in zip(days, rows, strict=True):
        if day in first:
            text = f"{day} is in row {first[day]} too. Keep one row a day."
            problems.append(Problem(f"{name} row {row}", text))
        first.setdefault(day, row)
    if problems:
        raise BadInput(problems[:SHOWN_PROBLEMS])
    order = np.argsort(np.array(days, dtype="datetime64[D]"))
    columns = {
        role: np.array(values[role])[order] if role in values else np.full(len(days), np.nan)
        for role in ("tmin", "tavg", "tmax")
    }
    return OwnRecord(
        np.array(days, dtype="datetime64[D]")[order], columns["tmin"], columns["tavg"], columns["tmax"]
    )


def _days_of_samples(
    stamps: Sequence[datetime], values: Sequence[float], zone: ZoneInfo, name: str
) -> OwnRecord:
    """Many values a day: minimum, mean and maximum of the days that are covered without a long hole."""
    samples: dict[datetime, float] = {}
    for stamp, value in zip(stamps, values, strict=True):
        if np.isfinite(value):
            samples.setdefault(stamp.replace(tzinfo=stamp.tzinfo or zone).astimezone(UTC), value)
    by_day: dict[date, list[tuple[datetime, float]]] = {}
    for instant in sorted(samples):
        by_day.setdefault(instant.astimezone(zone).date(), []).append((instant, samples[instant]))
    if not by_day or max(map(len, by_day.values())) < FEWEST_A_DAY:
        text = f"fewer than {FEWEST_A_DAY} values a day: their minimum is not the day's."
        raise BadInput(Problem(name, f"{text} Export more of them, or daily lows and highs."))
    ordered = sorted(samples)
    step = timedelta(seconds=median((b - a).total_seconds() for a, b in pairwise(ordered)))
    whole = {day: found for day, found in by_day.items() if _is_whole(day, found, zone, step)}
    notices = []
    if len(whole) < len(by_day):
        left = len(by_day) - len(whole)
        text = f"{left} days with holes of more than {LONGEST_GAP.seconds // 3600} hours are left out."
        notices.append(Notice(name, text))
    if not whole:
        raise BadInput(
            Problem(name, "no day is covered without a hole of more than 3 hours. Export it again.")
        )
    days = sorted(whole)
    table = np.array([[f(v for _, v in whole[day]) for f in (min, _mean, max)] for day in days])
    return OwnRecord(
        np.array(days, dtype="datetime64[D]"), table[:, 0], table[:, 1], table[:, 2], notices=tuple(notices)
    )


def _is_whole(day: date, found: Sequence[tuple[datetime, float]], zone: ZoneInfo, step: timedelta) -> bool:
    """At least 8 values and no long hole, also not at the day's ends."""
    start, end = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (day, day + timedelta(days=1)))
    moments = [start, *(instant for instant, _ in found), end]
    return len(found) >= FEWEST_A_DAY and max(b - a for a, b in pairwise(moments)) <= LONGEST_GAP + step


def _mean(values: object) -> float:
    listed = list(values)  # type: ignore[call-overload]
    return float(sum(listed) / len(listed))
