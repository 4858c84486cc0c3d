"""Station records kept ready for a forecast: a folder laid out as own weather files are, and a note about it.

`weather/kept/` holds `stations.csv`, one file a station and `about.json`: when each record was last checked
with its archive, which values were left out because a model had supplied them, whom to credit, and the
checksum of each file, so that a changed or half-written one is never forecast from. An update writes it; a
forecast only reads.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import ForecasterError, Notice
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.kept import sha256, write_whole
from forecaster.weather.meteostat_source import DailyObserved
from forecaster.weather.stations import Station

RECORDS_FOLDER = "kept"
"""Folder inside the weather folder that belongs to the program."""
Span = tuple[str, str]
"""First and last day of a run of days, as ISO text."""


@dataclass(frozen=True)
class RecordAbout:
    """What is known of one kept record. Days are ISO text; `why` is what kept the archive from being asked.
    `missing_years`: years that the archive has not or that could not be had. `sha256` is of its file.
    `mean_of_extremes`: the daily mean is the middle of minimum and maximum in all years, as in older ones.
    """

    station_id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    timezone: str
    checked_on: str
    why: str = ""
    sha256: str = ""
    modelled: tuple[Span, ...] = ()
    partly: tuple[Span, ...] = ()
    missing_years: tuple[int, ...] = ()
    sources: tuple[str, ...] = ()
    credit: tuple[str, ...] = ()
    mean_of_extremes: bool = False

    @property
    def station(self) -> Station:
        """The station."""
        return Station(self.station_id, self.name, self.latitude, self.longitude, self.elevation_m)


@dataclass(frozen=True)
class RecordsAbout:
    """What is known of all kept records; `sites` names the sites that they were chosen for."""

    updated_on: str
    records: tuple[RecordAbout, ...]
    sites: tuple[str, ...] = field(default=())


class MissingWeather(ForecasterError):
    """No usable records are kept; the message says what is missing and what to do. Exit code 1."""


def records_folder(weather_folder: Path) -> Path:
    """Where the records of a weather folder lie."""
    return weather_folder / RECORDS_FOLDER


def read_about(weather_folder: Path) -> RecordsAbout | None:
    """The note of the last update, None where there is none that can be read."""
    try:
        raw = json.loads((records_folder(weather_folder) / "about.json").read_bytes())
        records = tuple(_record(entry) for entry in raw["records"])
        date.fromisoformat(raw["updated_on"])
        for record in records:
            date.fromisoformat(record.checked_on)
        return RecordsAbout(raw["updated_on"], records, tuple(raw["sites"]))
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None


def write_about(weather_folder: Path, about: RecordsAbout) -> None:
    """Write the station list and then the note; the note comes last, so it never promises too much.

    Files of stations that are not used any more are removed.
    """
    folder = records_folder(weather_folder)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["station_id", "name", "latitude", "longitude", "elevation_m"])
    for r in about.records:
        writer.writerow([r.station_id, r.name, r.latitude, r.longitude, r.elevation_m])
    write_whole(folder / "stations.csv", text.getvalue().encode("utf-8"))
    listed = {"stations.csv", *(f"{record.station_id}.csv" for record in about.records)}
    for path in folder.glob("*.csv"):
        if path.name not in listed:
            path.unlink()
    write_whole(folder / "about.json", json.dumps(asdict(about), indent=1).encode("utf-8"))


def record_csv(
    days: NDArray[np.datetime64], tmin_c: np.ndarray, tavg_c: np.ndarray, tmax_c: np.ndarray
) -> bytes:
    """The file of a station; days without any value are left out."""
    lines = ["date,tmin,tavg,tmax"]
    for day, *values in zip(days.tolist(), tmin_c.tolist(), tavg_c.tolist(), tmax_c.tolist(), strict=True):
        cells = ["" if value != value else f"{value:.1f}" for value in values]
        if any(cells):
            lines.append(",".join([day.isoformat(), *cells]))
    return ("\n".join(lines) + "\n").encode("utf-8")


def with_new_years(path: Path, old: RecordAbout, new: DailyObserved, years: set[int]) -> DailyObserved:
    """The record on disk with the days of `years` replaced."""
    rows = read_daily_csv(path, path.name, date_columns=("date",), value_columns=("tmin", "tavg", "tmax"))
    days = rows.dates["date"]
    keep = ~np.isin(days.astype("datetime64[Y]").astype(np.int64) + 1970, sorted(years))
    all_days = np.concatenate([days[keep], new.days])
    order = np.argsort(all_days, kind="stable")
    columns = (("tmin", new.tmin_c), ("tavg", new.tavg_c), ("tmax", new.tmax_c))
    values = [np.concatenate([rows.values[name][keep], fresh])[order] for name, fresh in columns]
    modelled, partly = (
        tuple(sorted({*(d for d in days_in_spans(spans) if d.year not in years), *fresh}))
        for spans, fresh in ((old.modelled, new.modelled_days), (old.partly, new.partly_days))
    )
    sources = tuple(sorted({*old.sources, *new.sources}))
    return DailyObserved(all_days[order], values[0], values[1], values[2], modelled, partly, sources)


def with_mean_of_extremes(found: DailyObserved) -> DailyObserved:
    """The record with the middle of minimum and maximum as its mean where both are known.

    A record whose older years have no mean of their own would change its level where the newer ones begin.
    """
    both = np.isfinite(found.tmin_c) & np.isfinite(found.tmax_c)
    return replace(found, tavg_c=np.where(both, (found.tmin_c + found.tmax_c) / 2.0, found.tavg_c))


def verify_records(weather_folder: Path, about: RecordsAbout) -> tuple[str, ...]:
    """Ids of the stations whose file is missing or not the one that the update wrote."""
    folder = records_folder(weather_folder)
    damaged = []
    for record in about.records:
        try:
            whole = sha256((folder / f"{record.station_id}.csv").read_bytes()) == record.sha256
        except OSError:
            whole = False
        if not whole:
            damaged.append(record.station_id)
    return tuple(damaged)


def about_notices(about: RecordsAbout, *, as_of: date, shown_as: str) -> tuple[Notice, ...]:
    """What the reader of a forecast must know of the records: their age, and what was modelled.

    Ages are counted to the as-of date, never to a clock; days from the as-of date on are not spoken of.
    """
    notices = []
    by_day: dict[tuple[str, str], list[str]] = {}
    for record in about.records:
        if date.fromisoformat(record.checked_on) < as_of:
            by_day.setdefault((record.checked_on, record.why), []).append(record.station_id)
    for (checked_on, why), ids in sorted(by_day.items()):
        age = (as_of - date.fromisoformat(checked_on)).days
        said = f" ({why})" if why else ""
        text = (
            f"records of {', '.join(ids)} were last checked with the archive on {checked_on}, "
            f"{_days(age)} before the as-of date{said}."
        )
        notices.append(Notice(shown_as, text))
    for record in about.records:
        where = f"{shown_as}/{record.station_id}.csv"
        for spans, text in (
            (record.modelled, "came from a weather model, not from a thermometer, and are left out"),
            (record.partly, "hold some hours of a weather model among the observed ones"),
        ):
            days = [day for span in spans for day in _days_of(span) if day < as_of]
            if days:
                notices.append(Notice(where, f"values of {_days(len(days))} {text} (last {days[-1]})."))
        years = [year for year in record.missing_years if year < as_of.year]
        if years:
            notices.append(Notice(where, f"the archive holds nothing for {', '.join(map(str, years))}."))
    return tuple(notices)


def spans_of(days: Sequence[date]) -> tuple[Span, ...]:
    """Runs of consecutive days.

    >>> spans_of([date(2025, 10, 4), date(2025, 10, 5), date(2025, 10, 9)])
    (('2025-10-04', '2025-10-05'), ('2025-10-09', '2025-10-09'))
    """
    if not days:
        return ()
    ordered = sorted(set(days))
    starts = [ordered[0], *(b for a, b in pairwise(ordered) if b - a > timedelta(days=1))]
    ends = [*(a for a, b in pairwise(ordered) if b - a > timedelta(days=1)), ordered[-1]]
    return tuple((a.isoformat(), b.isoformat()) for a, b in zip(starts, ends, strict=True))


def days_in_spans(spans: Sequence[Span]) -> tuple[date, ...]:
    """The days of runs, in order.

    >>> [day.day for day in days_in_spans((("2025-10-04", "2025-10-05"),))]
    [4, 5]
    """
    return tuple(day for span in spans for day in _days_of(span))


def _days_of(span: Span) -> list[date]:
    first, last = (date.fromisoformat(text) for text in span)
    return [first + timedelta(days=at) for at in range((last - first).days + 1)]


def _record(entry: dict[str, Any]) -> RecordAbout:
    return RecordAbout(**{name: _tuples(value) for name, value in entry.items()})


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
