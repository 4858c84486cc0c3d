"""An invented archive of station records, laid out as the open archive is: no real station, no real day."""

from __future__ import annotations

import gzip
import sqlite3
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
from weather_server import Answer, WeatherServer

HEADER = (
    "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,"
    "prcp,prcp_source,cldc,cldc_source"
)  # fmt: skip


@dataclass
class InventedStation:
    """A station of the invented archive; records run from `first` to `last`, both included."""

    station_id: str
    latitude: float = 43.0
    longitude: float = -89.0
    elevation: float | None = 250.0
    first: date = date(1980, 1, 1)
    last: date = date(2025, 10, 5)
    timezone: str = "America/Chicago"
    source: str = "ghcnd"
    completeness: float = 0.97
    parameters: tuple[str, ...] = ("temp", "tmin", "tmax")
    missing_years: frozenset[int] = frozenset()
    noaa_id: str = ""


@dataclass
class InventedArchive:
    """Writes the list and the daily files into a server's routes; `model_days` are marked as modelled."""

    stations: Sequence[InventedStation]
    model_from: date | None = None
    model_until: date | None = None
    mixed: frozenset[date] = frozenset()
    edits: dict[tuple[str, date], tuple[str, str, str]] = field(default_factory=dict)
    same_for_all: bool = False

    def serve(self, server: WeatherServer, years: Iterable[int]) -> None:
        """Add everything to the server."""
        server.routes["/stations.db"] = Answer(self.stations_db(), etag='"list-1"')
        for year in years:
            body = self.daily(self.stations[0], year)
            for station in self.stations:
                if year in station.missing_years:
                    continue
                if not self.same_for_all:
                    body = self.daily(station, year)
                if body:
                    path = f"/daily/{year}/{station.station_id}.csv.gz"
                    server.routes[path] = Answer(gzip.compress(body, mtime=0), etag=f'"{hash(body)}"')

    def stations_db(self) -> bytes:
        """The list as one SQLite file."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "stations.db"
            base = sqlite3.connect(path)
            base.executescript(
                "create table stations (id text primary key, country text, region text, latitude real,"
                " longitude real, elevation integer, timezone text);"
                "create table names (station text, language text, name text);"
                "create table identifiers (station text, key text, value text);"
                "create table inventory (station text, provider text, parameter text, start text, end text,"
                " completeness real);"
            )
            for s in self.stations:
                base.execute(
                    "insert into stations values (?, 'ZZ', '', ?, ?, ?, ?)",
                    (s.station_id, s.latitude, s.longitude, s.elevation, s.timezone),
                )
                names = [(s.station_id, "en", f"Field {s.station_id}"), (s.station_id, "de", "Feld")]
                base.executemany("insert into names values (?, ?, ?)", names)
                base.executemany(
                    "insert into inventory values (?, 'daily', ?, ?, ?, ?)",
                    [(s.station_id, p, f"{s.first}", f"{s.last}", s.completeness) for p in s.parameters],
                )
                if s.noaa_id:
                    base.execute("insert into identifiers values (?, 'ghcn', ?)", (s.station_id, s.noaa_id))
            base.commit()
            base.close()
            return path.read_bytes()

    def whole(
        self, station: InventedStation, years: Iterable[int], *, off_c: float = 0.0, means: bool = False,
        flagged: frozenset[date] = frozenset(),
    ) -> bytes:  # fmt: skip
        """The whole record of one station as NOAA's archive lays it out: one element a row, tenths of °C."""
        lines = []
        for year in years:
            low, mean, high = (np.round(10 * (values + off_c)) for values in self._year(station, year))
            first, last = max(date(year, 1, 1), station.first), min(date(year, 12, 31), station.last)
            for day in np.arange(np.datetime64(first), np.datetime64(last) + 1).astype(object):
                at, flag = (day - date(year, 1, 1)).days, "S" if day in flagged else ""
                for name, values in (("TMAX", high), ("TMIN", low), ("TAVG", mean)):
                    if means or name != "TAVG":
                        lines.append(f"{station.noaa_id},{day:%Y%m%d},{name},{values[at]:.0f},,{flag},W,2400")
                lines.append(f"{station.noaa_id},{day:%Y%m%d},PRCP,0,,,W,2400")
        return ("\n".join(lines) + "\n").encode()

    def _year(self, station: InventedStation, year: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return invented_year(self.stations[0].station_id if self.same_for_all else station.station_id, year)

    def daily(self, station: InventedStation, year: int) -> bytes:
        """One year of one station, b"" where its record does not reach into it."""
        first = max(date(year, 1, 1), station.first)
        last = date(year, 12, 31)
        last = min(last, max(station.last, self.model_until or station.last))
        if first > last:
            return b""
        lines = [HEADER]
        low, mean, high = invented_year(station.station_id, year)
        for day in np.arange(np.datetime64(first), np.datetime64(last) + 1).astype(object):
            at = (day - date(year, 1, 1)).days
            source = station.source
            if self.model_from is not None and day >= self.model_from:
                source = "metno_forecast"
            elif day in self.mixed:
                source = f"{station.source} dwd_mosmix"
            cells = {
                "temp": f"{mean[at]:.1f}",
                "tmin": f"{low[at]:.1f}",
                "tmax": f"{high[at]:.1f}",
            }
            edit = self.edits.get((station.station_id, day))
            if edit:
                cells.update(zip(("tmin", "temp", "tmax"), edit, strict=True))
            row = [f"{day.year}", f"{day.month}", f"{day.day}"]
            for name in ("temp", "tmin", "tmax"):
                has = name in station.parameters and cells[name]
                row += [cells[name] if has else "", source if has else ""]
            lines.append(",".join([*row, "", "", "", ""]))
        return ("\n".join(lines) + "\n").encode()


@cache
def invented_year(station_id: str, year: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Minimum, mean and maximum [°C] of each day of a year: weather shared by all, a little of its own."""
    days = np.arange(366)
    shared = _weather(np.random.default_rng([year, 1]), days.size, 4.0)
    own = _weather(np.random.default_rng([year, *station_id.encode()]), days.size, 0.7)
    mean = 8.0 - 14.0 * np.cos(2 * np.pi * (days - 15) / 365.25) + shared + own
    half = np.random.default_rng([year, 2]).uniform(3.0, 7.0, days.size)
    return mean - half, mean, mean + half


def _weather(random: np.random.Generator, count: int, spread: float) -> np.ndarray:
    shocks = random.normal(0.0, spread * np.sqrt(1 - 0.7**2), count)
    values = np.zeros(count)
    for day in range(count):
        values[day] = 0.7 * values[day - 1] + shocks[day]
    return values
