"""Stations and daily records of the open archive Meteostat: fetched by our session, parsed by its package.

The package reads files that lie here already and never touches the network: its own downloads know no
manners and overwrite good copies with nothing. Values that a weather model supplied are told apart from
observed ones and kept out. Data: Meteostat, CC BY 4.0. Limits: one file a station and year; a day is the
local calendar day of the station, as the archive says.
"""

from __future__ import annotations

import gzip
import logging
import re
import sqlite3
import tempfile
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.weather.http_limits import Check, unpacked
from forecaster.weather.station_choice import Candidate
from forecaster.weather.stations import Station

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STATIONS_DB = "stations.db"
STATIONS_DB_BYTES = 300_000_000
DAILY_BYTES = 5_000_000
"""A year of a station has about 30 kB unpacked."""
SAFE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}")
"""A station's id becomes part of an address and of a file's name."""
NOAA_ID = re.compile(r"[A-Z]{2}[A-Z0-9_]{9}")
"""A station's id in NOAA's daily archive (GHCN-Daily)."""

_COLUMNS = {
    "stations": {"id", "country", "region", "latitude", "longitude", "elevation", "timezone"},
    "names": {"station", "language", "name"},
    "inventory": {"station", "provider", "parameter", "start", "end", "completeness"},
}
_VALUES = ("tmin", "temp", "tmax")


@dataclass(frozen=True, eq=False)
class DailyObserved:
    """Daily values of one station as observed [°C], shape (day,), NaN where missing.

    `modelled_days`: days of which a value came from a weather model and is left out; `partly_days`: days of
    which a value was put together from observations with some hours of a model among them, which stays.
    `sources` are the archives behind the values.
    """

    days: NDArray[np.datetime64]
    tmin_c: Floats
    tavg_c: Floats
    tmax_c: Floats
    modelled_days: tuple[date, ...]
    partly_days: tuple[date, ...]
    sources: tuple[str, ...]


def daily_name(station_id: str, year: int) -> str:
    """Name of a station's year below the folder and behind the archive's address.

    >>> daily_name("00TG6", 2024)
    'daily/2024/00TG6.csv.gz'
    """
    if not SAFE_ID.fullmatch(station_id):
        raise ValueError(f"{station_id!r} is no station's id")
    return f"daily/{year:04d}/{station_id}.csv.gz"


def check_stations_db(body: bytes, headers: Mapping[str, str]) -> None:
    """Raises ValueError unless the body is a whole station list with the tables that are read here."""
    if not body.startswith(b"SQLite format 3\x00"):
        raise ValueError("the answer is not a station list")
    with tempfile.NamedTemporaryFile(suffix=".db") as file:
        file.write(body)
        file.flush()
        base = sqlite3.connect(f"file:{Path(file.name).as_posix()}?mode=ro&immutable=1", uri=True)
        try:
            if base.execute("pragma quick_check(1)").fetchone()[0] != "ok":
                raise ValueError("the station list is damaged")
            kinds = dict(base.execute("select name, type from sqlite_master where type in ('table', 'view')"))
            for table, wanted in _COLUMNS.items():
                found = {row[1] for row in base.execute(f"pragma table_info({table})")}
                if kinds.get(table) != "table" or not wanted <= found:
                    raise ValueError(
                        f"the station list has no table {table} with {', '.join(sorted(wanted))}"
                    )
        except sqlite3.DatabaseError as error:
            raise ValueError(f"the station list is damaged ({error})") from None
        finally:
            base.close()


def check_daily(year: int) -> Check:
    """A check that a body is one station's daily file of `year`, packed or not."""

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        lines = text_of(body).splitlines()
        names = lines[0].split(",") if lines else []
        if names[:3] != ["year", "month", "day"] or not set(names) & set(_VALUES):
            raise ValueError("the answer is not a daily file of a station")
        for number, line in enumerate(lines[1:], start=2):
            cells = line.split(",")
            if line and (len(cells) != len(names) or cells[0] != str(year)):
                raise ValueError(f"line {number} of the daily file is no day of {year}")

    return check


def packed_daily(body: bytes) -> bytes:
    """The daily file packed, as the package wants it, however the server sent it."""
    return body if body.startswith(b"\x1f\x8b") else gzip.compress(body, mtime=0)


