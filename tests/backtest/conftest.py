"""A small invented season folder: one station, 26 years, three ponds, one of them read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

FIRST_YEAR, LAST_YEAR = 1995, 2020

SEASON = """[season]
name = "Invented fens"
year = 2020
timezone = "America/Chicago"
seed = 7
members = 200
[weather]
stations_per_site = 1
seasons = 20
[[crew]]
name = "Heron"
latitude = 44.0
longitude = -90.0
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri"]
first_day = 2020-09-15
last_day = 2020-12-05
"""
SITES = """site_id,customer,latitude,longitude,mean_depth_in,exposure,waterfall,minimum_offset_f
A,Invented A,44.00,-90.00,20,sheltered,yes,0
B,Invented B,44.02,-90.01,34,average,no,-2
C,Invented C,44.01,-90.02,48,open,no,0
"""


def invented_weather(seed: int = 3) -> list[tuple[date, float, float]]:
    """Day, minimum, maximum [°C]: a seasonal cycle and AR(1) anomalies."""
    rng = np.random.default_rng(seed)
    first = date(FIRST_YEAR, 1, 1)
    count = (date(LAST_YEAR + 1, 3, 1) - first).days
    anomaly = 0.0
    rows = []
    for n in range(count):
        day = first + timedelta(days=n)
        anomaly = 0.7 * anomaly + 3.2 * rng.standard_normal()
        usual = 8.0 - 14.0 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 20) / 365.25)
        mean, swing = usual + anomaly, 5.0 + rng.uniform(-1.5, 1.5)
        rows.append((day, round(mean - swing, 1), round(mean + swing, 1)))
    return rows


def write_folder(folder: Path, *, readings: str = "", sites: str = SITES, season: str = SEASON) -> Path:
    (folder / "weather").mkdir(parents=True)
    (folder / "season.toml").write_text(season)
    (folder / "sites.csv").write_text(sites)
    (folder / "weather" / "stations.csv").write_text(
        "station_id,name,latitude,longitude,elevation_m\nFEN,Invented fen,44.0,-90.0,250\n"
    )
    lines = [f"{day},{low},{high}" for day, low, high in invented_weather()]
    (folder / "weather" / "FEN.csv").write_text("date,tmin,tmax\n" + "\n".join(lines) + "\n")
    if readings:
        (folder / "readings.csv").write_text(readings)
    return folder


@pytest.fixture
def make_folder(tmp_path: Path) -> Callable[..., Path]:
    def make(**options: str) -> Path:
        return write_folder(tmp_path / "fens", **options)

    return make


@pytest.fixture(scope="session")
def plain_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_folder(tmp_path_factory.mktemp("plain") / "fens")
