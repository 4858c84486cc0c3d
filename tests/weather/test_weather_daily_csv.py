"""The reader of daily tables: both of its ways, what it accepts, and what it says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import BadInput
from forecaster.weather import daily_csv
from forecaster.weather.daily_csv import read_daily_csv

VALUES = ("tmin", "tavg", "tmax")


def read(path, data, encoding="utf-8"):
    file = path / "ELM.csv"
    file.write_bytes(data if isinstance(data, bytes) else data.encode(encoding))
    return read_daily_csv(file, "weather/ELM.csv", date_columns=("date",), value_columns=VALUES)


def refused(path, data):
    with pytest.raises(BadInput) as raised:
        read(path, data)
    return [str(problem) for problem in raised.value.problems]


def faults(rows):
    return [(None if day is None else str(day), str(problem)) for day, problem in rows.problems]


# --- what is accepted
@pytest.mark.parametrize(
    "text",
    [
        "date,tmin,tavg,tmax\n2025-10-06,-1.5,2,6.5\n2025-10-07,,,\n",
        "date,tmin,tavg,tmax\r\n2025-10-06,-1.5,2,6.5\r\n2025-10-07,,,\r\n",
        "date,tmin,tavg,tmax\r2025-10-06,-1.5,2,6.5\r2025-10-07,,,",
        "\ufeffdate,tmin,tavg,tmax\n2025-10-06,-1.5,2,6.5\n2025-10-07,NA,nan,\n",
        "Date, tmin ,tavg,TMAX\n2025-10-06,-1.5,2.0,6.5\n\n2025-10-07,,,\n\n",
        "tmax,date,tmin,tavg\n6.5,2025-10-06,-1.5,2\n,2025-10-07,,\n",
        "date;tmin;tavg;tmax\n2025-10-06;-1,5;2;6,5\n2025-10-07;;;\n",
        "date\ttmin\ttavg\ttmax\n2025-10-06\t-1.5\t2\t6.5\n2025-10-07\t\t\t\n",
        'date,tmin,tavg,tmax\n"2025-10-06","-1.5","2","6.5"\n2025-10-07,,,\n',
        "date,tmin,tavg,tmax\n2025-10-06 00:00:00,-1.5,2,6.5\n2025-10-07 00:00:00,,,\n",
        "date,tmin,tavg,tmax,\n2025-10-06,-1.5,2,6.5,\n2025-10-07,,,,\n",
    ],
)
def test_same_table_however_it_is_written(tmp_path, text):
    rows = read(tmp_path, text)
    assert rows.problems == ()
    assert rows.dates["date"].tolist() == np.array(["2025-10-06", "2025-10-07"], "datetime64[D]").tolist()
    assert [rows.values[name][0] for name in VALUES] == [-1.5, 2.0, 6.5]
    assert all(np.isnan(rows.values[name][1]) for name in VALUES)
    assert rows.present == set(VALUES)


def test_rows_count_as_in_the_spreadsheet(tmp_path):
    rows = read(tmp_path, "date,tavg\n2025-10-06,1\n\n2025-10-07,2\n")
    assert rows.row_numbers.tolist() == [2, 4]
    assert rows.present == {"tavg"}
    assert np.isnan(rows.values["tmin"]).all()


def test_other_columns_are_left_out_with_a_notice(tmp_path):
    rows = read(tmp_path, "date,tmin,tmax,prcp,tavg\n2025-10-06,1,3,0.4,2\n")
    assert [str(notice) for notice in rows.notices] == [
        'weather/ELM.csv row 1: the column "prcp" is not used.'
    ]
    assert rows.values["tavg"].tolist() == [2.0]


# --- what is refused, and how it is said
@pytest.mark.parametrize(
    ("data", "said"),
    [
        (
            b"",
            "weather/ELM.csv: the file is empty. Its first row is date,tmin,tavg,tmax, then one row a day.",
        ),
        (
            b"\n \n",
            "weather/ELM.csv: the file is empty. Its first row is date,tmin,tavg,tmax, then one row a day.",
        ),
        ("date,tmin\n2025-10-06,1\n".encode("utf-16"), "weather/ELM.csv: stored as UTF-16"),
        ("date,tmin\n2025-10-06,1\n".encode("utf-16-le"), "weather/ELM.csv: stored as UTF-16"),
        ("date,tmin,site\n2025-10-06,1,Dépôt\n".encode("cp1252"), "weather/ELM.csv line 2: not UTF-8 text"),
        (b"2025-10-06,1,2,3\n", "weather/ELM.csv row 1: this is a day, not the names of the columns."),
        (
            b"day,tmin,tmax\n",
            "weather/ELM.csv row 1, day: no such column (date, tmin, tavg, tmax). Did you mean date?",
        ),
        (
            b"date,t_min,tmax\n",
            "weather/ELM.csv row 1, t_min: no such column (date, tmin, tavg, tmax). Did you mean tmin?",
        ),
        (
            b"date,tmin_f,tmax\n",
            "weather/ELM.csv row 1, tmin_f: no such column (date, tmin, tavg, tmax). Did you mean tmin?",
        ),
        (
            b"date,tmean\n",
            "weather/ELM.csv row 1, tmean: no such column (date, tmin, tavg, tmax). Did you mean tavg?",
        ),
        (b"when,tmin,tmax\n", "weather/ELM.csv row 1: no column date; the columns are when, tmin, tmax."),
        (b"date,tmin,tmax,tmin\n", "weather/ELM.csv row 1: the column tmin is there 2 times. Keep one."),
        (b'date,tmin,"tmax\n', "weather/ELM.csv row 1:"),
    ],
)
def test_header_and_encoding(tmp_path, data, said):
    (message,) = refused(tmp_path, data)
    assert message.startswith(said)


def test_missing_file(tmp_path):
    with pytest.raises(BadInput, match=r"weather/ELM.csv: no such file."):
        read_daily_csv(tmp_path / "ELM.csv", "weather/ELM.csv", date_columns=("date",), value_columns=VALUES)


def test_each_bad_row_is_named_with_its_day(tmp_path):
    rows = read(
        tmp_path,
        "date,tmin,tavg,tmax\n"
        "2025-10-01,1,2,3\n"
        "10/2/2025,1,2,3\n"
        "2025-02-30,1,2,3\n"
        "2025-10-04,cold,2,3\n"
        '2025-10-05,"1,5",2,3\n'
        "2025-10-06,1,2\n"
        "2025-10-07,1,2,3,4\n"
        ",1,2,3\n"
        "0205-10-09,1,2,3\n"
        "2025-10-10,1,inf,3\n",
    )
    where = "weather/ELM.csv row"
    assert faults(rows) == [
        (None, f'{where} 3, date: "10/2/2025" is not a date. Write it like 2025-10-06.'),
        (None, f'{where} 4, date: "2025-02-30" is not a date. Write it like 2025-10-06.'),
        (
            "2025-10-04",
            f'{where} 5, tmin: "cold" is not a number of °C. Write a number, or leave the cell empty.',
        ),
        ("2025-10-05", f'{where} 6, tmin: "1,5" is not a number of °C. Write 1.5.'),
        ("2025-10-06", f"{where} 7: 3 cells, but the header names 4. Complete or split the row."),
        ("2025-10-07", f"{where} 8: 5 cells, but the header names 4. Complete or split the row."),
        (None, f"{where} 9, date: no date. Write it like 2025-10-06."),
        (None, f'{where} 10, date: "0205-10-09" is not a date. Write it like 2025-10-06.'),
        (
            "2025-10-10",
            f'{where} 11, tavg: "inf" is not a number of °C. Write a number, or leave the cell empty.',
        ),
    ]


def test_an_unclosed_quote_does_not_swallow_the_rest_in_silence(tmp_path):
    rows = read(tmp_path, 'date,tmin,tavg,tmax\n2025-10-01,1,2,3\n2025-10-02,"1,2,3\n2025-10-03,1,2,3\n')
    assert len(rows.problems) == 1
    assert "rows from here on cannot be read" in faults(rows)[0][1]


# --- invariant: the fast way and the slow way read the same
CELL = st.one_of(
    st.just(""),
    st.decimals(-60, 60, places=1).map(str),
    st.floats(-60, 60, allow_nan=False).map(repr),
    st.sampled_from(["NA", "nan", "3", "-0", "+1.25", ".5", "1e1", " 4.5"]),
)


@given(st.lists(st.tuples(st.dates(), CELL, CELL, CELL), min_size=1, max_size=8))
@settings(derandomize=True, max_examples=150, deadline=None)
def test_fast_and_slow_agree(lines):
    body = "".join(f"{day},{a},{b},{c}\n" for day, a, b, c in lines)
    names = ["date", *VALUES]
    fast = daily_csv._read_clean(body, names, ("date",), VALUES)
    slow = daily_csv._read_slowly(body, ",", names, "x", ("date",), VALUES)
    if any(day.year < 1700 for day, *_ in lines):
        assert fast is None
        return
    assert fast is not None
    assert slow[3] == []
    assert (fast[0]["date"] == slow[0]["date"]).all()
    for name in VALUES:
        assert np.array_equal(fast[1][name], slow[1][name], equal_nan=True)
    assert fast[2].tolist() == slow[2].tolist()
