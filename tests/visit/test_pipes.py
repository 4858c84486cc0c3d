"""Water in lines and lifting, against published tables and by hand."""

from math import pi

import pytest

from forecaster.units import KG_PER_POUND, M3_PER_GALLON, M_PER_FOOT, M_PER_INCH
from forecaster.visit.kit import Kit
from forecaster.visit.measured import volume_words
from forecaster.visit.pipes import (
    EDGE_LIMIT_KG,
    WATER_KG_PER_M3,
    bore_m,
    lifting_limit_kg,
    line_volume,
)

# Schedule 40 PVC: nominal size -> inside diameter from ASTM D1785 (outside less two least walls), average
# inside diameter of pipe tables, gallons and pounds of water a foot at the nominal one.
TABLE = {
    1.0: (1.049, 1.033, 0.04490, 0.375),
    1.5: (1.610, 1.592, 0.10576, 0.883),
    2.0: (2.067, 2.049, 0.17432, 1.455),
    3.0: (3.068, 3.042, 0.38403, 3.205),
    4.0: (4.026, 3.998, 0.66131, 5.519),
}


def line(size_in: float, feet: float, kind: str | None = "schedule 40") -> Kit:
    return Kit("S1", line_diameter_m=size_in * M_PER_INCH, line_length_m=feet * M_PER_FOOT, line_kind=kind)


@pytest.mark.parametrize(("size", "row"), TABLE.items())
def test_schedule_40_against_the_table(size, row):
    inside, average, gallons, pounds = row
    bore = bore_m(size * M_PER_INCH, "schedule 40")
    assert bore / M_PER_INCH == pytest.approx(inside, abs=5e-4)
    volume = line_volume(line(size, 1))
    assert volume.low_m3 == volume.high_m3
    assert volume.high_m3 / M3_PER_GALLON == pytest.approx(gallons, rel=1e-3)
    assert volume.weight_kg / KG_PER_POUND == pytest.approx(pounds, rel=1e-3, abs=1e-3)
    by_average = pi / 4 * (average * M_PER_INCH) ** 2 * M_PER_FOOT
    assert volume.high_m3 == pytest.approx(by_average, rel=0.032)  # the two "inside diameters" of a size


def test_fifty_feet_of_two_inch_by_hand():
    """50 x 12 x pi/4 x 2.067² / 231 = 8.72 gal; as hose of 2 in: 50 x 12 x pi/4 x 4 / 231 = 8.16 gal."""
    assert line_volume(line(2, 50)).high_m3 / M3_PER_GALLON == pytest.approx(8.716, abs=0.001)
    assert line_volume(line(2, 50, "flexible")).high_m3 / M3_PER_GALLON == pytest.approx(8.160, abs=0.001)


def test_an_unknown_kind_is_a_range_and_unknown_sizes_are_unknown():
    volume = line_volume(line(2, 50, None))
    assert (volume.low_m3, volume.high_m3) == pytest.approx(
        (8.160 * M3_PER_GALLON, 8.716 * M3_PER_GALLON), rel=1e-3
    )
    assert volume_words(volume, "us") == "8.2 to 8.7 gal"
    assert volume_words(volume, "metric") == "31 to 33 l"
    assert line_volume(Kit("S1", line_diameter_m=0.05)) is None
    assert line_volume(line(2.5, 10)) is None  # schedule 40, but not in our table
    assert line_volume(line(2.5, 10, None)) is not None  # then as hose


def test_a_metric_size_finds_its_inch_size():
    assert bore_m(0.050, "schedule 40") == bore_m(0.0508, "schedule 40")


def test_water_weights_by_hand():
    """8.343 lb a gallon at 10 °C: 5 gal 41.7 lb; 51 lb is 6.11 gal; 1 cubic foot 62.41 lb."""
    gallon_lb = WATER_KG_PER_M3 * M3_PER_GALLON / KG_PER_POUND
    assert gallon_lb == pytest.approx(8.343, abs=5e-4)
    assert 5 * gallon_lb == pytest.approx(41.7, abs=0.05)
    assert 51 / gallon_lb == pytest.approx(6.11, abs=0.005)
    assert pytest.approx(62.41, abs=0.005) == WATER_KG_PER_M3 * M_PER_FOOT**3 / KG_PER_POUND


def test_lifting_limit_at_a_ponds_edge():
    """NIOSH 94-110: 51 x 10/15 x (1 - 0.0075 x 30) x (0.82 + 1.8/30) x (1 - 0.0032 x 45) x 0.95."""
    by_hand = 51 * (10 / 15) * 0.775 * 0.88 * 0.856 * 0.95
    assert by_hand == pytest.approx(18.86, abs=0.005)
    assert pytest.approx(by_hand, rel=1e-9) == EDGE_LIMIT_KG / KG_PER_POUND


def test_the_ideal_lift_is_51_pounds_and_nothing_is_more():
    def inches(reach: float, height: float, travel: float, turn: float) -> float:
        limit = lifting_limit_kg(
            reach_m=reach * M_PER_INCH,
            start_height_m=height * M_PER_INCH,
            travel_m=travel * M_PER_INCH,
            turn_degrees=turn,
        )
        return limit / KG_PER_POUND

    assert inches(10, 30, 10, 0) == pytest.approx(51)
    assert inches(5, 30, 5, 0) == pytest.approx(51)
    assert all(
        inches(*case) < 51 for case in ((12, 30, 10, 0), (10, 0, 10, 0), (10, 30, 30, 0), (10, 30, 10, 30))
    )
