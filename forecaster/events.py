"""When things happen in each member: crossings, freezes, ice, rebound. Arrays in, arrays out.

The water of every member is run forward day by day (`w += k (e - w)`, never below 0 °C) together with its
AR(1) error, and each event is kept as it comes, so that nothing of the size site x member x day is stored.
Limits: daily means and minima; a limit counts at or below; freezes within 0.05 °C (see units.py).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from forecaster.errors import MissingWater
from forecaster.falls import NOT_REACHED
from forecaster.units import STORED_TENTH_C
from forecaster.water.draws import WaterDraws
from forecaster.water.physics import REFERENCE_AIR_C

Reals = NDArray[np.float32]

REBOUND_C = 1.0
"""Water this far above the sustained threshold has rebounded [°C]."""
SOON_DAYS = 14
"""Days from the as-of date in which a hard freeze is near."""
REBOUND_DAYS = 2
"""On at least so many days after the sustained crossing [days]."""


@dataclass(frozen=True)
class Limits:
    """Thresholds of the events [°C] and the length of a run [days]."""

    start_c: float
    sustained_c: float
    hold_days: int
    freeze_c: float
    hard_freeze_c: float
    plumbing_freeze_c: float


@dataclass(frozen=True, eq=False)
class SiteEvents:
    """Events of one site in each member, in days since 1 August, shape (m,); NOT_REACHED where none.

    Freezes and ice count from the as-of date on. Without a water forecast the crossings are None; without
    minima the freezes are None. `hard_freeze_soon`: a hard freeze within 14 days of the as-of date.
    `water_now_c`: daily mean water of the day before the as-of date [°C].
    """

    start: Reals | None
    sustained: Reals | None
    ice_on: Reals | None
    rebound: NDArray[np.bool_] | None
    hard_freeze: Reals | None
    plumbing_freeze: Reals | None
    hard_freeze_soon: NDArray[np.bool_] | None
    water_now_c: Reals | None = None

    def pick(self, members: NDArray[np.int64]) -> SiteEvents:
        """The same events in some of the members only."""
        kept = {
            field.name: None if (value := getattr(self, field.name)) is None else value[members]
            for field in fields(self)
        }
        return SiteEvents(**kept)


def sustained_crossing(water_c: np.ndarray, *, threshold_c: float, hold_days: int) -> np.ndarray:
    """First day of the first run of `hold_days` days at or below the threshold.

    Args:
        water_c: Daily mean water temperature [°C], shape (..., day), one local calendar day a step.
        threshold_c: Upper limit of "settled" [°C]; the limit itself counts.
        hold_days: Length of the run [days], 1 or more.
    Returns:
        Days after the first day of `water_c` [days], shape (...); NOT_REACHED where no run exists.
    Raises:
        MissingWater: A value is NaN: a gap could hide the crossing, so fill it first.
    References:
        README, Words. The length of the run is common practice, no source.

    >>> sustained_crossing(np.array([9.0, 7.0, 7.0, 6.5]), threshold_c=7.0, hold_days=2)
    array(1.)
    """
    if np.isnan(water_c).any():
        raise MissingWater(f"{np.isnan(water_c).sum()} of {water_c.size} daily water values are missing")
    if water_c.shape[-1] < hold_days:
        return np.full(water_c.shape[:-1], NOT_REACHED)
    held = sliding_window_view(water_c <= threshold_c, hold_days, axis=-1).all(axis=-1)
    return np.where(held.any(axis=-1), held.argmax(axis=-1), NOT_REACHED)


def first_freeze(tmin_c: np.ndarray, *, limit_c: float, from_day: int = 0) -> np.ndarray:
    """First day from `from_day` on whose minimum is at or below the limit, within 0.05 °C.

    Args:
        tmin_c: Daily minimum air [°C], shape (..., day); NaN counts as no freeze, so fill gaps first.
        limit_c: Limit [°C].
        from_day: First day that counts [days].
    Returns:
        Days after the first day of `tmin_c` [days], shape (...); NOT_REACHED where none.

    >>> first_freeze(np.array([1.0, -2.2, -5.0]), limit_c=-20 / 9)
    array(1.)
    """
    frozen = tmin_c[..., from_day:] <= limit_c + STORED_TENTH_C
    if frozen.shape[-1] == 0:
        return np.full(tmin_c.shape[:-1], NOT_REACHED)
    return np.where(frozen.any(axis=-1), frozen.argmax(axis=-1) + from_day, NOT_REACHED)


class WaterEvents:
    """Events that depend on the water of a block of sites, collected day by day."""

    def __init__(self, draws: WaterDraws, limits: Limits, as_of_day: int) -> None:
        shape = draws.start_c.shape
        self._draws, self._limits, self._as_of = draws, limits, as_of_day
        self._reference_air_c = np.float32(REFERENCE_AIR_C)
        self._water = draws.start_c.copy()
        self._runs = [np.zeros(shape, np.int16), np.zeros(shape, np.int16)]
        self.start = np.full(shape, np.inf, np.float32)
        self.sustained = np.full(shape, np.inf, np.float32)
        self.ice_on = np.full(shape, np.inf, np.float32)
        self.warm_days = np.zeros(shape, np.int16)
        self.water_now_c = np.maximum(draws.start_c, 0.0)
        self.freezing = np.zeros(shape, bool)  # on the day last run: water at 0 °C and heat still leaving

    def advance(self, day: int, air_c: Reals) -> Reals:
        """Run one day on `air_c` (site, m) or (site, 1) [°C]; returns the day's water [°C]."""
        c = self._draws.coefficients
        sun, sine, cosine = (self._draws.terms[day, column][:, None] for column in range(3))
        air = air_c - self._reference_air_c
        equilibrium = c[0] + c[2] * sun + c[3] * sine + (c[1] + c[4] * cosine + c[5] * sine) * air
        self._water += self._draws.step * (equilibrium - self._water)
        np.maximum(self._water, 0.0, out=self._water)
        water = np.maximum(self._water + self._draws.residual_c[day], 0.0)
        for run, threshold, found in (
            (self._runs[0], self._limits.start_c, self.start),
            (self._runs[1], self._limits.sustained_c, self.sustained),
        ):
            run += 1
            run *= water <= np.float32(threshold)
            found[(run == self._limits.hold_days) & np.isinf(found)] = day - self._limits.hold_days + 1
        self.warm_days += np.isfinite(self.sustained) & (
            water >= np.float32(self._limits.sustained_c + REBOUND_C)
        )
        if day == self._as_of - 1:
            self.water_now_c = np.asarray(water)
        self.freezing = np.asarray((water <= 0.0) & (equilibrium < 0.0))
        if day >= self._as_of:
            self.ice_on[self.freezing & np.isinf(self.ice_on)] = day
        return np.asarray(water)

    @property
    def rebound(self) -> NDArray[np.bool_]:
        """Members whose water warmed again after the sustained crossing."""
        return np.asarray(self.warm_days >= REBOUND_DAYS)


class FreezeEvents:
    """Freezes of a block of sites from the as-of date on, collected day by day."""

    def __init__(self, shape: tuple[int, int], limits: Limits, as_of_day: int) -> None:
        self._limits, self._as_of = limits, as_of_day
        self.hard_freeze = np.full(shape, np.inf, np.float32)
        self.plumbing_freeze = np.full(shape, np.inf, np.float32)

    def advance(self, day: int, tmin_c: Reals) -> None:
        """Look at one day's minima [°C], (site, m)."""
        for limit_c, found in (
            (self._limits.hard_freeze_c, self.hard_freeze),
            (self._limits.plumbing_freeze_c, self.plumbing_freeze),
        ):
            found[(tmin_c <= np.float32(limit_c + STORED_TENTH_C)) & np.isinf(found)] = day

    @property
    def hard_freeze_soon(self) -> NDArray[np.bool_]:
        """Members with a hard freeze on the as-of date or the 13 days after."""
        return np.asarray(self.hard_freeze < self._as_of + SOON_DAYS)
