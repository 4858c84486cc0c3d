"""Dates and clock times in cells and settings, and what to write instead of one with two meanings.

Dates are local calendar dates, times the local clock; a time zone inside a cell is refused.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from forecaster.season.tables import BadCell

YEARS = (1900, 2199)
SPREADSHEET_DAY_ZERO = date(1899, 12, 30)
"""Day 0 of the 1900 date system of workbooks, for days after February 1900 (ECMA-376 part 1, 18.17.4.1)."""

_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_PARTS = re.compile(r"(\d{1,2})([/.\-])(\d{1,2})\2(\d{4}|\d{2})")
_CLOCK = re.compile(r"(\d{1,2})(?::(\d{2})(?::(\d{2})(?:\.\d*)?)?)?\s*(?:([ap])\.?m\.?)?", re.IGNORECASE)
_ZONE = re.compile(r"\d\s*(Z|UTC|GMT|[+-]\d{2}:?\d{2})$", re.IGNORECASE)
_WORDS = ("%b %d %Y", "%d %b %Y", "%B %d %Y", "%d %B %Y")


def parse_day(text: str) -> date:
    """A date: ISO, or day and month in numbers where only one order is possible.

    Raises:
        BadCell: No date, or one with two meanings; the message tells both.
    Example:
        >>> parse_day("2025-10-14"), parse_day("10/14/2025")
        (datetime.date(2025, 10, 14), datetime.date(2025, 10, 14))
        >>> parse_day("10/5/2025")
        Traceback (most recent call last):
        forecaster.season.tables.BadCell: "10/5/2025" may be 5 October or 10 May.
            Write 2025-10-05 or 2025-05-10.
    """
    iso = _ISO.fullmatch(text)
    if iso:
        day = _date(int(iso[1]), int(iso[2]), int(iso[3]))
        if day is None:
            raise BadCell(f'"{text}" is no day of the calendar. Write year-month-day, like 2025-10-14.')
        return _checked_year(day, text)
    parts = _PARTS.fullmatch(text)
    if parts:
        return _checked_year(_day_of_parts(text, int(parts[1]), int(parts[3]), parts[4]), text)
    raise BadCell(f'"{text}" is not a date.{_date_cure(text)}')


def parse_clock(text: str) -> float:
    """Local clock time [h, 0-24) of "15:30", "15:30:00" or "3:30 pm".

    >>> parse_clock("15:30"), parse_clock("12:15 am")
    (15.5, 0.25)
    """
    found = _CLOCK.fullmatch(text)
    if found and (found[2] or found[4]):
        hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
        if found[4] and 1 <= hour <= 12:
            hour = hour % 12 + (12 if found[4].lower() == "p" else 0)
        elif found[4]:
            hour = 24
        if hour < 24 and minute < 60 and second < 60:
            return hour + minute / 60 + second / 3600
    raise BadCell(f'"{text}" is not a time of day. Write it like 15:30.')


def parse_moment(text: str) -> tuple[date, float | None]:
    """A date, or a date and a clock time: the day, and the hour [h, 0-24) or None where no time is given.

    Raises:
        BadCell: Neither, or with a time zone.
    Example:
        >>> parse_moment("2025-10-14 15:30"), parse_moment("2025-10-14")
        ((datetime.date(2025, 10, 14), 15.5), (datetime.date(2025, 10, 14), None))
    """
    day_text, _, clock_text = re.sub(r"(?<=\d)T(?=\d)", " ", text, count=1).partition(" ")
    clock_text = clock_text.strip()
    if not (":" in clock_text or _CLOCK.fullmatch(clock_text)) or not day_text[:1].isdigit():
        return parse_day(text), None
    day = parse_day(day_text)
    if _ZONE.search(clock_text):
        raise BadCell(f'"{text}" carries a time zone. Write the local clock time, like {day} 15:30.')
    return day, parse_clock(clock_text)


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _day_of_parts(text: str, first: int, second: int, year_text: str) -> date:
    """The one date that two numbers and a year can mean."""
    year = int(year_text) if len(year_text) == 4 else 2000 + int(year_text)
    month_first, day_first = _date(year, first, second), _date(year, second, first)
    meanings = [day for day in (month_first, day_first) if day is not None]
    if not meanings:
        raise BadCell(f'"{text}" is no day of the calendar. Write year-month-day, like 2025-10-14.')
    if len(year_text) == 2:
        cure = " or ".join(str(day) for day in dict.fromkeys(meanings))
        raise BadCell(f'"{text}" has a year of two figures. Write {cure}.')
    if len(meanings) == 2 and meanings[0] != meanings[1]:
        words = " or ".join(f"{day.day} {day:%B}" for day in meanings)
        raise BadCell(f'"{text}" may be {words}. Write {meanings[0]} or {meanings[1]}.')
    return meanings[0]


def _checked_year(day: date, text: str) -> date:
    if not YEARS[0] <= day.year <= YEARS[1]:
        raise BadCell(f'"{text}" lies outside the years {YEARS[0]} to {YEARS[1]}. Correct the year.')
    return day


def _date_cure(text: str) -> str:
    """What to write instead of a text that is not a date."""
    if text.startswith("#"):
        return " It is a spreadsheet's error: correct its formula, or widen the column."
    if re.fullmatch(r"[3-6]\d{4}(\.\d+)?", text):
        day = SPREADSHEET_DAY_ZERO + timedelta(days=int(float(text)))
        return f" It looks like a spreadsheet's day number: write {day}, or format the column as date."
    words = " ".join(re.sub(r"[.,]", " ", text).split())
    for pattern in _WORDS:
        try:
            return f" Write {datetime.strptime(words, pattern).date()}."
        except ValueError:
            continue
    return " Write year-month-day, like 2025-10-14."
