"""A weather folder as a whole: what comes out, what is refused, and that nothing later counts."""

from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.errors import BadInput
from forecaster.units import c_to_f
from forecaster.weather.files import read_station_records, read_weather
from forecaster.weather.prepare import prepare_weather

AS_OF = date(2025, 10, 6)
NAN = np.nan


def refused(folder, **options):
    with pytest.raises(BadInput) as raised:
        read_weather(folder.path, **{"as_of": AS_OF, **options})
    return [str(problem) for problem in raised.value.problems]


def notices(weather):
    return [str(notice) for notice in weather.notices]


def at(table, day):
    return int((np.datetime64(day) - table["date"][0]).astype(int))


def cut(table, *spans):
    """The record without the days from the first to the last of each span."""
    keep = np.ones(table["date"].size, dtype=bool)
    for first, last in spans:
        keep &= (table["date"] < np.datetime64(first)) | (table["date"] > np.datetime64(last))
    return {name: values[keep] for name, values in table.items()}


@pytest.fixture
def record(make_record):
    return make_record("2015-01-01", "2025-10-31")


# --- what comes out
def test_axis_mean_and_last_day(folder, record):
    folder.record("ALDER", record)
    weather = read_weather(folder.path, as_of=AS_OF)
    assert (weather.first_day, weather.last_day) == (date(2015, 1, 1), AS_OF - timedelta(days=1))
    assert weather.tmean_c.shape == weather.tmin_c.shape == weather.filled.shape == (1, weather.day_count)
    assert np.array_equal(weather.tmean_c[0], np.round(record["tavg"][: weather.day_count], 1))
    assert weather.last_observed == (AS_OF - timedelta(days=1),)
    assert not weather.filled.any()
    assert notices(weather) == []
    assert weather.has_tmin == (True,)


def test_the_mean_is_tavg_else_the_middle(folder, record):
    record["tavg"] = record["tavg"] + 0.5
    record["tavg"][at(record, "2020-05-01")] = NAN
    folder.record("ALDER", record)
    weather = read_weather(folder.path, as_of=AS_OF)
    day = weather.index_of(date(2020, 5, 1))
    middle = (np.round(record["tmin"], 1) + np.round(record["tmax"], 1)) / 2
    assert weather.tmean_c[0, day] == pytest.approx(middle[day])
    assert weather.tmean_c[0, day + 1] == pytest.approx(np.round(record["tavg"][day + 1], 1))


def test_columns_that_may_be_missing(folder, record):
    folder.record("ALDER", record, "date,tavg")
    weather = read_weather(folder.path, as_of=AS_OF)
    assert np.isfinite(weather.tmean_c).all()
    assert np.isnan(weather.tmin_c).all()
    assert weather.has_tmin == (False,)
    folder.record("ALDER", record, "date,tmax,tmin")
    weather = read_weather(folder.path, as_of=AS_OF)
    assert np.isfinite(weather.tmean_c).all()
    assert weather.has_tmin == (True,)


def test_two_stations_on_one_axis(folder, record, two_stations, make_record):
    folder.stations(two_stations)
    folder.record("ALDER", record)
    birch = {name: values - (2.0 if name != "date" else 0) for name, values in record.items()}
    folder.record("BIRCH", cut(birch, ("2015-01-01", "2018-06-30"), ("2022-02-01", "2022-02-20")))
    weather = read_weather(folder.path, as_of=AS_OF)
    assert [station.station_id for station in weather.stations] == ["ALDER", "BIRCH"]
    assert np.isfinite(weather.tmean_c).all()  # BIRCH is ALDER less 2 °C, so that is what fills it
    assert np.allclose(weather.tmean_c[1], weather.tmean_c[0] - 2.0, atol=0.2)
    before = (date(2018, 7, 1) - date(2015, 1, 1)).days
    assert weather.filled.sum(axis=1).tolist() == [0, before + 20]
    assert notices(weather) == [
        f"weather/BIRCH.csv: {before + 20} days from 2015-01-01 to 2022-02-20 estimated from ALDER "
        "(typical error 0.0 °C for means, 0.0 °C for minima)."
    ]
    assert weather.fill_error_c[1] < 0.1
    only = read_weather(folder.path, as_of=AS_OF, station_ids=["BIRCH"])
    assert [station.station_id for station in only.stations] == ["BIRCH"]
    assert only.first_day == date(2018, 7, 1)


