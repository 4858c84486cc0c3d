"""The air over a site: which stations count for it, how much, and what is added for its height and hollow.

The nearest stations are blended with weights of one over the square of an effective distance, in which
100 m of height count as 10 km. Means are moved by 6.5 °C/km to the site's elevation. Minima are not: on the
clear, still nights that bring the first freezes cold air drains into valleys and the lapse vanishes or turns
around. Hubbard Brook, New Hampshire (Sep-Nov, valley floor at 252 m against a slope at 750 m): minima +0.9
°C/km, on nights of -2.2 °C or colder +0.5 °C/km, means -2.0 °C/km. A lapse on minima would promise frost to
slopes and spare hollows, the wrong way round; what a site has of its own is `minimum_offset_c`.
Limits: no coast, no town, no cloud; a site's minimum may come out above its mean on a dull day far uphill.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.errors import BadInput, Problem
from forecaster.season.sites import Site
from forecaster.weather.station_sheet import coordinate_hint
from forecaster.weather.stations import Station

Floats = NDArray[np.float64]

FARTHEST_KM = 150.0
"""Beyond it a station's weather is not the site's [km]; common practice, no source."""
FLOOR_KM = 2.0
"""Distance below which nearer is no better [km]: a station next door does not silence one two miles off."""
KM_PER_M = 0.1
"""Horizontal distance [km] that a metre of height counts as."""
LAPSE_C_PER_M = 0.0065
"""Fall of the daily mean with height [°C/m]: the International Standard Atmosphere, ISO 2533."""
MINIMUM_LAPSE_C_PER_M = 0.0
"""Fall of the daily minimum with height [°C/m]; see above why it is none."""


@dataclass(frozen=True)
class SiteAir:
    """How a site's air follows from the stations' air.

    `station_index`: positions of the stations blended, nearest first; `station_id` names the nearest.
    `mean_weights` sum to 1; `min_weights` sum to 1, or are all 0 where no station near the site measures
    minima (freeze risk is refused there). `mean_shift_c`, `min_shift_c`: added after blending [°C].
    `distance_km`: to each station blended.
    """

    site_id: str
    station_id: str
    station_index: tuple[int, ...]
    mean_weights: tuple[float, ...]
    min_weights: tuple[float, ...]
    mean_shift_c: float
    min_shift_c: float
    distance_km: tuple[float, ...]

    @property
    def has_minima(self) -> bool:
        """True where freezes can be forecast."""
        return sum(self.min_weights) > 0.0

    def mean_c(self, tmean_c: Floats) -> Floats:
        """Daily mean at the site [°C] from the stations' of shape (station, ...); missing stays NaN."""
        return _blend(tmean_c, self.station_index, self.mean_weights) + self.mean_shift_c

    def minimum_c(self, tmin_c: Floats) -> Floats:
        """Daily minimum at the site [°C], likewise; all NaN where `has_minima` is False."""
        blended = _blend(tmin_c, self.station_index, self.min_weights) + self.min_shift_c
        return blended if self.has_minima else np.full_like(blended, np.nan)


@dataclass(frozen=True, eq=False)
class AirMatrices:
    """All sites at once: `mean` and `minimum` weights of shape (site, station), shifts [°C] of (site,)."""

    mean: Floats
    minimum: Floats
    mean_shift_c: Floats
    min_shift_c: Floats

    def of_rows(self, rows: Sequence[int]) -> AirMatrices:
        """The same for some of the sites only."""
        pick = list(rows)
        return AirMatrices(
            self.mean[pick], self.minimum[pick], self.mean_shift_c[pick], self.min_shift_c[pick]
        )


