"""The season's axis: days since 1 August, up to 31 January. No 29 February ever lies on it.

A fall is named by the year of its August: the fall of 2025 runs from 1 August 2025 to 31 January 2026.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

FALL_DAYS = 184
"""Days from 1 August to 31 January, both counted."""

NOT_REACHED = np.inf
"""Later than every day; NaN would drop out of the quantiles unseen."""


def fall_of(day: date) -> int | None:
    """Year of the fall that holds `day`; None from 1 February to 31 July.

    >>> fall_of(date(2026, 1, 31)), fall_of(date(2026, 2, 1))
    (2025, None)
    """
    if day.month >= 8:
        return day.year
    return day.year - 1 if day.month == 1 else None


def fall_start(year: int) -> date:
    """1 August of `year`."""
    return date(year, 8, 1)


def fall_end(year: int) -> date:
    """31 January of the next year: the last day of the fall of `year`."""
    return date(year + 1, 1, 31)


def fall_day(day: date, year: int) -> int:
    """Days from 1 August of `year` to `day` [days], 0 on 1 August, negative before."""
    return (day - fall_start(year)).days


def date_of(index: float, year: int) -> date | None:
    """Date of day `index` of the fall of `year`; None for NOT_REACHED.

    >>> date_of(31, 2025), date_of(NOT_REACHED, 2025)
    (datetime.date(2025, 9, 1), None)
    """
    return None if not np.isfinite(index) else fall_start(year) + timedelta(days=int(index))
