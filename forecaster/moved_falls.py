"""Earlier falls moved by some days and to the present level: members before they are joined to this season.

Arrays in, arrays out. What each part of the recipe was worth: notebooks/promises.ipynb.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.anomalies import TREND_SD_C, shrunk_trend, usual_course
from forecaster.carrying import LINK_FIRST_DAY, LINK_LAST_DAY
from forecaster.falls import FALL_DAYS
from forecaster.weather.fall_blocks import MARGIN_DAYS, WIDEST_MARGIN_DAYS

Floats = NDArray[np.float64]

SPREAD_DAYS = 10
"""The usual spread of a day is taken over this many days on either side of it."""


@dataclass(frozen=True)
class Recipe:
    """How earlier seasons become members.

    `shifts_days`: each season is also moved by so many days, its anomalies laid on the usual course of the
    new days. `trend_sd_c`: see `anomalies.shrunk_trend`; `trend_share` (0-1) fixes the share of the trend
    instead. `joined_days`: so many observed days before the forecast pull the members, 0 for none.
    `linked`: mean and minimum pull together, by links from day to day learnt at the station; else each alone.
    `seasonal_trend`: a trend of its own for each part of the fall; `rescaled`: a moved season's spread is
    brought to that of the new days. Neither helped (notebooks/promises.ipynb).
    """

    shifts_days: tuple[int, ...] = (0, -10, -5, 5, 10)
    trend_sd_c: float = TREND_SD_C
    trend_share: float | None = None
    joined_days: int = 60
    linked: bool = True
    seasonal_trend: bool = False
    rescaled: bool = False


RECIPE = Recipe()


@dataclass(frozen=True, eq=False)
class MovedFalls:
    """Moved falls and what goes with them, of daily means or of minima [°C].

    `base_c` (base, station, day): each fall with each shift, shifts first, from `front` days before 1 August
    on. `observed_c` (station, day): this fall's same days, NaN where not observed. `usual_sd_c` (station,
    184): usual spread of each day. `anomaly_c` (fall, station, day): earlier falls less the usual course on
    the days from which links are learnt. NaN throughout at a station without minima.
    """

    front: int
    base_c: Floats
    observed_c: Floats
    usual_sd_c: Floats
    anomaly_c: Floats

    def fall_days(self) -> Floats:
        """The moved falls from 1 August on, (base, station, 184)."""
        return self.base_c[:, :, self.front :]


def moved_falls(
    values: Floats, now: Floats, years: NDArray[np.int64], fall: int, recipe: Recipe
) -> MovedFalls:
    """Earlier seasons shifted and warmed.

    Args:
        values: Of earlier falls [°C], (fall, station, day), blocks with the widest margin, complete within
            MARGIN_DAYS of the fall.
        now: The same days of the fall to forecast, (station, day), NaN where not observed.
        years: Of the earlier falls, shape (fall,).
        fall: Year of the fall to forecast.
        recipe: How they are moved.
    """
    wide, narrow = WIDEST_MARGIN_DAYS, MARGIN_DAYS
    course = usual_course(values, margin_days=wide, fit_margin_days=narrow)
    inner = slice(wide - narrow, values.shape[-1] - (wide - narrow))
    anomaly = values - course
    spread = usual_spread(anomaly[..., inner])
    lift = _lift(values[..., inner], years, fall, recipe)
    front = wide - max(abs(shift) for shift in recipe.shifts_days)
    days = front + FALL_DAYS
    usual = course[:, wide - front : wide + FALL_DAYS]
    moved = []
    for shift in recipe.shifts_days:
        start = wide - front + shift
        there = anomaly[:, :, start : start + days]
        if recipe.rescaled:
            there = there * _spread_ratio(spread, shift, front)
        moved.append(there + usual + np.concatenate([np.repeat(lift[..., :1], front, -1), lift], axis=-1))
    learnt = anomaly[..., wide + LINK_FIRST_DAY : wide + LINK_LAST_DAY + 1]
    return MovedFalls(front, np.concatenate(moved), now[:, wide - front : wide + FALL_DAYS], spread, learnt)


def usual_spread(anomaly: Floats) -> Floats:
    """Standard deviation of each day of the fall over seasons and the days around it, shape (..., 184).

    Args:
        anomaly: Shape (fall, ..., 184 + 2 * MARGIN_DAYS), complete.
    """
    square = np.concatenate([np.zeros((*anomaly.shape[1:-1], 1)), (anomaly**2).mean(axis=0)], axis=-1)
    total = np.cumsum(square, axis=-1)
    width = 2 * SPREAD_DAYS + 1
    return np.asarray(np.sqrt((total[..., width:] - total[..., :-width])[..., :FALL_DAYS] / width))


def _lift(values: Floats, years: NDArray[np.int64], fall: int, recipe: Recipe) -> Floats:
    """Warming from each season to `fall` [°C], shape (fall, station, 184)."""
    sd = np.inf if recipe.trend_share is not None else recipe.trend_sd_c
    share = 1.0 if recipe.trend_share is None else recipe.trend_share
    ahead = (fall - years)[:, None, None]
    if not recipe.seasonal_trend:
        slope = share * shrunk_trend(values.mean(axis=-1), years, trend_sd=sd)
        return np.asarray(np.broadcast_to(ahead * slope[:, None], (*values.shape[:2], FALL_DAYS)))
    middles = np.array([15.0, 46.0, 76.0, 107.0, 138.0, 169.0])
    parts = [
        values[..., MARGIN_DAYS + int(m) - 15 : MARGIN_DAYS + int(m) + 16].mean(axis=-1) for m in middles
    ]
    slopes = np.stack([share * shrunk_trend(part, years, trend_sd=sd) for part in parts], axis=-1)
    by_day = np.stack([np.interp(np.arange(FALL_DAYS), middles, slope) for slope in slopes])
    return np.asarray(ahead * by_day)


def _spread_ratio(spread: Floats, shift: int, front: int) -> Floats:
    """Spread of the new days over that of the days a season comes from, shape (station, front + 184)."""
    day = np.arange(-front, FALL_DAYS)
    new = spread[:, np.clip(day, 0, FALL_DAYS - 1)]
    old = spread[:, np.clip(day + shift, 0, FALL_DAYS - 1)]
    return np.asarray(new / np.maximum(old, 0.1))