def point_meteostat_at(folder: Path) -> Any:
    """The package, told to read this folder's files only. Call before each use: its settings are global."""
    import meteostat as ms  # imported late: 0.6 s
    import meteostat.providers.meteostat.daily as provider

    logging.getLogger("meteostat").setLevel(logging.ERROR)  # a missing year is reported by us
    ms.config.cache_enable = False
    ms.config.block_large_requests = False
    ms.config.stations_db_endpoints = []
    ms.config.stations_db_file = str(folder / STATIONS_DB)
    ms.config.stations_db_ttl = 10**10
    ms.config.daily_endpoint = (folder / "daily/{year}/{station}.csv.gz").as_posix()
    provider.ENDPOINT = ms.config.daily_endpoint  # it was copied when the module was first imported
    return ms


def candidates_near(
    folder: Path, places: Sequence[tuple[float, float]], *, radius_km: float, ids: Collection[str] = ()
) -> tuple[Candidate, ...]:
    """Stations of the kept list within `radius_km` of any place, and those named in `ids`, by id.

    Args:
        folder: Holds `stations.db`.
        places: Latitude and longitude [degrees].
    """
    ms = point_meteostat_at(folder)
    middle = np.mean(np.array(places), axis=0)
    lat, lon = np.array(places).T
    reach_km = float(haversine_km(middle[0], middle[1], lat, lon).max()) + radius_km
    point = ms.Point(float(middle[0]), float(middle[1]))
    frame = ms.stations.nearby(point, radius=reach_km * 1000, limit=20_000)
    frame = frame[~frame.index.duplicated()]
    rows = {str(row.Index): row for row in frame.itertuples()}
    for wanted in ids:
        if wanted not in rows and SAFE_ID.fullmatch(wanted):
            meta = ms.stations.meta(wanted)
            if meta is not None:
                rows[wanted] = meta
    near = {
        name: row
        for name, row in rows.items()
        if SAFE_ID.fullmatch(name)
        and (name in ids or haversine_km(row.latitude, row.longitude, lat, lon).min() <= radius_km)
    }
    inventory, noaa = _inventory(ms, list(near)), _noaa_ids(folder / STATIONS_DB, near)
    return tuple(
        _candidate(name, row, inventory.get(name), noaa.get(name, "")) for name, row in sorted(near.items())
    )


def read_observed(station: Candidate, files: Mapping[int, bytes], *, before: date) -> DailyObserved:
    """One station's daily files, parsed by the package.

    Args:
        station: Whose they are.
        files: Content of the daily file by year, as checked and kept.
        before: The day on which they were fetched, at the station: it and later days are not over yet.
    """
    with tempfile.TemporaryDirectory() as scratch:
        ms = point_meteostat_at(Path(scratch))
        _write_joined(Path(scratch), station.station.station_id, files)
        parameters = [ms.Parameter.TEMP, ms.Parameter.TMIN, ms.Parameter.TMAX]
        series = ms.daily(
            ms.Station(id=station.station.station_id, timezone=station.timezone or None),
            date(min(files), 1, 1), date(max(files), 12, 31), parameters=parameters,
        )  # fmt: skip
        frame = series.fetch(sources=True, clean=False)
    if frame is None or frame.empty:
        nothing = np.zeros(0)
        return DailyObserved(nothing.astype("datetime64[D]"), nothing, nothing, nothing, (), (), ())
    frame = frame[frame.index < np.datetime64(before)]
    days = frame.index.to_numpy().astype("datetime64[D]")
    models = _model_sources()
    columns: dict[str, Floats] = {}
    modelled, partly = (np.zeros(days.size, dtype=np.bool_) for _ in range(2))
    sources: set[str] = set()
    for name in _VALUES:
        values = frame[name].astype("float64").to_numpy() if name in frame else np.full(days.size, np.nan)
        said = frame[f"{name}_source"].tolist() if f"{name}_source" in frame else [""] * days.size
        texts = [text if isinstance(text, str) else "" for text in said]
        known, only, some = np.isfinite(values), np.zeros(days.size, bool), np.zeros(days.size, bool)
        for text in set(texts):
            used, at = set(text.split()), known & np.array([one == text for one in texts], dtype=np.bool_)
            only |= at & (bool(used) and used <= models)
            some |= at & bool(used & models) & (not used <= models)
            if at.any():
                sources |= used
        columns[name] = np.where(only, np.nan, values)
        modelled |= only
        partly |= some
    return DailyObserved(
        days, columns["tmin"], columns["temp"], columns["tmax"],
        tuple(days[modelled].tolist()), tuple(days[partly].tolist()), tuple(sorted(sources - models)),
    )  # fmt: skip


