"""Stations held against one another: a day that no neighbour knows of, and a record that is a day off.

Nothing is changed here: what disagrees is said, with the numbers, for a person to judge. Fills, plain faults
and what all neighbours contradict are dealt with before (`quality`, `contradictions`, `prepare`). Limits:
needs a neighbour with 100 common days in that part of the year; a station alone is not checked.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.weather.calendar_axis import CalendarAxis, Floats, usual_range
from forecaster.weather.neighbours import estimate_from_neighbours
from forecaster.weather.stations import Weather

DISAGREE_ERRORS, DISAGREE_LEAST_C = 6.0, 8.0
"""A value is strange if it leaves what its neighbours suggest by 6 of their usual errors and 8 °C: wider than
any pair of sound stations within 100 km was seen to differ; our choice."""
WATCHED_DAYS = 120
"""Newest days that are checked for strange values [days]: those that today's water and frost rest on. On four
stations within 5 km in New Hampshire it names a thermometer of 0.0 °C in July and little else."""
SHIFT_GAIN = 0.05
"""A year is a day off if it correlates better by this with its neighbours' day before or after."""
FEWEST_SHIFT_DAYS = 150
"""Common days of a year that make its shift worth saying [days]."""


def disagreements(weather: Weather, wheres: Sequence[str]) -> tuple[Notice, ...]:
    """Days of the last four months whose minimum or mean no neighbour supports.

    Args:
        weather: After filling; filled days are not looked at.
        wheres: The file of each station, for the notices.
    Returns:
        One notice a station and kind, with the worst day.
    """
    if len(weather.stations) < 2:
        return ()
    axis = CalendarAxis.of(weather.first_day, weather.day_count)
    notices = []
    watched = np.arange(weather.day_count) >= weather.day_count - WATCHED_DAYS
    extremes = [np.where(weather.filled, np.nan, values) for values in (weather.tmin_c, weather.tmax_c)]
    for name, values in (("minimum", weather.tmin_c), ("daily mean", weather.tmean_c)):
        seen = np.where(weather.filled, np.nan, values)
        for station, own in enumerate(seen):
            if not np.isfinite(own).any():
                continue
            estimate = estimate_from_neighbours(seen, station, axis, np.stack(extremes), watched)
            off = own - estimate.estimate_c
            limit = max(DISAGREE_LEAST_C, DISAGREE_ERRORS * estimate.error_c)
            strange = np.nonzero(watched & (np.abs(off) > limit))[0]
            if strange.size:
                others = ", ".join(weather.stations[at].station_id for at in estimate.used)
                notices.append(Notice(wheres[station], _strange_text(name, axis, own, off, strange, others)))
    return tuple(notices)


def shifted_years(weather: Weather, wheres: Sequence[str]) -> tuple[Notice, ...]:
    """Years in which a station's days seem to be its neighbours' days before or after.

    Args:
        weather: After filling; filled days are not looked at.
        wheres: The file of each station, for the notices.
    """
    if len(weather.stations) < 2:
        return ()
    axis = CalendarAxis.of(weather.first_day, weather.day_count)
    notices = []
    for name, values in (("maxima", weather.tmax_c), ("minima", weather.tmin_c)):
        anomaly = np.stack([_anomaly(np.where(f, np.nan, row), axis)
                            for row, f in zip(values, weather.filled, strict=True)])  # fmt: skip
        for station in range(len(weather.stations)):
            off = _years_off(anomaly, station, axis, weather.first_day)
            for shift, word in ((1, "late"), (-1, "early")):
                years = [year for year, by in off.items() if by == shift]
                if years:
                    several = f"{len(years)} years, {years[0]} to {years[-1]},"
                    span = f"{years[0]}" if len(years) == 1 else several
                    text = f"{name} of {span} look a day {word} against the neighbours"
                    notices.append(Notice(wheres[station], f"{text} (read in the morning?)."))
    return tuple(notices)


def _years_off(anomaly: Floats, station: int, axis: CalendarAxis, first_day: date) -> dict[int, int]:
    """Years in which the station fits its neighbours' mean better a day later (1) or earlier (-1)."""
    others = np.delete(anomaly, station, axis=0)
    known = np.isfinite(others)
    count = known.sum(axis=0)
    mean = np.where(count > 0, np.where(known, others, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    own = anomaly[station]
    found = {}
    for year in range(int(axis.year[-1]) + 1 if axis.day_count else 0):
        days = axis.year == year
        fits = {}
        for shift in (-1, 0, 1):
            moved = np.roll(mean, shift)
            both = days & np.isfinite(own) & np.isfinite(moved)
            both[[0, -1]] = False
            if both.sum() < FEWEST_SHIFT_DAYS:
                break
            fits[shift] = _correlation(own[both], moved[both])
        if len(fits) == 3:
            best = max(fits, key=lambda shift: fits[shift])
            if best and fits[best] > fits[0] + SHIFT_GAIN:
                found[first_day.year + year] = best
    return found


def _anomaly(values_c: Floats, axis: CalendarAxis) -> Floats:
    """Departure from what is usual for the date [°C]; NaN where that is not known."""
    return np.asarray(values_c - usual_range(values_c, axis)[0])


def _correlation(a: Floats, b: Floats) -> float:
    spread = float(a.std() * b.std())
    return float(((a - a.mean()) * (b - b.mean())).mean() / spread) if spread > 0.0 else 0.0


def _strange_text(
    name: str, axis: CalendarAxis, own: Floats, off: Floats, strange: NDArray[np.int64], others: str
) -> str:
    worst = strange[np.argmax(np.abs(off[strange]))]
    side = "above" if off[worst] > 0 else "below"
    found = f"{name} of {axis.days[worst]} ({own[worst]:.1f} °C)"
    text = f"{found} is {abs(off[worst]):.0f} °C {side} what {others} suggest"
    more = f"; {strange.size - 1} more days likewise" if strange.size > 1 else ""
    return f"{text}{more}. It is used as it is: check it."
