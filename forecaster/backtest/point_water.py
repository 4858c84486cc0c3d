"""Water with its parameters held at their best estimate and no error of its own: one value a day.

Modelled truth, the reference and the forecasts that are held against it all come from here, so that both
sides are treated alike. The recursion is that of `events.WaterEvents`, w += k (a + b air - w), never below
0 °C; a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.station_air import WARM_UP_DAYS
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.water.lagged import LAG, LAG_RANGE_DAYS, LEVEL_OF_FALL, day_of_year
from forecaster.water.physics import (
    REFERENCE_AIR_C,
    REFERENCE_SUN_W_M2,
    SUMMER_SOLSTICE,
    clear_sky_sun,
    relaxation_step,
)
from forecaster.water.pooling import PondFit

Floats = NDArray[np.float64]
BLOCK_SITES = 20
BATCH_DAYS = 8


@dataclass(frozen=True, eq=False)
class PointWater:
    """Best estimates of some ponds: `step` k (site,), `coefficients` (site, 6), `level_c` (site,) of the
    present fall, `latitude` (site,) in degrees."""

    step: Floats
    coefficients: Floats
    level_c: Floats
    latitude: Floats

    def pick(self, sites: NDArray[np.int64]) -> PointWater:
        """Some of the ponds."""
        return PointWater(
            self.step[sites], self.coefficients[sites], self.level_c[sites], self.latitude[sites]
        )

    def line(self, fall: int) -> tuple[Floats, Floats]:
        """Equilibrium = `a + b x air` for each site and day from WARM_UP_DAYS before 1 August of `fall`:
        two arrays of shape (site, 90 + 184) [°C], [1]."""
        start = fall_start(fall)
        days = day_of_year(start, FALL_DAYS)
        days = np.concatenate([days[0] - WARM_UP_DAYS + np.arange(WARM_UP_DAYS), days])
        turn = 2.0 * np.pi * (days - SUMMER_SOLSTICE) / 365.25
        c = self.coefficients
        by_latitude = {
            lat: (clear_sky_sun(lat, days) - REFERENCE_SUN_W_M2) / 100.0 for lat in set(self.latitude)
        }
        sun = np.stack([by_latitude[lat] for lat in self.latitude])
        slope = c[:, 1:2] + c[:, 4:5] * np.cos(turn) + c[:, 5:6] * np.sin(turn)
        base = c[:, 0:1] + c[:, 2:3] * sun + c[:, 3:4] * np.sin(turn)
        return base - slope * REFERENCE_AIR_C, slope


def point_water(fits: Sequence[PondFit]) -> PointWater:
    """Best estimates given every reading that the fits have seen."""
    lag = np.array([fit.log_lag + fit.all_mean[LAG] for fit in fits])
    lag = np.exp(np.clip(lag, *np.log(LAG_RANGE_DAYS)))
    return PointWater(
        step=np.asarray(relaxation_step(lag), float),
        coefficients=np.array([fit.all_mean[:LAG] for fit in fits]).reshape(len(fits), LAG),
        level_c=np.array([fit.all_mean[LEVEL_OF_FALL] for fit in fits]),
        latitude=np.array([fit.pond.series.latitude for fit in fits]),
    )


def observed_water(points: PointWater, air_c: Floats, fall: int) -> Floats:
    """Water of each day as far as the air is known, shape of `air_c` [°C].

    The level of the fall is not in it (see `with_level`), so that a run can go on from its last day.

    Args:
        points: The ponds.
        air_c: Daily means at each site from WARM_UP_DAYS before 1 August on, shape (site, day); no gaps
            from 1 August on.
        fall: Year of the fall.
    """
    base, slope = points.line(fall)
    air = _without_gaps_before(air_c, WARM_UP_DAYS)
    water = np.empty_like(air)
    state = base[:, 0] + slope[:, 0] * air[:, 0]
    for day in range(air.shape[1]):
        state = np.maximum(state + points.step * (base[:, day] + slope[:, day] * air[:, day] - state), 0.0)
        water[:, day] = state
    return water


def with_level(points: PointWater, water_c: Floats) -> Floats:
    """Daily mean water with the fall's own level, never below 0 [°C]; shape (site, ...)."""
    level = points.level_c.reshape(-1, *[1] * (water_c.ndim - 1))
    return np.maximum(water_c + level, 0.0)


def _without_gaps_before(air_c: Floats, last: int) -> Floats:
    """Warm-up days without air take the nearest known day's value: 90 days later nothing is left of them."""
    air = air_c.copy()
    for row in air:
        known = np.flatnonzero(np.isfinite(row))
        if len(known) and not np.isfinite(row[:last]).all():
            missing = np.flatnonzero(~np.isfinite(row[:last]))
            row[missing] = row[known[np.abs(known[None, :] - missing[:, None]).argmin(axis=1)]]
    return air


@dataclass(frozen=True, eq=False)
class Runs:
    """Days at or below each threshold until yesterday: `length` (site, threshold), and the day on which the
    first long enough run began, `found` (site, threshold), inf where none has."""

    length: NDArray[np.int64]
    found: Floats


@dataclass(frozen=True)
class Watch:
    """What is looked for: a run of `hold_days` days at or below `threshold_c` [°C], from `from_day` on."""

    threshold_c: float
    hold_days: int
    from_day: int = 0


