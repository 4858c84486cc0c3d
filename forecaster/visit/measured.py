"""Lengths, volumes and weights in the words of a crew, in the season's units."""

from __future__ import annotations

from forecaster.units import KG_PER_POUND, M3_PER_GALLON, M_PER_FOOT, M_PER_INCH
from forecaster.visit.pipes import Volume


def depth_words(depth_m: float, units: str) -> str:
    """A depth or a small length.

    >>> depth_words(0.3048, "us"), depth_words(0.3048, "metric")
    ('12 in', '30 cm')
    """
    return f"{depth_m * 100:.0f} cm" if units == "metric" else f"{depth_m / M_PER_INCH:.0f} in"


def size_words(size_m: float, units: str) -> str:
    """The size of a line.

    >>> size_words(0.0381, "us"), size_words(0.05, "metric")
    ('1.5 in', '50 mm')
    """
    return f"{size_m * 1000:.0f} mm" if units == "metric" else f"{round(size_m / M_PER_INCH, 2):g} in"


def length_words(length_m: float, units: str) -> str:
    """The length of a line.

    >>> length_words(15.24, "us"), length_words(15.24, "metric")
    ('50 ft', '15 m')
    """
    return f"{length_m:.0f} m" if units == "metric" else f"{length_m / M_PER_FOOT:.0f} ft"


def weight_words(weight_kg: float, units: str) -> str:
    """A weight.

    >>> weight_words(8.555, "us"), weight_words(8.555, "metric")
    ('19 lb', '9 kg')
    """
    return f"{weight_kg:.0f} kg" if units == "metric" else f"{weight_kg / KG_PER_POUND:.0f} lb"


def volume_words(volume: Volume, units: str) -> str:
    """The water in a line, two figures; a range where the kind of pipe is not known.

    >>> volume_words(Volume(0.0330, 0.0330), "us"), volume_words(Volume(0.0309, 0.0330), "us")
    ('8.7 gal', '8.2 to 8.7 gal')
    """
    per, unit = (0.001, "l") if units == "metric" else (M3_PER_GALLON, "gal")
    low, high = (_two_figures(value / per) for value in (volume.low_m3, volume.high_m3))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _two_figures(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"
