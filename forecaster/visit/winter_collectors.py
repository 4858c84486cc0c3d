"""What a winter does to a pond, collected day by day in every member: limits kept, ice, thermostat hours.

Arrays (site, m), float32, one call a day. Ice is modelled from air alone, without snow, wind or springs: it
says when somebody should look, never that ice bears. Limit: daily means; a thermostat's own warming of the
water around it is not seen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from forecaster.water.ice import (
    FUSION_J_KG,
    ICE_CONDUCTIVITY_W_M_K,
    ICE_DENSITY_KG_M3,
    SURFACE_EXCHANGE_W_M2_K,
)

Reals = NDArray[np.float32]
Flags = NDArray[np.bool_]

DAY_SECONDS = 86_400.0
AIR_FILM_M = ICE_CONDUCTIVITY_W_M_K / SURFACE_EXCHANGE_W_M2_K
"""Ice as thick as this resists heat as much as the air above it [m]."""
GROWTH_M2_DAY_C = 2.0 * ICE_CONDUCTIVITY_W_M_K * DAY_SECONDS / (ICE_DENSITY_KG_M3 * FUSION_J_KG)
MELT_M_DAY_C = SURFACE_EXCHANGE_W_M2_K * DAY_SECONDS / (ICE_DENSITY_KG_M3 * FUSION_J_KG)
HOURS_A_DAY = 24


def next_ice_m(ice_m: np.ndarray, air_c: np.ndarray) -> np.ndarray:
    """Ice [m] after one day of mean air `air_c` [°C]: Ashton's thin ice in steps, melt by the same film.

    Args:
        ice_m: Ice in the morning [m]; 0 stays 0 in air above freezing.
        air_c: Mean air of the day [°C], broadcast to `ice_m`.
    Source: `water.ice.thin_ice_thickness_cm`; a run of cold days from no ice gives its thickness exactly.

    >>> ice = np.zeros(1)
    >>> for _ in range(5):
    ...     ice = next_ice_m(ice, np.array([-2.0]))
    >>> (100 * ice).round(2)
    array([4.66])
    """
    cold = np.maximum(-air_c, 0.0)
    warm = np.maximum(air_c, 0.0)
    grown = np.sqrt((ice_m + AIR_FILM_M) ** 2 + GROWTH_M2_DAY_C * cold) - AIR_FILM_M
    return np.asarray(np.maximum(grown - MELT_M_DAY_C * warm, 0.0))


class FirstRun:
    """First day of the first run of `days` days with the condition, NOT_REACHED (inf) until then."""

    def __init__(self, shape: tuple[int, int], days: int) -> None:
        self._run = np.zeros(shape, np.int16)
        self._days = days
        self.first = np.full(shape, np.inf, np.float32)

    def advance(self, day: int, holds: Flags) -> None:
        """Look at one day."""
        self._run += 1
        self._run *= holds
        self.first[(self._run == self._days) & np.isinf(self.first)] = day - self._days + 1


class IceCover:
    """Ice on the still water: its beginning, its first long stay, and whether it lies on a given morning."""

    def __init__(self, shape: tuple[int, int], *, long_days: int, as_of_day: int) -> None:
        self.ice_m = np.zeros(shape, np.float32)
        self._any = FirstRun(shape, 1)
        self._long = FirstRun(shape, long_days)
        self._as_of = as_of_day
        self.now = np.zeros(shape, bool)
        self.long_ahead = np.full(shape, np.inf, np.float32)
        self._stay = np.zeros(shape, np.int16)
        self._long_days = long_days

    def advance(self, day: int, freezing: Flags, air_c: Reals) -> Flags:
        """Run one day; returns where ice lies at its end."""
        may_grow = (self.ice_m > 0.0) | freezing
        self.ice_m = np.where(may_grow, next_ice_m(self.ice_m, air_c), 0.0).astype(np.float32)
        lies = self.ice_m > 0.0
        self._any.advance(day, lies)
        self._long.advance(day, lies)
        self._stay += 1
        self._stay *= lies
        ahead = (day >= self._as_of) & (self._stay >= self._long_days) & np.isinf(self.long_ahead)
        self.long_ahead[ahead] = day
        if day == self._as_of - 1:
            self.now = lies
        return np.asarray(lies)

    @property
    def first(self) -> Reals:
        """First day with ice, NOT_REACHED where none."""
        return self._any.first

    @property
    def long(self) -> Reals:
        """First day of the first ice that stays `long_days` or longer."""
        return self._long.first


class SnowOnIce:
    """First day on which ice lies and snow covers it; `covered` (day, site, m), NOT_REACHED where none."""

    def __init__(self, covered: Flags) -> None:
        self._covered = covered
        self.first = np.full(covered.shape[1:], np.inf, np.float32)

    def advance(self, day: int, ice: Flags) -> None:
        """Look at one day; days beyond the season's axis have no snow."""
        if day < len(self._covered):
            self.first[ice & self._covered[day] & np.isinf(self.first)] = day


class Thermostat:
    """Days on which a de-icer's thermostat may heat: on at or below `on_c`, off again at or above `off_c`.

    `on_c`, `off_c` (site, 1) [°C]. `days` counts from `from_day` (site, 1) on. Under ice the water at the
    de-icer is taken as 0 °C.
    """

    def __init__(
        self, shape: tuple[int, int], on_c: np.ndarray, off_c: np.ndarray, from_day: np.ndarray
    ) -> None:
        self._on_c, self._off_c = np.asarray(on_c, np.float32), np.asarray(off_c, np.float32)
        self._from_day = from_day
        self._on = np.zeros(shape, bool)
        self.days = np.zeros(shape, np.int16)

    def advance(self, day: int, water_c: Reals, ice: Flags) -> None:
        """Look at one day's mean water [°C]."""
        seen = np.where(ice, np.float32(0.0), water_c)
        self._on = (self._on | (seen <= self._on_c)) & ~((seen >= self._off_c) & (seen > self._on_c))
        self.days += self._on & (day >= self._from_day)
