"""Loggers: headers of all kinds, local days, and what is left out."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season.readings import Reading
from forecaster.season.readings_file import read_logger, read_loggers
from forecaster.season.timestamps import parse_timestamps

CHICAGO = "America/Chicago"
START = datetime(2025, 9, 30)


def hourly(first: datetime, hours: int, *, step_h: float = 1.0) -> list[tuple[datetime, float]]:
    """Times and invented water temperatures [°C]: 12 °C with a day's swing of 1 °C around it."""
    moments = [first + timedelta(hours=step_h * i) for i in range(hours)]
    return [(moment, 12 + np.cos(2 * np.pi * (moment.hour - 16) / 24)) for moment in moments]


def csv_of(samples, *, header="date_time,water_c", pattern="%Y-%m-%d %H:%M:%S") -> str:
    return (
        "\n".join([header, *(f"{moment.strftime(pattern)},{value:.3f}" for moment, value in samples)]) + "\n"
    )


def read(write, content, zone=CHICAGO) -> tuple[Reading, ...]:
    return read_logger(
        write("loggers/L-07.csv", content) / "loggers" / "L-07.csv", site_id="L-07", timezone=zone
    )


# --- days


def test_whole_days_become_means_and_the_ends_single_moments(write):
    samples = hourly(START + timedelta(hours=18), 6 + 48 + 6)
    first, second, third, last = read(write, csv_of(samples))
    # the mean of a cosine over its whole period is 0
    assert second == Reading(
        *("L-07", date(2025, 10, 1), pytest.approx(12, abs=1e-3)),
        by="logger",
        daily_mean=True,
        where="L-07.csv rows 8-31",
    )
    assert (third.day, third.daily_mean) == (date(2025, 10, 2), True)
    # the sample nearest noon: 18:00 on the first day, 05:00 on the last
    assert (first.day, first.hour, first.daily_mean) == (date(2025, 9, 30), 18.0, False)
    assert first.water_c == pytest.approx(12 + np.cos(np.pi / 6), abs=1e-3)
    assert (last.day, last.hour, last.where) == (date(2025, 10, 3), 5.0, "L-07.csv row 61")


@pytest.mark.parametrize(
    ("missing", "whole"),
    [
        ([], True),
        ([3, 9, 15, 21], True),  # 20 of 24 hours, spread
        ([3, 8, 13, 18, 22], False),  # 19 of 24 are 79 %
        ([20, 21, 22, 23], True),
    ],
)
def test_eight_samples_in_ten_make_a_day(write, missing, whole):
    day = [sample for sample in hourly(START, 24) if sample[0].hour not in missing]
    around = hourly(START - timedelta(days=2), 48)
    found = read(write, csv_of([*around, *day]))
    assert [reading.daily_mean for reading in found] == [True, True, whole]


def test_samples_crowded_into_a_part_of_the_day_are_no_mean(write):
    # a step of two hours asks for 9.6 samples; 18 stand in the first nine hours
    around = hourly(START - timedelta(days=3), 36, step_h=2)
    crowd = [(START + timedelta(minutes=30 * i), 12.0) for i in range(18)]
    assert [reading.daily_mean for reading in read(write, csv_of([*around, *crowd]))] == [
        True,
        True,
        True,
        False,
    ]


def test_few_samples_a_day_are_single_moments(write):
    found = read(write, csv_of(hourly(START, 9, step_h=8)))
    assert [(reading.hour, reading.daily_mean) for reading in found] == [
        (8.0, False)
    ] * 3  # 8 before 16 hours


def test_bare_dates_are_means_of_their_days(write):
    content = "date,air_c,water_c\n2025-10-01,14.2,12.5\n2025-10-02,15.5,\n2025-10-03,,12.1\n"
    assert read(write, content, zone="America/New_York") == (
        Reading("L-07", date(2025, 10, 1), 12.5, by="logger", daily_mean=True, where="L-07.csv row 2"),
        Reading("L-07", date(2025, 10, 3), 12.1, by="logger", daily_mean=True, where="L-07.csv row 4"),
    )


