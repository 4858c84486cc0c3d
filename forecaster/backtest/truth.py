"""What really happened, and to whom it is known: crossings that were measured, else those that are modelled.

Measured: a site's readings cover at least 90 % of the days from 1 September to five days past the crossing
without a gap of more than two days. Modelled: the water of observed air with the parameters known on
1 August of that season. The two kinds are never mixed within a season and site.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.point_water import PointWater, observed_water, with_level
from forecaster.backtest.station_air import WARM_UP_DAYS, SiteBlends, fall_means, fall_minima
from forecaster.events import Limits, sustained_crossing
from forecaster.falls import FALL_DAYS, fall_day, fall_of
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.units import STORED_TENTH_C
from forecaster.water.evidence import daily_mean_of
from forecaster.weather.stations import Weather

Floats = NDArray[np.float64]
EVENTS = ("start", "sustained")
FREEZES = ("hard freeze", "plumbing freeze")

FIRST_READ_DAY = 31
"""1 September: from here on a measured season must be read."""
LEAST_READ_SHARE = 0.9
LONGEST_READ_GAP_DAYS = 2
PAST_CROSSING_DAYS = 5


def thresholds_of(limits: Limits) -> tuple[float, float]:
    """Limits of EVENTS [°C]."""
    return limits.start_c, limits.sustained_c


def modelled_crossings(
    points: PointWater, weather: Weather, blends: SiteBlends, sites: Sequence[int], fall: int, limits: Limits
) -> Floats:
    """Crossings of one complete fall, shape (site of `sites`, event), days since 1 August or inf."""
    air = fall_means(weather, blends, fall)[blends.mean_of[list(sites)]]
    water = with_level(points, observed_water(points, air, fall)[:, WARM_UP_DAYS:])
    found = [
        sustained_crossing(water, threshold_c=threshold, hold_days=limits.hold_days)
        for threshold in thresholds_of(limits)
    ]
    return np.stack(found, axis=-1)


def next_freezes(weather: Weather, blends: SiteBlends, fall: int, limits: Limits) -> Floats:
    """First freeze of each kind on or after each day of the fall, by distinct site minima.

    Returns:
        Days since 1 August, inf none, shape (kind of FREEZES, row, 184).
    """
    minima = fall_minima(weather, blends, fall)[None]
    limit = np.array([limits.hard_freeze_c, limits.plumbing_freeze_c])[:, None, None]
    day = np.where(minima <= limit + STORED_TENTH_C, np.arange(FALL_DAYS, dtype=float), np.inf)
    return np.asarray(np.minimum.accumulate(day[..., ::-1], axis=-1)[..., ::-1])


@dataclass(frozen=True, eq=False)
class MeasuredFall:
    """Measured crossings of one site and fall (event,): days since 1 August or inf, NaN if not verified."""

    site_id: str
    fall: int
    crossing: Floats


def measured_falls(readings: Sequence[Reading], site: Site, limits: Limits) -> dict[int, MeasuredFall]:
    """Every fall of a site that is read densely enough for at least one event, by year."""
    days: dict[int, dict[int, list[float]]] = {}
    for reading in readings:
        fall = fall_of(reading.day)
        if reading.site_id == site.site_id and fall is not None:
            of_day = days.setdefault(fall, {}).setdefault(fall_day(reading.day, fall), [])
            of_day.append(daily_mean_of(reading, site)[0])
    found = {}
    for fall, by_day in days.items():
        if len(by_day) < 20:
            continue
        water = np.full(FALL_DAYS, np.nan)
        for day, values in by_day.items():
            water[day] = float(np.mean(values))
        crossing = np.array(
            [measured_crossing(water, threshold, limits.hold_days) for threshold in thresholds_of(limits)]
        )
        if not np.isnan(crossing).all():
            found[fall] = MeasuredFall(site.site_id, fall, crossing)
    return found


def measured_crossing(water_c: Floats, threshold_c: float, hold_days: int) -> float:
    """Crossing of daily readings [days since 1 August], NaN where they do not cover it, inf if never.

    Args:
        water_c: Daily water of the fall [°C], shape (184,), NaN where not read. Gaps of up to two days are
            bridged by a straight line.
        threshold_c: Limit [°C].
        hold_days: Length of the run [days].

    >>> water = np.full(184, 15.0); water[80:] = 6.0
    >>> measured_crossing(water, 7.2, 5)
    80.0
    >>> water[60:70] = np.nan
    >>> measured_crossing(water, 7.2, 5)
    nan
    """
    known = np.flatnonzero(np.isfinite(water_c))
    if not len(known):
        return float("nan")
    bridged = np.interp(np.arange(FALL_DAYS), known, water_c[known])
    last = int(known[-1])
    bridged[last + 1 :] = np.inf
    start = int(min(known[0], FIRST_READ_DAY))
    crossing = float(sustained_crossing(bridged[start:], threshold_c=threshold_c, hold_days=hold_days))
    crossing += start
    end = FALL_DAYS - 1 if np.isinf(crossing) else min(int(crossing) + PAST_CROSSING_DAYS, FALL_DAYS - 1)
    span = np.isfinite(water_c[FIRST_READ_DAY : end + 1])
    if not len(span) or span.mean() < LEAST_READ_SHARE:
        return float("nan")
    edges = np.concatenate([[-1], np.flatnonzero(span), [len(span)]])
    return float("nan") if np.diff(edges).max() - 1 > LONGEST_READ_GAP_DAYS else crossing
