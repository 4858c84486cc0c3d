"""Readings that people wrote down."""

from __future__ import annotations

from datetime import date, datetime

import openpyxl
import pytest

from forecaster.season.readings import Reading
from forecaster.season.readings_file import read_readings

SITES = ("L-07", "L-08", "L-09")
HEADER = "site_id,taken,water_f,depth_in,by\n"


def read(write, content, site_ids=SITES):
    return read_readings(write("readings.csv", content), site_ids=site_ids)


# --- values


def test_no_file_is_no_readings(tmp_path):
    assert read_readings(tmp_path, site_ids=SITES) == ((), ())


def test_only_a_header_is_no_readings(write):
    assert read(write, HEADER) == ((), ())


def test_readings_by_site_day_and_hour_with_their_rows(write):
    content = (
        HEADER
        + "L-08,2025-10-02 15:30,50,12,Ann\n"
        + "L-07,2025-10-03,45.5,,\n"
        + "L-08,2025-10-02,51,,\n"
        + "L-08,2025-10-02 7:15 am,48.2,,Bo\n"
        + "L-08,9/30/2025,59,,\n"
    )
    assert read(write, content)[0] == (
        Reading("L-07", date(2025, 10, 3), 7.5, where="readings.csv row 3"),
        Reading("L-08", date(2025, 9, 30), 15.0, where="readings.csv row 6"),
        Reading("L-08", date(2025, 10, 2), pytest.approx(95 / 9), where="readings.csv row 4"),
        Reading("L-08", date(2025, 10, 2), pytest.approx(9), hour=7.25, by="Bo", where="readings.csv row 5"),
        Reading(
            *("L-08", date(2025, 10, 2), 10.0),
            hour=15.5,
            depth_m=pytest.approx(0.3048),
            by="Ann",
            where="readings.csv row 2",
        ),
    )


def test_metric_columns_sky_and_a_later_date(write):
    found = read(write, "site_id,taken,water_c,depth_cm,sky\nL-07,2031-10-02,-0.5,30,Clear\n")[0]
    assert found == (
        Reading("L-07", date(2031, 10, 2), -0.5, depth_m=0.3, sky="clear", where="readings.csv row 2"),
    )


def test_midnight_everywhere_means_that_no_time_is_known(write):
    dates_only = read(write, HEADER + "L-07,2025-10-02 00:00:00,50,,\nL-07,2025-10-03 00:00,50,,\n")[0]
    assert [reading.hour for reading in dates_only] == [None, None]
    timed = read(write, HEADER + "L-07,2025-10-02 00:00:00,50,,\nL-07,2025-10-03 06:00,50,,\n")[0]
    assert [reading.hour for reading in timed] == [0.0, 6.0]


def test_exact_repeats_count_once_and_are_told(write):
    row = "L-07,2025-10-02 15:30,50,12,Ann\n"
    readings, notices = read(write, HEADER + row + row.replace("50", "51") + row + row)
    assert [reading.water_c for reading in readings] == [10.0, pytest.approx(95 / 9)]
    assert [str(notice) for notice in notices] == [
        "readings.csv row 4, 5: repeats an earlier row exactly (2 in all); counted once."
    ]


def test_unknown_columns_are_told(write):
    notices = read(write, "site_id,taken,water_f,weather,dept_in\nL-07,2025-10-02,50,sun,\n")[1]
    assert [str(notice) for notice in notices] == [
        "readings.csv row 1: weather, dept_in: not used. dept_in: Did you mean depth_in?"
    ]


def test_a_workbook(tmp_path):
    book = openpyxl.Workbook()
    for line in (
        ["site_id", "taken", "water_f"],
        ["L-07", datetime(2025, 10, 2, 15, 30), 50],
        ["L-07", datetime(2025, 10, 3), 41.0],
    ):
        book.active.append(line)
    book.save(tmp_path / "readings.xlsx")
    assert read_readings(tmp_path, site_ids=SITES)[0] == (
        Reading("L-07", date(2025, 10, 2), 10.0, hour=15.5, where="readings.xlsx row 2"),
        Reading("L-07", date(2025, 10, 3), 5.0, where="readings.xlsx row 3"),
    )