def test_bare_dates_stay_the_same_dates_whatever_zone_the_header_names(write):
    found = read(write, "date UTC,water_c\n2025-10-01,12.5\n")
    assert [reading.day for reading in found] == [date(2025, 10, 1)]


def test_days_are_local_days_where_the_header_names_a_zone(write):
    # noon to noon UTC is 07:00 to 07:00 in Chicago's summer time
    samples = hourly(datetime(2025, 10, 1, 5), 24)
    found = read(write, csv_of(samples, header='"Date Time, GMT+00:00",water_c'))
    assert [(reading.day, reading.daily_mean) for reading in found] == [(date(2025, 10, 1), True)]
    found = read(write, csv_of(samples, header='"Date Time, GMT-05:00",water_c'))
    assert [(reading.day, reading.daily_mean) for reading in found] == [
        (date(2025, 10, 1), False),  # 05:00 to 24:00: 19 samples
        (date(2025, 10, 2), False),
    ]


@pytest.mark.parametrize("zone_text", ["Z", "+00:00"])
def test_days_are_local_days_where_the_times_name_a_zone(write, zone_text):
    content = csv_of(hourly(datetime(2025, 10, 1, 5), 24), pattern=f"%Y-%m-%dT%H:%M:%S{zone_text}")
    assert [(reading.day, reading.daily_mean) for reading in read(write, content)] == [
        (date(2025, 10, 1), True)
    ]


@pytest.mark.parametrize(("day", "hours"), [(date(2025, 11, 2), 25), (date(2025, 3, 9), 23)])
def test_days_of_a_clock_change_are_whole(write, day, hours):
    zone = ZoneInfo(CHICAGO)
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
    for pattern, zoned in (("%Y-%m-%dT%H:%M:%SZ", True), ("%Y-%m-%d %H:%M:%S", False)):
        moments = [midnight + timedelta(hours=i) for i in range(hours)]
        local = moments if zoned else [moment.astimezone(zone) for moment in moments]
        found = read(write, csv_of([(moment, 12.0) for moment in local], pattern=pattern))
        assert found == (
            Reading(
                *("L-07", day, pytest.approx(12.0)),
                by="logger",
                daily_mean=True,
                where=f"L-07.csv rows 2-{hours + 1}",
            ),
        )


def test_the_order_of_rows_does_not_matter(write):
    samples = hourly(START, 60)
    shuffled = [samples[i] for i in np.random.default_rng(3).permutation(len(samples))]
    plain, mixed = (read(write, csv_of(rows)) for rows in (samples, shuffled))
    assert [reading.water_c for reading in plain] == pytest.approx([reading.water_c for reading in mixed])


# --- headers


@pytest.mark.parametrize(
    ("header", "fahrenheit"),
    [
        ('"Date Time, GMT-05:00","Temp, °F (S/N: 10)"', True),
        ("date_time,water_c", False),
        ("Timestamp,temperature (C)", False),
        ("Time,Water Temp [°C]", False),
        ("taken,Temp F", True),
        ("DateTime,TEMP_F", True),
        ("date,Temperature deg C", False),
        ("date time,Water temperature Fahrenheit", True),
        ("date/time,Temp (º C)", False),
    ],
)
def test_headers(write, header, fahrenheit):
    samples = [(moment, value * 1.8 + 32 if fahrenheit else value) for moment, value in hourly(START, 24)]
    found = read(write, csv_of(samples, header=header))
    assert [reading.water_c for reading in found] == [pytest.approx(12, abs=1e-3)]
    assert found[0].daily_mean