def test_short_gaps_are_bridged_and_long_ones_told(folder, record):
    folder.record("ALDER", cut(record, ("2019-03-01", "2019-03-03"), ("2021-09-10", "2021-09-20")))
    weather = read_weather(folder.path, as_of=AS_OF)
    assert weather.filled.sum() == 3
    assert np.isnan(weather.tmean_c).sum() == np.isnan(weather.tmin_c).sum() == 11
    assert notices(weather) == [
        "weather/ALDER.csv: 3 days filled from the days around them (first 2019-03-01).",
        "weather/ALDER.csv: 1 gap stays empty (longest 2021-09-10 to "
        "2021-09-20, 11 days); the fall of 2021 is "
        "not used as a source of members.",
    ]


def test_filled_days_keep_minimum_mean_and_maximum_in_order(folder, record):
    rough = {name: values.copy() for name, values in record.items()}
    random = np.random.default_rng(12)
    for name in ("tmin", "tavg", "tmax"):
        rough[name][random.choice(record["date"].size - 100, 400, replace=False)] = NAN
    folder.record("ALDER", rough)
    weather = read_weather(folder.path, as_of=AS_OF)
    known = np.isfinite(weather.tmin_c + weather.tmax_c + weather.tmean_c)
    assert (weather.tmin_c <= weather.tmean_c + 1e-9)[known].all()
    assert (weather.tmean_c <= weather.tmax_c + 1e-9)[known].all()
    assert weather.filled.sum() > 300


def test_the_current_fall_is_whole_whatever_its_gaps(folder, record):
    folder.record("ALDER", cut(record, ("2025-07-30", "2025-08-05"), ("2025-09-20", "2025-09-28")))
    weather = read_weather(folder.path, as_of=AS_OF)
    assert np.isfinite(weather.tmean_c).all()
    assert weather.filled.sum() == 16
    assert notices(weather) == [
        f"weather/ALDER.csv: no observation from {span}: the usual course of "
        "the year stands in, and a freeze in "
        f"these {days} days would not show."
        for span, days in (("2025-07-30 to 2025-08-05", 7), ("2025-09-20 to 2025-09-28", 9))
    ]


def test_a_long_gap_early_in_the_fall_stops_nobody_in_december(folder, make_record):
    folder.record("ALDER", cut(make_record("2015-01-01", "2025-12-31"), ("2025-08-10", "2025-09-15")))
    weather = read_weather(folder.path, as_of=date(2025, 12, 1))
    assert np.isfinite(weather.tmean_c).all()
    assert len(refused(folder, as_of=date(2025, 11, 1))) == 1


# --- nothing looks ahead
def scrambled(table, as_of, seed):
    """The same record with other weather, other order of days, absurd and missing values from `as_of` on."""
    random = np.random.default_rng(seed)
    tail = table["date"] >= np.datetime64(as_of)
    changed = {name: values.copy() for name, values in table.items()}
    for name in ("tmin", "tavg", "tmax"):
        changed[name][tail] = random.choice([-400.0, 99.9, 70.0, -30.0, NAN, 0.0], tail.sum())
    changed["date"][tail] = random.permutation(changed["date"][tail])
    changed["date"][-2] = changed["date"][-1]
    return changed


def same(one, two):
    assert one.notices == two.notices
    assert one.stations == two.stations
    assert one.last_observed == two.last_observed
    assert (one.first_day, one.outlooks) == (two.first_day, two.outlooks)
    for name in ("tmin_c", "tmax_c", "tmean_c", "filled", "fill_error_c", "fill_error_min_c"):
        assert np.asarray(getattr(one, name)).tobytes() == np.asarray(getattr(two, name)).tobytes()


@pytest.mark.parametrize("as_of", [date(2025, 10, 6), date(2022, 11, 20), date(2019, 8, 1)])
def test_scrambling_the_future_changes_nothing(folder, record, two_stations, make_record, as_of):
    folder.stations(two_stations)
    dirty = cut(record, ("2017-03-01", "2017-03-04"), ("2018-01-01", "2018-02-01"))
    dirty["tmin"][1000:1003] = 44.0
    other = make_record("2016-05-01", "2025-10-31", seed=1)
    folder.record("ALDER", dirty)
    folder.record("BIRCH", other)
    before = read_weather(folder.path, as_of=as_of)
    assert before.notices
    folder.record("ALDER", scrambled(dirty, as_of, 1))
    folder.record("BIRCH", scrambled(other, as_of, 2))
    same(before, read_weather(folder.path, as_of=as_of))
    for name, table in (("ALDER", dirty), ("BIRCH", other)):
        folder.record(name, cut(table, (as_of, "2030-01-01")))
    same(before, read_weather(folder.path, as_of=as_of))
    for name, table in (("ALDER", dirty), ("BIRCH", other)):
        folder.record(name, cut(table, (as_of, "2030-01-01")))
        with (folder.path / f"{name}.csv").open("a", encoding="utf-8") as file:
            file.write(f"{as_of},warm,?,\n2026-03-01,1\n2026-03-02,1,2,3,4,5\n")
    same(before, read_weather(folder.path, as_of=as_of))


