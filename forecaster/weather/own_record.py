"""A daily record that the office brings itself, whatever its file looked like: the readers' common result."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class OwnRecord:
    """Daily values of one place [°C], shape (day,), ascending days, NaN where missing.

    `station_id`, `name`, `latitude`, `longitude` [degrees], `elevation_m` [m] are what the file says of the
    place, "" and None where it says nothing. `notices` tell what was left out and why.
    """

    days: NDArray[np.datetime64]
    tmin_c: Floats
    tavg_c: Floats
    tmax_c: Floats
    station_id: str = ""
    name: str = ""
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    notices: tuple[Notice, ...] = ()
