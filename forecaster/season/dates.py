"""Days as people say them: "10/14", "14 Oct", "yesterday", "tue". One that may be two days is refused.

A day without a year belongs to the season (1 February of its year to 31 January). Names of months and
weekdays are English, whole or their first three letters. Limit: no holidays, no "end of October".
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.errors import did_you_mean
from forecaster.season.cells import WEEKDAYS
from forecaster.season.moments import parse_day
from forecaster.season.tables import BadCell

MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july"),
    *("august", "september", "october", "november", "december"),
)
EXAMPLES = "14 Oct, 10/14, 2025-10-14, yesterday or tue"

_NUMBERS = re.compile(r"(\d{1,2})\s*([/.\-])\s*(\d{1,2})\.?")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?(?:\s+of)?[\s\-]+([a-z]{3,9})\.?(?:[\s,\-]+(\d{4}))?")
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.?[\s\-]+(\d{1,2})(?:st|nd|rd|th)?(?:[\s,\-]+(\d{4}))?")
_AGO = re.compile(r"(\d{1,3})\s+(day|week)s?\s+ago")
_AHEAD = re.compile(r"in\s+(\d{1,3})\s+(day|week)s?")
_RELATIVE = {"today": 0, "yesterday": -1, "tomorrow": 1, "now": 0, "day before yesterday": -2}


@dataclass(frozen=True)
class _Asked:
    text: str
    said: str  # in lower case, single blanks
    today: date
    season: int
    ahead: bool


def parse_said_day(text: str, *, today: date, season: int, ahead: bool) -> date:
    """The day that a person means.

    Args:
        text: What was said.
        today: The day on which it was said.
        season: Year of the season, for days without a year.
        ahead: A weekday alone means the next such day, not the last one.
    Raises:
        BadCell: No day, or one with two meanings; the message says what to write.
    Example:
        >>> said = {"today": date(2025, 10, 16), "season": 2025, "ahead": False}  # a Thursday
        >>> parse_said_day("Oct 14", **said), parse_said_day("tue", **said), parse_said_day("10/14", **said)
        (datetime.date(2025, 10, 14), datetime.date(2025, 10, 14), datetime.date(2025, 10, 14))
        >>> parse_said_day("5 Jan", **said)
        datetime.date(2026, 1, 5)
        >>> parse_said_day("10/5", **said)
        Traceback (most recent call last):
        forecaster.season.tables.BadCell: "10/5" may be 5 October or 10 May. Write 5 Oct or 10 May.
    """
    said = " ".join(text.casefold().split()).strip(",.")
    if said in _RELATIVE:
        return today + timedelta(days=_RELATIVE[said])
    asked = _Asked(text, said, today, season, ahead)
    for parse in (_counted, _weekday, _named, _numbers):
        day = parse(asked)
        if day is not None:
            return day
    if re.search(r"\d", said) and not re.search(r"[a-z]{3}", said):
        return parse_day(text.strip())
    raise BadCell(f'"{text}" is not a day.{_hint(said)} Write it like {EXAMPLES}.')


def short_day(day: date, *, year: bool = False) -> str:
    """A day as the program writes it to people, with the weekday.

    >>> short_day(date(2025, 10, 14)), short_day(date(2025, 10, 14), year=True)
    ('Tue 14 Oct', 'Tue 14 Oct 2025')
    """
    shown = f"{WEEKDAYS[day.weekday()][:3].capitalize()} {day.day} {MONTHS[day.month - 1][:3].capitalize()}"
    return f"{shown} {day.year}" if year else shown


def _counted(asked: _Asked) -> date | None:
    """ "3 days ago", "in 2 weeks"."""
    for pattern, sign in ((_AGO, -1), (_AHEAD, 1)):
        found = pattern.fullmatch(asked.said)
        if found:
            return asked.today + timedelta(days=sign * int(found[1]) * (7 if found[2] == "week" else 1))
    return None


def _weekday(asked: _Asked) -> date | None:
    """A weekday alone; "this", "last" and "next" before one mean different days to different people."""
    word, _, name = asked.said.rpartition(" ")
    index = _index_of(name, WEEKDAYS)
    if index is None or word not in ("", "this", "last", "next", "on"):
        return None
    before, after = (asked.today.weekday() - index) % 7, (index - asked.today.weekday()) % 7
    if word in ("", "on"):
        if before == 0:
            other = asked.today + timedelta(days=7 if asked.ahead else -7)
            raise BadCell(_two(f'today is such a day, so "{asked.text}"', asked.today, other))
        return asked.today + timedelta(days=after if asked.ahead else -before)
    if word == "this":
        first, second = asked.today - timedelta(days=before), asked.today + timedelta(days=after)
        if first == second:
            return asked.today
    elif word == "last":
        first = asked.today - timedelta(days=before or 7)
        second = first - timedelta(days=7)
    else:
        first = asked.today + timedelta(days=after or 7)
        second = first + timedelta(days=7)
    raise BadCell(_two(f'"{asked.text}"', first, second))


def _named(asked: _Asked) -> date | None:
    """ "14 Oct", "October 14th", "Oct 14, 2025"."""
    found = _DAY_MONTH.fullmatch(asked.said)
    number, name, year = (found[1], found[2], found[3]) if found else ("", "", None)
    if not found:
        found = _MONTH_DAY.fullmatch(asked.said)
        if not found:
            return None
        number, name, year = found[2], found[1], found[3]
    month = _index_of(name, MONTHS)
    if month is None:
        return None
    wanted = int(year) if year else _year_of(month + 1, asked.season)
    with suppress(ValueError):
        return date(wanted, month + 1, int(number))
    raise BadCell(f'"{asked.text}" is no day of the calendar. Correct it.')


def _numbers(asked: _Asked) -> date | None:
    """ "10/14": day and month in either order, if only one of them is a day."""
    found = _NUMBERS.fullmatch(asked.said)
    if not found:
        return None
    first, second = int(found[1]), int(found[3])
    meanings = []
    for month, day in ((first, second), (second, first)):
        with suppress(ValueError):
            meanings.append(date(_year_of(month, asked.season), month, day))
    if not meanings:
        raise BadCell(f'"{asked.text}" is no day of the calendar. Write it like {EXAMPLES}.')
    if len(set(meanings)) == 2:
        words = " or ".join(f"{day.day} {MONTHS[day.month - 1].capitalize()}" for day in meanings)
        cure = " or ".join(f"{day.day} {MONTHS[day.month - 1][:3].capitalize()}" for day in meanings)
        raise BadCell(f'"{asked.text}" may be {words}. Write {cure}.')
    return meanings[0]


def _year_of(month: int, season: int) -> int:
    return season if month >= 2 else season + 1


def _index_of(name: str, names: tuple[str, ...]) -> int | None:
    """Index of a name given whole or by its first three letters or more."""
    key = name.rstrip(".")
    if len(key) < 3:
        return None
    key = "sep" if key == "sept" else key
    return next((index for index, whole in enumerate(names) if whole.startswith(key)), None)


def _two(subject: str, first: date, second: date) -> str:
    words = f"{short_day(first)} or {short_day(second)}"
    cure = " or ".join(f"{day.day} {MONTHS[day.month - 1][:3].capitalize()}" for day in (first, second))
    return f"{subject} may be {words}. Write {cure}."


def _hint(said: str) -> str:
    known = [*_RELATIVE, *WEEKDAYS, *(day[:3] for day in WEEKDAYS)]
    for word in said.split():
        if word.isalpha() and len(word) >= 3 and not said[0].isdigit():
            near = did_you_mean(word, [*known, *MONTHS])
            if near:
                return near
    return ""
