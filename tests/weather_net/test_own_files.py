"""Own records: the archive's file formats by column, quality flags, private loggers, and `weather add`."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from forecaster.errors import BadInput
from forecaster.weather.add_station import add_record, read_own_file
from forecaster.weather.ghcn import QUALITY_FLAGS, is_ghcn, read_ghcn
from forecaster.weather.own_logger import read_own_logger
from forecaster.weather.station_sheet import read_stations

CHICAGO = ZoneInfo("America/Chicago")


def dly(station: str, year: int, month: int, element: str, cells: list[tuple[int, str, str, str]]) -> str:
    """One line of a .dly file. Columns 1-11, 12-15, 16-17, 18-21, then 22-26, 27, 28, 29 and so on
    (GHCN-Daily readme.txt, III. FORMAT OF DATA FILES)."""
    line = f"{station:11}{year:4d}{month:02d}{element:4}"
    line += "".join(f"{value:5d}{m or ' '}{q or ' '}{s or ' '}" for value, m, q, s in cells)
    assert len(line) == 21 + 31 * 8 == 269
    return line


def month_of(
    values: list[int], flags: dict[int, tuple[str, str, str]] | None = None
) -> list[tuple[int, str, str, str]]:
    padded = [*values, *[-9999] * (31 - len(values))]
    return [(value, *(flags or {}).get(at, ("", "", "W"))) for at, value in enumerate(padded, start=1)]


def refused(call: object) -> str:
    with pytest.raises(BadInput) as caught:
        call()  # type: ignore[operator]
    return str(caught.value)


# --- .dly


def test_dly_columns_units_and_missing(tmp_path: Path) -> None:
    path = tmp_path / "USZ00000001.dly"
    path.write_text(
        "\n".join(
            [
                dly("USZ00000001", 2024, 2, "TMAX", month_of([56, -22, -9999, 111])),
                dly("USZ00000001", 2024, 2, "TMIN", month_of([-50, -122, -133, -9999])),
                dly("USZ00000001", 2024, 2, "PRCP", month_of([0, 3, 5, 9])),
                dly("USZ00000001", 2024, 2, "TAVG", month_of([1, -9999, -9999, 30])),
            ]
        )
        + "\n"
    )
    assert is_ghcn(path)
    record = read_ghcn(path)
    assert record.station_id == "USZ00000001"
    assert record.days.tolist() == [date(2024, 2, day) for day in (1, 2, 3, 4)]
    np.testing.assert_array_equal(record.tmin_c, [-5.0, -12.2, -13.3, np.nan])
    np.testing.assert_array_equal(record.tmax_c, [5.6, -2.2, np.nan, 11.1])
    np.testing.assert_array_equal(record.tavg_c, [0.1, np.nan, np.nan, 3.0])
    assert record.notices == ()


@pytest.mark.parametrize("flag", sorted(QUALITY_FLAGS))
def test_every_quality_flag_takes_its_value_out(tmp_path: Path, flag: str) -> None:
    # readme.txt: QFLAG blank = did not fail any quality assurance check; D G I K L M N O R S T W X Z failed.
    path = tmp_path / "a.dly"
    path.write_text(dly("USZ00000001", 2024, 1, "TMIN", month_of([10, 20, 30], {2: ("", flag, "W")})) + "\n")
    record = read_ghcn(path)
    assert record.days.tolist() == [date(2024, 1, 1), date(2024, 1, 3)]
    assert record.tmin_c.tolist() == [1.0, 3.0]
    assert f"1 values failed the archive's checks, left out: 1 {QUALITY_FLAGS[flag]}" in str(
        record.notices[0]
    )


def test_measurement_flags_do_not_take_values_out_and_lagged_ones_are_told(tmp_path: Path) -> None:
    path = tmp_path / "a.dly"
    path.write_text(
        dly("USZ00000001", 2024, 1, "TMIN", month_of([10, 20, 30], {1: ("L", "", "0"), 2: ("H", "", "W")}))
        + "\n"
    )
    record = read_ghcn(path)
    assert record.tmin_c.tolist() == [1.0, 2.0, 3.0]
    assert "1 values seem to belong to another day" in str(record.notices[0])


def test_dly_takes_its_place_from_the_list_beside_it(tmp_path: Path) -> None:
    # readme.txt, IV: ID 1-11, LATITUDE 13-20, LONGITUDE 22-30, ELEVATION 32-37, STATE 39-40, NAME 42-71
    line = f"{'USZ00000001':11} {43.0512:8.4f} {-89.4000:9.4f} {262.1:6.1f} {'ZZ':2} {'ALDER FIELD':30}"
    (tmp_path / "ghcnd-stations.txt").write_text("X" * 40 + "\n" + line + "\n")
    path = tmp_path / "USZ00000001.dly"
    path.write_text(dly("USZ00000001", 2024, 1, "TMIN", month_of([10])) + "\n")
    record = read_ghcn(path)
    assert (record.latitude, record.longitude, record.elevation_m) == (43.0512, -89.4, 262.1)
    assert record.name == "ALDER FIELD"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (dly("USZ00000001", 2024, 2, "TMIN", month_of([10] * 30)), "day 30 holds"),
        (dly("USZ00000001", 2024, 1, "TMIN", month_of([10])).replace("   10", "  1x0"), "day 1 holds"),
        (dly("USZ00000001", 2024, 1, "TMIN", month_of([10])) + "\n"
         + dly("USZ00000002", 2024, 1, "TMIN", month_of([10])), "holds 2 stations"),
        (dly("USZ00000001", 2024, 1, "TMIN", month_of([10])) + "\n"
         + dly("USZ00000001", 2024, 1, "TMIN", month_of([20])), "stands in the file twice"),
        (dly("USZ00000001", 2024, 1, "PRCP", month_of([10])), "no TMIN, TMAX or TAVG"),
    ],
)  # fmt: skip
def test_dly_that_cannot_be_is_refused_with_its_row(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "a.dly"
    path.write_text(text + "\n")
    assert why in refused(lambda: read_ghcn(path))


# --- station CSV of three kinds


def test_by_station_csv_one_element_a_row(tmp_path: Path) -> None:
    # readme-by_station.txt: id, YYYYMMDD, element, value, M-flag, Q-flag, S-flag, hour of observation
    path = tmp_path / "USZ00000001.csv"
    path.write_text(
        "USZ00000001,20240101,TMAX,56,,,W,0700\n"
        "USZ00000001,20240101,TMIN,-22,,,W,0700\n"
        "USZ00000001,20240102,TMAX,999,,X,W,2400\n"
        "USZ00000001,20240102,TMIN,-33,,,W,2400\n"
        "USZ00000001,20240102,PRCP,5,,,W,2400\n"
    )
    assert is_ghcn(path)
    record = read_ghcn(path)
    np.testing.assert_array_equal(record.tmin_c, [-2.2, -3.3])
    np.testing.assert_array_equal(record.tmax_c, [5.6, np.nan])
    said = " ".join(map(str, record.notices))
    assert "1 bounds" in said
    assert "1 maxima were read in the morning" in said


def test_access_csv_one_day_a_row_in_tenths(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    place = '"43.05","-89.4","262.1","ALDER FIELD, ZZ US"'
    path.write_text(
        '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME",'
        '"TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n'
        f'"USZ00000001","2024-07-01",{place},"  289",",,W,2400","  156",",,W,2400"\n'
        f'"USZ00000001","2024-07-02",{place},"  294",",S,W,2400","",""\n'
        f'"USZ00000001","2024-07-03",{place},"","","  150",",,W"\n'
    )
    record = read_ghcn(path)
    np.testing.assert_array_equal(record.tmax_c, [28.9, np.nan])
    np.testing.assert_array_equal(record.tmin_c, [15.6, 15.0])
    assert record.days.tolist() == [date(2024, 7, 1), date(2024, 7, 3)]
    assert (record.latitude, record.elevation_m, record.name) == (43.05, 262.1, "ALDER FIELD, ZZ US")


def test_ordered_csv_in_degrees_and_the_unit_where_numbers_leave_doubt(tmp_path: Path) -> None:
    metric = tmp_path / "metric.csv"
    metric.write_text("STATION,NAME,DATE,TMAX,TMIN\nUSZ00000001,Alder,2024-07-01,28.9,15.6\n")
    assert read_ghcn(metric).tmax_c.tolist() == [28.9]
    standard = tmp_path / "standard.csv"
    standard.write_text("STATION,NAME,DATE,TMAX,TMIN\nUSZ00000001,Alder,2024-10-01,54,28\n")
    assert "--unit f" in refused(lambda: read_ghcn(standard))
    record = read_ghcn(standard, unit="f")
    assert record.tmin_c[0] == pytest.approx(-20 / 9)
    assert read_ghcn(standard, unit="tenths").tmin_c.tolist() == [pytest.approx(2.8)]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("USZ00000001,20240230,TMIN,10,,,W,\n", "is not id, YYYYMMDD"),
        ("USZ00000001,20240101,TMIN,1O,,,W,\n", "is not id, YYYYMMDD"),
        ("STATION,DATE,TMIN\nA,07/01/2024,15.5\n", "is not a date like"),
        ("STATION,DATE,TMIN\nA,2024-07-01,15.5x\nA,2024-07-02,15.5\n", "is not a number"),
    ],
)
def test_csv_that_cannot_be_is_refused_with_its_row(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text)
    assert why in refused(lambda: read_ghcn(path))


# --- private loggers


def test_daily_summary_of_a_private_station_in_fahrenheit(tmp_path: Path) -> None:
    path = tmp_path / "yard.csv"
    path.write_text(
        "My station\nDate,High Temp (°F),Low Temp (°F),Avg Temp (°F),Dew Point (°F),Rain (in)\n"
        "10/6/2025,59,28,41,30,0\n10/7/2025,61,--,45,33,0.2\n10/5/2025,50,32,41,31,0\n"
    )
    record = read_own_file(path, timezone="America/Chicago")
    assert record.days.tolist() == [date(2025, 10, 5), date(2025, 10, 6), date(2025, 10, 7)]
    np.testing.assert_allclose(record.tmin_c, [0.0, -20 / 9, np.nan])
    np.testing.assert_allclose(record.tmax_c, [10.0, 15.0, 145 / 9])
    np.testing.assert_allclose(record.tavg_c, [5.0, 5.0, 65 / 9])


def samples_csv(first: datetime, hours: int, value: object, step_minutes: int = 30) -> str:
    lines = ["Date Time, Air Temp (°C)"]
    for at in range(hours * 60 // step_minutes):
        instant = first + timedelta(minutes=at * step_minutes)
        lines.append(f"{instant.strftime('%Y-%m-%dT%H:%M:%S%z')},{value(instant)}")  # type: ignore[operator]
    return "\n".join(lines) + "\n"


def test_many_values_a_day_become_days_of_the_local_clock(tmp_path: Path) -> None:
    path = tmp_path / "yard.csv"
    start = datetime(2025, 11, 1, 5, tzinfo=UTC)  # midnight in Chicago; the clocks go back on the 2nd
    cold = datetime(2025, 11, 3, 5, 30, tzinfo=UTC)  # 11:30 p.m. on the 2nd, its 25th hour
    path.write_text(samples_csv(start, 73, lambda at: -7.0 if at == cold else 4.0))
    record = read_own_logger(path, timezone="America/Chicago")
    assert record.days.tolist() == [date(2025, 11, day) for day in (1, 2, 3)]
    assert record.tmin_c.tolist() == [4.0, -7.0, 4.0]
    assert record.tavg_c[1] == pytest.approx((49 * 4.0 - 7.0) / 50)  # 25 hours of two values


def test_a_day_with_a_hole_is_left_out_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "yard.csv"
    lines = samples_csv(datetime(2025, 10, 6, 5, tzinfo=UTC), 72, lambda at: 5.0).splitlines()
    del lines[60:75]  # over seven hours of the second day
    path.write_text("\n".join(lines) + "\n")
    record = read_own_logger(path, timezone="America/Chicago")
    assert record.days.tolist() == [date(2025, 10, 6), date(2025, 10, 8)]
    assert "1 days with holes" in str(record.notices[0])


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("Date,Low,High\n2025-10-06,28,59\n", "do not say °F or °C"),
        ("Date,Low (F),High (C)\n2025-10-06,28,15\n", "say both °F and °C"),
        ("Date,Low (F)\n2025-10-06,cold\n", '"cold" is not a temperature'),
        ("Date,Low (F)\n2025-10-06,28\n2025-10-06,29\n", "is in row 2 too"),
        ("Date,Low (F),Minimum (F)\n2025-10-06,28,27\n", "may both be meant"),
        ("a,b\n1,2\n", "no header with a date"),
        ("", "no header with a date"),
        ("Time,Temp (F)\n2025-10-06 12:00,50\n2025-10-06 18:00,50\n", "fewer than 8 values a day"),
    ],
)
def test_a_private_file_that_leaves_doubt_is_refused(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "yard.csv"
    path.write_text(text)
    assert why in refused(lambda: read_own_file(path, timezone="America/Chicago"))


# --- weather add


def yard(tmp_path: Path, text: str = "Date,Low (F),High (F)\n2025-10-05,30,50\n2025-10-06,28,59\n") -> Path:
    path = tmp_path / "yard.csv"
    path.write_text(text)
    return path


def test_a_record_is_added_with_its_place_and_the_list_keeps_its_own_look(tmp_path: Path) -> None:
    folder = tmp_path / "weather"
    folder.mkdir()
    before = "station_id;elevation_ft;latitude;longitude;name\nALDER;860;43,1;-89,5;Alder\n"
    (folder / "stations.csv").write_text(before)
    record = read_own_file(yard(tmp_path), timezone="America/Chicago")
    added = add_record(
        folder, record, station_id="YARD", latitude=43.05, longitude=-89.4, elevation_m=262.128
    )
    assert (added.new_days, added.replaced_days) == (2, 0)
    assert (folder / "stations.csv").read_text() == before + "YARD;860;43,05;-89,4;YARD\n"
    assert (
        folder / "YARD.csv"
    ).read_text() == "date,tmin,tavg,tmax\n2025-10-05,-1.1,,10.0\n2025-10-06,-2.2,,15.0\n"
    assert read_stations(folder)[1].elevation_m == pytest.approx(262.128)


def test_the_first_record_makes_the_list(tmp_path: Path) -> None:
    folder = tmp_path / "weather"
    record = read_own_file(yard(tmp_path), timezone="America/Chicago")
    add_record(
        folder, record, station_id="YARD", name="Yard", latitude=43.05, longitude=-89.4, elevation_m=262
    )
    (station,) = read_stations(folder)
    assert (station.station_id, station.name, station.elevation_m) == ("YARD", "Yard", 262.0)


def test_new_days_join_those_that_are_there_and_differing_ones_are_a_question(tmp_path: Path) -> None:
    folder = tmp_path / "weather"
    place = {"station_id": "YARD", "latitude": 43.05, "longitude": -89.4, "elevation_m": 262.0}
    zone = "America/Chicago"
    add_record(folder, read_own_file(yard(tmp_path), timezone=zone), **place)  # type: ignore[arg-type]
    more = yard(tmp_path, "Date,Low (F),High (F)\n2025-10-06,28,59\n2025-10-07,41,50\n")
    added = add_record(folder, read_own_file(more, timezone=zone), station_id="YARD")
    assert (added.new_days, added.in_list_already) == (1, True)
    whole = (folder / "YARD.csv").read_bytes()
    other = yard(tmp_path, "Date,Low (F),High (F)\n2025-10-06,14,59\n2025-10-08,41,50\n")
    record = read_own_file(other, timezone=zone)
    said = refused(lambda: add_record(folder, record, station_id="YARD"))
    assert "1 days are there already with other values (first 2025-10-06)" in said
    assert (folder / "YARD.csv").read_bytes() == whole
    added = add_record(folder, record, station_id="YARD", replace_days=True)
    assert (added.new_days, added.replaced_days) == (1, 1)
    assert "2025-10-06,-10.0,,15.0" in (folder / "YARD.csv").read_text()


def test_what_is_missing_of_the_place_is_asked_for_all_at_once(tmp_path: Path) -> None:
    folder = tmp_path / "weather"
    record = read_own_file(yard(tmp_path), timezone="America/Chicago")
    said = refused(lambda: add_record(folder, record))
    for option in ("--station-id", "--latitude", "--longitude", "--elevation-m"):
        assert option in said
    assert not folder.exists()
    said = refused(
        lambda: add_record(folder, record, station_id="../evil", latitude=430.0, longitude=-89, elevation_m=1)
    )
    assert "cannot name a file" in said
    assert "430 is not a number of degrees" in said
