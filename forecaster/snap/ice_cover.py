"""Ice on each pond in every member, day by day: grown by Ashton's thin-ice form, melted by mild air.

Ice begins on the day on which the modelled water stands at 0 °C in freezing air. Each member has its own
exchange of heat between ice and air, because nobody measures it: that is most of the band. Stefan's value is
kept beside as the upper bound. Limits: no snow, no sun, no wind, no leaves, no running water; edges and
shelves freeze days before the model's mean water does. Modelled, not measured: nobody should walk on ice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from forecaster.water.ice import (
    FUSION_J_KG,
    ICE_CONDUCTIVITY_W_M_K,
    ICE_DENSITY_KG_M3,
    stefan_thickness_cm,
)

Reals = NDArray[np.float32]

EXCHANGE_W_M2_K = (10.0, 25.0)
"""Ice to air: range of the literature [from memory]; a member draws its own, evenly in the logarithm."""
DAY_S = 86_400.0


def grown_cm(thickness_cm: np.ndarray, air_c: np.ndarray, exchange_w_m2_k: np.ndarray) -> np.ndarray:
    """Thickness [cm] after one more day at `air_c` [°C]: growth below 0 °C, melting above, never below 0.

    Growth solves rho L dh/dt = -T / (h/k + 1/H) over the day (Ashton 1989); melting is H T / (rho L).

    >>> one, five = np.array([0.0]), np.array([0.0])
    >>> for _ in range(5):
    ...     five = grown_cm(five, np.array([-1.0]), np.array([20.0]))
    >>> float(five[0].round(2)), float(grown_cm(one, np.array([-5.0]), np.array([20.0]))[0].round(2))
    (2.53, 2.53)
    >>> float(grown_cm(np.array([1.0]), np.array([1.0]), np.array([20.0]))[0].round(2))
    0.44
    """
    film = ICE_CONDUCTIVITY_W_M_K / exchange_w_m2_k
    heat = DAY_S / (ICE_DENSITY_KG_M3 * FUSION_J_KG)
    cold = np.maximum(-air_c, 0.0)
    grown = np.sqrt((thickness_cm / 100.0 + film) ** 2 + 2.0 * ICE_CONDUCTIVITY_W_M_K * cold * heat) - film
    melted = exchange_w_m2_k * np.maximum(air_c, 0.0) * heat
    return np.asarray(100.0 * np.maximum(grown - melted, 0.0))


class IceCover:
    """Ice of a block of ponds, (site, m): `thickness_cm`, `stefan_cm`, first day with ice, days covered."""

    def __init__(self, shape: tuple[int, int], rng: np.random.Generator) -> None:
        low, high = np.log(EXCHANGE_W_M2_K)
        self._exchange = np.exp(rng.uniform(low, high, (1, shape[1])))
        self._degree_days = np.zeros(shape)
        self.thickness_cm = np.zeros(shape)
        self.first_day = np.full(shape, np.inf)
        self.covered_days = np.zeros(shape, np.int64)

    def advance(self, day: int, water_c: Reals, air_c: Reals) -> None:
        """One day with this mean water (site, m) and air (site, m) or (site, 1) [°C]."""
        air = np.broadcast_to(air_c, water_c.shape).astype(float)
        icy = (self.thickness_cm > 0.0) | ((water_c <= 0.0) & (air < 0.0))
        if not icy.any():
            return
        self.thickness_cm = np.where(icy, grown_cm(self.thickness_cm, air, self._exchange), 0.0)
        still = self.thickness_cm > 0.0
        self._degree_days = np.where(still, self._degree_days + np.maximum(-air, 0.0), 0.0)
        self.covered_days = np.where(still, self.covered_days + 1, 0)
        self.first_day[still & np.isinf(self.first_day)] = day

    @property
    def stefan_cm(self) -> np.ndarray:
        """Upper bound from the same freezing degree days [cm], (site, m)."""
        return np.asarray(stefan_thickness_cm(self._degree_days))
