"""Implausible values of daily records become missing, and the reader is told how many and since when.

Real archives hold minima of -18 °C in August, minima above maxima, thermometers that stand still. Every
check compares a value with its own record (and spares what a neighbouring station shows too); nothing is
corrected, only set aside. The limits are wide: on published records that were checked by their owners the
checks set aside nothing or next to nothing. Limits: faults of a few degrees, a thermometer read in the
morning or a station that has moved are not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.weather.calendar_axis import CalendarAxis, Floats, usual_range

Flags = NDArray[np.bool_]

COLDEST_C, WARMEST_C = -70.0, 57.0
"""Records of inhabited places [°C]: -67.7 (Oymyakon 1933) and 56.7 (Furnace Creek 1913), from memory."""

SPIKE_SPREADS = 4.0
SPIKE_LEAST_C = 15.0
"""A day that leaves both its neighbours by more than 4 usual spreads and 15 °C in the same direction."""

OUTLIER_SPREADS = 6.0
SUPPORT_SPREADS = 4.0
"""A value is far outside its season beyond 6 usual spreads, unless a neighbour is beyond 4 that day too."""

TYPICAL_SPREAD_C = 5.0
"""Spread [°C] assumed where a record is too short to show its own."""

FLAT_DAYS_FINE, FLAT_DAYS_COARSE, FLAT_DAYS_BOTH = 8, 12, 6
FINE_STEP_C = 0.25
"""Days with one and the same value that no weather makes: 8 where values come in steps of 0.1 °C, 12 in
coarser ones (10 equal maxima in whole °C have been seen), 6 where minimum and maximum both stand still."""

WHOLE_SHARE = 0.98
WHOLE_LEAST_DAYS = 60
MEAN_OF_BOTH_C = 0.11
"""A mean this close [°C] to the middle of minimum and maximum was computed from them."""
MEAN_OUTSIDE_C = 0.6
"""A mean further [°C] outside minimum and maximum than rounding to whole degrees explains."""


@dataclass(frozen=True, eq=False)
class Checked:
    """Daily values with implausible ones missing [°C], shape (station, day), and what was set aside."""

    tmin_c: Floats
    tmax_c: Floats
    tmean_c: Floats
    notices: tuple[Notice, ...]


def check(
    tmin_c: Floats, tavg_c: Floats, tmax_c: Floats, axis: CalendarAxis, wheres: Sequence[str]
) -> Checked:
    """Set implausible values aside and form the daily mean.

    Args:
        tmin_c, tavg_c, tmax_c: As read [°C], shape (station, day); NaN where missing.
        axis: The days.
        wheres: The file of each station, for the notices.
    Returns:
        The mean is `tavg_c`, else the middle of minimum and maximum; it goes with them where it was
        computed from a value that is set aside.
    """
    low, mean, high = tmin_c.copy(), tavg_c.copy(), tmax_c.copy()
    middle = (tmin_c + tmax_c) / 2.0
    from_both = ~(np.abs(tavg_c - middle) > MEAN_OF_BOTH_C)
    found: list[tuple[str, Flags]] = []

    outside = [out_of_range(values) for values in (low, mean, high)]
    for values, flags in zip((low, mean, high), outside, strict=True):
        values[flags] = np.nan
    found.append((f"values below {COLDEST_C:g} or above {WARMEST_C:g} °C", np.logical_or.reduce(outside)))
    crossed = crossed_extremes(low, high)
    low[crossed] = high[crossed] = np.nan
    found.append(("the minimum above the maximum", crossed))
    stray = mean_outside(low, mean, high)
    mean[stray] = np.nan
    found.append(("the mean outside minimum and maximum", stray))

    mean = np.where(np.isfinite(mean), mean, (low + high) / 2.0)
    stuck = [flat_runs(values, axis) for values in (low, high)]
    both_stuck = runs_of_equal(np.stack([low, high])) >= FLAT_DAYS_BOTH
    low[stuck[0] | both_stuck] = high[stuck[1] | both_stuck] = np.nan
    mean_stuck = flat_runs(mean, axis)
    mean[mean_stuck] = np.nan
    found.append(("a value that stands still", stuck[0] | stuck[1] | both_stuck | mean_stuck))

    spiky, far = np.zeros(low.shape, dtype=np.bool_), np.zeros(low.shape, dtype=np.bool_)
    for values in (low, high, mean):
        usual = [usual_range(row, axis) for row in values]
        median, spread = np.stack([u[0] for u in usual]), np.stack([u[1] for u in usual])
        jumps, strays = spikes(values, spread), outliers(values, median, spread)
        values[jumps | strays] = np.nan
        spiky |= jumps
        far |= strays & ~jumps
    found.append(("a jump away from both neighbouring days", spiky))
    found.append(("a value far outside its season", far))

    lost = (np.isfinite(tmin_c) & ~np.isfinite(low)) | (np.isfinite(tmax_c) & ~np.isfinite(high))
    mean[lost & from_both] = np.nan
    notices = [
        Notice(where, _counted(text, flags[station], axis))
        for station, where in enumerate(wheres)
        for text, flags in found
        if flags[station].any()
    ]
    notices += [
        Notice(where, text)
        for station, where in enumerate(wheres)
        if (text := whole_degree_text(low[station], axis))
    ]
    return replace(Checked(low, high, mean, ()), notices=tuple(notices))


def out_of_range(values_c: Floats) -> Flags:
    """True for temperatures [°C] that no inhabited place has had (-999 and 99.9 for "missing" among them).

    >>> out_of_range(np.array([-999.0, -30.0, 57.5, np.nan])).tolist()
    [True, False, True, False]
    """
    return np.asarray((values_c < COLDEST_C) | (values_c > WARMEST_C))


def crossed_extremes(tmin_c: Floats, tmax_c: Floats) -> Flags:
    """True where the minimum lies above the maximum; equal ones are a day of fog, not a fault."""
    return np.asarray(tmin_c > tmax_c)


def mean_outside(tmin_c: Floats, tavg_c: Floats, tmax_c: Floats) -> Flags:
    """True where the mean lies outside minimum and maximum by more than rounding."""
    return np.asarray((tavg_c < tmin_c - MEAN_OUTSIDE_C) | (tavg_c > tmax_c + MEAN_OUTSIDE_C))


def runs_of_equal(series_c: Floats) -> NDArray[np.int64]:
    """Length [days] of the run of equal values in which each day lies.

    Args:
        series_c: Shape (series, ..., day): a run lasts while all `series` stay; NaN is equal to nothing.
    Returns:
        Shape (..., day), 1 where a day differs from both its neighbours.

    Example:
        >>> runs_of_equal(np.array([[4.0, 4.0, 4.0, 5.0, np.nan, np.nan]])).tolist()
        [3, 3, 3, 1, 1, 1]
    """
    changes = np.ones(series_c.shape[1:], dtype=np.bool_)
    changes[..., 1:] = (series_c[..., 1:] != series_c[..., :-1]).any(axis=0)
    run = np.cumsum(changes.reshape(-1)) - 1
    return np.bincount(run)[run].reshape(changes.shape) if run.size else np.zeros(changes.shape, np.int64)


def flat_runs(values_c: Floats, axis: CalendarAxis) -> Flags:
    """True on days of a run of equal values too long for weather, shape (station, day).

    How long is too long depends on the step of the record in that year: few distinct values repeat easily.
    """
    length = runs_of_equal(values_c[np.newaxis])
    flags = np.zeros(values_c.shape, dtype=np.bool_)
    for station, day in zip(*np.nonzero(length >= FLAT_DAYS_FINE), strict=True):
        if length[station, day] >= FLAT_DAYS_COARSE:
            flags[station, day] = True
        else:
            same_year = values_c[station, axis.year == axis.year[day]]
            flags[station, day] = _step_c(same_year) <= FINE_STEP_C
    return flags


def spikes(values_c: Floats, spread_c: Floats) -> Flags:
    """True on single days that leave both neighbouring days in the same direction, shape (station, day).

    Args:
        values_c: Daily values [°C].
        spread_c: Their usual spread in that part of the year [°C]; NaN where unknown (then 5 °C).
    """
    step = np.diff(values_c, axis=-1)
    rise = np.full(values_c.shape, np.nan)
    before, after = step[..., :-1], -step[..., 1:]
    rise[..., 1:-1] = np.where(before * after > 0, np.sign(before) * np.minimum(abs(before), abs(after)), 0.0)
    limit = np.maximum(
        SPIKE_SPREADS * np.where(np.isfinite(spread_c), spread_c, TYPICAL_SPREAD_C), SPIKE_LEAST_C
    )
    return _unsupported(rise / limit, 1.0, 0.5)


def outliers(values_c: Floats, median_c: Floats, spread_c: Floats) -> Flags:
    """True on days far outside what is usual in that part of the year, shape (station, day).

    Args:
        values_c: Daily values [°C].
        median_c, spread_c: What is usual [°C], `usual_range`; NaN where unknown: nothing is flagged there.
    """
    return _unsupported((values_c - median_c) / spread_c, OUTLIER_SPREADS, SUPPORT_SPREADS)


def whole_degree_text(tmin_c: Floats, axis: CalendarAxis) -> str:
    """Years in which minima were stored in whole °C, as a sentence for the reader; '' if there are none."""
    known = np.isfinite(tmin_c)
    days = np.bincount(axis.year[known])
    whole = np.bincount(axis.year[known], weights=(tmin_c[known] % 1.0 == 0.0).astype(np.float64))
    years = np.nonzero((days >= WHOLE_LEAST_DAYS) & (whole >= WHOLE_SHARE * days))[0] + axis.first_day.year
    if not years.size:
        return ""
    span = f"{years[0]}" if years.size == 1 else f"{years[0]} to {years[-1]}"
    if years[-1] - years[0] + 1 != years.size:
        span = f"{years.size} years between {years[0]} and {years[-1]}"
    return f"minima of {span} are whole °C: 28 °F is not resolved there, -2 °C may have been 29.3 or 27.5 °F."


def _unsupported(score: Floats, limit: float, support: float) -> Flags:
    """Scores beyond `limit` that no other station backs with one beyond `support` of the same sign."""
    high, low = score > limit, score < -limit
    backs_high, backs_low = score > support, score < -support
    alone_high = backs_high.sum(axis=0) - backs_high == 0
    alone_low = backs_low.sum(axis=0) - backs_low == 0
    return np.asarray((high & alone_high) | (low & alone_low))


def _step_c(values_c: Floats) -> float:
    """Typical distance between the distinct values of a year [°C]; infinite for fewer than 100 days."""
    known = values_c[np.isfinite(values_c)]
    if known.size < 100:
        return np.inf
    return float(np.median(np.diff(np.unique(known))))


def _counted(text: str, flags: Flags, axis: CalendarAxis) -> str:
    count = int(flags.sum())
    first = axis.days[np.argmax(flags)]
    if count == 1:
        return f"1 day with {text} is treated as missing ({first})."
    return f"{count} days with {text} are treated as missing (first {first})."
