"""Outlooks that were never kept, made from what came, unbiased: never more than a forecast could know.

A forecast is closer to the usual course than the truth is, so its error is independent of the forecast, not
of the truth. With x the true anomaly, s its usual spread, err = min(error, 0.95 s) and r2 = 1 - (err / s)^2:

    outlook = usual + r2 x + sqrt(r2 (1 - r2)) s z

has the right spread, and truth = outlook + err z' in the mean. Marked as emulated wherever it is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.anomalies import usual_course
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.moved_falls import usual_spread
from forecaster.outlook_head import LEAD_MEMORY, OutlookError, capped_error, error_paths, mixed
from forecaster.weather.fall_blocks import MARGIN_DAYS, fall_block
from forecaster.weather.outlook_errors import TYPICAL_MEAN_SD_C
from forecaster.weather.stations import Outlook, Weather

Floats = NDArray[np.float64]

LEADS = len(TYPICAL_MEAN_SD_C)
ERROR_C = np.array(TYPICAL_MEAN_SD_C)
EMULATED_ERROR = OutlookError(ERROR_C, ERROR_C, np.zeros(1), np.zeros(1), tail_freedom=np.inf)
"""The errors that members of an emulated outlook carry: the ones it was made with, and normal."""
NO_ERROR = OutlookError(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1), tail_freedom=np.inf)
"""Of a perfect outlook."""


def emulated_values(truth_c: Floats, usual_c: Floats, spread_c: Floats, z: Floats) -> Floats:
    """Outlook of leads 1, 2, ... [°C], shape (..., lead).

    Args:
        truth_c, usual_c, spread_c: What came, what is usual and the spread around it [°C], shape (..., lead).
        z: Normal noise of unit variance, correlated from lead to lead, shape (..., lead).
    """
    error = capped_error(ERROR_C[: truth_c.shape[-1]], spread_c)
    known = 1.0 - (error / spread_c) ** 2
    noise = np.sqrt(known * (1.0 - known)) * spread_c * z
    return np.asarray(usual_c + known * (truth_c - usual_c) + noise)


def emulated_outlooks(
    known: Weather, future: Weather, falls: Sequence[int], *, fall: int, as_of: date, seed: int
) -> tuple[Outlook, ...]:
    """One outlook a station for the ten days from `as_of` on.

    Args:
        known: Weather as known on the as-of date: usual course and spread come from it alone.
        future: Weather that holds the coming days.
        falls: Earlier falls, complete in `known`.
        fall: The fall of the as-of date.
        as_of: Day of issue, which is lead 1.
        seed: From the settings.
    """
    day = fall_day(as_of, fall)
    leads = min(LEADS, FALL_DAYS - day)
    rng = np.random.default_rng([seed, fall, day, 11])
    shared = error_paths(rng, 2, leads)
    blocks = [fall_block(known, year) for year in falls]
    coming = fall_block(future, fall)
    position = {station.station_id: row for row, station in enumerate(future.stations)}
    usual = []
    for values in ([b.tmean_c for b in blocks], [b.tmin_c for b in blocks]):
        stack = np.stack(values)
        course = usual_course(stack, margin_days=MARGIN_DAYS, fit_margin_days=MARGIN_DAYS)
        usual.append((course[:, MARGIN_DAYS:], usual_spread(stack - course)))
    at = slice(day, day + leads)
    made = []
    for row, station in enumerate(known.stations):
        own = error_paths(rng, 2, leads)
        z_mean = mixed(shared[0], own[0])
        z_low = mixed(z_mean, mixed(shared[1], own[1]))
        outlook_c = []
        for (course, spread), truth, z in zip(
            usual, (coming.tmean_c, coming.tmin_c), (z_mean, z_low), strict=True
        ):
            came = truth[position[station.station_id], MARGIN_DAYS:][at]
            outlook_c.append(emulated_values(came, course[row, at], spread[row, at], z))
        mean, low = outlook_c
        days = tuple(as_of + timedelta(days=n) for n in range(leads))
        made.append(_outlook(station.station_id, as_of, days, mean, low, "emulated"))
    return tuple(made)


def perfect_outlooks(future: Weather, *, fall: int, as_of: date) -> tuple[Outlook, ...]:
    """The coming ten days as they came: an upper bound, not a forecast."""
    day = fall_day(as_of, fall)
    leads = min(LEADS, FALL_DAYS - day)
    coming = fall_block(future, fall, margin_days=0)
    days = tuple(as_of + timedelta(days=n) for n in range(leads))
    return tuple(
        _outlook(
            station.station_id, as_of, days,
            coming.tmean_c[row, day : day + leads], coming.tmin_c[row, day : day + leads], "perfect",
        )
        for row, station in enumerate(future.stations)
    )  # fmt: skip


def _outlook(
    station_id: str, issued: date, days: tuple[date, ...], mean: Floats, low: Floats, source: str
) -> Outlook:
    return Outlook(station_id, issued, days, low, 2.0 * mean - low, source, tmean_c=mean)


assert LEAD_MEMORY == 0.6  # the emulator's recipe is fixed, so that scores of different versions compare
