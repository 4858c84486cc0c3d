"""Invented faults at one station of four are set aside and told; cold nights, fronts and hollows are not."""

from datetime import date

import numpy as np
import pytest

from forecaster.weather.calendar_axis import CalendarAxis
from forecaster.weather.contradictions import Pair, contradicted, shifted_months, without_contradicted
from forecaster.weather.files import read_weather
from forecaster.weather.quality import Checked
from forecaster.weather.stations import Station

FIRST, YEARS = date(2010, 1, 1), 8
AXIS = CalendarAxis.of(FIRST, YEARS * 365 + 2)
NAMES = ("A", "B", "C", "D")
PLACES = tuple(Station(name, name, 43.0 + at * 0.1, -89.0, 200.0) for at, name in enumerate(NAMES))


@pytest.fixture(scope="module")
def sound():
    """Minimum and maximum [°C] of four stations, shape (station, day): shared weather, errors of 1.2 °C."""
    random = np.random.default_rng(5)
    season = 9.0 - 13.0 * np.cos(2 * np.pi * AXIS.day_of_year / 366)
    shared = np.zeros(AXIS.day_count)
    for day in range(1, AXIS.day_count):
        shared[day] = 0.7 * shared[day - 1] + random.normal(0, 4.5 * np.sqrt(0.51))
    half = random.uniform(3, 7, AXIS.day_count)
    low, high = (
        (season + shared + sign * half + random.normal(0, 1.2, (4, AXIS.day_count))).round(1)
        for sign in (-1, 1)
    )
    return low, np.maximum(high, low)


def checked(low, high, mean=None):
    return Checked(low, high, (low + high) / 2 if mean is None else mean, ())


def run(low, high, *, count=4, mean=None):
    wheres = [f"{name}.csv" for name in NAMES[:count]]
    return without_contradicted(
        checked(low[:count], high[:count], None if mean is None else mean[:count]),
        AXIS,
        PLACES[:count],
        wheres,
    )


def at(text):
    return int((np.datetime64(text) - AXIS.days[0]).astype(int))


def texts(result):
    return [str(notice) for notice in result.notices]


# --- invented faults
def test_sound_records_stay_as_they_are(sound):
    result = run(*sound)
    assert result.notices == ()
    assert np.isfinite(result.tmin_c).all()
    assert np.isfinite(result.tmax_c).all()


@pytest.mark.parametrize("station", [0, 2])
@pytest.mark.parametrize(
    ("day", "fault"),
    [
        ("2015-07-14", lambda value: 0.0),  # missing written as nought
        ("2014-09-20", lambda value: value + 18.0),  # a spike; 14 is within what the days beside had
        ("2014-10-03", lambda value: value - 14.0),
        ("2013-01-10", lambda value: 18.0),  # a lost minus
        ("2016-10-30", lambda value: value * 9 / 5 + 32),  # °F among °C
    ],
)
def test_a_fault_of_one_station_is_set_aside_and_told(sound, station, day, fault):
    low, high = (values.copy() for values in sound)
    low[station, at(day)] = round(fault(low[station, at(day)]), 1)
    high[station, at(day)] = max(high[station, at(day)], low[station, at(day)])
    result = run(low, high)
    lost = np.argwhere(~np.isfinite(result.tmin_c)).tolist()
    assert lost == [[station, at(day)]]
    assert not np.isfinite(result.tmean_c[station, at(day)])  # it was computed from the fault
    shown = f"{low[station, at(day)]:.1f} °C"
    minima = [text for text in texts(result) if "minimum" in text]
    assert minima == [
        f"{NAMES[station]}.csv: 1 minimum that all neighbours contradict is treated as missing "
        f"({day}: {shown})."
    ]


def test_a_mean_of_its_own_stays_when_the_minimum_goes(sound):
    low, high = (values.copy() for values in sound)
    mean = (low + high) / 2 + 0.5
    low[0, at("2015-07-14")] = 0.0
    result = run(low, high, mean=mean)
    assert not np.isfinite(result.tmin_c[0, at("2015-07-14")])
    assert np.isfinite(result.tmean_c).all()