def credit_of(sources: Iterable[str]) -> tuple[str, ...]:
    """Who asks to be named for these sources, as the package knows it."""
    from meteostat.core.providers import provider_service

    named = set()
    for source in sources:
        spec = provider_service.get_provider(source)
        if spec is not None and spec.license is not None and spec.license.attribution:
            named.add(f"{spec.license.attribution} ({spec.license.name})")
    return tuple(sorted(named))


def _write_joined(folder: Path, station_id: str, files: Mapping[int, bytes]) -> None:
    """Write the files so that the package reads them in one go, five times as fast: years with the same
    columns become one file in the place of the first of them."""
    groups: dict[str, tuple[int, list[str]]] = {}
    for year, content in sorted(files.items()):
        header, *lines = text_of(content).splitlines()
        groups.setdefault(header, (year, []))[1].extend(line for line in lines if line)
    for header, (year, lines) in groups.items():
        path = folder / daily_name(station_id, year)
        path.parent.mkdir(parents=True)
        text = "\n".join([header, *lines]) + "\n"
        path.write_bytes(gzip.compress(text.encode("utf-8"), compresslevel=1, mtime=0))


def _model_sources() -> set[str]:
    """Ids of the sources that are forecasts or analyses of a model."""
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade

    return {
        str(spec.id) for spec in provider_service.providers if spec.grade in (Grade.FORECAST, Grade.ANALYSIS)
    }


def text_of(body: bytes, max_bytes: int = DAILY_BYTES) -> str:
    """The text of a file, packed or not.

    Raises:
        ValueError: It is damaged, unpacks to more than `max_bytes`, or is no text.
    """
    if body.startswith(b"\x1f\x8b"):
        try:
            body = unpacked(body, "gzip", max_bytes)
        except (OSError, zlib.error) as error:  # AnswerRefused is an OSError
            raise ValueError(str(error)) from None
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError:
        raise ValueError("the answer is not text") from None


def _inventory(ms: Any, ids: list[str]) -> dict[str, dict[str, tuple[date, date, float]]]:
    """First and last day and completeness (0-1, NaN unknown) by station and parameter."""
    found: dict[str, dict[str, tuple[date, date, float]]] = {}
    for start in range(0, len(ids), 500):
        frame = ms.stations.inventory(ids[start : start + 500]).df
        if frame is None:
            continue
        for (station, _provider, parameter), row in frame.iterrows():
            try:
                first, last = (date.fromisoformat(str(row[name])[:10]) for name in ("start", "end"))
            except ValueError:
                continue
            share = float(row["completeness"]) if row["completeness"] is not None else np.nan
            share = share / 100.0 if share > 1.0 else share
            before = found.setdefault(station, {}).get(parameter)
            if before is not None:
                first, last = min(first, before[0]), max(last, before[1])
                share = float(np.fmax(share, before[2]))
            found[station][parameter] = (first, last, share)
    return found


def _noaa_ids(path: Path, ids: Collection[str]) -> dict[str, str]:
    """Ids of NOAA's daily archive by station, as far as the list knows them."""
    base = sqlite3.connect(f"file:{path.as_posix()}?mode=ro&immutable=1", uri=True)
    try:
        rows = base.execute("select station, value from identifiers where key = 'ghcn'").fetchall()
    except sqlite3.DatabaseError:  # a list without that table
        return {}
    finally:
        base.close()
    return {
        str(station): str(value) for station, value in rows if station in ids and NOAA_ID.fullmatch(value)
    }


def _candidate(
    name: str, row: Any, inventory: dict[str, tuple[date, date, float]] | None, noaa_id: str
) -> Candidate:
    try:
        metres = float(getattr(row, "elevation", np.nan))
    except (TypeError, ValueError):
        metres = np.nan
    title = "".join(letter for letter in str(getattr(row, "name", "") or name) if letter.isprintable())
    zone = str(getattr(row, "timezone", ""))
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        zone = ""
    station = Station(name, title, float(row.latitude), float(row.longitude), metres)
    spans = [span for key, span in (inventory or {}).items() if key in _VALUES]
    shares = [span[2] for span in spans if np.isfinite(span[2])]
    return Candidate(
        station=station,
        timezone=zone,
        first_day=min((span[0] for span in spans), default=None),
        last_day=max((span[1] for span in spans), default=None),
        completeness=max(shares, default=None),
        has_tmin=None if inventory is None else "tmin" in inventory or "temp" in inventory,
        noaa_id=noaa_id,
    )
