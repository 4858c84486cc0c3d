"""Kept outlooks from files."""

from datetime import date

import numpy as np
import pytest

from forecaster.errors import BadInput
from forecaster.weather.files import read_weather
from forecaster.weather.outlook_file import read_outlooks
from forecaster.weather.station_sheet import read_stations

AS_OF = date(2025, 10, 6)
HEADER = "issued,date,tmin,tmax\n"
GOOD = HEADER + (
    "2025-10-06,2025-10-07,3,11\n2025-10-06,2025-10-06,4,12.5\n2025-10-05,2025-10-05,5,\n2025-10-05,2025-10-06,4,13\n"
)


def read(folder, as_of=AS_OF):
    return read_outlooks(folder.path, read_stations(folder.path), as_of=as_of)


def refused(folder, as_of=AS_OF):
    with pytest.raises(BadInput) as raised:
        read(folder, as_of)
    return [str(problem) for problem in raised.value.problems]


def test_by_issue_and_day(folder):
    folder.outlook("ALDER", GOOD)
    outlooks, notices = read(folder)
    assert notices == ()
    assert [(o.station_id, o.issued, o.source) for o in outlooks] == [
        ("ALDER", date(2025, 10, 5), "files"),
        ("ALDER", date(2025, 10, 6), "files"),
    ]
    assert outlooks[1].days == (date(2025, 10, 6), date(2025, 10, 7))
    assert outlooks[1].tmin_c.tolist() == [4.0, 3.0]
    assert outlooks[1].tmax_c.tolist() == [12.5, 11.0]
    assert np.isnan(outlooks[0].tmax_c[0])


def test_no_file_no_outlook(folder):
    assert read(folder) == ((), ())


def test_later_issues_are_not_looked_at(folder):
    folder.outlook("ALDER", GOOD)
    before = [(o.issued, o.days, o.tmin_c.tobytes(), o.tmax_c.tobytes()) for o in read(folder)[0]]
    folder.outlook(
        "ALDER",
        GOOD + "2025-10-07,2025-10-01,300,x\n2025-10-07,2025-10-01,1\n2025-10-08,soon,1,2\n2025-10-09,,,\n",
    )
    outlooks, notices = read(folder)
    assert [(o.issued, o.days, o.tmin_c.tobytes(), o.tmax_c.tobytes()) for o in outlooks] == before
    assert notices == ()
    assert [o.issued for o in read(folder, date(2025, 10, 5))[0]] == [date(2025, 10, 5)]


def test_faults(folder):
    folder.outlook(
        "ALDER",
        GOOD + ""
        "2025-10-06,2025-10-07,3,11\n2025-10-06,2025-10-01,3,11\n2025-10-06,2025-10-09,3,warm\nnow,2025-10-09,3,4\n",
    )
    where = "weather/outlook/ALDER.csv row"
    assert refused(folder) == [
        f'{where} 8, tmax: "warm" is not a number of °C. Write a number, or leave the cell empty.',
        f'{where} 9, issued: "now" is not a date. Write it like 2025-10-06.',
        f"{where} 6, date: 2025-10-07 as issued on 2025-10-06 stands in another row too. Keep one.",
        f"{where} 7, date: 2025-10-01 lies before the day of issue 2025-10-06. "
        "An outlook begins on that day.",
    ]


def test_fahrenheit(folder):
    rows = "".join(f"2025-10-06,2025-10-{day:02d},{41 + day % 3},{55 + day % 4}\n" for day in range(6, 16))
    folder.outlook("ALDER", HEADER + rows)
    (problem,) = refused(folder)
    assert problem.startswith("weather/outlook/ALDER.csv: looks like °F:")


def test_implausible_days_are_left_out_with_a_notice(folder):
    folder.outlook("ALDER", GOOD + "2025-10-06,2025-10-08,14,3\n2025-10-06,2025-10-09,-99.9,3\n")
    outlooks, notices = read(folder)
    assert np.isnan(outlooks[1].tmin_c[2:]).all()
    assert [str(n) for n in notices] == [
        "weather/outlook/ALDER.csv: 2 days with implausible values are left out (first issued 2025-10-06)."
    ]


def test_strangers_are_named(folder):
    folder.outlook("BIRCH", GOOD)
    _, notices = read(folder)
    assert [str(n) for n in notices] == [
        "weather/outlook/BIRCH.csv: no station BIRCH is in use: the file is not read."
    ]


def test_with_the_weather(folder, make_record):
    folder.record("ALDER", make_record("2024-01-01", "2025-10-05"))
    folder.outlook("ALDER", GOOD)
    assert read_weather(folder.path, as_of=AS_OF).outlooks == ()
    assert len(read_weather(folder.path, as_of=AS_OF, with_outlooks=True).outlooks) == 2
    folder.outlook("ALDER", "issued,date\n")
    with pytest.raises(BadInput, match="needs the column tmin or tmax"):
        read_weather(folder.path, as_of=AS_OF, with_outlooks=True)
