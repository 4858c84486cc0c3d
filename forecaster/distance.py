"""Distance over the earth's surface. Limit: a sphere; straight lines, so a lower bound of any drive."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

EARTH_RADIUS_KM = 6371.0088
"""Mean radius of the earth [km] (IUGG, R1 = (2a + b) / 3 of the GRS 80 ellipsoid)."""


def haversine_km(
    latitude_a: ArrayLike, longitude_a: ArrayLike, latitude_b: ArrayLike, longitude_b: ArrayLike
) -> NDArray[np.float64]:
    """Great-circle distance [km] between points [degrees]; the arguments broadcast, NaN gives NaN.

    Example:
        >>> round(float(haversine_km(41.8781, -87.6298, 43.0389, -87.9065)), 3)
        131.056
    """
    lat_a, lon_a, lat_b, lon_b = (
        np.radians(np.asarray(angle, dtype=np.float64))
        for angle in (latitude_a, longitude_a, latitude_b, longitude_b)
    )
    half_chord_squared = (
        np.sin((lat_b - lat_a) / 2.0) ** 2
        + np.cos(lat_a) * np.cos(lat_b) * np.sin((lon_b - lon_a) / 2.0) ** 2
    )
    return np.asarray(2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(half_chord_squared, 0.0, 1.0))))