def test_lines_before_the_header_row_numbers_events_and_a_footer(write):
    rows = "".join(
        f"{i},09/30/25 {clock},{53.6},\n" for i, clock in enumerate(["11:00:00 AM", "11:30:00 PM"], 1)
    )
    content = (
        '"Plot Title: pond"\n\n"Time zone, local"\n"#","Date Time","Temp, °F","Host Connected"\n'
        + rows
        + "3,09/30/25 11:45:00 PM,,Logged\nend of file\n,End,of file,\n"
    )
    assert read(write, content) == (
        Reading("L-07", date(2025, 9, 30), pytest.approx(12), hour=11.0, by="logger", where="L-07.csv row 5"),
    )


def test_date_and_time_in_two_columns_semicolons_and_decimal_commas(write):
    content = "Date;Time;Temp, °C\n14.10.2025;15:30;12,5\n15.10.2025;15:30;12,25\n"
    assert [(r.day, r.hour, r.water_c) for r in read(write, content)] == [
        (date(2025, 10, 14), 15.5, 12.5),
        (date(2025, 10, 15), 15.5, 12.25),
    ]


def test_the_column_called_water_is_taken(write):
    content = "date_time,air temp (°C),water temp (°C)\n2025-10-01 12:00,20,12\n"
    assert read(write, content)[0].water_c == 12


def test_missing_values_are_skipped(write):
    content = "date_time,water_c\n2025-10-01 12:00,NaN\n2025-10-01 13:00,--\n2025-10-01 14:00,12\n"
    assert [reading.hour for reading in read(write, content)] == [14.0]


# --- refused


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "L-07.csv: the file is empty. Export the logger again."),
        (
            "a,b\n1,2\n",
            "L-07.csv: no header with a date-time and a temperature column was found. Name a column date",
        ),
        (
            "date_time,temp\n2025-10-01 12:00,12\n",
            'L-07.csv row 1: "temp" does not say °F or °C. Rename it water_f',
        ),
        (
            "date_time,Temp 1 (C),Temp 2 (C)\n",
            'row 1: "Temp 1 (C)", "Temp 2 (C)" may all be the water. Rename',
        ),
        ("date UTC,date local,temp C\n", 'row 1: "date UTC", "date local" may all be the time. Rename'),
        ("date_time,water_c\n", "L-07.csv: no temperatures below the header."),
        ("date_time,water_c\n2025-10-01 12:00,\n", "L-07.csv: no temperatures below the header."),
        (
            "date_time,water_c\n2025-10-01 12:00,warm\n",
            'row 2: "warm" is not a temperature. Correct it or remove',
        ),
        (
            "date_time,water_c\nnoon,12\n",
            'row 2: "noon" is not a date and time. Write it like 2025-10-05 15:30.',
        ),
        (
            "date_time,water_c\n10/05/25 12:00,12\n",
            'row 2: "10/05/25 12:00": day or month first? Export with dates',
        ),
        (
            "date_time,water_c\n2025-10-01 12:00,53.6\n",
            "row 2: 1 of 1 values lie outside -0.5 to 40 °C, the first is 53.6.",
        ),
        (
            "date_time,water_f\n2025-10-01 12:00,12\n",
            "lie outside 31.1 to 104 °F, the first is 12. Is the unit wrong?",
        ),
        ("date_time,water_c\n2025-10-01 12:00,12\n".encode("utf-16"), "L-07.csv: stored as UTF-16"),
        ("date_time,Temp °C\n".encode("cp1252"), "L-07.csv line 1: not UTF-8 text (byte 0xB0, perhaps '°'"),
    ],
)
def test_refused_files(write, refusals, content, message):
    found = refusals(lambda: read(write, content))
    assert len(found) == 1
    assert message in found[0]


def test_a_quote_that_is_never_closed(write, refusals):
    found = refusals(lambda: read(write, '"Plot Title\n' + "2025-10-01 12:00,12\n" * 10_000))
    assert found == ["L-07.csv: a double quote is never closed. Export the logger again."]


def test_many_bad_rows_are_cut_and_counted(write, refusals):
    found = refusals(lambda: read(write, "date_time,water_c\n" + "32/13/2025 12:00,12\n" * 12))
    assert len(found) == 6
    assert found[-1] == "L-07.csv: 7 more rows like these."


