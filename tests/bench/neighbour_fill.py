"""How far off neighbour filling is: hide days, fill, compare. Real stations, and invented ones by a lake.

    python tests/bench/neighbour_fill.py [FOLDER]

FOLDER holds `seasons/valley/weather` (four stations within a few km); ../shared/data by default, skipped if
absent. One line a station and length of gap: root mean square error [°C] of daily means and minima, and
the error that the program states. Short gaps: 60 blocks in the falls, placed by a fixed seed. Whole falls
(August to January): every fifth fall is hidden, five times, so that each fall is filled once from a fit that
never saw it; years after it are seen, as they would be in use.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.weather.daily_csv import DailyRows
from forecaster.weather.files import read_station_records
from forecaster.weather.known_rows import StationRecord
from forecaster.weather.prepare import prepare_weather
from forecaster.weather.stations import Station

GAP_DAYS = (1, 5, 20)
GAPS = 60
FOLDS = 5


def main(data: Path) -> None:
    if (data / "seasons" / "valley").is_dir():
        records, _ = read_station_records(data / "seasons" / "valley" / "weather")
        measure("a valley (real)", records, as_of=date(2024, 5, 31))
    measure("a lake shore (invented)", lake_shore(), as_of=date(2024, 5, 31))


def measure(title: str, records: Sequence[StationRecord], *, as_of: date) -> None:
    """Print the errors of each station of a group."""
    whole = prepare_weather(records, as_of=as_of)
    print(f"{title}\n{'station':8} {'gap':>10} {'mean rmse':>9} {'stated':>7} {'min rmse':>9} {'stated':>7}")
    for number, record in enumerate(records):
        days = record.rows.dates["date"]
        found: dict[str, list[np.ndarray]] = {}
        for name, hidden in hidings(days, number, as_of):
            values = {key: np.where(hidden, np.nan, column) for key, column in record.rows.values.items()}
            changed = list(records)
            changed[number] = replace(record, rows=replace(record.rows, values=values))
            filled = prepare_weather(changed, as_of=as_of)
            at = (days[hidden] - np.datetime64(whole.first_day)).astype(int)
            at = at[~whole.filled[number, at]]  # what is set aside there is no truth
            off = np.stack(
                [
                    getattr(filled, key)[number, at] - getattr(whole, key)[number, at]
                    for key in ("tmean_c", "tmin_c")
                ]
            )
            stated = [filled.fill_error_c[number], filled.fill_error_min_c[number]]
            found.setdefault(name, []).append(np.vstack([off, np.outer(stated, np.ones(at.size))]))
        for name, parts in found.items():
            off_mean, off_min, said_mean, said_min = np.concatenate(parts, axis=1)
            print(
                f"{record.station.station_id:8} {name:>10} {rms(off_mean):9.2f} {said_mean.mean():7.2f} "
                f"{rms(off_min):9.2f} {said_min.mean():7.2f}"
            )


def hidings(days: np.ndarray, number: int, as_of: date) -> Iterator[tuple[str, np.ndarray]]:
    """Names and flags of the days to hide, none within 400 days of the end (long gaps there are refused)."""
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    usable = days < np.datetime64(as_of) - 400
    for gap in GAP_DAYS:
        random = np.random.default_rng(number)
        falls = np.nonzero(np.isin(month, [8, 9, 10, 11]) & usable)[0]
        hidden = np.zeros(days.size, dtype=bool)
        for start in random.choice(falls[: -gap - 1], GAPS, replace=False)[: max(6, GAPS // gap)]:
            hidden[start : start + gap] = True
        yield f"{gap} d", hidden
    fall = days.astype("datetime64[Y]").astype(int) + 1970 - (month == 1)
    for fold in range(FOLDS):
        yield "whole fall", usable & ((month >= 8) | (month == 1)) & (fall % FOLDS == fold)


def rms(values: np.ndarray) -> float:
    """Root mean square, NaN left out."""
    return float(np.sqrt(np.nanmean(values**2)))


def lake_shore() -> list[StationRecord]:
    """Four invented stations of 40 years: one on the shore whose days a lake breeze cools, three inland.

    Weather shared by all (sd 4.5 °C, correlation 0.7 a day) and some of each one's own (sd 1.0 °C, 0.3);
    whole course, ranges and breeze are made up.
    """
    days = np.arange(np.datetime64("1984-01-01"), np.datetime64("2024-06-01"))
    season = np.cos(2 * np.pi * ((days - days.astype("datetime64[Y]")).astype(int) - 200) / 365.25)
    shared, half = _wander(1, days.size, 4.5, 0.7), 5.0 + 0.8 * _wander(2, days.size, 1.5, 0.4)
    records = []
    for at, (name, shore) in enumerate((("SHORE", 1.0), ("INLAND1", 0.2), ("INLAND2", 0.0), ("HILL", 0.0))):
        random = np.random.default_rng(100 + at)
        own = _wander(10 + at, days.size, 1.0, 0.3)
        mean = 9.0 + 13.0 * season + shared + own - 1.5 * (name == "HILL") + shore * (1.0 - 2.0 * season)
        cooled = shore * 2.5 * np.maximum(season, 0.0) * random.random(days.size)
        low = mean - np.maximum(half, 1.0) * (1.0 - 0.35 * shore) + random.normal(0, 0.5, days.size)
        high = mean + np.maximum(half, 1.0) * (1.0 - 0.2 * shore) - cooled + random.normal(0, 0.5, days.size)
        low, high = np.minimum(low, high), np.maximum(low, high)
        values = {"tmin": low.round(1), "tavg": ((low + high) / 2).round(2), "tmax": high.round(1)}
        station = Station(name, name, 43.0 + 0.1 * at, -87.9 - 0.1 * at, 180.0 + 20.0 * at)
        rows = DailyRows(
            where=f"{name}.csv", row_numbers=np.arange(2, days.size + 2), dates={"date": days},
            values=values, present=frozenset(values), problems=(), notices=(),
        )  # fmt: skip
        records.append(StationRecord(station, rows))
    return records


def _wander(seed: int, count: int, spread: float, rho: float) -> np.ndarray:
    shocks = np.random.default_rng(seed).normal(0.0, spread * np.sqrt(1 - rho**2), count)
    values = np.zeros(count)
    for day in range(1, count):
        values[day] = rho * values[day - 1] + shocks[day]
    return values


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "../shared/data"))