# --- refused


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("L-7,2025-10-02,50,,", 'site_id: "L-7" is not in the site sheet. Did you mean L-07?'),
        (
            "X,2025-10-02,50,,",
            'site_id: "X" is not in the site sheet. Write it as in the sheet, or add the site',
        ),
        (",2025-10-02,50,,", "site_id: empty. Write the site_id of the site sheet."),
        ("L-07,,50,,", "taken: empty. Write the date, or the date and time, like 2025-10-14 15:30."),
        ("L-07,2025-10-02,,,", "water_f: empty. Write the temperature, or remove the row."),
        ("L-07,yesterday,50,,", 'taken: "yesterday" is not a date.'),
        ("L-07,10/5/2025 15:30,50,,", "may be 5 October or 10 May."),
        ("L-07,2025-10-02T15:30Z,50,,", "carries a time zone. Write the local clock time"),
        ("L-07,2025-10-02 25:30,50,,", '"25:30" is not a time of day. Write it like 15:30.'),
        ("L-07,2025-10-02,cold,,", 'water_f: "cold" is not a number in °F (31.1 to 104).'),
        ("L-07,2025-10-02,50F,,", "Write 50."),
        (
            "L-07,2025-10-02,12,,",
            "water_f: 12 is outside the allowed 31.1 to 104 °F. Is it in °C? Then write 53.6;",
        ),
        ("L-07,2025-10-02,150,,", "150 is outside the allowed 31.1 to 104 °F. Correct it."),
        ("L-07,2025-10-02,50,-3,", "depth_in: -3 is outside the allowed 0 to 240 inches."),
        ("L-07,2025-10-02,50", "only 3 cells, but the header names 5 columns."),
    ],
)
def test_refused_row(write, refusals, row, message):
    found = refusals(lambda: read(write, f"{HEADER}{row}\n"))
    assert len(found) == 1
    assert found[0].startswith("readings.csv row 2")
    assert message in found[0]


def test_fahrenheit_in_a_celsius_column(write, refusals):
    found = refusals(lambda: read(write, "site_id,taken,water_c\nL-07,2025-10-02,41\n"))
    assert found == [
        "readings.csv row 2, water_c: 41 is outside the allowed -0.5 to 40 °C."
        " Is it in °F? Then write 5; or, if the whole column is, rename it water_f."
    ]


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (
            "site_id,taken,temp",
            "row 1, water_f: this column is needed. Add it, or rename the column that is meant to",
        ),
        ("site_id,taken,water", '"water" is there: rename it water_f or water_c, as its unit is.'),
        ("site,taken,water_f", 'row 1, site_id: this column is needed. "site" is there: rename it site_id.'),
        ("site_id,date,water_f", "row 1, taken: this column is needed."),
    ],
)
def test_a_missing_column(write, refusals, header, message):
    found = refusals(lambda: read(write, f"{header}\nL-07,2025-10-02,50\n"))
    assert len(found) == 1
    assert message in found[0]


def test_both_temperature_columns(write, refusals):
    found = refusals(lambda: read(write, "site_id,taken,water_f,water_c\nL-07,2025-10-02,50,10\n"))
    assert found == ["readings.csv row 1: water_f and water_c are both there. Keep one of them."]


def test_two_files(write, refusals):
    write("readings.xlsx", b"x")
    assert refusals(lambda: read(write, HEADER))[0].startswith(
        "readings.xlsx: readings.csv and readings.xlsx are"
    )


def test_all_problems_at_once_in_the_order_of_the_rows(write, refusals):
    content = HEADER + "L-7,soon,12,-1,\nL-07\nL-07,2025-10-02,50,,\nL-08,,x,,\n"
    found = refusals(lambda: read(write, content))
    assert [line.split(":")[0].removeprefix("readings.csv row ") for line in found] == [
        *("2, site_id", "2, taken", "2, water_f", "2, depth_in", "3", "5, taken", "5, water_f"),
    ]
