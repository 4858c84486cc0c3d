"""Implausible values: what is set aside, what is spared, and that clean records pass untouched."""

from datetime import date
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest

from forecaster.weather.calendar_axis import CalendarAxis, seasonal_cycle, usual_range
from forecaster.weather.quality import check, crossed_extremes, flat_runs, outliers, runs_of_equal, spikes

NAN = np.nan


def checked(table, first="2010-01-01", decimals=1):
    """The check of one station, on values rounded as archives store them."""
    axis = CalendarAxis.of(date.fromisoformat(first), table["tavg"].size)
    arrays = [np.round(table[name], decimals)[np.newaxis] for name in ("tmin", "tavg", "tmax")]
    return axis, check(*arrays, axis, ["weather/ELM.csv"])


def texts(result):
    return [notice.text for notice in result.notices]


# --- the calendar
def test_calendar_axis_over_a_leap_year():
    axis = CalendarAxis.of(date(2023, 12, 31), 62)
    assert axis.day_of_year[[0, 1, 60, 61]].tolist() == [365, 0, 59, 60]  # 31 Dec, 1 Jan, 29 Feb, 1 Mar
    assert axis.month[[0, 1, 60, 61]].tolist() == [11, 0, 1, 2]
    assert axis.year[[0, 1]].tolist() == [0, 1]
    common = CalendarAxis.of(date(2023, 2, 28), 2)
    assert common.day_of_year.tolist() == [58, 60]  # no 29 February: 1 March keeps its place
    assert axis.days[60].item() == date(2024, 2, 29)


def test_usual_range_of_a_known_mixture():
    axis = CalendarAxis.of(date(2001, 1, 1), 4 * 365)
    values = np.tile(
        [10.0, 14.0, 12.0, 8.0, 16.0], 4 * 73
    )  # any window: median 12, absolute deviations 0 2 2 4 4
    median, spread = usual_range(values, axis)
    assert np.allclose(median, 12.0)
    assert np.allclose(spread, 2.0 * 1.4826)


def test_usual_range_needs_sixty_values():
    axis = CalendarAxis.of(date(2023, 1, 1), 365)
    median, spread = usual_range(np.zeros(365), axis)
    assert np.isnan(median).all()
    assert np.isnan(spread).all()


def test_seasonal_cycle_recovers_harmonics():
    axis = CalendarAxis.of(date(2019, 1, 1), 3 * 365)
    angle = 2 * np.pi * axis.day_of_year / 366
    course = 9 + 14 * np.cos(angle - 3.4) + 2 * np.sin(2 * angle)
    gappy = course.copy()
    gappy[100:150] = NAN
    assert np.allclose(seasonal_cycle(gappy, axis), course)
    assert seasonal_cycle(course[:200], CalendarAxis.of(date(2019, 1, 1), 200)) is None


# --- hand values
def test_minimum_above_maximum_only():
    assert crossed_extremes(np.array([3.0, 3.0, NAN, 1.0]), np.array([3.0, 2.9, 1.0, NAN])).tolist() == [
        False, True, False, False,
    ]  # fmt: skip


def test_runs_need_every_series_to_stay():
    one = np.array([5.0, 5.0, 5.0, 5.0, 6.0])
    two = np.array([1.0, 1.0, 2.0, 2.0, 2.0])
    assert runs_of_equal(np.stack([one])).tolist() == [4, 4, 4, 4, 1]
    assert runs_of_equal(np.stack([one, two])).tolist() == [2, 2, 2, 2, 1]
    assert runs_of_equal(np.zeros((1, 0))).tolist() == []


def test_runs_do_not_cross_stations():
    assert runs_of_equal(np.full((1, 2, 3), 7.0)).tolist() == [[3, 3, 3], [3, 3, 3]]


@pytest.mark.parametrize(
    ("peak", "flagged"),
    [(30.1, True), (29.9, False), (-10.1, True), (-9.9, False)],  # 4 spreads of 5 °C above or below 10
)
def test_spike_limit(peak, flagged):
    values = np.array([[10.0, 10.0, peak, 10.0, 10.0]])
    assert spikes(values, np.full((1, 5), 5.0)).tolist() == [[False, False, flagged, False, False]]


