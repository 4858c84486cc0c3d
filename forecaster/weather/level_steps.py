"""Steps in a station's level against its neighbours: it was moved, or got another screen or instrument.

Nothing is changed: a step is said, with its year and size, for a person to judge. Limits: needs two
neighbours and 15 years of 200 common days; one step a station and kind, the largest; a step in the first or
last four years is seen late or not at all, and two that cancel are none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from forecaster.errors import Notice
from forecaster.weather.calendar_axis import CalendarAxis, Floats
from forecaster.weather.contradictions import FEWEST_AGAINST, pairs_of
from forecaster.weather.stations import Weather

FEWEST_YEARS, FEWEST_DAYS, ENDS_YEARS = 15, 200, 4
CRITICAL = 10.0
"""The test's value that 1 series of 40 sound years in 100 exceeds is 10.4 (Alexandersson and Moberg, Int. J.
Climatol. 17, 1997, from memory); here every neighbour must reach it, so it is safe."""
LEAST_STEP_C = 1.0
"""Smaller steps are not worth a word [°C]: our choice."""
SAME_TIME_YEARS = 3


def level_steps(weather: Weather, wheres: Sequence[str]) -> tuple[Notice, ...]:
    """Years from which on a station's minima or maxima lie higher or lower against all its neighbours.

    Args:
        weather: After filling; filled days are not looked at.
        wheres: The file of each station, for the notices.
    """
    if len(weather.stations) < FEWEST_AGAINST + 1:
        return ()
    axis = CalendarAxis.of(weather.first_day, weather.day_count)
    first_year = weather.first_day.year
    notices = []
    for name, values in (("minima", weather.tmin_c), ("maxima", weather.tmax_c)):
        seen = np.where(weather.filled, np.nan, values)
        for station, where in enumerate(wheres):
            pairs = pairs_of(seen, station, axis, weather.stations)
            found = [largest_step(yearly_means(seen[station] - pair.guess_c, axis)) for pair in pairs]
            steps = [step for step in found if step is not None]
            if len(steps) < max(FEWEST_AGAINST, len(pairs)):
                continue
            years, sizes = np.array([step[0] for step in steps]), np.array([step[1] for step in steps])
            year, size = int(np.median(years)), float(np.median(sizes))
            together = (np.abs(years - year) <= SAME_TIME_YEARS).all() and (
                np.sign(sizes) == np.sign(size)
            ).all()
            if together.all() and abs(size) >= LEAST_STEP_C:
                side = "higher" if size > 0 else "lower"
                text = (
                    f"{name} lie {abs(size):.1f} °C {side} against all neighbours since about "
                    f"{first_year + year} (moved, or another instrument?). Used as they are."
                )
                notices.append(Notice(where, text))
    return tuple(notices)


def yearly_means(values_c: Floats, axis: CalendarAxis) -> Floats:
    """Mean of each year with at least 200 known days [°C], shape (year,), NaN for the others."""
    known = np.isfinite(values_c)
    years = int(axis.year[-1]) + 1 if axis.day_count else 0
    count = np.bincount(axis.year[known], minlength=years)
    total = np.bincount(axis.year[known], weights=values_c[known], minlength=years)
    return np.where(count >= FEWEST_DAYS, total / np.maximum(count, 1), np.nan)


def largest_step(yearly_c: Floats) -> tuple[int, float] | None:
    """The step that splits a series of yearly means best, if it is significant.

    Args:
        yearly_c: [°C], shape (year,); NaN is left out.
    Returns:
        Position of the first year after the step and its size [°C], None where there is none.
    References:
        The standard normal homogeneity test, H. Alexandersson, J. Climatol. 6, 1986: the largest of
        k z1² + (n - k) z2², with z the means of the standardised values before and after.
    """
    years = np.nonzero(np.isfinite(yearly_c))[0]
    values = yearly_c[years]
    n = values.size
    if n < FEWEST_YEARS or not values.std() > 0.0:
        return None
    z = (values - values.mean()) / values.std(ddof=1)
    total = np.cumsum(z)
    k = np.arange(1, n)
    before, after = total[:-1] / k, (total[-1] - total[:-1]) / (n - k)
    test = k * before**2 + (n - k) * after**2
    test[: ENDS_YEARS - 1] = test[n - ENDS_YEARS :] = 0.0
    split = int(test.argmax()) + 1
    if test[split - 1] < CRITICAL:
        return None
    return int(years[split]), float(values[split:].mean() - values[:split].mean())
