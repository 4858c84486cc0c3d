"""Which stations count for a site, and what its height and hollow add."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import BadInput
from forecaster.season.sites import Site
from forecaster.weather.site_air import air_matrices, site_air
from forecaster.weather.stations import Station


def site(latitude=43.0, longitude=-88.0, elevation_m=None, offset=0.0, site_id="P1", row=2):
    return Site(
        site_id, "Invented", latitude, longitude, 0.6, row, elevation_m=elevation_m, minimum_offset_c=offset
    )


def station(name, latitude, longitude=-88.0, elevation_m=200.0):
    return Station(name, name, latitude, longitude, elevation_m)


NEAR, MIDDLE, FAR = station("NEAR", 43.1), station("MIDDLE", 43.3), station("FAR", 43.9)


def one(site, stations, *, per_site=3, has_tmin=None):
    (air,) = site_air(
        [site], stations, stations_per_site=per_site, has_tmin=has_tmin or [True] * len(stations)
    )
    return air


# --- hand arithmetic
def test_inverse_square_of_the_effective_distance():
    air = one(site(), [FAR, NEAR, MIDDLE], per_site=2)
    d = 111.1951 * np.array([0.1, 0.3])  # one degree of latitude is 111.1951 km
    weight = 1 / (d**2 + 2.0**2)
    assert air.station_id == "NEAR"
    assert air.station_index == (1, 2)
    assert air.mean_weights == pytest.approx(tuple(weight / weight.sum()), rel=1e-5)
    assert air.min_weights == air.mean_weights
    assert air.distance_km == pytest.approx(tuple(d), rel=1e-5)
    assert (air.mean_shift_c, air.min_shift_c) == (0.0, 0.0)


def test_height_counts_as_distance_and_cools_the_mean_only():
    low, high = station("LOW", 43.1, elevation_m=200.0), station("HIGH", 42.9, elevation_m=500.0)
    air = one(site(elevation_m=200.0, offset=-1.5), [low, high])
    d = 11.11951
    raw = np.array([1 / (d**2 + 4.0), 1 / (d**2 + 4.0 + 30.0**2)])  # 300 m count as 30 km
    weights = raw / raw.sum()
    assert air.mean_weights == pytest.approx(tuple(weights), rel=1e-5)
    assert air.mean_shift_c == pytest.approx(
        -6.5 / 1000 * (200.0 - (200 * weights[0] + 500 * weights[1])), rel=1e-4
    )
    assert air.mean_shift_c > 0  # below the blended stations: warmer
    assert air.min_shift_c == -1.5


def test_unknown_elevation_means_no_lapse():
    low, high = station("LOW", 43.1, elevation_m=200.0), station("HIGH", 42.9, elevation_m=500.0)
    air = one(site(), [low, high])
    assert air.mean_weights == pytest.approx((0.5, 0.5))
    assert air.mean_shift_c == 0.0


def test_a_kilometre_up():
    air = one(site(elevation_m=1200.0), [NEAR])
    assert air.mean_shift_c == pytest.approx(-6.5)
    assert air.min_shift_c == 0.0


def test_minima_come_from_stations_that_measure_them():
    air = one(site(), [NEAR, MIDDLE, FAR], per_site=2, has_tmin=[False, True, True])
    assert air.station_id == "NEAR"
    assert air.station_index == (0, 1, 2)
    assert air.mean_weights[2] == 0.0
    assert air.min_weights[0] == 0.0
    assert sum(air.min_weights) == pytest.approx(1.0)
    tmin = np.array([[np.nan], [4.0], [4.0]])
    assert air.minimum_c(tmin) == pytest.approx([4.0])
    assert air.mean_c(np.array([[6.0], [6.0], [np.nan]])) == pytest.approx([6.0])


def test_no_minima_anywhere():
    air = one(site(), [NEAR], has_tmin=[False])
    assert not air.has_minima
    assert np.isnan(air.minimum_c(np.array([[1.0, 2.0]]))).all()


def test_missing_air_stays_missing():
    air = one(site(), [NEAR, MIDDLE])
    assert np.isnan(air.mean_c(np.array([[1.0, 1.0], [1.0, np.nan]]))).tolist() == [False, True]


def test_a_station_next_door_does_not_silence_the_next():
    air = one(site(), [station("A", 43.0), station("B", 43.01)])
    assert 0.5 < air.mean_weights[0] < 0.6


# --- the 150 km
def test_sites_too_far_are_all_named():
    sites = [
        site(site_id="A"),
        site(46.0, -88.0, row=3),
        site(-88.0 + 45, 43.0, row=4),
        site(43.0, 88.0, row=5),
    ]
    with pytest.raises(BadInput) as raised:
        site_air(sites, [NEAR, MIDDLE], stations_per_site=3, has_tmin=[True, True])
    assert [str(problem) for problem in raised.value.problems][:1] == [
        "sites.csv row 3, latitude, longitude: 300 km from the nearest station (MIDDLE); allowed 150 km. "
        "Check the place, or add a nearer station."
    ]
    assert "minus sign" in str(raised.value.problems[2])
    assert len(raised.value.problems) == 3


def test_swapped_coordinates_of_a_site_are_recognised():
    berlinish = [station("A", 52.3, 13.4)]
    with pytest.raises(BadInput, match="Are latitude and longitude swapped"):
        site_air([site(13.4, 52.3)], berlinish, stations_per_site=3, has_tmin=[True])


def test_a_far_station_is_not_blended():
    air = one(site(), [NEAR, station("AWAY", 44.5)])
    assert air.station_index == (0,)
    assert air.mean_weights == (1.0,)


# --- invariants
@given(
    st.lists(
        st.tuples(st.floats(42.3, 43.7), st.floats(-88.9, -87.1), st.floats(0, 900), st.booleans()),
        min_size=1,
        max_size=6,
    ),
    st.integers(1, 4),
    st.one_of(st.none(), st.floats(0, 900)),
)
@settings(derandomize=True, max_examples=100, deadline=None)
def test_weights_sum_to_one_and_order_of_stations_does_not_matter(places, per_site, elevation):
    stations = [station(f"S{i}", lat, lon, height) for i, (lat, lon, height, _) in enumerate(places)]
    has_tmin = [place[3] for place in places]
    pond = site(elevation_m=elevation)
    air = one(pond, stations, per_site=per_site, has_tmin=has_tmin)
    assert sum(air.mean_weights) == pytest.approx(1.0)
    assert sum(air.min_weights) == pytest.approx(1.0 if any(has_tmin) else 0.0)
    assert min(air.mean_weights) >= 0.0
    assert sum(weight > 0 for weight in air.mean_weights) == min(per_site, len(stations))
    assert list(air.distance_km) == sorted(air.distance_km)
    assert stations[air.station_index[0]].station_id == air.station_id or not air.mean_weights[0]
    tmean = np.linspace(-5, 9, len(stations))
    turned = one(pond, stations[::-1], per_site=per_site, has_tmin=has_tmin[::-1])
    if len(set(air.distance_km)) == len(places):
        assert turned.mean_c(tmean[::-1]) == pytest.approx(air.mean_c(tmean))


def test_matrices_do_what_the_records_say():
    stations = [NEAR, MIDDLE, FAR]
    sites = [site(elevation_m=300.0, offset=-1.0), site(43.5, -88.2, 100.0, 0.5)]
    airs = site_air(sites, stations, stations_per_site=2, has_tmin=[True, False, True])
    random = np.random.default_rng(3)
    tmean, tmin = random.normal(8, 4, (3, 5)), random.normal(2, 4, (3, 5))
    matrices = air_matrices(airs, 3)
    assert np.allclose(
        matrices.mean @ tmean + matrices.mean_shift_c[:, None], np.stack([air.mean_c(tmean) for air in airs])
    )
    assert np.allclose(
        matrices.minimum @ tmin + matrices.min_shift_c[:, None],
        np.stack([air.minimum_c(tmin) for air in airs]),
    )


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="stations_per_site"):
        site_air([site()], [NEAR], stations_per_site=0, has_tmin=[True])
