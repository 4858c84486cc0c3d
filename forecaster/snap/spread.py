"""How far a site's night may lie from the blend of its stations: measured by leaving each station out.

A station that is left out plays the site: what the others' blend says of it on cold nights, less what it
measured, has a part that stays (the place: hollow, town, water near) and a part that changes from night to
night. The route's own stations are few, so both are drawn toward those of a real valley. Limits: one pair
of numbers for all sites; one farther from its stations than they from each other is known less well.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.season.sites import Site
from forecaster.weather.site_air import FARTHEST_KM, site_air
from forecaster.weather.stations import Station, Weather

Floats = NDArray[np.float64]

USUAL_PLACE_SD_C, USUAL_NIGHT_SD_C = 0.9, 1.7
"""Hubbard Brook, New Hampshire: four stations 1-6 km apart, September to January 2008-2022, nights of 2 °C or
colder in the blend of the other three: root mean square of the places' means 0.88 °C, of the nights around
them 1.2-2.3 °C, mean 1.7 (`tests/bench/snap_reliability.py --left-out`)."""
USUAL_PLACES = 4.0
"""Weight of these usual spreads, in left-out stations."""
OFFSET_DOUBT = 0.3
"""Standard deviation of a site's own offset as a share of it; an assumption, no source."""
COLD_C, YEARS, COLD_MONTHS, FEWEST_NIGHTS = 2.0, 15, (9, 10, 11, 12, 1), 60
NIGHT_MEMORY = 0.35
"""Correlation of the deviations of neighbouring nights: 0.31-0.36 there."""


@dataclass(frozen=True)
class LowSpread:
    """Standard deviation of a site's minimum around the blend [°C]: of the place, of single nights, and of
    how many left-out stations they were measured."""

    place_sd_c: float
    night_sd_c: float
    places: int

    def place_of(self, site: Site) -> float:
        """Of one site, whose offset the office has estimated [°C]."""
        return float(np.hypot(self.place_sd_c, OFFSET_DOUBT * site.minimum_offset_c))


def low_spread(weather: Weather, *, stations_per_site: int) -> LowSpread:
    """Measured on the last 15 falls of the weather, drawn toward the usual spread."""
    square_place, square_night, weight = USUAL_PLACES * USUAL_PLACE_SD_C**2, 0.0, USUAL_PLACES
    square_night = USUAL_PLACES * USUAL_NIGHT_SD_C**2
    places = 0
    for left_out in range(len(weather.stations)):
        off_c = blend_error(weather, left_out, stations_per_site=stations_per_site)
        if off_c.size >= FEWEST_NIGHTS:
            square_place += float(off_c.mean() ** 2)
            square_night += float(off_c.var())
            weight, places = weight + 1.0, places + 1
    return LowSpread(float(np.sqrt(square_place / weight)), float(np.sqrt(square_night / weight)), places)


def blend_error(weather: Weather, left_out: int, *, stations_per_site: int) -> Floats:
    """Measured less blended minimum of one station from the others' on cold nights [°C], shape (night,)."""
    others = [n for n in range(len(weather.stations)) if n != left_out and weather.has_tmin[n]]
    station = weather.stations[left_out]
    near = [n for n in others if _km(station, weather.stations[n]) <= FARTHEST_KM]
    if not near or not weather.has_tmin[left_out]:
        return np.zeros(0)
    air = site_air(
        [_as_site(station)],
        [weather.stations[n] for n in near],
        stations_per_site=stations_per_site,
        has_tmin=[True] * len(near),
    )[0]
    seen = np.where(weather.filled, np.nan, weather.tmin_c)
    blend = air.minimum_c(seen[near])
    last = weather.last_day
    days = [weather.first_day + timedelta(days=n) for n in range(weather.day_count)]
    counted = np.array([d.month in COLD_MONTHS and d.year >= last.year - YEARS for d in days], np.bool_)
    off = seen[left_out] - blend
    return np.asarray(off[counted & np.isfinite(off) & (np.nan_to_num(blend, nan=99.0) <= COLD_C)])


def _as_site(station: Station) -> Site:
    return Site(
        station.station_id, "", station.latitude, station.longitude, None,
        kind="fountain", elevation_m=station.elevation_m,
    )  # fmt: skip


def _km(a: Station, b: Station) -> float:
    pair = [np.array([value]) for value in (a.latitude, a.longitude, b.latitude, b.longitude)]
    return float(haversine_km(*pair)[0])


def drawn_lows(
    base_c: Floats,
    extra_sd_c: Floats,
    spread: LowSpread,
    site: Site,
    rng: np.random.Generator,
    *,
    count: int,
) -> NDArray[np.float32]:
    """A site's minima in each member [°C], shape (count, day).

    Args:
        base_c: The blend at the site, (count, day) or (1, day); NaN where nobody knows stays NaN.
        extra_sd_c: What a night's blend is unsure by itself (days filled from neighbours) [°C], (day,).
        spread: Of the places and nights.
        site: Its offset is already in `base_c`; here only its doubt counts.
        rng: The site's own generator.
        count: Members.
    """
    days = base_c.shape[1]
    place = rng.standard_normal((count, 1)) * spread.place_of(site)
    night = rng.standard_normal((count, days))
    fresh = np.sqrt(1.0 - NIGHT_MEMORY**2)
    for day in range(1, days):
        night[:, day] = NIGHT_MEMORY * night[:, day - 1] + fresh * night[:, day]
    return np.asarray(base_c + place + night * np.hypot(spread.night_sd_c, extra_sd_c), np.float32)
