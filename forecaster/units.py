"""Every conversion between the user's units and the program's (°C, metres, square metres, km).

Exact by definition: 1 in = 0.0254 m, 1 mile = 1.609344 km, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg,
1 US gallon = 231 cubic inches.
"""

from __future__ import annotations

import numpy as np

M_PER_INCH = 0.0254
M_PER_FOOT = 0.3048
M2_PER_FT2 = M_PER_FOOT**2
KM_PER_MILE = 1.609344
KG_PER_POUND = 0.45359237
M3_PER_GALLON = 231 * M_PER_INCH**3

STORED_TENTH_C = 0.05
"""Allowance [°C] when a daily minimum is compared with a freeze limit: archives store 0.1 °C, and
28 °F (-2.222 °C) is stored as -2.2 °C, which is 28.04 °F."""


def f_to_c(temperature_f: float) -> float:
    """Temperature [°F] to [°C].

    >>> f_to_c(23)
    -5.0
    """
    return (temperature_f - 32.0) * 5.0 / 9.0


def c_to_f(temperature_c: float) -> float:
    """Temperature [°C] to [°F].

    >>> c_to_f(-5)
    23.0
    """
    return temperature_c * 9.0 / 5.0 + 32.0


def c_to_f_array(temperature_c: np.ndarray) -> np.ndarray:
    """Temperatures [°C] to [°F], any shape; missing stays NaN."""
    return temperature_c * 9.0 / 5.0 + 32.0


def f_step_to_c(difference_f: float) -> float:
    """Difference of temperatures [°F] to [°C]: no offset.

    >>> f_step_to_c(-9)
    -5.0
    """
    return difference_f * 5.0 / 9.0


def c_step_to_f(difference_c: float) -> float:
    """Difference of temperatures [°C] to [°F]: no offset."""
    return difference_c * 9.0 / 5.0