def test_a_step_is_no_spike_and_small_spreads_have_a_floor():
    assert not spikes(np.array([[0.0, 0.0, 25.0, 25.0]]), np.full((1, 4), 2.0)).any()
    assert not spikes(np.array([[0.0, 14.0, 0.0]]), np.full((1, 3), 2.0)).any()
    assert spikes(np.array([[0.0, 16.0, 0.0]]), np.full((1, 3), 2.0)).any()
    assert spikes(np.array([[0.0, 21.0, 0.0]]), np.full((1, 3), NAN)).any()  # unknown spread: 5 °C
    assert not spikes(np.array([[NAN, 40.0, 0.0]]), np.full((1, 3), 2.0)).any()


def test_what_a_neighbour_shows_too_is_weather():
    values = np.array([[10.0, 35.0, 10.0], [11.0, 24.0, 11.0]])
    spread = np.full((2, 3), 5.0)
    assert not spikes(values, spread).any()
    assert spikes(values[:1], spread[:1]).any()
    median = np.full((2, 3), 10.0)
    far = np.array([[10.0, 41.0, 10.0], [10.0, 31.0, 10.0]])
    assert outliers(far[:1], median[:1], spread[:1]).tolist() == [[False, True, False]]
    assert not outliers(far, median, spread).any()


def test_flat_line_limits(make_record):
    table = make_record("2010-01-01", "2013-12-31", seed=4)
    axis = CalendarAxis.of(date(2010, 1, 1), table["tmin"].size)
    fine = np.round(table["tmin"], 1)[np.newaxis]
    coarse = np.round(table["tmin"])[np.newaxis]
    for values, days, flagged in ((fine, 7, False), (fine, 8, True), (coarse, 11, False), (coarse, 12, True)):
        stuck = values.copy()
        stuck[0, 500 : 500 + days] = 4.0
        stuck[0, [499, 500 + days]] = 9.0
        assert flat_runs(stuck, axis)[0, 500 : 500 + days].all() == flagged
        assert flat_runs(stuck, axis).sum() == (days if flagged else 0)


# --- the whole check
def test_a_clean_record_passes_untouched(make_record):
    for seed in range(5):
        table = make_record("2000-01-01", "2019-12-31", seed=seed)
        _, result = checked(table, "2000-01-01")
        assert result.notices == ()
        assert np.array_equal(result.tmin_c[0], np.round(table["tmin"], 1))
        assert np.array_equal(result.tmean_c[0], np.round(table["tavg"], 1))