def test_several_days_are_one_sentence(sound):
    low, high = (values.copy() for values in sound)
    low[1, at("2015-07-14") : at("2015-07-17")] = -2.0
    said = texts(run(low, high))
    assert said == [
        "B.csv: 3 minima that all neighbours contradict are treated as missing (first 2015-07-14: -2.0 °C)."
    ]


# --- a month whose days are its neighbours' days before
@pytest.mark.parametrize(("by", "word"), [(1, "late"), (-1, "early")])
def test_a_month_that_is_a_day_off_is_set_aside(sound, by, word):
    low, high = (values.copy() for values in sound)
    october = slice(at("2014-10-01"), at("2014-11-01"))
    high[3, october] = np.roll(high[3], by)[october]
    high = np.maximum(high, low)
    result = run(low, high)
    lost = np.nonzero(~np.isfinite(result.tmax_c[3]))[0]
    assert lost.tolist() == list(range(october.start, october.stop))
    assert np.isfinite(result.tmax_c[:3]).all()
    assert (
        f"D.csv: maxima of 2014-10 come a day {word} against all neighbours and are treated as missing."
        in texts(result)
    )


def test_where_two_and_two_disagree_nobody_is_believed_more(sound):
    low, high = (values.copy() for values in sound)
    october = slice(at("2014-10-01"), at("2014-11-01"))
    for station in (2, 3):
        high[station, october] = np.roll(high[station], 1)[october]
    result = run(low, np.maximum(high, low))
    assert np.isfinite(result.tmax_c).all()


# --- what is no fault
def test_a_cold_snap_that_all_share_stays(sound):
    low, high = (values.copy() for values in sound)
    days = slice(at("2014-10-10"), at("2014-10-13"))
    low[:, days] -= 15.0
    high[:, days] -= 12.0
    assert run(low, high).notices == ()


@pytest.mark.parametrize("by", [-1, 1])
def test_a_cold_front_that_reaches_one_station_a_day_earlier_or_later_stays(sound, by):
    low, high = (values.copy() for values in sound)
    front = at("2014-10-10")
    for station in range(4):
        begin = front + (by if station == 0 else 0)
        low[station, begin : begin + 3] -= 16.0
        high[station, begin : begin + 3] -= 13.0
    assert run(low, np.maximum(high, low)).notices == ()


def test_a_hollows_cold_nights_stay(sound):
    low, high = (values.copy() for values in sound)
    still = np.random.default_rng(3).random(AXIS.day_count) < 0.25  # a quarter of the nights, 9 °C colder
    low[0, still] -= 9.0
    result = run(low, high)
    assert np.isfinite(result.tmin_c[0, still]).all()


def test_the_newest_day_is_never_set_aside(sound):
    low, high = (values.copy() for values in sound)
    low[0, -1] -= 20.0
    assert np.isfinite(run(low, high).tmin_c[0, -1])
    low[0, -2] = low[0, -1]
    assert not np.isfinite(run(low, high).tmin_c[0, -2])


@pytest.mark.parametrize("count", [1, 2])
def test_a_station_needs_two_neighbours(sound, count):
    low, high = (values.copy() for values in sound)
    low[0, at("2015-07-14")] = -9.0
    given = checked(low[:count], high[:count])
    assert without_contradicted(given, AXIS, PLACES[:count], ["A.csv", "B.csv"][:count]) is given


def test_a_fault_that_two_of_three_share_stays(sound):
    low, high = (values.copy() for values in sound)
    low[:2, at("2015-07-14")] = -2.0
    result = run(low, high, count=3)
    assert np.isfinite(result.tmin_c[:2]).all()


# --- hand arithmetic
def pair(guess, error=1.0):
    values = np.array(guess, dtype=float)
    return Pair(values, np.full(values.size, error))


