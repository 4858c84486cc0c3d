"""Members: possible courses of the rest of the season, the same one for all stations and sites.

A member is one earlier season, moved by some days and by half the warming since, at every station at once:
cold snaps hit the whole route together. The first days come from the latest outlook plus its error.
Recipe and its measured skill: DEVELOPERS.md, Members. Limit: daily minima and means only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_day
from forecaster.weather.fall_blocks import MARGIN_DAYS, fall_block
from forecaster.weather.stations import Outlook, Weather

Floats = NDArray[np.float64]

SHIFTS_DAYS = (0, -10, -5, 5, 10)
"""Days by which each earlier season is moved, its anomalies laid on the usual course of the new days."""
TREND_SHARE = 0.5
"""Share of the linear trend that earlier seasons are moved by: half was the safest on eight stations."""
FEWEST_FALLS = 5
"""With fewer earlier seasons than this there is no forecast."""
LEAD_ERROR_C = (1.2, 1.5, 1.8, 2.1, 2.5, 2.9, 3.2, 3.5, 3.7, 3.9)
"""Typical standard deviation of an outlook's daily mean by lead day 1-10 [°C], until own errors are known."""
LEAD_MEMORY = 0.6
"""Correlation of the errors of neighbouring lead days; 0.5-0.7 is usual [from memory]."""
SHARED_ERROR = 0.85
"""Correlation of the errors of minimum and mean, and (squared) of two stations: assumptions, no source."""
TAIL_FREEDOM = 6.0
"""Degrees of freedom of the outlook's error: heavier-tailed than normal (day-1 errors in the USA, 2005)."""


@dataclass(frozen=True, eq=False)
class Members:
    """The ensemble of one forecast.

    `first_day`: day index of the first day that nobody has observed. `source_fall`, `shift_days`, `base`:
    per member (m,), the season it comes from, its shift and its row in `tmean_base_c`, `tmin_base_c` (base,
    station, day) over all days of the fall. `tmean_head_c`, `tmin_head_c` (m, station, head) replace the
    first days where an outlook is known; `head_from` is their first day. Minima of a station without any
    are NaN.
    """

    fall: int
    first_day: int
    source_fall: NDArray[np.int64]
    shift_days: NDArray[np.int64]
    base: NDArray[np.int64]
    tmean_base_c: Floats
    tmin_base_c: Floats
    head_from: int
    tmean_head_c: Floats
    tmin_head_c: Floats

    @property
    def count(self) -> int:
        """Number of members."""
        return len(self.base)


def usual_course(blocks: Floats, *, margin_days: int = MARGIN_DAYS) -> Floats:
    """Smooth seasonal cycle of daily values: mean over falls, fitted by two harmonics and a line.

    Args:
        blocks: Shape (fall, ..., day), complete.
    Returns:
        Shape (..., day) [unit of blocks].
    """
    day = np.arange(blocks.shape[-1]) - margin_days
    turn = 2 * np.pi * day / 365.25
    basis = np.stack([np.ones(len(day)), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)])
    mean = blocks.mean(axis=0)
    solved = np.linalg.lstsq(basis.T, mean.reshape(-1, len(day)).T, rcond=None)[0]
    return np.asarray((basis.T @ solved).T.reshape(mean.shape))


def trend_per_year(blocks: Floats, years: NDArray[np.int64]) -> Floats:
    """Linear trend of the falls' mean, shape (...), per year; blocks of shape (fall, ..., day)."""
    centred = years - years.mean()
    level = blocks.mean(axis=-1)
    return np.asarray(np.tensordot(centred, level - level.mean(axis=0), axes=(0, 0)) / (centred @ centred))