def test_the_caller_keeps_its_arrays(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    axis = CalendarAxis.of(date(2010, 1, 1), table["tavg"].size)
    arrays = [table[name][np.newaxis].copy() for name in ("tmin", "tavg", "tmax")]
    arrays[0][0, 700] = -999.0
    before = [array.copy() for array in arrays]
    check(*arrays, axis, ["x"])
    assert all(np.array_equal(a, b) for a, b in zip(arrays, before, strict=True))


def test_crossed_extremes_take_a_mean_made_of_them_along(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    table = {name: np.round(table[name], 1) for name in ("tmin", "tavg", "tmax")}
    table["tmin"][[700, 900]] = table["tmax"][[700, 900]] + 3.0
    table["tavg"][700] = (table["tmin"][700] + table["tmax"][700]) / 2
    table["tavg"][900] = table["tmax"][900] - 6.0
    _, result = checked(table)
    assert np.isnan(result.tmin_c[0, [700, 900]]).all()
    assert np.isnan(result.tmax_c[0, [700, 900]]).all()
    assert np.isnan(result.tmean_c[0, 700])
    assert result.tmean_c[0, 900] == pytest.approx(table["tavg"][900], abs=0.051)
    assert texts(result) == [
        "2 days with the minimum above the maximum are treated as missing (first 2011-12-02)."
    ]


def test_marks_for_missing_and_records_of_the_planet(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    for name in ("tmin", "tavg", "tmax"):
        table[name][[10, 20]] = [-999.0, 999.9]
    _, result = checked(table)
    assert np.isnan(result.tmean_c[0, [10, 20]]).all()
    assert texts(result) == [
        "2 days with values below -70 or above 57 °C are treated as missing (first 2010-01-11)."
    ]


def test_a_mean_outside_gives_way_to_the_middle(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    table["tavg"][300] = table["tmax"][300] + 4.0
    _, result = checked(table)
    assert result.tmean_c[0, 300] == pytest.approx((table["tmin"][300] + table["tmax"][300]) / 2, abs=0.1)
    assert texts(result) == [
        "1 day with the mean outside minimum and maximum is treated as missing (2010-10-28)."
    ]


# Two real listings of first fall minima, Iowa State University: -1 °F on 16 August 2010 and 0 °F on
# 2 September 2002: nonsense that must be flagged.
@pytest.mark.parametrize(("day", "tmin_f"), [("2010-08-16", -1.0), ("2012-09-02", 0.0)])
def test_winter_in_august(make_record, day, tmin_f):
    table = make_record("2000-01-01", "2019-12-31", mean=8.5, swing=15.0)
    at = (date.fromisoformat(day) - date(2000, 1, 1)).days
    for shown in (1, 4):  # alone, and several days of it, where a spike shows nothing
        dirty = {name: table[name].copy() for name in ("tmin", "tavg", "tmax")}
        dirty["tmin"][at : at + shown] = (tmin_f - 32) * 5 / 9
        dirty["tavg"][at : at + shown] = (dirty["tmin"] + dirty["tmax"])[at : at + shown] / 2
        _, result = checked(dirty, "2000-01-01")
        assert np.isnan(result.tmin_c[0, at : at + shown]).all()
        assert np.isnan(result.tmean_c[0, at : at + shown]).all()
        assert np.isnan(result.tmin_c).sum() == shown


def test_a_real_cold_snap_stays(make_record):
    table = make_record("2000-01-01", "2019-12-31", mean=8.5, swing=15.0)
    at = (date(2018, 10, 20) - date(2000, 1, 1)).days
    for name in ("tmin", "tavg", "tmax"):
        table[name][at] -= 12.0
    _, result = checked(table, "2000-01-01")
    assert not np.isnan(result.tmin_c).any()


def test_a_sensor_that_stands_still(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    for name in ("tmin", "tavg", "tmax"):
        table[name][400:406] = table[name][400]
    _, result = checked(table)
    assert np.isnan(result.tmin_c[0, 400:406]).all()
    assert np.isnan(result.tmean_c[0, 400:406]).all()
    assert texts(result) == [
        "6 days with a value that stands still are treated as missing (first 2011-02-05)."
    ]


def test_whole_degrees_are_reported(make_record):
    table = make_record("2010-01-01", "2013-12-31")
    table["tmin"][: 2 * 365] = np.round(table["tmin"][: 2 * 365])
    table["tavg"] = (table["tmin"] + table["tmax"]) / 2
    _, result = checked(table)
    assert texts(result) == [
        "minima of 2010 to 2011 are whole °C: 28 °F is not resolved there, -2 "
        "°C may have been 29.3 or 27.5 °F."
    ]


# --- independent reference: daily station records that travel with package aquacrop 3.1.0 (Champion,
# Nebraska, 1982-2018; the others from its case studies). Their owners have checked them: almost nothing goes.
@pytest.mark.parametrize(
    ("name", "set_aside"), [("champion", 6), ("tunis", 0), ("cordoba", 0), ("brussels", 0), ("cambridge", 0)]
)
def test_checked_archives_pass(name, set_aside):
    source = files("aquacrop") / "data" / f"{name}_climate.txt"
    if not source.is_file():
        pytest.skip(f"this release has no record of {name}")
    with source.open() as stream:
        frame = pd.read_csv(stream, sep=r"\s+")
    frame.columns = [column.split("(")[0].casefold() for column in frame.columns]
    frame = frame.rename(columns={"mintemp": "tmin", "maxtemp": "tmax"})
    low, high = (frame[column].to_numpy(np.float64)[np.newaxis] for column in ("tmin", "tmax"))
    first = date(int(frame["year"][0]), int(frame["month"][0]), int(frame["day"][0]))
    result = check(low, np.full_like(low, NAN), high, CalendarAxis.of(first, low.size), [name])
    # Champion: minimum and maximum both repeat 7 days of February 1982, which no weather does.
    assert np.isnan(result.tmean_c).sum() <= set_aside
