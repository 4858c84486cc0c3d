"""Which stations of a list serve the sites, and why: near, of like height, long and whole records, alive.

Pure. Stations are compared by an effective distance: 100 m of height count as 10 km, and a short or gappy
record makes a station seem farther. One that has stopped reporting, or that measures no minima, is not
taken. Limits: what the list says of a record may be late or wrong; the update checks what really came.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.distance import haversine_km
from forecaster.season.sites import Site
from forecaster.weather.site_air import FARTHEST_KM, FLOOR_KM, KM_PER_M
from forecaster.weather.stations import Station

SEARCH_KM = 120.0
"""Stations farther than this from a site are not looked at [km]."""
ALIVE_DAYS = 60
"""A station whose listed record ends earlier than this before today has stopped [days]: lists lag."""
WHOLE_SHARE = 0.8
"""Share of days below which a record counts as gappy."""
FEWEST_YEARS = 15
"""Years that a record must have: the spread of a fall cannot be told from fewer."""
UNKNOWN_FACTOR, SHORT_FACTOR, GAPPY_FACTOR = 1.5, 1.5, 1.5
"""How much farther a station seems whose record is not listed, shorter than wanted, or gappy: our choice."""
OTHERS_SHOWN = 6
"""Stations not taken that are shown with their reason, for each site."""


@dataclass(frozen=True)
class Candidate:
    """A station of the list. `first_day`, `last_day`, `completeness` (0-1) and `has_tmin` are what the list
    says of its record, None where it says nothing; `timezone` is "" where unknown; `noaa_id` is its id in
    NOAA's daily archive, "" where it has none."""

    station: Station
    timezone: str
    first_day: date | None
    last_day: date | None
    completeness: float | None
    has_tmin: bool | None
    noaa_id: str = ""


@dataclass(frozen=True)
class Option:
    """One station seen from one site: `distance_km`, `climb_m` (site above station, None unknown), whether
    it is `taken`, and the reason in words."""

    station_id: str
    name: str
    distance_km: float
    climb_m: float | None
    taken: bool
    reason: str


@dataclass(frozen=True)
class SiteChoice:
    """The options of one site, those taken first, nearest first."""

    site_id: str
    options: tuple[Option, ...]

    @property
    def taken(self) -> tuple[str, ...]:
        """Ids of the stations taken."""
        return tuple(option.station_id for option in self.options if option.taken)


def choose_stations(
    sites: Sequence[Site],
    candidates: Sequence[Candidate],
    *,
    per_site: int,
    years: int,
    today: date,
    only: Collection[str] = (),
    never: Collection[str] = (),
) -> tuple[SiteChoice, ...]:
    """The stations of each site, with reasons.

    Args:
        sites: `elevation_m` None: then height does not count.
        candidates: Of the list.
        per_site: Stations to take for each site, at most.
        years: Years of record wanted; shorter ones down to 15 years are taken if nothing better is near.
        today: Decides who has stopped reporting and how long a record is.
        only: If given, these stations are taken for every site within 150 km, whatever their record.
        never: Stations that are not taken.
    """
    if not candidates:
        return tuple(SiteChoice(site.site_id, ()) for site in sites)
    latitude = np.array([c.station.latitude for c in candidates])
    longitude = np.array([c.station.longitude for c in candidates])
    factors = [_factor(c, years=years, today=today, only=only, never=never) for c in candidates]
    choices = []
    for site in sites:
        away_km = haversine_km(site.latitude, site.longitude, latitude, longitude)
        ranked = []
        for at, (candidate, (factor, reason)) in enumerate(zip(candidates, factors, strict=True)):
            climb = None if site.elevation_m is None else site.elevation_m - candidate.station.elevation_m
            height_km = 0.0 if climb is None else KM_PER_M * climb
            effective_km = float(np.sqrt(away_km[at] ** 2 + FLOOR_KM**2 + height_km**2)) * factor
            ranked.append((effective_km, candidate, float(away_km[at]), climb, reason))
        ranked.sort(key=lambda entry: (entry[0], entry[2], entry[1].station.station_id))
        choices.append(SiteChoice(site.site_id, _options(ranked, per_site, only)))
    return tuple(choices)


def stations_taken(choices: Sequence[SiteChoice]) -> tuple[str, ...]:
    """All stations that any site takes, by id."""
    return tuple(sorted({station_id for choice in choices for station_id in choice.taken}))


def _options(
    ranked: Sequence[tuple[float, Candidate, float, float | None, str]], per_site: int, only: Collection[str]
) -> tuple[Option, ...]:
    taken: list[Option] = []
    others: list[Option] = []
    reach_km = FARTHEST_KM if only else SEARCH_KM
    for effective_km, candidate, away_km, climb, reason in ranked:
        usable = np.isfinite(effective_km) and away_km <= reach_km
        takes = bool(usable and len(taken) < per_site)
        if usable and not takes:
            reason = f"{reason}; {per_site} better ones are taken" if reason else "enough better ones"
        elif not usable and np.isfinite(effective_km):
            reason = f"more than {reach_km:g} km away"
        if not takes and away_km > SEARCH_KM:
            continue
        station = candidate.station
        option = Option(station.station_id, station.name, away_km, climb, takes, reason)
        (taken if takes else others).append(option)
    others.sort(key=lambda option: option.distance_km)
    return (*taken, *others[:OTHERS_SHOWN])


def _factor(
    candidate: Candidate, *, years: int, today: date, only: Collection[str], never: Collection[str]
) -> tuple[float, str]:
    """How much farther a station seems, infinite for one that is not taken, and why."""
    station_id = candidate.station.station_id
    if station_id in never:
        return np.inf, "left out by exclude_stations"
    if not np.isfinite(candidate.station.elevation_m):
        return np.inf, "its elevation is not known"
    if only:
        named = station_id in only
        return (1.0, "named in [weather] stations") if named else (np.inf, "not named in [weather] stations")
    if candidate.has_tmin is False:
        return np.inf, "measures no minima"
    if candidate.first_day is None or candidate.last_day is None:
        return UNKNOWN_FACTOR, "the list does not say how long its record is"
    if candidate.last_day < today - timedelta(days=ALIVE_DAYS):
        return np.inf, f"its record ends on {candidate.last_day}"
    length = (today - candidate.first_day).days / 365.25
    if length < FEWEST_YEARS:
        return np.inf, f"only {length:.0f} years of record ({FEWEST_YEARS} are needed)"
    factor, reasons = 1.0, [f"record since {candidate.first_day.year}"]
    if length < years:
        factor *= SHORT_FACTOR
        reasons = [f"record only since {candidate.first_day.year}"]
    if candidate.completeness is not None:
        if candidate.completeness < WHOLE_SHARE:
            factor *= GAPPY_FACTOR
        reasons.append(f"{candidate.completeness:.0%} of its days")
    return factor, ", ".join(reasons)