def make_members(
    weather: Weather,
    falls: Sequence[int],
    *,
    fall: int,
    as_of: date,
    count: int,
    seed: int,
    outlooks: Sequence[Outlook] = (),
) -> Members:
    """The ensemble as known on `as_of`.

    Args:
        weather: Cut at the as-of date and filled.
        falls: Earlier falls that are complete at every station (see `usable_falls`), at least FEWEST_FALLS.
        fall: The fall to forecast.
        as_of: Morning on which the forecast stands.
        count: Number of members; each earlier season and shift is used about equally often.
        seed: Of the outlook's errors.
        outlooks: Any kept outlooks; the latest of each station issued by `as_of` is used.
    Raises:
        ValueError: Fewer than FEWEST_FALLS falls.
    """
    if len(falls) < FEWEST_FALLS:
        raise ValueError(f"{len(falls)} earlier falls are complete, {FEWEST_FALLS} are needed")
    years = np.array(falls)
    blocks = [fall_block(weather, year) for year in falls]
    tmean, tmin = np.stack([b.tmean_c for b in blocks]), np.stack([b.tmin_c for b in blocks])
    tmean_base, tmin_base = (_moved(values, years, fall) for values in (tmean, tmin))
    order = _spread_order(len(falls) * len(SHIFTS_DAYS), count)
    first_day = _first_unobserved(weather, fall, as_of)
    head_from, head_mean, head_min = _head(
        weather, outlooks, fall=fall, as_of=as_of, first_day=first_day, count=count, seed=seed
    )
    own_mean = tmean_base[order][:, :, head_from : head_from + head_mean.shape[2]]
    own_min = tmin_base[order][:, :, head_from : head_from + head_min.shape[2]]
    return Members(
        fall=fall,
        first_day=first_day,
        source_fall=years[order % len(falls)],
        shift_days=np.array(SHIFTS_DAYS)[order // len(falls)],
        base=order,
        tmean_base_c=tmean_base,
        tmin_base_c=tmin_base,
        head_from=head_from,
        tmean_head_c=np.where(np.isnan(head_mean), own_mean, head_mean),
        tmin_head_c=np.where(np.isnan(head_min), own_min, head_min),
    )


def _moved(values: Floats, years: NDArray[np.int64], fall: int) -> Floats:
    """Earlier seasons shifted and warmed: (fall, station, day + margins) -> (shift x fall, station, day)."""
    course = usual_course(values)
    anomaly = values - course
    warming = TREND_SHARE * trend_per_year(values, years)
    moved = []
    for shift in SHIFTS_DAYS:
        start = MARGIN_DAYS + shift
        there = anomaly[:, :, start : start + FALL_DAYS]
        usual = course[:, MARGIN_DAYS : MARGIN_DAYS + FALL_DAYS]
        moved.append(there + usual + (warming * (fall - years[:, None]))[:, :, None])
    return np.concatenate(moved)


def _spread_order(base_count: int, count: int) -> NDArray[np.int64]:
    """Which base course each member takes: all in turn, or evenly spread ones where members are few."""
    if count >= base_count:
        return np.arange(count) % base_count
    return (np.arange(count) * base_count) // count


def _first_unobserved(weather: Weather, fall: int, as_of: date) -> int:
    """Day index after the last day with a mean at every station, at most the as-of date."""
    known = np.isfinite(weather.tmean_c).all(axis=0)
    last = len(known) - 1 - int(np.argmax(known[::-1])) if known.any() else -1
    after = fall_day(weather.first_day, fall) + last + 1
    return int(min(after, fall_day(as_of, fall)))


def lead_error_sd(lead_days: NDArray[np.int64]) -> Floats:
    """Typical error of an outlook's daily mean [°C] at lead days 1, 2, ...; constant after day 10.

    >>> lead_error_sd(np.array([1, 10, 12]))
    array([1.2, 3.9, 3.9])
    """
    table = np.array(LEAD_ERROR_C)
    return np.asarray(table[np.clip(lead_days, 1, len(table)) - 1])


def _head(
    weather: Weather,
    outlooks: Sequence[Outlook],
    *,
    fall: int,
    as_of: date,
    first_day: int,
    count: int,
    seed: int,
) -> tuple[int, Floats, Floats]:
    """First days from the latest outlooks plus error: (from day, mean, minimum), NaN where none is known."""
    station_count = len(weather.stations)
    latest = [_latest(outlooks, station.station_id, as_of) for station in weather.stations]
    ends = [fall_day(o.days[-1], fall) + 1 for o in latest if o is not None and o.days]
    length = max(0, min(max(ends, default=0), FALL_DAYS) - first_day)
    mean = np.full((count, station_count, length), np.nan)
    low = np.full((count, station_count, length), np.nan)
    if length == 0:
        return first_day, mean, low
    rng = np.random.default_rng([seed, fall, 7])
    shared_mean, shared_low = _error_paths(rng, count, length), _error_paths(rng, count, length)
    share, rest = SHARED_ERROR, np.sqrt(1 - SHARED_ERROR**2)
    for position, outlook in enumerate(latest):
        own_mean, own_low = _error_paths(rng, count, length), _error_paths(rng, count, length)
        z_mean = share * shared_mean + rest * own_mean
        z_low = share * z_mean + rest * (share * shared_low + rest * own_low)
        if outlook is None:
            continue
        for day, tmin_c, tmax_c in zip(outlook.days, outlook.tmin_c, outlook.tmax_c, strict=True):
            at = fall_day(day, fall) - first_day
            if not 0 <= at < length:
                continue
            error = float(lead_error_sd(np.array([(day - outlook.issued).days + 1]))[0])
            mean[:, position, at] = 0.5 * (tmin_c + tmax_c) + error * z_mean[:, at]
            low[:, position, at] = tmin_c + error * z_low[:, at]
    low[:, [not has for has in weather.has_tmin], :] = np.nan
    return first_day, mean, low


def _latest(outlooks: Sequence[Outlook], station_id: str, as_of: date) -> Outlook | None:
    known = [o for o in outlooks if o.station_id == station_id and o.issued <= as_of]
    return max(known, key=lambda outlook: outlook.issued, default=None)


def _error_paths(rng: np.random.Generator, count: int, length: int) -> Floats:
    """Heavy-tailed errors of unit variance, correlated from day to day: shape (count, length)."""
    z = rng.standard_normal((count, length))
    for day in range(1, length):
        z[:, day] = LEAD_MEMORY * z[:, day - 1] + np.sqrt(1 - LEAD_MEMORY**2) * z[:, day]
    heavy = np.sqrt((TAIL_FREEDOM - 2.0) / rng.chisquare(TAIL_FREEDOM, size=(count, 1)))
    return np.asarray(z * heavy)
