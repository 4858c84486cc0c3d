"""Where each day of a daily axis lies in its year, and what is usual for that part of the year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BLOCK_DAYS = 5
HALF_WINDOW_DAYS = 15
YEAR_DAYS = 366
FEWEST_VALUES = 60
"""Values that a window of the year must hold before its median and spread are believed."""
SD_PER_MAD = 1.4826
"""Standard deviation of a normal distribution per median absolute deviation: 1 / 0.67449."""


@dataclass(frozen=True, eq=False)
class CalendarAxis:
    """A daily axis: `year` counts from its first year, `day_of_year` 0-365 (29 February is its own day),
    `month` 0-11; all of shape (day,)."""

    first_day: date
    year: NDArray[np.int64]
    day_of_year: NDArray[np.int64]
    month: NDArray[np.int64]

    @classmethod
    def of(cls, first_day: date, day_count: int) -> CalendarAxis:
        """The axis of `day_count` days from `first_day` on."""
        days = np.datetime64(first_day, "D") + np.arange(day_count)
        years = days.astype("datetime64[Y]")
        months = days.astype("datetime64[M]")
        year_number = years.astype(np.int64) + 1970
        leap = (year_number % 4 == 0) & ((year_number % 100 != 0) | (year_number % 400 == 0))
        from_new_year = (days - years.astype("datetime64[D]")).astype(np.int64)
        day_of_year = from_new_year + (~leap & (from_new_year >= 59))
        first_year = year_number[0] if day_count else 0
        return cls(first_day, year_number - first_year, day_of_year, months.astype(np.int64) % 12)

    @property
    def day_count(self) -> int:
        """Number of days."""
        return int(self.year.size)

    @property
    def days(self) -> NDArray[np.datetime64]:
        """The dates."""
        return np.datetime64(self.first_day, "D") + np.arange(self.year.size)


def usual_range(values_c: Floats, axis: CalendarAxis) -> tuple[Floats, Floats]:
    """Median and robust standard deviation [°C] of the days of all years within 15 days of each day.

    Args:
        values_c: Daily values [°C], shape (day,); NaN is left out.
    Returns:
        Two arrays of shape (day,); NaN where the window holds fewer than 60 values. The standard deviation
        is 1.4826 times the median absolute deviation and never below 1 °C (whole-degree records).
    """
    blocks = -(-YEAR_DAYS // BLOCK_DAYS)
    median, spread = np.full(blocks, np.nan), np.full(blocks, np.nan)
    if values_c.size:
        grid = np.full((int(axis.year[-1]) + 1, YEAR_DAYS), np.nan)
        grid[axis.year, axis.day_of_year] = values_c
        for block in range(blocks):
            middle = block * BLOCK_DAYS + BLOCK_DAYS // 2
            window = grid[:, np.arange(middle - HALF_WINDOW_DAYS, middle + HALF_WINDOW_DAYS + 1) % YEAR_DAYS]
            known = window[np.isfinite(window)]
            if known.size >= FEWEST_VALUES:
                median[block] = np.median(known)
                spread[block] = max(1.0, SD_PER_MAD * float(np.median(np.abs(known - median[block]))))
    of_day = axis.day_of_year // BLOCK_DAYS
    return median[of_day], spread[of_day]


def seasonal_cycle(values_c: Floats, axis: CalendarAxis) -> Floats | None:
    """Mean and two harmonics of the year fitted to the known days [°C], shape (day,); None for a record
    with fewer than 300 known days or holes that leave a part of the year unseen."""
    known = np.isfinite(values_c)
    if known.sum() < 300 or np.unique(axis.month[known]).size < 12:
        return None
    angle = 2.0 * np.pi * axis.day_of_year / YEAR_DAYS
    columns = np.stack(
        [np.ones_like(angle), *(f(n * angle) for n in (1, 2) for f in (np.cos, np.sin))], axis=1
    )
    gram = columns[known].T @ columns[known]
    fitted = columns @ np.linalg.solve(gram, columns[known].T @ values_c[known])
    return np.asarray(fitted, dtype=np.float64)