# --- the folder


def test_loggers_of_a_season_folder(write, tmp_path):
    write("loggers/L-07.csv", csv_of(hourly(START, 24)))
    write("loggers/A-1.CSV", "date,water_f\n2025-10-01,50\n")
    write("loggers/notes.txt", "x")
    write("loggers/.hidden.csv", "x")
    readings, notices = read_loggers(tmp_path, ["L-07", "A-1"], CHICAGO)
    assert [(reading.site_id, reading.where) for reading in readings] == [
        ("A-1", "loggers/A-1.CSV row 2"),
        ("L-07", "loggers/L-07.csv rows 2-25"),
    ]
    assert [str(notice) for notice in notices] == [
        "loggers/A-1.CSV: holds dates without times: each value is taken as the mean of its day.",
        "loggers/notes.txt: not read: only .csv files are. Export it as CSV.",
    ]


def test_no_loggers(tmp_path):
    assert read_loggers(tmp_path, ["L-07"], CHICAGO) == ((), ())


def test_problems_of_all_logger_files_at_once(write, refusals, tmp_path):
    write("loggers/L-7.csv", csv_of(hourly(START, 24)))
    write("loggers/L-08.csv", "a,b\n")
    write("loggers/L-09.csv", "date,temp\n")
    found = refusals(lambda: read_loggers(tmp_path, ["L-07", "L-08", "L-09"], CHICAGO))
    assert [line.split(":")[0] for line in found] == [
        "loggers/L-08.csv",
        "loggers/L-09.csv row 1",
        "loggers/L-7.csv",
    ]
    assert found[2].endswith("Did you mean L-07?")


def test_a_few_slips_and_repeats_are_left_out_and_told(write, tmp_path):
    samples = hourly(START, 48)
    samples[5] = (samples[5][0], 45.0)
    samples.append((samples[7][0], 3.0))
    write("loggers/L-07.csv", csv_of(samples))
    readings, notices = read_loggers(tmp_path, ["L-07"], CHICAGO)
    assert [reading.daily_mean for reading in readings] == [True, True]
    assert max(reading.water_c for reading in readings) < 12.1
    assert [str(notice) for notice in notices] == [
        "loggers/L-07.csv row 7: 1 of 49 values lie outside -0.5 to 40 °C, the first is 45; left out.",
        "loggers/L-07.csv row 50: repeats the time of an earlier row (1 in all); left out.",
    ]


# --- times: invariants


@settings(derandomize=True, max_examples=150, deadline=None)
@given(
    start=st.datetimes(datetime(2000, 1, 1), datetime(2049, 1, 1)),
    pattern=st.sampled_from(
        ["%m/%d/%y %I:%M:%S %p", "%d.%m.%Y %H:%M:%S", "%Y/%m/%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"]
    ),
    days=st.integers(14, 60),
)
def test_a_fortnight_tells_day_and_month_apart(start, pattern, days):
    moments = [start.replace(microsecond=0) + timedelta(hours=8 * i) for i in range(3 * days)]
    problems = []
    assert (
        parse_timestamps([m.strftime(pattern) for m in moments], range(len(moments)), "a.csv", problems)
        == moments
    )
    assert problems == []


def test_days_that_might_all_be_months_are_told_by_the_shorter_record():
    # 3, 4, 5 October or 10 March, 10 April, 10 May
    stamps = parse_timestamps([f"10/{day:02}/2025 12:00" for day in (3, 4, 5)], [1, 2, 3], "a.csv", [])
    assert [stamp.date() for stamp in stamps if stamp] == [date(2025, 10, day) for day in (3, 4, 5)]
    stamps = parse_timestamps([f"{day:02}/10/2025 12:00" for day in (3, 4, 5)], [1, 2, 3], "a.csv", [])
    assert [stamp.date() for stamp in stamps if stamp] == [date(2025, 10, day) for day in (3, 4, 5)]
