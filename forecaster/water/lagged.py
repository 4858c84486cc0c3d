"""Regression of water on exponentially lagged air, sun and seasons, linearised in the lag time.

Above 0 °C the relaxation is linear, so the mean water temperature is a weighted sum of lagged columns
(`physics.equilibrium_terms`). The lag time itself enters as a seventh column: the derivative of the fitted
curve by the logarithm of the lag. An eighth is the level of the fall. Everything then is one Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.signal import lfilter

from forecaster.falls import fall_start
from forecaster.water.physics import clear_sky_sun, equilibrium_terms, relaxation_step

WARM_UP_DAYS = 150
"""Days before 1 August from which the lagged columns start; 150 days are 4 lags of 40 days."""
COLUMNS = 8
LAG, LEVEL_OF_FALL = 6, 7
"""Positions of the log-lag shift and of the fall's own level among the coefficients."""
LAG_RANGE_DAYS = (0.3, 60.0)
"""Lag times a pond can have; a fit beyond is held at the limit and reported."""
STEP = 0.05
"""Step of the numerical derivative by log lag."""


@dataclass(frozen=True, eq=False)
class SiteSeries:
    """Daily mean air at one site: `air_c` [°C], shape (day,), from `first_day`, without gaps in use."""

    first_day: date
    air_c: np.ndarray
    latitude: float

    def slice_from(self, start: date, day_count: int) -> np.ndarray:
        """`day_count` days of air from `start` [°C]; NaN outside the record."""
        out = np.full(day_count, np.nan)
        offset = (start - self.first_day).days
        lo, hi = max(0, offset), min(len(self.air_c), offset + day_count)
        if hi > lo:
            out[lo - offset : hi - offset] = self.air_c[lo:hi]
        return out


def day_of_year(start: date, day_count: int) -> np.ndarray:
    """Day of the year of each day from `start`, shape (day_count,)."""
    first = np.datetime64(start)
    days = first + np.arange(day_count)
    return (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(int) + 1


def season_terms(series: SiteSeries, fall: int, day_count: int) -> tuple[np.ndarray, int]:
    """Unlagged equilibrium terms from up to WARM_UP_DAYS before 1 August of `fall`, and the warm-up length.

    The warm-up is shorter where the record starts later, but never negative.
    Returns shape (6, warm-up + day_count); days without air repeat the last value (the state is then
    unknown there anyway: callers ask only for days with air).
    """
    start = fall_start(fall)
    warm_up = int(np.clip((start - series.first_day).days, 0, WARM_UP_DAYS))
    air = series.slice_from(start - timedelta(days=warm_up), warm_up + day_count)
    known = np.isfinite(air)
    if not known.all():
        last = np.maximum.accumulate(np.where(known, np.arange(len(air)), -1))
        first_known = int(np.argmax(known)) if known.any() else 0
        air = air[np.where(last < 0, first_known, last)]
    days = day_of_year(start - timedelta(days=warm_up), warm_up + day_count)
    return equilibrium_terms(air, clear_sky_sun(series.latitude, days), days), warm_up


def lag_terms(terms: np.ndarray, lag: float) -> np.ndarray:
    """Exponentially lagged copy of `terms`, shape (..., day), started in equilibrium with its first day.

    w[t] = w[t-1] + k (e[t] - w[t-1]), k = 1 - exp(-1/lag), lag [days].

    >>> lag_terms(np.array([[15.0, 10, 8, 6, 4, 2]]), 2.0).round(4)
    array([[15.    , 13.0327, 11.0525,  9.0645,  7.0718,  5.0762]])
    """
    k = float(relaxation_step(lag))
    start = (1.0 - k) * terms[..., :1]
    return np.asarray(lfilter([k], [1.0, k - 1.0], terms, axis=-1, zi=start)[0])


def linearised_columns(
    terms: np.ndarray, warm_up: int, log_lag: float, coefficients: np.ndarray
) -> np.ndarray:
    """The eight columns of each day, shape (day, 8): lagged terms, slope by log lag, level of the fall.

    Args:
        terms: From `season_terms`, shape (6, warm-up + day).
        warm_up: Days to drop in front.
        log_lag: Where to linearise: log of the lag [days].
        coefficients: Six coefficients at which the derivative is taken.
    """
    middle = lag_terms(terms, float(np.exp(log_lag)))[:, warm_up:]
    later = lag_terms(coefficients @ terms, float(np.exp(log_lag + STEP)))[warm_up:]
    sooner = lag_terms(coefficients @ terms, float(np.exp(log_lag - STEP)))[warm_up:]
    return np.column_stack([middle.T, (later - sooner) / (2 * STEP), np.ones(middle.shape[1])])
