"""A small invented season folder: two stations, six sites, no real place and no real day."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.pipeline import forecast_json

AS_OF = date(2025, 10, 20)
FIRST_DAY, LAST_DAY = date(2003, 1, 1), date(2026, 1, 31)

SETTINGS = """[season]
name = "Invented fall"
year = 2025
timezone = "America/Chicago"
seed = 11
members = 200

[weather]
outlook = "files"

[[crew]]
name = "North"
latitude = 43.0
longitude = -88.0
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri"]
first_day = 2025-09-15
last_day = 2025-12-12
"""

SITES = """site_id,customer,latitude,longitude,mean_depth_in,kind,heated,winter,booked_date
A-12,Alder,43.02,-88.02,12,pond,no,close,
B-36,Birch,43.02,-88.02,36,pond,no,close,2025-11-07
C-72,Cedar,43.02,-88.02,72,pond,no,close,
D-fall,Dogwood,43.05,-88.05,,fall without pond,no,close,
E-hot,Elder,43.05,-88.05,24,pond,yes,close,
F-runs,Fir,43.05,-88.05,36,pond,no,runs,
"""

READINGS = """site_id,taken,water_c
B-36,2025-09-15,18.5
B-36,2025-10-10 09:00,12.5
C-72,2025-10-16,13.0
C-72,2024-10-20,13.5
"""

STATIONS = """station_id,name,latitude,longitude,elevation_m
ALDER,Alder field,43.0,-88.0,200
BIRCH,Birch hill,43.2,-88.1,260
"""


@dataclass(frozen=True)
class SeasonFolder:
    """A season folder on disk that a test may change."""

    path: Path

    def json(self, as_of: date = AS_OF) -> str:
        """The forecast as text, as `route --json` writes it."""
        return forecast_json(self.path, as_of)

    def forecast(self, as_of: date = AS_OF) -> dict[str, Any]:
        """The same, read back."""
        record: dict[str, Any] = json.loads(self.json(as_of))
        return record

    def sites(self, as_of: date = AS_OF) -> dict[str, dict[str, Any]]:
        """The forecast's sites by id."""
        return {site["site_id"]: site for site in self.forecast(as_of)["sites"]}

    def write(self, name: str, text: str) -> None:
        """Write one file of the folder."""
        target = self.path / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")

    def edit(self, name: str, change: Callable[[str], str]) -> None:
        """Change the text of one file; the change must be one."""
        before = (self.path / name).read_text(encoding="utf-8")
        after = change(before)
        assert after != before, f"{name} is as it was"
        self.write(name, after)

    def edit_rows(self, name: str, change: Callable[[list[str]], list[str] | None]) -> None:
        """Change the rows of a CSV file below its header, cell by cell; None drops the row."""

        def changed(text: str) -> str:
            header, *lines = text.strip().split("\n")
            rows = [new for line in lines if (new := change(line.split(","))) is not None]
            return "\n".join([header, *(",".join(row) for row in rows)]) + "\n"

        self.edit(name, changed)

    def copy(self, path: Path) -> SeasonFolder:
        """A copy of the folder that may be changed on its own."""
        shutil.copytree(self.path, path)
        return SeasonFolder(path)


def write_season(path: Path) -> SeasonFolder:
    """The folder of this module, written to `path`."""
    folder = SeasonFolder(path)
    folder.write("season.toml", SETTINGS)
    folder.write("sites.csv", SITES)
    folder.write("readings.csv", READINGS)
    folder.write("weather/stations.csv", STATIONS)
    for name, text in weather_texts(seed=5).items():
        folder.write(f"weather/{name}.csv", text)
    folder.write("weather/outlook/ALDER.csv", outlook_text(AS_OF, tmin_c=3.0))
    return folder


def weather_texts(*, seed: int) -> dict[str, str]:
    """Daily files of both stations: a sine of the year, a slow warming and AR(1) weather, mostly shared."""
    random = np.random.default_rng(seed)
    days = np.arange(np.datetime64(FIRST_DAY), np.datetime64(LAST_DAY) + 1)
    in_year = (days - days.astype("datetime64[Y]")).astype(int)
    course = 9.0 - 14.0 * np.cos(2 * np.pi * (in_year - 17) / 365.25) + 0.03 * np.arange(len(days)) / 365.25
    shared = _ar1(random, len(days))
    texts = {}
    for name, offset in (("ALDER", 0.0), ("BIRCH", -0.5)):
        tavg = course + offset + 4.0 * shared + 1.2 * _ar1(random, len(days))
        half = np.maximum(5.0 + random.normal(0.0, 1.2, len(days)), 1.0)
        rows = zip(days, tavg - half, tavg, tavg + half, strict=True)
        lines = [f"{day},{low:.1f},{mean:.1f},{high:.1f}" for day, low, mean, high in rows]
        texts[name] = "\n".join(["date,tmin,tavg,tmax", *lines]) + "\n"
    return texts


def outlook_text(issued: date, *, tmin_c: float, days: int = 10, spread_c: float = 9.0) -> str:
    """One issue of an outlook with the same minimum each day."""
    first = np.datetime64(issued)
    lines = [f"{issued},{first + n},{tmin_c:.1f},{tmin_c + spread_c:.1f}" for n in range(days)]
    return "\n".join(["issued,date,tmin,tmax", *lines]) + "\n"


def _ar1(random: np.random.Generator, length: int, memory: float = 0.7) -> np.ndarray:
    shocks = random.normal(0.0, np.sqrt(1 - memory**2), length)
    path = np.empty(length)
    path[0] = random.normal()
    for day in range(1, length):
        path[day] = memory * path[day - 1] + shocks[day]
    return path
