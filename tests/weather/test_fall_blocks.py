"""Falls cut out of the weather, and which of them may serve as source seasons."""

from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.weather.fall_blocks import fall_block, usable_falls
from forecaster.weather.stations import Station, Weather

FIRST = date(2018, 7, 1)


def weather(days=2700, holes=(), no_tmin=()):
    """Two stations whose value on each day is the number of days since `FIRST`; holes are (station, date)."""
    tmean = np.tile(np.arange(days, dtype=float), (2, 1))
    tmin = tmean - 5.0
    for station, day in holes:
        tmean[station, (day - FIRST).days] = np.nan
    for station in no_tmin:
        tmin[station] = np.nan
    stations = tuple(Station(name, name, 43.0, -88.0, 200.0) for name in ("A", "B"))
    last = FIRST + timedelta(days=days - 1)
    return Weather(stations, FIRST, tmin, tmean + 5, tmean, np.zeros((2, days), bool), (last, last))


def test_block_of_one_fall():
    block = fall_block(weather(), 2019)
    assert block.tmean_c.shape == block.tmin_c.shape == (2, 204)
    assert block.tmean_c[0, 10] == (date(2019, 8, 1) - FIRST).days
    assert block.tmean_c[1, 193] == (date(2020, 1, 31) - FIRST).days
    assert block.tmean_c[0, -1] == (date(2020, 2, 10) - FIRST).days
    assert fall_block(weather(), 2019, margin_days=0).tmin_c[0, 0] == (date(2019, 8, 1) - FIRST).days - 5


def test_outside_the_axis_is_missing():
    block = fall_block(weather(days=100), 2018)  # to 8 October 2018
    assert np.isfinite(block.tmean_c[0]).sum() == (date(2018, 10, 9) - date(2018, 7, 22)).days
    assert np.isnan(fall_block(weather(days=100), 1990).tmean_c).all()
    with pytest.raises(ValueError, match="margin_days"):
        fall_block(weather(), 2019, margin_days=29)


def test_no_block_ever_reaches_29_february():
    for year in (2019, 2023):
        last = FIRST + timedelta(days=int(fall_block(weather(), year, margin_days=28).tmean_c[0, -1]))
        assert last == date(year + 1, 2, 28)


def test_usable_falls_are_complete_ones_before():
    assert usable_falls(weather(), 2025) == (2018, 2019, 2020, 2021, 2022, 2023, 2024)
    assert usable_falls(weather(), 2021) == (2018, 2019, 2020)
    assert usable_falls(weather(days=800), 2025) == (2018, 2019)  # the axis ends on 7 September 2020


@pytest.mark.parametrize(
    ("day", "lost"),
    [
        (date(2020, 7, 21), False),
        (date(2020, 7, 22), True),
        (date(2021, 2, 10), True),
        (date(2021, 2, 11), False),
    ],
)
def test_one_missing_day_at_one_station_costs_the_fall(day, lost):
    assert (2020 not in usable_falls(weather(holes=[(1, day)]), 2025)) == lost
    assert 2020 in usable_falls(weather(holes=[(1, day)]), 2025, stations=[0])


def test_a_station_without_minima_does_not_empty_the_falls():
    assert usable_falls(weather(no_tmin=[1]), 2020) == (2018, 2019)
    half = weather()
    half.tmin_c[1, :500] = np.nan
    assert usable_falls(half, 2021) == (2020,)
