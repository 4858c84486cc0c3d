"""Ice, runs and thermostats day by day: hand arithmetic, invariants, and the closed form of thin ice."""

import numpy as np
import pytest

from forecaster.events import sustained_crossing
from forecaster.visit.winter_collectors import (
    MELT_M_DAY_C,
    FirstRun,
    IceCover,
    Thermostat,
    next_ice_m,
)
from forecaster.water.ice import stefan_thickness_cm, thin_ice_thickness_cm


def grown(air_c):
    ice = np.zeros(1)
    for day in air_c:
        ice = next_ice_m(ice, np.array([day]))
    return 100 * float(ice[0])


# --- independent reference: Ashton 1989 in closed form, k 2.22, H 20: 5, 10, 20 °C d -> 2.53, 4.66, 8.23 cm
@pytest.mark.parametrize(("air_c", "cm"), [([-5], 2.53), ([-2] * 5, 4.66), ([-1, -9, -10], 8.23)])
def test_cold_days_in_any_order_give_the_closed_form(air_c, cm):
    assert grown(air_c) == pytest.approx(cm, abs=0.005)
    assert grown(air_c) == pytest.approx(float(thin_ice_thickness_cm(np.array(-sum(air_c)))), abs=1e-9)


# --- hand arithmetic
def test_a_warm_day_melts_what_the_air_film_carries():
    # 20 W/m2/K x 86,400 s / (917 kg/m3 x 334,000 J/kg) = 0.005642 m a °C day
    assert pytest.approx(20 * 86_400 / (917 * 334_000)) == MELT_M_DAY_C
    assert next_ice_m(np.array([0.02]), np.array([2.0]))[0] == pytest.approx(0.02 - 2 * MELT_M_DAY_C)
    assert next_ice_m(np.array([0.01]), np.array([2.0]))[0] == 0.0


# --- invariants
def test_ice_stays_below_stefan_and_is_never_negative():
    air = np.random.default_rng(3).normal(-2, 6, size=(60, 40))
    ice, cold = np.zeros(40), np.zeros(40)
    for day in air:
        ice, cold = next_ice_m(ice, day), cold + np.maximum(-day, 0)
        assert (ice >= 0).all()
        assert (100 * ice <= stefan_thickness_cm(cold) + 1e-9).all()


def test_colder_air_never_makes_less_ice():
    air = np.random.default_rng(4).normal(-1, 5, size=(50, 30))
    mild, cold = np.zeros(30), np.zeros(30)
    for day in air:
        mild, cold = next_ice_m(mild, day), next_ice_m(cold, day - 1)
    assert (cold >= mild).all()
    assert (cold > mild).any()


def test_runs_are_those_of_the_crossing():
    water = np.random.default_rng(5).normal(8, 3, size=(4, 25, 80)).astype(np.float32)
    run = FirstRun((4, 25), 5)
    for day in range(80):
        run.advance(day, water[:, :, day] <= 7.2)
    expected = sustained_crossing(water, threshold_c=7.2, hold_days=5)
    assert (run.first == expected).all()
    assert np.isfinite(expected).any()


# --- hand cases
def covered(freezing, air_c, *, long_days=3, as_of_day=0):
    cover = IceCover((1, 1), long_days=long_days, as_of_day=as_of_day)
    lies = [
        bool(cover.advance(day, np.array([[cold]]), np.array([[air]], np.float32))[0, 0])
        for day, (cold, air) in enumerate(zip(freezing, air_c, strict=True))
    ]
    return cover, lies


def test_ice_needs_freezing_water_to_begin_and_cold_air_to_stay():
    # cold air over warm water: none; then a day of freezing at -4 (2.0 cm), a day of +4 melts 2.3 cm: gone
    cover, lies = covered([False, True, False, True, True, True], [-6, -4, 4, -5, -5, -5])
    assert lies == [False, True, False, True, True, True]
    assert cover.first[0, 0] == 1
    assert cover.long[0, 0] == 3
    assert cover.long_ahead[0, 0] == 5  # the third day of lying


def test_ice_before_the_as_of_date_is_ice_now():
    cover, _ = covered([True] * 4, [-5] * 4, as_of_day=3)
    assert cover.now[0, 0]
    assert cover.long_ahead[0, 0] == 3
    assert cover.long[0, 0] == 0


def test_thermostat_holds_between_its_two_temperatures():
    on, off = np.array([[1.1]]), np.array([[4.4]])
    water = [6, 1.0, 3, 4.3, 4.4, 3, 1.1, 2]
    stat = Thermostat((1, 1), on, off, np.array([[0]]))
    seen = []
    for day, value in enumerate(water):
        before = int(stat.days[0, 0])
        stat.advance(day, np.array([[value]], np.float32), np.array([[False]]))
        seen.append(int(stat.days[0, 0]) - before)
    assert seen == [0, 1, 1, 1, 0, 0, 1, 1]


def test_thermostat_counts_from_the_closing_on_and_heats_under_ice():
    stat = Thermostat((1, 1), np.array([[1.1]]), np.array([[4.4]]), np.array([[2]]))
    for day in range(5):  # mild water, but ice lies: it is at 0 °C there
        stat.advance(day, np.array([[5.0]], np.float32), np.array([[True]]))
    assert stat.days[0, 0] == 3


def test_thermostat_with_one_temperature_does_not_flutter_off():
    stat = Thermostat((1, 1), np.array([[2.0]]), np.array([[2.0]]), np.array([[0]]))
    for day, value in enumerate([2.0, 2.1, 1.9]):
        stat.advance(day, np.array([[value]], np.float32), np.array([[False]]))
    assert stat.days[0, 0] == 2
