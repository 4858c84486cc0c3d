"""Columns of dates and times as loggers write them: ISO, or numbers parted by / . or - with the day, the
month and a year of two or four figures.

Which number is the day is told by all rows together. Where every one could be a month, the order that
makes the record shorter is taken: with the wrong one, neighbouring days lie months apart.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta

from forecaster.errors import Problem

_NUMBERS = re.compile(
    r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})"
    r"(?:[,T\s]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d*)?)?(?:\s*([ap])\.?m\.?)?)?",
    re.IGNORECASE,
)
_YEAR_FIRST = re.compile(r"(\d{4})[/.](\d{1,2})[/.](\d{1,2})")


def parse_timestamps(
    texts: Sequence[str], rows: Sequence[int], name: str, problems: list[Problem]
) -> list[datetime | None]:
    """Times of a column, None for those that were added to `problems`; a bare date is its midnight.

    Args:
        texts: The cells.
        rows: Their rows in the file, for messages.
        name: The file as messages show it.

    >>> parse_timestamps(["10/05/25 11:00 PM", "10/06/25 12:00 AM"], [2, 3], "a.csv", [])
    [datetime.datetime(2025, 10, 5, 23, 0), datetime.datetime(2025, 10, 6, 0, 0)]
    """
    stamps: list[datetime | None] = [_iso(text) for text in texts]
    numbers = {index: _NUMBERS.fullmatch(texts[index]) for index, stamp in enumerate(stamps) if stamp is None}
    found = {index: match for index, match in numbers.items() if match is not None}
    month_first, day_first = _in_order(found, month=1, day=2), _in_order(found, month=2, day=1)
    chosen = max(month_first, day_first, key=len)
    if month_first and len(month_first) == len(day_first) and month_first != day_first:
        chosen = min(month_first, day_first, key=_span)
        if _span(month_first) == _span(day_first):
            text = f'"{texts[min(found)]}": day or month first? Export with dates like 2025-10-05 15:30.'
            problems.append(Problem(f"{name} row {rows[min(found)]}", text))
            return stamps
    for index in numbers:
        stamps[index] = chosen.get(index)
        if stamps[index] is None:
            text = f'"{texts[index]}" is not a date and time. Write it like 2025-10-05 15:30.'
            problems.append(Problem(f"{name} row {rows[index]}", text))
    return stamps


def _iso(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(_YEAR_FIRST.sub(_dashes, text, count=1))
    except ValueError:
        return None


def _dashes(found: re.Match[str]) -> str:
    return f"{found[1]}-{int(found[2]):02}-{int(found[3]):02}"


def _span(stamps: dict[int, datetime]) -> timedelta:
    return max(stamps.values()) - min(stamps.values())


def _in_order(found: dict[int, re.Match[str]], *, month: int, day: int) -> dict[int, datetime]:
    """The times with these groups as month and day; rows in which they are no date are left out."""
    stamps = {}
    for index, match in found.items():
        year = int(match[3]) + (2000 if len(match[3]) == 2 else 0)
        hour = int(match[4] or 0)
        if match[7] and 1 <= hour <= 12:
            hour = hour % 12 + (12 if match[7].lower() == "p" else 0)
        with suppress(ValueError):
            stamps[index] = datetime(
                year, int(match[month]), int(match[day]), hour, int(match[5] or 0), int(match[6] or 0)
            )
    return stamps