def test_scrambling_the_future_changes_no_error(folder, record):
    folder.record("ALDER", cut(record, ("2025-09-01", "2025-09-14")))
    before = refused(folder)
    folder.record("ALDER", scrambled(cut(record, ("2025-09-01", "2025-09-14")), AS_OF, 3))
    assert refused(folder) == before


def test_records_read_once_serve_every_as_of_date(folder, record):
    folder.record("ALDER", record)
    records, told = read_station_records(folder.path)
    for as_of in (date(2020, 9, 1), date(2025, 10, 6)):
        same(prepare_weather(records, as_of=as_of, notices=told), read_weather(folder.path, as_of=as_of))


# --- what is refused
def test_a_gap_shortly_before(folder, record):
    spans = {
        "2025-08-01": ("2025-08-11", 11),
        "2025-08-02": ("2025-08-11", 10),
        "2025-07-20": ("2025-08-06", 18),
    }
    for first, (last, days) in spans.items():
        folder.record("ALDER", cut(record, (first, last)))
        if days == 11 and last >= "2025-08-07":  # 60 days before 6 October is 7 August
            assert refused(folder) == [
                "weather/ALDER.csv: no daily mean and no minimum from 2025-08-01 to "
                "2025-08-11 (11 days; at most 10 "
                "within 60 days before the as-of date). Add these days, or take the "
                "station out of stations.csv."
            ]
        else:
            read_weather(folder.path, as_of=AS_OF)


def test_the_gap_ends_on_the_sixtieth_day(folder, record):
    folder.record("ALDER", cut(record, ("2025-07-20", "2025-08-07")))
    assert len(refused(folder)) == 1
    assert len(refused(folder, as_of=date(2025, 10, 6))) == 1
    read_weather(folder.path, as_of=date(2025, 10, 7))


def test_empty_cells_and_implausible_values_are_gaps_too(folder, record):
    for value in (NAN, 99.9):
        dirty = {name: values.copy() for name, values in record.items()}
        for name in ("tmin", "tavg", "tmax"):
            dirty[name][at(dirty, "2025-09-01") : at(dirty, "2025-09-15")] = value
        folder.record("ALDER", dirty)
        (problem,) = refused(folder)
        assert "from 2025-09-01 to 2025-09-14 (14 days" in problem


@pytest.mark.parametrize(("last", "accepted"), [("2025-09-26", True), ("2025-09-25", False)])
def test_the_last_observation_may_be_ten_days_old(folder, record, last, accepted):
    folder.record("ALDER", {name: values[: at(record, last) + 1] for name, values in record.items()})
    if accepted:
        weather = read_weather(folder.path, as_of=AS_OF)
        assert weather.last_observed == (date(2025, 9, 26),)
        assert np.isnan(weather.tmean_c[0, -9:]).all()
    else:
        assert refused(folder) == [
            "weather/ALDER.csv: the last observation is of 2025-09-25, 11 days "
            "before the as-of date 2025-10-06 "
            "(at most 10). Add the days since, or choose an earlier as-of date."
        ]


def test_one_late_station_of_two_is_estimated(folder, record, two_stations, make_record):
    folder.stations(two_stations)
    folder.record("ALDER", record)
    folder.record("BIRCH", {name: values[: at(record, "2025-08-31") + 1] for name, values in record.items()})
    weather = read_weather(folder.path, as_of=AS_OF)
    assert np.isfinite(weather.tmean_c).all()
    assert weather.last_observed == (date(2025, 10, 5), date(2025, 8, 31))
    assert (
        "weather/BIRCH.csv: the last daily mean and the last minimum are of 2025-08-31, "
        "36 days before the as-of date." in notices(weather)
    )


def test_a_station_that_begins_later_is_left_out(folder, record, two_stations, make_record):
    folder.stations(two_stations)
    folder.record("ALDER", record)
    folder.record("BIRCH", make_record("2023-01-01", "2025-10-31"))
    weather = read_weather(folder.path, as_of=date(2022, 9, 1))
    assert [station.station_id for station in weather.stations] == ["ALDER"]
    assert notices(weather) == [
        "weather/BIRCH.csv: no daily mean before 2022-09-01: the station is not used."
    ]
    assert refused(folder, as_of=date(2014, 9, 1)) == [
        "weather/ALDER.csv, weather/BIRCH.csv: no daily mean before the as-of "
        "date 2014-09-01. Add earlier days."
    ]


