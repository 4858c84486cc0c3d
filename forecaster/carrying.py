"""How a difference on the last known days carries on into the days ahead, mean and minimum together.

Last night's frost says more about tomorrow's when yesterday's mean is known too, and the second day before
says something that the last does not. So what passes within days is carried by a regression of each day's
mean and minimum on those of the three days before (a vector autoregression; Lütkepohl 2005, "New
Introduction to Multiple Time Series Analysis", sections 2.2 and 3.2), learnt at each station from earlier
falls; what lingers for months is taken off before and added afterwards (`anomalies.memory`). Arrays in,
arrays out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from forecaster.anomalies import carried_on, lingering

Floats = NDArray[np.float64]
Days = NDArray[np.int64]

LINK_DAYS = 3
"""Days before that a day is regressed on: a fourth and fifth add nothing (DEVELOPERS.md, Members)."""
LINK_FIRST_DAY, LINK_LAST_DAY = 31, 121
"""The regression is learnt from 1 September to 30 November [days since 1 August]."""
LARGEST_GROWTH = 0.95
"""A regression that would let a difference last longer (spectral radius) is shrunk to this."""


def day_links(anomaly: Floats) -> Floats:
    """Regression of each day on the LINK_DAYS days before, by least squares over all falls.

    Args:
        anomaly: Less the usual course [°C], shape (fall, variable, day), complete.
    Returns:
        Shape (LINK_DAYS * variable, variable): the variables of the day before first, then older ones. A
        day is its predecessors' values times this.
    """
    _, variables, days = anomaly.shape
    target = anomaly[:, :, LINK_DAYS:].transpose(0, 2, 1).reshape(-1, variables)
    before = np.concatenate(
        [
            anomaly[:, :, LINK_DAYS - lag : days - lag].transpose(0, 2, 1).reshape(-1, variables)
            for lag in range(1, LINK_DAYS + 1)
        ],
        axis=1,
    )
    links = np.linalg.lstsq(before, target, rcond=None)[0]
    radius = growth(links)
    if radius > LARGEST_GROWTH:
        ages = np.repeat(np.arange(1, LINK_DAYS + 1), variables)
        links = links * ((LARGEST_GROWTH / radius) ** ages)[:, None]
    return np.asarray(links)


def growth(links: Floats) -> float:
    """Largest factor by which a difference can change from day to day in the long run (spectral radius).

    >>> growth(np.array([[0.5], [0.0], [0.0]]))
    0.5
    """
    size, variables = links.shape
    whole = np.zeros((size, size))
    whole[:, :variables] = links
    whole[: size - variables, variables:] = np.eye(size - variables)
    return float(np.abs(np.linalg.eigvals(whole)).max())


def carried_together(gaps: Sequence[Floats], links: Floats, known_day: Days, ahead_day: Days) -> list[Floats]:
    """What differences on known days let expect on the days ahead: one (..., ahead) a variable.

    Args:
        gaps: Observed less member, one (..., known) a variable, finite; the known days end right before
            the days ahead and the last LINK_DAYS of them follow each other.
        links: From `day_links`.
        known_day, ahead_day: Day indices, shapes (known,) and (ahead,).
    """
    ends = np.concatenate([known_day[-LINK_DAYS:], ahead_day])
    slow = [lingering(gap, known_day, ends) for gap in gaps]
    passing = [gap[..., -LINK_DAYS:] - part[..., :LINK_DAYS] for gap, part in zip(gaps, slow, strict=True)]
    past = [np.stack([part[..., -lag] for part in passing], axis=-1) for lag in range(1, LINK_DAYS + 1)]
    out = [part[..., LINK_DAYS:].copy() for part in slow]
    for ahead in range(len(ahead_day)):
        coming = np.concatenate(past, axis=-1) @ links
        past = [coming, *past[:-1]]
        for variable, found in enumerate(out):
            found[..., ahead] += coming[..., variable]
    return out


def carried(
    gaps: Sequence[Floats], anomalies: Sequence[Floats], known_day: Days, ahead_day: Days
) -> list[Floats]:
    """The same from gaps that may lack days, with links learnt here: one (..., ahead) a variable.

    Variables that are known on each of the last LINK_DAYS days before the first day ahead carry on together;
    one that is not carries on alone by `anomalies.carried_on` from the days on which it is known.

    Args:
        gaps: Observed less member, one (..., known) a variable; a day with any NaN is not known.
        anomalies: Of earlier falls [°C], one (fall, day) a variable, over the days to learn from; NaN
            throughout where there is none.
        known_day, ahead_day: Day indices.
    """
    if not len(ahead_day):
        return [np.zeros((*gap.shape[:-1], 0)) for gap in gaps]
    known = [np.isfinite(gap).all(axis=tuple(range(gap.ndim - 1))) for gap in gaps]
    recent = np.arange(ahead_day[0] - LINK_DAYS, ahead_day[0])
    linked = [
        n
        for n, (days, past) in enumerate(zip(known, anomalies, strict=True))
        if np.isin(recent, known_day[days]).all() and np.isfinite(past).all()
    ]
    out = [
        carried_on(gap[..., days], known_day[days], ahead_day) if n not in linked else gap
        for n, (gap, days) in enumerate(zip(gaps, known, strict=True))
    ]
    if not linked:
        return out
    links = day_links(np.stack([anomalies[n] for n in linked], axis=1))
    days = np.logical_and.reduce([known[n] for n in linked])
    together = carried_together([gaps[n][..., days] for n in linked], links, known_day[days], ahead_day)
    for n, found in zip(linked, together, strict=True):
        out[n] = found
    return out