def site_air(
    sites: Sequence[Site],
    stations: Sequence[Station],
    *,
    stations_per_site: int,
    has_tmin: Sequence[bool],
    sheet: str = "sites.csv",
) -> tuple[SiteAir, ...]:
    """The stations that count for each site, and how much.

    Args:
        sites: With `elevation_m` None where unknown: then no lapse, and height does not count as distance.
        stations: As in the weather, in its order.
        stations_per_site: At most so many, the nearest ones, for means and for minima each; 1 or more.
        has_tmin: One a station: False where it has no minima, so none is taken from it.
        sheet: Name of the sites sheet in messages.
    Raises:
        BadInput: A site lies more than 150 km from every station; all such sites at once.
    """
    if stations_per_site < 1 or not stations or len(has_tmin) != len(stations):
        raise ValueError("needs a station, stations_per_site of 1 or more, and has_tmin for each station")
    latitude = np.array([station.latitude for station in stations])
    longitude = np.array([station.longitude for station in stations])
    distance_km = haversine_km(
        np.array([[site.latitude] for site in sites]).reshape(-1, 1),
        np.array([[site.longitude] for site in sites]).reshape(-1, 1),
        latitude,
        longitude,
    )
    problems = []
    for site, away in zip(sites, distance_km, strict=True):
        if away.min() > FARTHEST_KM:
            hint = coordinate_hint(site.latitude, site.longitude, latitude, longitude)
            cure = hint[0].upper() + hint[1:] if hint else "Check the place, or add a nearer station."
            nearest = stations[int(np.argmin(away))].station_id
            found = f"{away.min():.0f} km from the nearest station ({nearest})"
            text = f"{found}; allowed {FARTHEST_KM:g} km. {cure}"
            problems.append(Problem(f"{sheet} row {site.row}, latitude, longitude", text))
    if problems:
        raise BadInput(problems)
    measures_min = np.array(has_tmin, dtype=np.bool_)
    return tuple(
        _one_site(site, stations, away, stations_per_site, measures_min)
        for site, away in zip(sites, distance_km, strict=True)
    )


def air_matrices(airs: Sequence[SiteAir], station_count: int) -> AirMatrices:
    """The weights of many sites as matrices: `matrices.mean @ tmean_c + matrices.mean_shift_c[:, None]`."""
    mean, minimum = np.zeros((len(airs), station_count)), np.zeros((len(airs), station_count))
    for row, air in enumerate(airs):
        mean[row, list(air.station_index)] = air.mean_weights
        minimum[row, list(air.station_index)] = air.min_weights
    shifts = [np.array([getattr(air, name) for air in airs]) for name in ("mean_shift_c", "min_shift_c")]
    return AirMatrices(mean, minimum, shifts[0], shifts[1])


def _one_site(
    site: Site, stations: Sequence[Station], away_km: Floats, at_most: int, measures_min: NDArray[np.bool_]
) -> SiteAir:
    elevation = np.array([station.elevation_m for station in stations])
    order = [int(i) for i in np.argsort(away_km, kind="stable") if away_km[i] <= FARTHEST_KM]
    for_mean = order[:at_most]
    for_min = [i for i in order if measures_min[i]][:at_most]
    used = [i for i in order if i in for_mean or i in for_min]
    climb = np.zeros(elevation.size) if site.elevation_m is None else site.elevation_m - elevation
    effective_squared = away_km**2 + FLOOR_KM**2 + (KM_PER_M * climb) ** 2
    weights = []
    for chosen in (for_mean, for_min):
        raw = np.array([1.0 / effective_squared[i] if i in chosen else 0.0 for i in used])
        weights.append(raw / raw.sum() if raw.any() else raw)
    mean_climb, min_climb = (float(w @ climb[used]) for w in weights)
    return SiteAir(
        site_id=site.site_id,
        station_id=stations[for_mean[0]].station_id,
        station_index=tuple(used),
        mean_weights=tuple(float(w) for w in weights[0]),
        min_weights=tuple(float(w) for w in weights[1]),
        mean_shift_c=0.0 - LAPSE_C_PER_M * mean_climb,
        min_shift_c=site.minimum_offset_c - MINIMUM_LAPSE_C_PER_M * min_climb,
        distance_km=tuple(float(away_km[i]) for i in used),
    )


def _blend(values_c: Floats, index: Sequence[int], weights: Sequence[float]) -> Floats:
    """Weighted sum over the first axis; a station of weight 0 cannot spoil it with NaN."""
    used = [(i, w) for i, w in zip(index, weights, strict=True) if w > 0.0]
    blended = np.zeros(np.shape(values_c)[1:])
    for i, weight in used:
        blended = blended + weight * values_c[i]
    return blended
