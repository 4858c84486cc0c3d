"""Water of real ponds and lakes: errors and bands with 0, 2, 4, 8 readings and the full record.

Run: python tests/bench/water_table.py [DATA_FOLDER] [--quick]. The folder (default ../shared/data/water)
holds `<water>.csv` with date, air_c, water_c; latitude, depth and exposure stand in WATERS below. Readings
are equally spaced from 1 September to 15 October; scored are the days after the last one, 16 October to
20 November. The full record is that of the earlier falls, scored from 1 September. Beside ours stand, from
the same readings: same-day air plus offset, 5-day mean air plus offset, least squares on lagged air without
a prior.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from forecaster.falls import fall_day, fall_of
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.water.evidence import rows_of
from forecaster.water.lagged import SiteSeries, lag_terms
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond, fit_route
from forecaster.water.state import water_path

WATERS = {"gardno": (54.65, 1.3, "open"), "prpo": (47.13, 1.7, "open"), "cram": (46.21, 4.6, "average")}
COUNTS = (0, 2, 4, 8)


@dataclass(frozen=True, eq=False)
class Water:
    """One record: its site, air series, and measured water by day [°C]."""

    site: Site
    series: SiteSeries
    water_c: dict[date, float]

    @property
    def falls(self) -> list[int]:
        """Falls with measured days in the scored weeks."""
        return sorted({d.year for d in self.water_c if date(d.year, 10, 16) <= d <= date(d.year, 11, 20)})


def read_water(path: Path) -> Water:
    latitude, depth_m, exposure = WATERS[path.stem]
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    days = [date.fromisoformat(row["date"]) for row in rows]
    air = np.array([float(row["air_c"] or "nan") for row in rows])
    known = np.isfinite(air)
    air = np.interp(np.arange(len(air)), np.flatnonzero(known), air[known])
    site = Site(path.stem, path.stem, latitude, 0.0, depth_m, exposure=exposure, waterfall=False)  # type: ignore[arg-type]
    water = {day: float(row["water_c"]) for day, row in zip(days, rows, strict=True) if row["water_c"]}
    return Water(site, SiteSeries(days[0], air, latitude), water)


def few_readings(water: Water, fall: int, count: int) -> list[Reading]:
    """`count` readings, each on the nearest measured day within three of its place."""
    found = []
    for step in np.linspace(0, 44, count):
        middle = date(fall, 9, 1) + timedelta(days=round(step))
        for off in (0, 1, -1, 2, -2, 3, -3):
            day = middle + timedelta(days=off)
            if day in water.water_c:
                found.append(Reading(water.site.site_id, day, water.water_c[day]))
                break
    return found


def scored_days(water: Water, first: date, last: date) -> list[date]:
    return [d for d in sorted(water.water_c) if first <= d <= last]


def ours(water: Water, fall: int, readings: Sequence[Reading], days: Sequence[date]) -> np.ndarray:
    """Rows of (error, inside the 80 % band) for each day."""
    last = fall_day(days[-1], fall) + 1
    by_fall: dict[int, list[Reading]] = {}
    for reading in readings:
        year = fall_of(reading.day)
        if year is not None:
            by_fall.setdefault(year, []).append(reading)
    rows = tuple(
        part
        for year, own in sorted(by_fall.items())
        for part in rows_of(
            own, water.site, fall=year, present=year == fall, day_count=last if year == fall else 184
        )
    )
    pond = Pond(water.site.site_id, pond_prior(water.site), water.series, rows)
    path = water_path(fit_route([pond], fall=fall).ponds[pond.site_id], day_count=last)
    at = [fall_day(day, fall) for day in days]
    truth = np.array([water.water_c[day] for day in days])
    inside = (path.p10_c[at] <= truth) & (truth <= path.p90_c[at])
    return np.column_stack([path.water_c[at] - truth, inside])


def opponents(water: Water, readings: Sequence[Reading], days: Sequence[date]) -> dict[str, np.ndarray]:
    """Errors of three simple ways with the same readings; empty where they need readings."""
    start, air = water.series.first_day, water.series.air_c
    mean5 = np.convolve(air, np.ones(5) / 5)[: len(air)]
    lagged = lag_terms(air[None, :], pond_prior(water.site).lag_days)[0]
    at = np.array([(day - start).days for day in days])
    truth = np.array([water.water_c[day] for day in days])
    read_at = np.array([(r.day - start).days for r in readings], int)
    read = np.array([r.water_c for r in readings])
    found = {}
    for name, series in (("same-day air", air), ("5-day air", mean5)):
        offset = float((read - series[read_at]).mean()) if len(read) else 0.0
        found[name] = series[at] + offset - truth
    if len(read) >= 2:
        columns = np.column_stack([np.ones(len(lagged)), lagged])
        best = np.linalg.lstsq(columns[read_at], read, rcond=None)[0]
        found["least squares"] = columns[at] @ best - truth
    return found


def rmse(errors: Sequence[np.ndarray]) -> str:
    return f"{np.sqrt(np.mean(np.concatenate(errors) ** 2)):.2f}" if errors else "-"


def main(folder: Path, *, quick: bool) -> None:
    print("RMSE [°C] of daily mean water; in brackets bias and share of days inside the 80 % band")
    for path in sorted(folder.glob("*.csv")):
        if path.stem not in WATERS:
            continue
        water = read_water(path)
        falls = water.falls[::5] if quick else water.falls
        for count in COUNTS:
            scored, others = [], dict[str, list[np.ndarray]]()
            for fall in falls:
                days = scored_days(water, date(fall, 10, 16), date(fall, 11, 20))
                readings = few_readings(water, fall, count)
                if days:
                    scored.append(ours(water, fall, readings, days))
                    for name, errors in opponents(water, readings, days).items():
                        others.setdefault(name, []).append(errors)
            whole = np.concatenate(scored)
            rest = ", ".join(f"{name} {rmse(errors)}" for name, errors in others.items())
            print(
                f"{path.stem:8s} {count} readings, {len(falls)} falls: {rmse([whole[:, 0]])} "
                f"({whole[:, 0].mean():+.2f}, {whole[:, 1].mean():.2f}); {rest}"
            )
        full_record(water, quick=quick)


def full_record(water: Water, *, quick: bool) -> None:
    """All readings of the earlier falls, none of the scored one; falls with 15 or more before them."""
    falls = [fall for fall in water.falls if fall >= max(2000, water.falls[0] + 15)]
    scored = []
    for fall in falls[::4] if quick else falls:
        days = scored_days(water, date(fall, 9, 1), date(fall, 11, 20))
        name = water.site.site_id
        earlier = [Reading(name, d, v) for d, v in water.water_c.items() if d < date(fall, 8, 1)]
        scored.append(ours(water, fall, earlier, days))
    if scored:
        whole = np.concatenate(scored)
        print(
            f"{water.site.site_id:8s} full record, falls from {falls[0]}, 1 Sep-20 Nov: "
            f"{rmse([whole[:, 0]])} "
            f"({whole[:, 0].mean():+.2f}, {whole[:, 1].mean():.2f})"
        )


if __name__ == "__main__":
    names = [argument for argument in sys.argv[1:] if not argument.startswith("--")]
    default = Path(__file__).resolve().parents[3] / "shared/data/water"
    main(Path(names[0]) if names else default, quick="--quick" in sys.argv)
