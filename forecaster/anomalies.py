"""What is left of daily values after the usual course of the year: level, trend and memory.

Arrays in, arrays out. The memory is one simple process for all stations: most of an anomaly fades within
days, a small part within months. Its two constants were read off the autocorrelation of nine records
(Wisconsin, New Hampshire, Nebraska, Belgium, England, Poland), not fitted to any forecast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DAY_MEMORY = 0.65
"""Correlation of the passing part of neighbouring days' anomalies."""
SLOW_SHARE, SLOW_DAYS = 0.08, 60.0
"""Share of the variance of daily anomalies that lingers, and its e-folding time [days]."""
TREND_SD_C = 0.03
"""Spread of the linear trends that are to be expected [°C a year], around none: warming over land since
1980 is about 0.03 °C a year [from memory]. A short record's trend is mostly chance and is shrunk."""


def usual_course(blocks: Floats, *, margin_days: int, fit_margin_days: int) -> Floats:
    """Smooth seasonal cycle of daily values: mean over falls, fitted by two harmonics and a constant.

    Args:
        blocks: Shape (fall, ..., day), from `margin_days` before 1 August on; complete within
            `fit_margin_days` of the fall, the days beyond may be missing.
    Returns:
        Shape (..., day) [unit of blocks], on all days of the blocks.
    """
    day = np.arange(blocks.shape[-1]) - margin_days
    turn = 2 * np.pi * day / 365.25
    basis = np.stack([np.ones(len(day)), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)])
    skip = margin_days - fit_margin_days
    inner = slice(skip, blocks.shape[-1] - skip)
    mean = blocks[..., inner].mean(axis=0)
    solved = np.linalg.lstsq(basis[:, inner].T, mean.reshape(-1, mean.shape[-1]).T, rcond=None)[0]
    return np.asarray((basis.T @ solved).T.reshape(*mean.shape[:-1], len(day)))


def shrunk_trend(level: Floats, years: NDArray[np.int64], *, trend_sd: float = TREND_SD_C) -> Floats:
    """Linear trend of the falls' mean, pulled towards none by its own uncertainty: shape (...), per year.

    The posterior mean under a normal prior around 0: slope x sd² / (sd² + error²). Thirty falls of an
    inland station keep about half of theirs, fifteen an eighth.

    Args:
        level: Mean of each fall, shape (fall, ...).
        years: Year of each fall, shape (fall,), three or more.
        trend_sd: Spread of trends to be expected, per year; `inf` leaves the slope as it is.

    >>> shrunk_trend(np.array([1.0, 2.0, 3.0, 4.0]), np.array([1, 2, 3, 4]))
    array(1.)
    """
    centred = years - years.mean()
    weight = float(centred @ centred)
    away = level - level.mean(axis=0)
    slope = np.tensordot(centred, away, axes=(0, 0)) / weight
    if np.isinf(trend_sd):
        return np.asarray(slope)
    fitted = centred.reshape(-1, *[1] * (level.ndim - 1)) * slope
    error2 = ((away - fitted) ** 2).sum(axis=0) / max(len(years) - 2, 1) / weight
    return np.asarray(slope * trend_sd**2 / (trend_sd**2 + error2))


def memory(days_apart: NDArray[np.int64]) -> Floats:
    """Correlation of the anomalies of two days [1]; 1 on the same day.

    >>> memory(np.array([0, 1, 30])).round(3)
    array([1.   , 0.677, 0.049])
    """
    apart = np.abs(days_apart)
    return np.asarray((1.0 - SLOW_SHARE) * DAY_MEMORY**apart + SLOW_SHARE * np.exp(-apart / SLOW_DAYS))


def carried_on(gap: Floats, known_day: NDArray[np.int64], ahead_day: NDArray[np.int64]) -> Floats:
    """What a difference on known days lets expect on the days ahead, shape (..., ahead).

    Adding it to a member whose known days differ from what was observed by `gap` gives a member that
    agrees with the observations and keeps its own weather later (conditional simulation, the same rule as
    for the water: kriging of the difference).

    Args:
        gap: Observed less member on the known days, shape (..., known), finite.
        known_day, ahead_day: Day indices, shapes (known,) and (ahead,).
    """
    if not len(known_day) or not len(ahead_day):
        return np.zeros((*gap.shape[:-1], len(ahead_day)))
    between = memory(known_day[:, None] - known_day[None, :])
    across = memory(known_day[:, None] - ahead_day[None, :])
    return np.asarray(gap @ np.linalg.solve(between, across))


def lingering(gap: Floats, known_day: NDArray[np.int64], day: NDArray[np.int64]) -> Floats:
    """The part of a difference that lingers for months, as expected on any days: shape (..., day).

    Args:
        gap: Observed less member on the known days, shape (..., known), finite.
        known_day, day: Day indices, shapes (known,) and (day,).
    """
    between = memory(known_day[:, None] - known_day[None, :])
    across = SLOW_SHARE * np.exp(-np.abs(known_day[:, None] - day[None, :]) / SLOW_DAYS)
    return np.asarray(gap @ np.linalg.solve(between, across))
