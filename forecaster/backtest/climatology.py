"""The reference: what the earlier seasons say in which the crossing was still to come on that day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.inputs import FEWEST_EARLIER
from forecaster.backtest.scores import fair_crps_of_sorted, quantiles_of_sorted, scored_days

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class EarlierFalls:
    """Falls before the one that is forecast.

    `crossing`: (fall, site, event), days since 1 August, inf never, NaN where that site has no such fall;
    `next_freeze`: first freeze of each kind (see `truth.FREEZES`) on or after each day, (kind, fall, row of
    distinct minima, 184), inf none;
    `min_of`: row of each site.
    """

    years: tuple[int, ...]
    crossing: Floats
    next_freeze: Floats
    min_of: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Reference:
    """Scores of the reference at each site and event, NaN where fewer than 15 earlier falls qualify.

    `count` of falls; `crps_days`; `median` day: the usual date; `last_fall`: the day of the latest of these
    falls, the rule of an office that goes by last year; `freeze_first` (kind, site, event): share of falls
    with D <= F < C.
    """

    count: NDArray[np.int64]
    crps_days: Floats
    median: Floats
    last_fall: Floats
    freeze_first: Floats


def still_to_come(crossing: np.ndarray, as_of_day: int, hold_days: int) -> NDArray[np.bool_]:
    """True where the run was not yet complete on the morning of the as-of day: C + hold_days - 1 >= D.

    >>> still_to_come(np.array([90.0, 91.0, np.inf]), 95, 5)
    array([False,  True,  True])
    """
    return np.asarray(crossing + hold_days - 1 >= as_of_day)


def reference(earlier: EarlierFalls, observed: Floats, *, as_of_day: int, hold_days: int) -> Reference:
    """The reference on one as-of day.

    Args:
        earlier: Falls before the one that is forecast, oldest first: nothing later.
        observed: Crossings of that one, shape (site, event).
        as_of_day: Day index of the as-of date.
        hold_days: Length of a run [days].
    """
    crossing = np.moveaxis(earlier.crossing, 0, -1)  # (site, event, fall)
    with np.errstate(invalid="ignore"):
        usable = still_to_come(crossing, as_of_day, hold_days)  # NaN compares as False
    count = usable.sum(axis=-1)
    enough = count >= FEWEST_EARLIER
    days = np.where(usable, scored_days(np.nan_to_num(crossing, nan=np.inf)), np.inf)
    ordered = np.sort(days, axis=-1)
    crps = fair_crps_of_sorted(ordered, count, scored_days(observed))
    median = quantiles_of_sorted(ordered, count, np.array([0.5]))[..., 0]
    order = np.arange(usable.shape[-1])
    latest = np.where(usable, order, -1).max(axis=-1, initial=-1)
    last = np.where(order == latest[..., None], days, -np.inf).max(axis=-1, initial=-np.inf)
    freeze = np.moveaxis(earlier.next_freeze[:, :, earlier.min_of, as_of_day], 1, -1)[:, :, None, :]
    with np.errstate(invalid="ignore"):
        first = usable & (freeze < crossing)
    share = first.sum(axis=-1) / np.maximum(count, 1)
    return Reference(
        count=count,
        crps_days=np.where(enough, crps, np.nan),
        median=np.where(enough, median, np.nan),
        last_fall=np.where(enough, last, np.nan),
        freeze_first=np.where(enough, share, np.nan),
    )
