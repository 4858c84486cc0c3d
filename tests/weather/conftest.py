"""Invented stations and records for the weather tests: no real place, no real day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pytest

Table = dict[str, np.ndarray]


@dataclass
class WeatherFolder:
    """A weather folder under the test's own directory."""

    path: Path

    def stations(self, text: str) -> None:
        """Write stations.csv."""
        self.path.mkdir(exist_ok=True)
        (self.path / "stations.csv").write_text(text, encoding="utf-8")

    def record(self, station_id: str, table: Table, columns: str = "date,tmin,tavg,tmax") -> None:
        """Write the file of a station from arrays, one decimal."""
        self.text(station_id, columns + "\n" + "\n".join(rows(table, columns.split(","))) + "\n")

    def text(self, station_id: str, text: str) -> None:
        """Write the file of a station as it is."""
        (self.path / f"{station_id}.csv").write_text(text, encoding="utf-8")

    def outlook(self, station_id: str, text: str) -> None:
        """Write the outlook file of a station."""
        (self.path / "outlook").mkdir(exist_ok=True)
        (self.path / "outlook" / f"{station_id}.csv").write_text(text, encoding="utf-8")


def rows(table: Table, columns: list[str]) -> list[str]:
    """Lines of a CSV file; NaN is an empty cell."""
    cells = [
        [str(value) for value in table[name]]
        if table[name].dtype.kind == "M"
        else ["" if np.isnan(value) else f"{value:.1f}" for value in table[name]]
        for name in columns
    ]
    return [",".join(line) for line in zip(*cells, strict=True)]


def invented(
    first: date | str,
    last: date | str,
    *,
    mean: float = 9.0,
    swing: float = 14.0,
    seed: int = 1,
    day_range: float = 10.0,
    spread: float = 4.0,
) -> Table:
    """A daily record [°C]: a sine of the year, coldest in mid-January, and AR(1) weather on top."""
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    random = np.random.default_rng(seed)
    day_of_year = (days - days.astype("datetime64[Y]")).astype(int)
    weather = np.zeros(days.size)
    shocks = random.normal(0.0, spread * np.sqrt(1 - 0.7**2), days.size)
    for day in range(days.size):
        weather[day] = 0.7 * weather[day - 1] + shocks[day] if day else shocks[day]
    tavg = mean - swing * np.cos(2 * np.pi * (day_of_year - 15) / 365.25) + weather
    half = np.maximum(day_range / 2 + random.normal(0.0, 1.0, days.size), 1.0)
    return {"date": days, "tmin": tavg - half, "tavg": tavg, "tmax": tavg + half}


ONE_STATION = "station_id,name,latitude,longitude,elevation_m\nALDER,Alder field,43.0,-88.0,200\n"
TWO_STATIONS = ONE_STATION + "BIRCH,Birch hill,43.2,-88.1,320\n"


@pytest.fixture
def folder(tmp_path: Path) -> WeatherFolder:
    """A weather folder with one station, ALDER, that has no file yet."""
    made = WeatherFolder(tmp_path / "weather")
    made.stations(ONE_STATION)
    return made


@pytest.fixture
def two_stations() -> str:
    """stations.csv of ALDER and BIRCH."""
    return TWO_STATIONS


@pytest.fixture
def make_record() -> Callable[..., Table]:
    """The function `invented`."""
    return invented
