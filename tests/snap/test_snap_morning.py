"""A thermometer read this morning pulls the members as far as two normals say, and no past day."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from snap_demo import SNAP_AS_OF

from forecaster.errors import BadInput
from forecaster.snap.this_morning import READING_SD_C, ThisMorning, check_lows, parse_lows
from forecaster.units import f_to_c
from forecaster.weather.stations import Station
from forecaster.web.snap_folder import snap_of_folder

STATIONS = tuple(Station(name, name, 43.0, -88.0, 200.0) for name in ("A", "B"))
COUNT, DAY = 40_000, 60


@pytest.fixture(scope="module")
def members():
    """Two stations, sd 3 and 2 °C, correlation 0.8; tomorrow correlates with today by 0.6."""
    rng = np.random.default_rng(3)
    z = rng.standard_normal((4, COUNT))
    a, b = z[0], 0.8 * z[0] + 0.6 * z[1]
    today = np.stack([-2.0 + 3.0 * a, -1.0 + 2.0 * b], axis=1)
    tomorrow = np.stack([-4.0 + 3.0 * (0.6 * a + 0.8 * z[2]), -3.0 + 2.0 * (0.6 * b + 0.8 * z[3])], axis=1)
    return SimpleNamespace(
        fall=2025, first_day=DAY, count=COUNT, base=np.zeros(COUNT, int), head_from=DAY,
        tmin_head_c=np.stack([today, tomorrow], axis=2), tmin_base_c=np.zeros((1, 2, 184)),
    )  # fmt: skip


def place(members, station):
    low = np.full((COUNT, DAY + 2), 5.0)
    low[:, DAY:] = members.tmin_head_c[:, station]
    return low


def test_the_update_is_that_of_two_normals(members):
    morning = ThisMorning(members, {"A": -8.0}, STATIONS, DAY, seed=1)
    moved = morning.moved(place(members, 0))
    gain = 9.0 / (9.0 + READING_SD_C**2)  # var / (var + error²)
    assert moved[:, DAY].mean() == pytest.approx(-2.0 + gain * (-6.0), abs=0.05)
    assert moved[:, DAY].var() == pytest.approx(9.0 * (1 - gain), rel=0.05)
    assert moved[:, DAY + 1].mean() == pytest.approx(-4.0 + 0.6 * gain * (-6.0), abs=0.07)
    other = morning.moved(place(members, 1))
    across = 0.8 * 3.0 * 2.0 / (9.0 + READING_SD_C**2)
    assert other[:, DAY].mean() == pytest.approx(-1.0 + across * (-6.0), abs=0.05)
    assert (moved[:, :DAY] == 5.0).all()


def test_no_reading_moves_nothing(members):
    low = place(members, 0)
    assert ThisMorning(members, {}, STATIONS, DAY, seed=1).moved(low) is low


def test_readings_as_they_are_typed():
    assert parse_lows(["A=19", "B = -7.5 C", "C=20F"], "us") == pytest.approx(
        {"A": f_to_c(19), "B": -7.5, "C": f_to_c(20)}
    )
    assert parse_lows(["A=-7"], "metric") == {"A": -7.0}
    with pytest.raises(BadInput) as refused:
        parse_lows(["19", "A=cold"], "us")
    assert len(refused.value.problems) == 2
    with pytest.raises(BadInput) as refused:
        check_lows({"Z": -5.0, "A": 61.0}, STATIONS)
    assert "no station" in str(refused.value)
    assert "cannot be" in str(refused.value)


def test_nineteen_degrees_at_six_in_the_morning(report, snap_folder):
    cold = snap_of_folder(snap_folder, SNAP_AS_OF, lows=["FLOOR=12"])
    night = next(n for n in cold.station_nights if (n.station_id, n.day) == ("FLOOR", SNAP_AS_OF))
    assert (night.kind, night.min_c) == ("read", pytest.approx(f_to_c(12)))
    before = {site.site.site_id: site.state.p_plumbing_so_far for site in report.sites}
    after = {site.site.site_id: site.state.p_plumbing_so_far for site in cold.sites}
    assert all(after[name] >= before[name] - 0.01 for name in before)
    assert after["V-01"] > before["V-01"] + 0.2
    past = [n for n in cold.sites[0].state.nights if n.day < SNAP_AS_OF]
    same = next(site for site in report.sites if site.site.site_id == cold.sites[0].site.site_id)
    assert past == [n for n in same.state.nights if n.day < SNAP_AS_OF]
