"""A real daily record: Champion, Nebraska, 1982-2018, as the package aquacrop 3.1.0 carries it.

`aquacrop/data/champion_climate.txt`: day, month, year, minimum and maximum air temperature [°C], rain and
reference evapotranspiration, 13,514 days without a gap. Licence: the package's LICENSE file is Apache-2.0
(its trove classifier says MIT); nothing says otherwise of the record. It is read where pip put it, never
copied. Where the station lies (40.4 N, 101.7 W, about 1,030 m) is from memory and matters little: site and
station are put on one spot.
"""

from __future__ import annotations

import importlib.util
import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from forecaster.pipeline import forecast_json

FALLS = range(1982, 2018)
LATITUDE, LONGITUDE = 40.4, -101.7

SETTINGS = """[season]
year = 2017
timezone = "America/Denver"
members = 300

[[crew]]
name = "One"
latitude = 40.4
longitude = -101.7
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri", "sat"]
first_day = 2017-09-01
last_day = 2017-12-20
"""
SITES = """site_id,customer,latitude,longitude,mean_depth_m,waterfall
half,Invented,40.4,-101.7,0.5,no
deep,Invented,40.4,-101.7,1.5,no
"""


def champion() -> pd.DataFrame:
    """Columns tmin, tmax and tmean [°C] by date."""
    spec = importlib.util.find_spec("aquacrop")  # not imported: it compiles on import
    assert spec is not None
    assert spec.submodule_search_locations
    path = Path(spec.submodule_search_locations[0]) / "data" / "champion_climate.txt"
    raw = pd.read_csv(path, sep=r"\s+")
    index = pd.to_datetime({"year": raw["Year"], "month": raw["Month"], "day": raw["Day"]})
    table = pd.DataFrame({"tmin": raw["Tmin(C)"].to_numpy(), "tmax": raw["Tmax(C)"].to_numpy()}, index)
    table["tmean"] = (table["tmin"] + table["tmax"]) / 2
    return table


@dataclass(frozen=True)
class ChampionSeason:
    """The record as a season folder."""

    path: Path

    def sites(self, as_of: date) -> dict[str, dict[str, Any]]:
        """The forecast's sites by id."""
        return {site["site_id"]: site for site in self.forecast(as_of)["sites"]}

    def forecast(self, as_of: date) -> dict[str, Any]:
        """The whole forecast."""
        record: dict[str, Any] = json.loads(forecast_json(self.path, as_of))
        return record


def write_champion(path: Path, table: pd.DataFrame) -> ChampionSeason:
    """Write the season folder; two ponds at the station, nobody has read them."""
    (path / "weather").mkdir(parents=True)
    (path / "season.toml").write_text(SETTINGS, encoding="utf-8")
    (path / "sites.csv").write_text(SITES, encoding="utf-8")
    station = (
        f"station_id,name,latitude,longitude,elevation_m\nCHAMPION,Champion,{LATITUDE},{LONGITUDE},1030\n"
    )
    (path / "weather" / "stations.csv").write_text(station, encoding="utf-8")
    table[["tmin", "tmax"]].to_csv(path / "weather" / "CHAMPION.csv", index_label="date")
    return ChampionSeason(path)
