"""Water in a line, its weight, and what one person should lift. Numbers only, no words.

Sources: outside diameter and least wall of schedule 40 PVC pipe, ASTM D1785 (1, 1-1/2, 2, 3, 4 inch read in
pipe tables; 1/2, 3/4, 1-1/4 from memory); NIOSH lifting equation, Publication 94-110, revised 2021 (its
asymmetry factor from memory). Limit: a line is taken as full and of one size.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from forecaster.units import KG_PER_POUND, M_PER_INCH
from forecaster.visit.kit import Kit

OUTSIDE_AND_WALL_IN = {
    0.5: (0.840, 0.109),
    0.75: (1.050, 0.113),
    1.0: (1.315, 0.133),
    1.25: (1.660, 0.140),
    1.5: (1.900, 0.145),
    2.0: (2.375, 0.154),
    3.0: (3.500, 0.216),
    4.0: (4.500, 0.237),
}
"""Schedule 40: nominal size to outside diameter and least wall [in]."""

SAME_SIZE_IN = 0.06
WATER_KG_PER_M3 = 999.7
"""At 10 °C (IAPWS-95)."""


@dataclass(frozen=True)
class Volume:
    """Water in a line [m³]: between `low` and `high`, which are equal where the kind of pipe is known."""

    low_m3: float
    high_m3: float

    @property
    def weight_kg(self) -> float:
        """At most [kg]."""
        return self.high_m3 * WATER_KG_PER_M3


def bore_m(size_m: float, kind: str) -> float | None:
    """Inside diameter [m] of a line of nominal size `size_m`; None where no table has that size.

    A flexible hose has its nominal size as inside diameter; schedule 40 the outside one less two walls.

    >>> round(bore_m(0.0508, "schedule 40") / 0.0254, 3), bore_m(0.0508, "flexible")
    (2.067, 0.0508)
    """
    if kind == "flexible":
        return size_m
    size_in = size_m / M_PER_INCH
    nearest = min(OUTSIDE_AND_WALL_IN, key=lambda size: abs(size - size_in))
    if abs(nearest - size_in) > SAME_SIZE_IN * nearest:
        return None
    outside, wall = OUTSIDE_AND_WALL_IN[nearest]
    return (outside - 2 * wall) * M_PER_INCH


def line_volume(kit: Kit) -> Volume | None:
    """Water in the site's line, None where size or length is not known."""
    if kit.line_diameter_m is None or kit.line_length_m is None:
        return None
    kinds = [kit.line_kind] if kit.line_kind else ["schedule 40", "flexible"]
    bores = [bore for kind in kinds if (bore := bore_m(kit.line_diameter_m, kind)) is not None]
    if not bores:
        return None
    volumes = [pi / 4 * bore**2 * kit.line_length_m for bore in bores]
    return Volume(min(volumes), max(volumes))


def lifting_limit_kg(
    *,
    reach_m: float,
    start_height_m: float,
    travel_m: float,
    turn_degrees: float,
    frequency_factor: float = 1.0,
    grip_factor: float = 1.0,
) -> float:
    """Recommended weight limit of the NIOSH lifting equation [kg].

    Args:
        reach_m: Hands in front of the ankles; under 10 inches counts as 10.
        start_height_m: Hands above the floor at the start.
        travel_m: How far up; under 10 inches counts as 10.
        turn_degrees: Turn of the body.
        frequency_factor, grip_factor: From the tables of the publication, 0-1.
    """
    reach, height = max(10.0, reach_m / M_PER_INCH), start_height_m / M_PER_INCH
    travel = max(10.0, travel_m / M_PER_INCH)
    factors = (10 / reach) * (1 - 0.0075 * abs(height - 30)) * (0.82 + 1.8 / travel)
    factors *= (1 - 0.0032 * turn_degrees) * frequency_factor * grip_factor
    return 51 * KG_PER_POUND * factors


EDGE_LIMIT_KG = lifting_limit_kg(
    reach_m=15 * M_PER_INCH,
    start_height_m=0.0,
    travel_m=30 * M_PER_INCH,
    turn_degrees=45,
    grip_factor=0.95,
)
"""One person lifting from the ground at a pond's edge: 15 in reach, 30 in up, turned 45 degrees [kg]."""
