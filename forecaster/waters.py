"""The water of every pond day by day: today's state, what it rests on, and the long table of all days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import fall_day, fall_start
from forecaster.known import Known, SiteAirSoFar, air_so_far, ponds_of
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.water.pooling import PondFit, RouteFit, fit_route
from forecaster.water.state import WaterPath, shares, water_path


@dataclass(frozen=True, eq=False)
class SiteWater:
    """One pond on the as-of date: its path from 1 August, air, last reading, and what the value rests on.

    `shares` of own readings, the route's and the prior, 0-1, sum 1; `air_c` (day,) of the fall until the
    as-of date [°C].
    """

    site: Site
    fit: PondFit
    path: WaterPath
    shares: dict[str, float]
    air_c: np.ndarray
    readings: tuple[Reading, ...]

    @property
    def last_reading(self) -> Reading | None:
        """The latest reading of this fall, or of an earlier one."""
        return self.readings[-1] if self.readings else None


@dataclass(frozen=True, eq=False)
class RouteWater:
    """All ponds of the route on the as-of date, in the sheet's order, and what to tell the user."""

    known: Known
    ponds: tuple[SiteWater, ...]
    fit: RouteFit
    notices: tuple[Notice, ...]


@dataclass(frozen=True)
class WaterDay:
    """One row of the long table; daily mean water [°C] and the middle 80 % of it."""

    site_id: str
    day: date
    water_c: float
    water_p10_c: float
    water_p90_c: float


def route_water(known: Known, sites: Sequence[Site] | None = None) -> RouteWater:
    """Today's water of each pond whose water follows the weather; closed ponds teach but are shown too."""
    chosen = tuple(known.sites if sites is None else sites)
    air = air_so_far(known, known.sites)
    ponds, notices = ponds_of(known, known.sites, air)
    fit = fit_route(ponds, fall=known.fall)
    rows = {site.site_id: position for position, site in enumerate(known.sites)}
    wanted = {site.site_id for site in chosen}
    day_count = max(known.as_of_day, 1)
    found = []
    for pond in ponds:
        if pond.site_id not in wanted:
            continue
        position = rows[pond.site_id]
        own = fit.ponds[pond.site_id]
        found.append(
            SiteWater(
                site=known.sites[position],
                fit=own,
                path=water_path(own, day_count=day_count),
                shares=shares(own, day=day_count - 1),
                air_c=air.past_mean_c[position, :day_count],
                readings=readings_of(known, pond.site_id),
            )
        )
    return RouteWater(known, tuple(found), fit, (*known.notices, *notices))


def readings_of(known: Known, site_id: str) -> tuple[Reading, ...]:
    """Readings of one site up to the as-of date, in order of time."""
    own = [reading for reading in known.readings if reading.site_id == site_id]
    return tuple(sorted(own, key=lambda r: (r.day, -1.0 if r.hour is None else r.hour, r.water_c)))


def water_days(known: Known, *, first_day: date | None = None, filtered: bool = False) -> Iterator[WaterDay]:
    """Every day's water from `first_day` (1 August) to the day before the as-of date, site by site.

    Args:
        known: What is known on the as-of date.
        first_day: May lie in an earlier fall; days without air are left out.
        filtered: Use for each day only readings up to that day; otherwise all up to the as-of date.
    """
    start = first_day or fall_start(known.fall)
    last = known.as_of - timedelta(days=1)
    air = air_so_far(known, known.sites)
    table: dict[str, list[WaterDay]] = {site.site_id: [] for site in known.sites}
    for year in range(start.year - 1, known.fall + 1):
        first = max(start, fall_start(year))
        end = min(last, fall_start(year + 1) - timedelta(days=1))
        if first > end:
            continue
        for part_first, part_end, upto in _parts(known, first, end, filtered=filtered):
            seen = replace(known, readings=tuple(r for r in known.readings if r.day <= upto))
            for row in _fall_days(seen, air, year, part_first, part_end):
                table[row.site_id].append(row)
    for site in known.sites:
        yield from table[site.site_id]


def _parts(known: Known, first: date, end: date, *, filtered: bool) -> list[tuple[date, date, date]]:
    """Stretches of days that use the same readings: first, last, and the day up to which readings count."""
    if not filtered:
        return [(first, end, known.as_of)]
    changes = sorted({r.day for r in known.readings if first < r.day <= end})
    starts = [first, *changes]
    ends = [day - timedelta(days=1) for day in changes] + [end]
    return [(a, b, a) for a, b in zip(starts, ends, strict=True)]


def _fall_days(known: Known, air: SiteAirSoFar, fall: int, first: date, end: date) -> Iterator[WaterDay]:
    day_count = fall_day(end, fall) + 1
    ponds, _ = ponds_of(known, known.sites, air, fall=fall, day_count=day_count)
    fit = fit_route(ponds, fall=fall)
    for pond in ponds:
        known_air = np.isfinite(pond.series.slice_from(fall_start(fall), day_count))
        path = water_path(fit.ponds[pond.site_id], day_count=day_count)
        for index in range(fall_day(first, fall), day_count):
            if known_air[index]:
                yield WaterDay(
                    pond.site_id,
                    fall_start(fall) + timedelta(days=index),
                    float(path.water_c[index]),
                    float(path.p10_c[index]),
                    float(path.p90_c[index]),
                )
