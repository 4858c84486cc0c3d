"""Great-circle distances against independent programs and against plain arithmetic."""

import numpy as np
import pytest

from forecaster.distance import EARTH_RADIUS_KM, haversine_km

CHICAGO = (41.8781, -87.6298)


# --- independent reference: pyproj 3.7.2, Geod(a=6371008.8, b=6371008.8); ellipsoid by geographiclib WGS84
@pytest.mark.parametrize(
    ("place", "sphere_km", "ellipsoid_km"),
    [
        ((43.0389, -87.9065), 131.0558, 130.9372),
        ((41.6611, -91.5302), 324.3406, 325.1802),
        ((44.9778, -93.2650), 570.6299, 571.4354),
    ],
)
def test_distances_from_chicago(place, sphere_km, ellipsoid_km):
    found = float(haversine_km(*CHICAGO, *place))
    assert found == pytest.approx(sphere_km, abs=0.001)
    assert found == pytest.approx(ellipsoid_km, rel=0.0056)


# --- hand arithmetic
def test_one_degree_and_a_quarter_circle():
    assert float(haversine_km(0, 0, 1, 0)) == pytest.approx(np.pi / 180 * EARTH_RADIUS_KM, abs=1e-9)
    assert float(haversine_km(42, 0, 42, 1)) == pytest.approx(82.6336, abs=0.001)
    assert float(haversine_km(0, 0, 0, 90)) == pytest.approx(np.pi / 2 * EARTH_RADIUS_KM, abs=1e-6)
    assert float(haversine_km(60, 10, 60, 11)) == pytest.approx(55.597, abs=0.01)
    assert float(haversine_km(10, 20, -10, -160)) == pytest.approx(np.pi * EARTH_RADIUS_KM)  # antipodes
    assert float(haversine_km(0, 0, 0, 180)) == pytest.approx(np.pi * EARTH_RADIUS_KM, abs=1e-6)


# --- invariants
def test_symmetric_zero_and_broadcast():
    random = np.random.default_rng(5)
    lat, lon = random.uniform(-60, 70, 20), random.uniform(-180, 180, 20)
    table = haversine_km(lat[:, None], lon[:, None], lat, lon)
    assert table.shape == (20, 20)
    assert np.allclose(table, table.T)
    assert np.allclose(np.diag(table), 0.0)
    by_way_of = (table[:, :, None] + table[None, :, :]).min(axis=1)
    assert (table <= by_way_of + 1e-6).all()


def test_missing_stays_missing():
    assert np.isnan(haversine_km(np.nan, 0, 1, 1))
