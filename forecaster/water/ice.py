"""Ice on a still pond by Stefan's law: an estimate of growth from freezing degree days, never a promise.

Where the water stands at 0 °C the lagged regression ends: it says that the surface freezes, not how thick.
Computed thickness is modelled, not measured; nobody should walk on ice because of it.
"""

from __future__ import annotations

import numpy as np

ICE_CONDUCTIVITY_W_M_K = 2.22
"""Pure ice near 0 °C [W m-1 K-1]; 2.14-2.24 in the literature [from memory]."""
ICE_DENSITY_KG_M3 = 917.0
"""IAPWS ice Ih at 0 °C: 916.72."""
FUSION_J_KG = 334_000.0
"""Latent heat of fusion at 0 °C: 333.4 kJ/kg (IAPWS-95 and IAPWS ice)."""
SURFACE_EXCHANGE_W_M2_K = 20.0
"""Air to ice, for thin ice (Ashton 1989) [W m-2 K-1]; 10-25 [from memory]."""


def freezing_degree_days(air_c: np.ndarray) -> np.ndarray:
    """Running sum of daily mean air below 0 °C [°C day], shape of `air_c` (..., day).

    >>> freezing_degree_days(np.array([-2.0, 3.0, -4.0]))
    array([2., 2., 6.])
    """
    return np.cumsum(np.maximum(-air_c, 0.0), axis=-1)


def stefan_thickness_cm(degree_days: np.ndarray) -> np.ndarray:
    """Upper bound of bare ice [cm] after `degree_days` [°C day] of freezing: sqrt(2 k S / (rho L)).

    >>> round(float(stefan_thickness_cm(np.array(1.0))), 3)
    3.539
    """
    return 100.0 * np.sqrt(_square(degree_days))


def thin_ice_thickness_cm(degree_days: np.ndarray) -> np.ndarray:
    """Bare ice [cm] with the resistance of the air above it (Ashton 1989, Water Resources Research 25:564).

    Below Stefan's value for every sum, and near it for thick ice.

    >>> thin_ice_thickness_cm(np.array([5.0, 10.0, 20.0])).round(2)
    array([2.53, 4.66, 8.23])
    """
    film = ICE_CONDUCTIVITY_W_M_K / SURFACE_EXCHANGE_W_M2_K
    return 100.0 * (np.sqrt(film**2 + _square(degree_days)) - film)


def _square(degree_days: np.ndarray) -> np.ndarray:
    return 2 * ICE_CONDUCTIVITY_W_M_K * degree_days * 86_400.0 / (ICE_DENSITY_KG_M3 * FUSION_J_KG)