def test_four_errors_and_seven_degrees_outside_three_days():
    own = np.array([10.0, 17.1, 10.0])
    near, far = pair([9.0, 10.0, 9.0]), pair([8.0, 9.0, 10.0])  # highest of three days: 10 and 10
    assert contradicted(own, [near, far]).tolist() == [False, True, False]
    assert not contradicted(np.array([10.0, 17.0, 10.0]), [near, far]).any()  # 7.0 is not beyond 7
    assert not contradicted(own, [near, pair([9.0, 10.0, 10.2])]).any()  # 6.9 above the day after
    assert not contradicted(own, [near, pair([8.0, 9.0, 10.0], error=1.8)]).any()  # 4 x 1.8 = 7.2
    assert not contradicted(own, [near, pair([8.0, 9.0, np.nan])]).any()  # a day beside is not known
    below = np.array([3.0, -9.0, 3.0])
    assert contradicted(below, [pair([0.0, 1.0, 2.0]), pair([1.0, -1.9, 4.0])]).tolist() == [
        False,
        True,
        False,
    ]


def test_one_of_four_may_dissent_and_sides_do_not_add_up():
    own, high, low, calm = np.array([0.0, 9.0, 0.0]), pair([1.0, 1.0, 1.0]), pair([17.0] * 3), pair([9.0] * 3)
    assert contradicted(own, [high, high, high, calm]).tolist() == [False, True, False]
    assert not contradicted(own, [high, high, calm]).any()
    assert not contradicted(own, [high, low]).any()


def test_a_pair_that_is_off_at_that_time_is_judged_by_its_level():
    """Thirty days on which the station lies 5 °C above the line: 12 above it is 7 above the level."""
    guess = np.full(61, 10.0)
    own = np.full(61, 15.0)
    own[30] = 22.0
    assert not contradicted(own, [pair(guess), pair(guess)]).any()
    own[30] = 22.1
    assert np.nonzero(contradicted(own, [pair(guess), pair(guess)]))[0].tolist() == [30]


def test_months_need_twenty_days():
    days = CalendarAxis.of(date(2014, 10, 1), 61)
    guess = np.where(np.arange(61) % 2 == 0, 4.0, 8.0) + np.arange(61) % 3
    own = np.roll(guess, 1)
    both = [pair(guess), pair(guess)]
    assert set(shifted_months(own, both, days).tolist()) == {1}
    own[31 + 19 :] = np.nan  # 19 days of November are left
    assert shifted_months(own, both, days).tolist() == [1] * 31 + [0] * 30


# --- the whole way, from files
def test_from_files_the_fault_is_filled_from_the_neighbours(folder, make_record, sound):
    low, high = sound
    folder.stations(
        "station_id,name,latitude,longitude,elevation_m\n"
        + "".join(f"{s.station_id},{s.name},{s.latitude},{s.longitude},200\n" for s in PLACES)
    )
    for station, name in enumerate(NAMES):
        table = {"date": AXIS.days, "tmin": low[station].copy(), "tmax": high[station]}
        if station == 0:
            table["tmin"][at("2017-09-20")] = -8.0
        folder.record(name, table, "date,tmin,tmax")
    weather = read_weather(folder.path, as_of=date(2017, 10, 6))
    day = weather.index_of(date(2017, 9, 20))
    assert weather.filled[0, day]
    assert weather.tmin_c[0, day] == pytest.approx(low[0, day], abs=4.0)
    said = "\n".join(map(str, weather.notices))
    assert (
        "A.csv: 1 minimum that all neighbours contradict is treated as missing (2017-09-20: -8.0 °C)" in said
    )
    assert "A.csv: 1 day from 2017-09-20 to 2017-09-20 estimated from B, C, D (typical error" in said


def test_the_days_from_the_as_of_date_on_change_nothing(folder, sound):
    low, high = (values.copy() for values in sound)
    folder.stations(
        "station_id,name,latitude,longitude,elevation_m\n"
        + "".join(f"{s.station_id},{s.name},{s.latitude},{s.longitude},200\n" for s in PLACES)
    )
    low[0, at("2017-09-20")] = -8.0

    def read():
        for station, name in enumerate(NAMES):
            table = {"date": AXIS.days, "tmin": low[station], "tmax": np.maximum(high, low)[station]}
            folder.record(name, table, "date,tmin,tmax")
        return read_weather(folder.path, as_of=date(2017, 9, 21))

    before = read()
    assert not before.filled[0, -1]  # the newest day stays, whatever comes after
    low[:, at("2017-09-21") :] = 30.0
    after = read()
    assert np.array_equal(before.tmin_c, after.tmin_c)
    assert before.notices == after.notices
