"""Rounds, distances and the office's table of driving times."""

import itertools
from dataclasses import replace
from datetime import date, time
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from route_cases import MON, TUE, crew, task, visit

from forecaster.errors import BadInput
from forecaster.route.solve import solve
from forecaster.route.stops import clock_stops, round_hours, shortest_round
from forecaster.route.travel import drive_hours, travel_of
from forecaster.season.settings import RouteSettings
from forecaster.season.travel_times import TravelTimes, read_travel_times


def planar(*places: tuple[float, float]) -> np.ndarray:
    points = np.array(places, float)
    return np.linalg.norm(points[:, None] - points[None], axis=2)


# --- hand arithmetic


def test_round_of_five_places():
    # optimum 10 + 4 sqrt 2; the next best is 19.2136
    hours = planar((0, 0), (0, 3), (4, 3), (4, 0), (2, 5))
    assert round_hours(hours, shortest_round(hours)) == pytest.approx(10 + 4 * np.sqrt(2))


def test_one_way_streets_count():
    hours = np.array([[0.0, 1, 9], [9, 0, 1], [1, 9, 0]])  # 0 -> 1 -> 2 -> 0 is 3, the other way 27
    assert shortest_round(hours) == [1, 2]
    assert shortest_round(hours.T) == [2, 1]


def test_no_and_one_stop():
    assert shortest_round(np.zeros((1, 1))) == []
    assert shortest_round(np.array([[0.0, 2], [2, 0]])) == [1]


def test_clock_times_follow_the_drive():
    stops = clock_stops(["A", "B"], [0.5, 0.25], [2.0, 1.0], day=date(2025, 10, 6), start=time(7, 30))
    assert [(s.arrive, s.leave) for s in stops] == [(time(8), time(10)), (time(10, 15), time(11, 15))]


# --- invariants


@pytest.mark.parametrize("seed", range(5))
def test_exact_round_is_the_shortest_of_all_orders(seed: int):
    hours = np.random.default_rng(seed).uniform(0.1, 1.0, (7, 7))
    best = min(round_hours(hours, order) for order in permutations(range(1, 7)))
    assert round_hours(hours, shortest_round(hours)) == pytest.approx(best, abs=1e-8)


def test_many_stops_are_all_visited_and_no_longer_than_nearest_first():
    rng = np.random.default_rng(3)
    hours = planar(*rng.uniform(0, 1, (16, 2)))
    order = shortest_round(hours)
    assert sorted(order) == list(range(1, 16))
    nearest, here, left = 0.0, 0, set(range(1, 16))
    while left:
        there = min(left, key=lambda place: hours[here, place])
        nearest, here = nearest + hours[here, there], there
        left.remove(there)
    assert round_hours(hours, order) <= nearest + hours[here, 0] + 1e-9


# --- independent reference: great-circle distances of cities by pyproj.Geod(a=b=6371008.8), to 1 m


@pytest.mark.parametrize(
    ("latitude", "longitude", "km"),
    [(43.0389, -87.9065, 131.0558), (41.6611, -91.5302, 324.3406), (44.9778, -93.2650, 570.6299)],
)
def test_drive_is_the_straight_line_times_the_road_factor(latitude: float, longitude: float, km: float):
    route = RouteSettings(road_factor=1.3, speed_km_h=50.0)
    hours = drive_hours([(41.8781, -87.6298), (latitude, longitude)], route)
    assert hours[0, 1] * 50.0 / 1.3 == pytest.approx(km, abs=0.001)
    assert hours[0, 0] == 0.0
    assert hours[0, 1] == hours[1, 0]


# --- the office's table


def test_the_table_wins_over_the_estimate_one_way_or_both():
    ponds = [visit("A", {MON: 0.0}, latitude=43.1), visit("B", {MON: 0.0}, latitude=43.2)]
    sites = [pond.site for pond in ponds]
    table = TravelTimes({("North", "A"): 0.05, ("A", "B"): 0.2, ("B", "A"): 0.1})
    travel = travel_of(sites, [crew()], RouteSettings(), table)
    assert travel.out[0, 0] == travel.back[0, 0] == 0.05
    assert (travel.between[0, 1], travel.between[1, 0]) == (0.2, 0.1)
    assert travel.back[0, 1] == pytest.approx(0.15)  # by way of A: the estimate is longer
    assert 0.0 < travel.estimated < 1.0


def test_a_plan_follows_the_table():
    ponds = [visit(name, {MON: 0.0, TUE: 1.0}, hours=1.0, longitude=-88.1) for name in "AB"]
    whole = task(*ponds, crews=(crew(hours=3.0),))
    assert len({day for day, _ in solve(whole).assignment.placed.values()}) == 1
    slow = replace(
        whole, travel_times=TravelTimes({("North", "A"): 0.9, ("North", "B"): 0.9, ("A", "B"): 0.9})
    )
    assert len({day for day, _ in solve(slow).assignment.placed.values()}) == 2


def read(folder: Path, text: str) -> TravelTimes:
    (folder / "travel_times.csv").write_text(text, encoding="utf-8")
    return read_travel_times(folder, site_ids=["S1", "S2"], crew_names=["North"])[0]


def test_reading_the_table(tmp_path: Path):
    assert read_travel_times(tmp_path, site_ids=[], crew_names=[])[0].table == {}
    times = read(tmp_path, "from,to,minutes\nNorth,S1,30\nS1,S2,12.5\n")
    assert times.hours("S1", "North") == 0.5
    assert times.hours("S2", "S1") == pytest.approx(12.5 / 60)
    assert times.hours("North", "S2") is None


def test_all_that_is_wrong_with_the_table_at_once(tmp_path: Path):
    text = "from,to,minutes\nNorht,S1,30\nS1,S2,soon\nS1,S2,5\nS1,S2,6\n,S2,5\n"
    with pytest.raises(BadInput) as caught:
        read(tmp_path, text)
    said = str(caught.value)
    assert "row 2, from" in said
    assert "Did you mean North?" in said
    assert "row 3, minutes" in said
    assert "row 5, minutes: row 4 says another time" in said
    assert "row 6, from: empty" in said


def test_a_missing_column(tmp_path: Path):
    with pytest.raises(BadInput, match="minutes: this column is needed"):
        read(tmp_path, "from,to,min\nNorth,S1,30\n")


def test_the_demo_reads_a_table(demo_copy):
    (demo_copy.path / "travel_times.csv").write_text("from,to,minutes\nHeron,V-01,44\n", encoding="utf-8")
    assert demo_copy.known().travel_times.hours("V-01", "Heron") == pytest.approx(44 / 60)


def test_stops_of_a_day_do_not_overlap(demo_forecast):
    for day in demo_forecast.crew_days:
        assert all(a.leave <= b.arrive for a, b in itertools.pairwise(day.stops))
        assert day.home is not None
        assert day.home >= day.stops[-1].leave
