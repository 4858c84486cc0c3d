"""What of a station's record may be known on the as-of date, and whether that part can be used.

The rows of the as-of date and after are dropped before anything else is looked at: whatever they hold,
no value, message or error changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Problem
from forecaster.weather.calendar_axis import CalendarAxis, Floats, usual_range
from forecaster.weather.daily_csv import DailyRows
from forecaster.weather.fahrenheit import fahrenheit_sign, switched_to_fahrenheit
from forecaster.weather.stations import Station

RECENT_DAYS = 366
"""Newest days of a record that are searched for a switch to °F [days]."""


@dataclass(frozen=True, eq=False)
class StationRecord:
    """A station and its rows: columns `tmin`, `tavg`, `tmax` [°C] by `date`, in the order of the source."""

    station: Station
    rows: DailyRows


@dataclass(frozen=True, eq=False)
class KnownRows:
    """What a record holds before the as-of date: ascending days without doubles and their values [°C]."""

    station: Station
    where: str
    days: NDArray[np.datetime64]
    tmin_c: Floats
    tavg_c: Floats
    tmax_c: Floats

    @property
    def tmean_c(self) -> Floats:
        return np.where(np.isfinite(self.tavg_c), self.tavg_c, (self.tmin_c + self.tmax_c) / 2.0)


def known_before(record: StationRecord, as_of: date) -> tuple[KnownRows | None, list[Problem]]:
    """The part of a record that may be known on `as_of`, and what is wrong with that part."""
    rows = record.rows
    keep = rows.dates["date"] < np.datetime64(as_of, "D")
    days, numbers = rows.dates["date"][keep], rows.row_numbers[keep]
    problems = [problem for day, problem in rows.problems if day is None or day < as_of]
    if not rows.dates["date"].size and not rows.problems:
        problems.append(Problem(rows.where, "no row below the names of the columns. Add one row a day."))
    if not rows.present >= {"tmin", "tmax"} and "tavg" not in rows.present:
        found = ", ".join(["date", *sorted(rows.present)])
        problems.append(
            Problem(f"{rows.where} row 1", f"needs the column tavg, or tmin and tmax; found {found}.")
        )
    problems += _order_problems(rows.where, days, numbers)
    known = KnownRows(
        record.station, rows.where, days, *(rows.values[name][keep] for name in ("tmin", "tavg", "tmax"))
    )
    sign = fahrenheit_sign(days, known.tmean_c, record.station.latitude) or (
        None if problems else _newly_fahrenheit(known)
    )
    if sign:
        problems.append(Problem(rows.where, f"looks like °F: {sign}. Convert to °C: (F - 32) x 5/9."))
    return (None if problems else known), problems


def _newly_fahrenheit(known: KnownRows) -> str | None:
    """What gives away °F that begins with the newest rows, None if nothing does."""
    if not known.days.size:
        return None
    position = (known.days - known.days[0]).astype(np.int64)
    axis = CalendarAxis.of(known.days[0].item(), int(position[-1]) + 1)
    tmean_c = np.full(position[-1] + 1, np.nan)
    tmean_c[position] = known.tmean_c
    median, spread = usual_range(tmean_c, axis)
    recent = slice(max(0, axis.day_count - RECENT_DAYS), None)
    at = np.nonzero(switched_to_fahrenheit(tmean_c[recent], median[recent], spread[recent]))[0]
    if not at.size:
        return None
    first, last = axis.days[recent][at[0]], axis.days[recent][at[-1]]
    return f"{at.size} days from {first} to {last} are far too warm for their season, as °F they are usual"


def _order_problems(where: str, days: NDArray[np.datetime64], numbers: NDArray[np.int64]) -> list[Problem]:
    """Days twice, and days that stand below a later one."""
    if days.size < 2 or (np.diff(days) > np.timedelta64(0, "D")).all():
        return []
    problems: list[Problem] = []
    first_row: dict[object, int] = {}
    for day, number in zip(days.tolist(), numbers.tolist(), strict=True):
        if day in first_row:
            text = f"{day} is in row {first_row[day]} too. Keep one row a day."
            problems.append(Problem(f"{where} row {number}, date", text))
        first_row.setdefault(day, number)
    latest = np.maximum.accumulate(days)
    late = np.nonzero(days < latest)[0]
    late = late[[first_row[days[i].item()] == numbers[i] for i in late]]
    if late.size:
        more = f" ({late.size} rows stand below a later day)" if late.size > 1 else ""
        text = f"{days[late[0]]} stands below {latest[late[0]]}{more}. Sort the rows by date."
        problems.append(Problem(f"{where} row {numbers[late[0]]}, date", text))
    return problems
