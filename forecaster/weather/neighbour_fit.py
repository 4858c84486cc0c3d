"""One station from several neighbours at once: minimum and maximum of each, of the day and those beside it.

A valley floor is colder than the slopes on still, clear nights and as warm on windy ones; what tells the two
apart is the neighbours' daily range and how it changes from day to day, which a line on one value a neighbour
cannot see. Fitted by least squares for each part of the year (a month with the months beside it), once for
every set of neighbours that is known together. Limits: linear; needs 20 common days for each number fitted,
else the simpler set and in the end single lines (`neighbours`) stand in.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from forecaster.weather.calendar_axis import CalendarAxis, Floats

MOST_NEIGHBOURS = 4
"""Neighbours that enter a fit, the best first: more add little and make sets of known ones many."""
DAYS_A_NUMBER = 20
"""Common days in a part of the year for each number that is fitted."""


def joint_estimate(
    own_c: Floats, neighbours_c: Sequence[Floats], axis: CalendarAxis, needed: NDArray[np.bool_]
) -> Floats:
    """One station's values from its neighbours' of the same day and the days before and after.

    Args:
        own_c: The values to estimate [°C], shape (day,); NaN is missing.
        neighbours_c: What each neighbour measures [°C], shape (kind, day), the best first; NaN is missing.
        axis: The days.
        needed: Days that matter: sets of neighbours and months that hold none of them are not fitted.
    Returns:
        [°C], shape (day,); NaN where no set of neighbours has enough days in common with the station.
    """
    estimate = np.full(own_c.size, np.nan)
    chosen = list(neighbours_c)[:MOST_NEIGHBOURS]
    if not chosen:
        return estimate
    one_day = [np.asarray(values) for values in chosen]
    three_days = [np.concatenate([values, _moved(values, 1), _moved(values, -1)]) for values in one_day]
    same = _known_sets(one_day)
    around = _known_sets(three_days)
    for columns, sets, wanted in ((three_days, around, around == same), (one_day, same, same > 0)):
        for known_set in np.unique(sets[wanted & (sets > 0)]).tolist():
            at = wanted & (sets == known_set) & np.isnan(estimate)
            if not (at & needed).any():
                continue
            used = [values for bit, values in enumerate(columns) if known_set >> bit & 1]
            table = np.concatenate([np.ones((1, own_c.size)), *used])
            months = set(axis.month[at & needed].tolist())
            estimate[at] = _fitted(own_c, table, (sets & known_set) == known_set, axis, months)[at]
    return estimate


def _fitted(
    own_c: Floats, table: Floats, known: NDArray[np.bool_], axis: CalendarAxis, months: Collection[int]
) -> Floats:
    """Least squares of `own_c` on the rows of `table` in the parts of the year around the `months`, on the
    `known` days; NaN in other months."""
    rows = table.shape[0]
    both = known & np.isfinite(own_c)
    count = np.bincount(axis.month[both], minlength=12)
    squares, products = np.zeros((12, rows, rows)), np.zeros((12, rows))
    days = np.nonzero(both)[0]
    days = days[np.argsort(axis.month[days], kind="stable")]  # month after month: one copy instead of twelve
    ends = np.cumsum(count)
    for month in {near % 12 for at in months for near in (at - 1, at, at + 1)}:
        of_month = days[ends[month] - count[month] : ends[month]]
        part = table[:, of_month]
        squares[month] = part @ part.T
        products[month] = part @ own_c[of_month]
    fitted = np.full(own_c.size, np.nan)
    for month in months:
        near = [(month - 1) % 12, month, (month + 1) % 12]
        at = known & (axis.month == month)
        if count[near].sum() < DAYS_A_NUMBER * rows or not at.any():
            continue
        weights = np.linalg.lstsq(squares[near].sum(axis=0), products[near].sum(axis=0), rcond=1e-10)[0]
        fitted[at] = weights @ table[:, at]
    return fitted


def _known_sets(values: Sequence[Floats]) -> NDArray[np.int64]:
    """Which neighbours are wholly known on each day, as bits."""
    bits = np.zeros(values[0].shape[-1], dtype=np.int64)
    for bit, one in enumerate(values):
        bits |= np.isfinite(one).all(axis=0).astype(np.int64) << bit
    return bits


def _moved(values_c: Floats, days: int) -> Floats:
    """The values so many days before, NaN beyond the ends."""
    moved = np.roll(values_c, days, axis=-1)
    if days > 0:
        moved[..., :days] = np.nan
    else:
        moved[..., days:] = np.nan
    return moved
