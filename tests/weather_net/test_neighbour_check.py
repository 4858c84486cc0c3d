"""Stations against one another: what is named, and that sound ones are left in peace."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from invented_archive import invented_year

from forecaster.weather.neighbour_check import disagreements, shifted_years
from forecaster.weather.stations import Station, Weather

YEARS = range(2019, 2025)
WHERES = ["A.csv", "B.csv", "C.csv"]


def three_stations() -> Weather:
    names = ["A", "B", "C"]
    parts = []
    for name in names:
        years = [invented_year(name, year) for year in YEARS]
        lengths = [366 if year % 4 == 0 else 365 for year in YEARS]
        parts.append(
            np.stack(
                [np.concatenate([y[k][:n] for y, n in zip(years, lengths, strict=True)]) for k in range(3)]
            )
        )
    table = np.round(np.stack(parts), 1)
    count = table.shape[2]
    return Weather(
        stations=tuple(Station(n, n, 43.0 + at / 10, -89.0, 250.0) for at, n in enumerate(names)),
        first_day=date(2019, 1, 1),
        tmin_c=table[:, 0],
        tmax_c=table[:, 2],
        tmean_c=table[:, 1],
        filled=np.zeros((3, count), dtype=bool),
        last_observed=(date(2024, 12, 31),) * 3,
    )


def test_sound_stations_are_left_in_peace() -> None:
    weather = three_stations()
    assert disagreements(weather, WHERES) == ()
    assert shifted_years(weather, WHERES) == ()


@pytest.mark.parametrize("error_c", [-15.0, 12.0])
def test_a_value_that_no_neighbour_supports_is_named_with_its_numbers(error_c: float) -> None:
    weather = three_stations()
    at = weather.index_of(date(2024, 10, 6))
    low = weather.tmin_c.copy()
    low[1, at] += error_c
    (notice,) = disagreements(replace(weather, tmin_c=low), WHERES)
    side = "above" if error_c > 0 else "below"
    assert notice.where == "B.csv"
    assert f"minimum of 2024-10-06 ({low[1, at]:.1f} °C) is" in notice.text
    assert f"°C {side} what A, C suggest. It is used as it is" in notice.text


def test_filled_and_old_days_are_not_looked_at() -> None:
    weather = three_stations()
    low = weather.tmin_c.copy()
    filled = weather.filled.copy()
    for day, is_filled in ((date(2024, 10, 6), True), (date(2022, 10, 6), False)):
        low[1, weather.index_of(day)] -= 20.0
        filled[1, weather.index_of(day)] = is_filled
    assert disagreements(replace(weather, tmin_c=low, filled=filled), WHERES) == ()


@pytest.mark.parametrize(("shift", "word"), [(1, "late"), (-1, "early")])
def test_a_station_read_in_the_morning_is_named_by_its_years(shift: int, word: str) -> None:
    weather = three_stations()
    high = weather.tmax_c.copy()
    first, last = weather.index_of(date(2021, 1, 1)), weather.index_of(date(2023, 1, 1))
    high[2, first:last] = np.roll(high[2], shift)[first:last]
    (notice,) = shifted_years(replace(weather, tmax_c=high), WHERES)
    assert str(notice) == (
        f"C.csv: maxima of 2 years, 2021 to 2022, look a day {word} against the neighbours "
        "(read in the morning?)."
    )


def test_a_station_alone_is_not_checked() -> None:
    weather = three_stations()
    alone = Weather(
        stations=weather.stations[:1], first_day=weather.first_day, tmin_c=weather.tmin_c[:1],
        tmax_c=weather.tmax_c[:1], tmean_c=weather.tmean_c[:1], filled=weather.filled[:1],
        last_observed=weather.last_observed[:1],
    )  # fmt: skip
    assert disagreements(alone, WHERES[:1]) == ()
    assert shifted_years(alone, WHERES[:1]) == ()


def test_days_after_the_as_of_date_cannot_enter() -> None:
    weather = three_stations()
    end = weather.index_of(date(2024, 10, 1))
    low = weather.tmin_c.copy()
    low[1, end - 5] -= 20.0
    cut = replace(
        weather, tmin_c=low[:, :end], tmax_c=weather.tmax_c[:, :end], tmean_c=weather.tmean_c[:, :end],
        filled=weather.filled[:, :end], last_observed=(date(2024, 10, 1) - timedelta(days=1),) * 3,
    )  # fmt: skip
    (notice,) = disagreements(cut, WHERES)
    assert "2024-09-26" in notice.text
