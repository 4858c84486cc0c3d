"""The first days of every member from the latest outlook of each station, plus the outlook's error.

Errors are correlated from lead day to lead day, shared by minimum and mean and in part by all stations, and
heavier-tailed than normal. An outlook can be no worse than knowing the season: its error never exceeds 0.95
of the usual spread of the days.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_day
from forecaster.weather.outlook_errors import LeadErrors, outlook_mean_c
from forecaster.weather.stations import Outlook

Floats = NDArray[np.float64]

LEAD_MEMORY = 0.6
"""Correlation of the errors of neighbouring lead days; 0.5-0.7 is usual [from memory]."""
SHARED_ERROR = 0.85
"""Correlation of the errors of minimum and mean, and (squared) of two stations: assumptions, no source."""
TAIL_FREEDOM = 6.0
"""Degrees of freedom of the outlook's error: heavier-tailed than normal (day-1 errors in the USA, 2005)."""
LARGEST_ERROR_SHARE = 0.95
"""Largest error of an outlook as a share of the usual spread of the day."""


@dataclass(frozen=True, eq=False)
class OutlookError:
    """Error of one station's outlooks by lead day 1, 2, ... [°C], the last value for all later ones.

    `mean_sd_c`, `min_sd_c`: spread for daily mean and minimum; `mean_bias_c`, `min_bias_c`: forecast less
    truth; `tail_freedom` of its t distribution, `inf` is normal.
    """

    mean_sd_c: Floats
    min_sd_c: Floats
    mean_bias_c: Floats
    min_bias_c: Floats
    tail_freedom: float = TAIL_FREEDOM


def learned_error(learned: LeadErrors) -> OutlookError:
    """What kept outlooks taught of one station (typical values where nothing was kept)."""
    return OutlookError(learned.sd_mean_c, learned.sd_min_c, learned.bias_mean_c, learned.bias_min_c)


def at_lead(table: Floats, lead_days: NDArray[np.int64]) -> Floats:
    """Values of a table by lead day, constant after its last.

    >>> at_lead(np.array([1.2, 1.5]), np.array([1, 2, 12]))
    array([1.2, 1.5, 1.5])
    """
    return np.asarray(table[np.clip(lead_days, 1, len(table)) - 1])


def capped_error(sd_c: Floats, usual_sd_c: Floats) -> Floats:
    """Error no larger than 0.95 of the usual spread of the days [°C]."""
    return np.asarray(np.minimum(sd_c, LARGEST_ERROR_SHARE * usual_sd_c))


def outlook_head(
    outlooks: Sequence[Outlook | None],
    *,
    fall: int,
    first_day: int,
    count: int,
    rng: np.random.Generator,
    usual_sd_mean_c: Floats,
    usual_sd_min_c: Floats,
    errors: Mapping[str, OutlookError],
) -> tuple[Floats, Floats]:
    """Mean and minimum of the first days in each member, shape (count, station, length), NaN where unknown.

    Args:
        outlooks: The latest one a station, or None.
        fall: Year of the fall.
        first_day: Day index of the first day that nobody has observed.
        count: Members.
        rng: Draws the errors.
        usual_sd_mean_c, usual_sd_min_c: Usual spread of each day [°C], shape (station, 184).
        errors: By station, for all that have an outlook.
    """
    ends = [fall_day(o.days[-1], fall) + 1 for o in outlooks if o is not None and o.days]
    length = max(0, min(max(ends, default=0), FALL_DAYS) - first_day)
    mean = np.full((count, len(outlooks), length), np.nan)
    low = np.full((count, len(outlooks), length), np.nan)
    if length == 0:
        return mean, low
    scale = rng.chisquare(TAIL_FREEDOM, (count, 1)) if _any_heavy(errors) else np.ones((count, 1))
    shared_mean, shared_low = error_paths(rng, count, length), error_paths(rng, count, length)
    for position, outlook in enumerate(outlooks):
        own_mean, own_low = error_paths(rng, count, length), error_paths(rng, count, length)
        z_mean = mixed(shared_mean, own_mean)
        z_low = mixed(z_mean, mixed(shared_low, own_low))
        if outlook is None:
            continue
        error = errors[outlook.station_id]
        freedom = error.tail_freedom
        heavy = np.sqrt((freedom - 2.0) / scale) if np.isfinite(freedom) else np.ones((count, 1))
        at = np.array([fall_day(day, fall) - first_day for day in outlook.days], int)
        lead = np.array([(day - outlook.issued).days + 1 for day in outlook.days], int)
        use = (at >= 0) & (at < length)
        at, lead = at[use], lead[use]
        day = first_day + at
        middle = outlook_mean_c(outlook)[use] - at_lead(error.mean_bias_c, lead)
        bottom = outlook.tmin_c[use] - at_lead(error.min_bias_c, lead)
        sd_mean = capped_error(at_lead(error.mean_sd_c, lead), usual_sd_mean_c[position, day])
        sd_low = capped_error(at_lead(error.min_sd_c, lead), usual_sd_min_c[position, day])
        mean[:, position, at] = middle + sd_mean * heavy * z_mean[:, at]
        low[:, position, at] = bottom + sd_low * heavy * z_low[:, at]
    return mean, low


def _any_heavy(errors: Mapping[str, OutlookError]) -> bool:
    return any(np.isfinite(error.tail_freedom) for error in errors.values())


def error_paths(rng: np.random.Generator, count: int, length: int) -> Floats:
    """Normal errors of unit variance, correlated from day to day: shape (count, length)."""
    z = rng.standard_normal((count, length))
    for day in range(1, length):
        z[:, day] = LEAD_MEMORY * z[:, day - 1] + np.sqrt(1 - LEAD_MEMORY**2) * z[:, day]
    return np.asarray(z)


def mixed(shared: Floats, own: Floats) -> Floats:
    """Errors of unit variance that have SHARED_ERROR in common with `shared`."""
    return np.asarray(SHARED_ERROR * shared + np.sqrt(1.0 - SHARED_ERROR**2) * own)