def test_a_file_in_fahrenheit(folder, record):
    warm = {name: values if name == "date" else c_to_f(values) for name, values in record.items()}
    folder.record("ALDER", warm)
    (problem,) = refused(folder)
    assert problem.startswith("weather/ALDER.csv: looks like °F: the median of its days in July is ")
    assert problem.endswith("Convert to °C: (F - 32) x 5/9.")


def test_newest_rows_in_fahrenheit(folder, record):
    for name in ("tmin", "tavg", "tmax"):
        record[name][at(record, "2025-09-10") :] = c_to_f(record[name][at(record, "2025-09-10") :])
    folder.record("ALDER", record)
    (problem,) = refused(folder)
    assert problem.startswith("weather/ALDER.csv: looks like °F:")
    assert "2025-09-10" in problem


def test_order_and_doubles(folder):
    folder.text(
        "ALDER",
        "date,tavg\n2025-10-01,9\n2025-10-03,9\n2025-10-02,9\n2025-10-03,8\n2025-10-04,9\n2025-10-01,9\n2025-10-05,9\n",
    )
    assert refused(folder) == [
        "weather/ALDER.csv row 5, date: 2025-10-03 is in row 3 too. Keep one row a day.",
        "weather/ALDER.csv row 7, date: 2025-10-01 is in row 2 too. Keep one row a day.",
        "weather/ALDER.csv row 4, date: 2025-10-02 stands below 2025-10-03. Sort the rows by date.",
    ]


def test_newest_first_is_one_problem(folder, record):
    folder.record("ALDER", {name: values[::-1] for name, values in record.items()})
    (problem,) = refused(folder)
    assert "rows stand below a later day). Sort the rows by date." in problem


def test_all_problems_of_all_files_at_once(folder, two_stations):
    folder.stations(two_stations + "CEDAR,Cedar dam,43.1,-88.3,\nDOGWOOD,Dogwood,43.1,-88.2,250\n")
    folder.text("ALDER", "date,tmin\n2025-10-01,1\n")
    folder.text("BIRCH", "date,tavg\n2025-10-01,mild\n2025-10-32,4\n")
    folder.text("dogwod", "date,tavg\n")
    assert refused(folder) == [
        "weather/stations.csv row 4, elevation_m: empty, not a number of metres (-450 to 6000).",
        "weather/DOGWOOD.csv: no such file, but stations.csv names the "
        "station. Did you mean dogwod.csv? Add it, or take "
        "the station out.",
        "weather/ALDER.csv row 1: needs the column tavg, or tmin and tmax; found date, tmin.",
        'weather/BIRCH.csv row 2, tavg: "mild" is not a number of °C. Write a '
        "number, or leave the cell empty.",
        'weather/BIRCH.csv row 3, date: "2025-10-32" is not a date. Write it like 2025-10-06.',
    ]


def test_one_bad_file_does_not_hide_the_others(folder, two_stations):
    folder.stations(two_stations)
    days = np.arange(np.datetime64("2025-08-01"), np.datetime64("2025-10-06"))
    folder.text("ALDER", "date,tavg\n" + "".join(f"{day},x\n" for day in days))
    folder.text("BIRCH", "date,tavg\n2025-10-05,x\n")
    problems = refused(folder)
    assert len(problems) == 22
    assert problems[20] == "weather/ALDER.csv: 46 more problems of this kind, not shown."
    assert problems[21].startswith("weather/BIRCH.csv row 2")


def test_empty_and_useless_files(folder, make_record):
    folder.text("ALDER", "")
    assert "the file is empty" in refused(folder)[0]
    folder.text("ALDER", "date,tmin,tavg,tmax\n")
    assert refused(folder) == ["weather/ALDER.csv: no row below the names of the columns. Add one row a day."]
    folder.text("ALDER", "date,tavg\n2025-10-04,\n2025-10-05,\n")
    assert "no daily mean before the as-of date 2025-10-06" in refused(folder)[0]
    folder.text("ALDER", "date,tavg\n2025-10-04,300\n2025-10-05,300\n")
    assert "no plausible daily mean before 2025-10-06" in refused(folder)[0]


def test_missing_folder_and_unknown_station(folder, record):
    folder.record("ALDER", record)
    assert refused(folder, station_ids=["ALDER", "ALDERR"]) == [
        "weather/stations.csv: no station ALDERR. Did you mean ALDER? Add it, or ask for another."
    ]
    with pytest.raises(BadInput, match=r"nowhere: no such folder"):
        read_weather(folder.path.parent / "nowhere", as_of=AS_OF)


def test_a_file_that_no_station_claims(folder, record):
    folder.record("ALDER", record)
    folder.record("EXTRA", record)
    assert notices(read_weather(folder.path, as_of=AS_OF)) == [
        "weather/EXTRA.csv: no station of this name in stations.csv: the file is not read."
    ]