def runs_until(water_c: Floats, watched: Sequence[Watch], end_day: int) -> Runs:
    """Runs of the days before `end_day`; water of shape (site, day) with its level."""
    sites = len(water_c)
    length = np.zeros((sites, len(watched)), int)
    found = np.full((sites, len(watched)), np.inf)
    threshold = np.array([watch.threshold_c for watch in watched])
    hold = np.array([watch.hold_days for watch in watched])
    start = np.array([watch.from_day for watch in watched])
    for day in range(end_day):
        below = (water_c[:, day : day + 1] <= threshold) & (day >= start)
        length = (length + 1) * below
        found = np.where((length == hold) & np.isinf(found), day - hold + 1.0, found)
    return Runs(length, found)


def member_crossings(
    points: PointWater,
    fall: int,
    *,
    state_c: Floats,
    runs: Runs,
    air_c: NDArray[np.float32],
    air_of: NDArray[np.int64],
    first_day: int,
    watched: Sequence[Watch],
) -> NDArray[np.float32]:
    """First day of the first run of each kind in each member: (watch, site, member), inf where none.

    Args:
        points: The ponds.
        fall: Year of the fall.
        state_c: Water on the day before `first_day`, without level, shape (site,).
        runs: Of the days before `first_day`.
        air_c: Daily means by distinct site air, shape (day from first_day, row, member).
        air_of: Row of each site, shape (site,).
        first_day: Day index of the members' first day.
        watched: Runs to look for; their `from_day` is at most `first_day` or bounds the search itself.
    """
    base, slope = (part[:, WARM_UP_DAYS:].astype(np.float32) for part in points.line(fall))
    out = np.empty((len(watched), len(air_of), air_c.shape[2]), np.float32)
    for start in range(0, len(air_of), BLOCK_SITES):
        block = slice(start, start + BLOCK_SITES)
        rows = air_of[block]
        shared = int(rows[0]) if (rows == rows[0]).all() else None
        out[:, block] = _block_crossings(
            base[block], slope[block],
            points.step[block].astype(np.float32)[:, None],
            state_c[block].astype(np.float32)[:, None],
            Runs(runs.length[block], runs.found[block]),
            air_c, rows, shared, first_day,
            np.array([watch.threshold_c for watch in watched])[None, :] - points.level_c[block][:, None],
            watched,
        )  # fmt: skip
    return out


def _block_crossings(
    base: NDArray[np.float32],
    slope: NDArray[np.float32],
    step: NDArray[np.float32],
    state: NDArray[np.float32],
    runs: Runs,
    air: NDArray[np.float32],
    rows: NDArray[np.int64],
    shared: int | None,
    first_day: int,
    limits: Floats,
    watched: Sequence[Watch],
) -> NDArray[np.float32]:
    """One block of sites; `limits` (site, threshold) have the level taken off: water <= limit - level."""
    sites, count = len(rows), air.shape[2]
    water = np.repeat(state, count, axis=1)
    limit = limits.astype(np.float32)
    length = [np.repeat(runs.length[:, [n]].astype(np.int8), count, axis=1) for n in range(limit.shape[1])]
    found = [np.repeat(runs.found[:, [n]].astype(np.float32), count, axis=1) for n in range(limit.shape[1])]
    pull = np.empty((sites, count), np.float32)
    below = np.empty((sites, count), np.bool_)
    open_ = [np.isinf(first) for first in found]
    for day in range(first_day, FALL_DAYS):
        today = air[day - first_day]
        np.multiply(slope[:, day : day + 1], today[shared] if shared is not None else today[rows], out=pull)
        pull += base[:, day : day + 1]
        pull -= water
        pull *= step
        water += pull
        np.maximum(water, 0.0, out=water)
        for n, watch in enumerate(watched):
            if day < watch.from_day:
                continue
            np.less_equal(water, limit[:, n : n + 1], out=below)
            length[n] += 1
            length[n] *= below
            np.equal(length[n], watch.hold_days, out=below)
            below &= open_[n]
            if below.any():
                found[n][below] = day - watch.hold_days + 1
                open_[n] &= ~below
        if (day - first_day) % BATCH_DAYS == 0 and not any(still.any() for still in open_):
            break
    return np.stack(found)


def member_paths(
    points: PointWater,
    fall: int,
    *,
    state_c: Floats,
    air_c: NDArray[np.float32],
    air_of: NDArray[np.int64],
    first_day: int,
    days: int,
) -> Floats:
    """Daily mean water of each member with its level [°C], (site, member, day) for up to `days` days.

    Args as in `member_crossings`; meant for a few sites at a time: nothing else keeps all days.
    """
    base, slope = (part[:, WARM_UP_DAYS:] for part in points.line(fall))
    water = np.repeat(state_c[:, None], air_c.shape[2], axis=1)
    path = []
    for ahead in range(min(days, len(air_c))):
        at = slice(first_day + ahead, first_day + ahead + 1)
        equilibrium = base[:, at] + slope[:, at] * air_c[ahead][air_of]
        water = np.maximum(water + points.step[:, None] * (equilibrium - water), 0.0)
        path.append(with_level(points, water))
    return np.stack(path, axis=-1)
