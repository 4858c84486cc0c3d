"""Snow in the members: on the days ahead that of the source season, so far this fall's own. Pure.

Snow is not modelled: a member has the snow of the season that it comes from, on the days moved as it is
moved. A source season counts where most days of its winter are recorded; a day that is not counts as bare.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.scenarios import Members
from forecaster.season.sites import Site
from forecaster.season.snow_file import Snow
from forecaster.weather.stations import Station

COVERING_M = 0.02
"""Snow this deep shuts out much of the light [m]; ours, no source."""
FIRST_DAY = 92
"""Days from 1 November on must be recorded for a season to count."""
RECORDED_SHARE = 0.8


@dataclass(frozen=True, eq=False)
class SnowMembers:
    """Where snow covers the ground: `covered` (day, m) of the fall; `known` (m,): members that count."""

    station_id: str
    covered: NDArray[np.bool_]
    known: NDArray[np.bool_]


def snow_members(snow: Snow, station_id: str, members: Members, *, fall: int, as_of_day: int) -> SnowMembers:
    """The snow of one station in every member."""
    depths = snow.depth_m[station_id]
    so_far = np.array([_covers(depths, fall_start(fall) + timedelta(days=d)) == 1 for d in range(as_of_day)])
    covered = np.zeros((FALL_DAYS, members.count), bool)
    known = np.zeros(members.count, bool)
    made: dict[tuple[int, int], tuple[NDArray[np.bool_], bool]] = {}
    for member in range(members.count):
        key = (int(members.source_fall[member]), int(members.shift_days[member]))
        if key not in made:
            made[key] = _of_season(depths, *key)
        covered[:, member], known[member] = made[key]
    covered[:as_of_day] = so_far[:, None] if as_of_day else covered[:0]
    return SnowMembers(station_id, covered, known)


def _of_season(depths: Mapping[date, float], fall: int, shift: int) -> tuple[NDArray[np.bool_], bool]:
    first = fall_start(fall) + timedelta(days=shift)
    found = np.array([_covers(depths, first + timedelta(days=d)) for d in range(FALL_DAYS)])
    return found == 1, bool((found[FIRST_DAY:] >= 0).mean() >= RECORDED_SHARE)


def _covers(depths: Mapping[date, float], day: date) -> int:
    """1 where snow covers the ground, 0 where not, -1 where nobody recorded."""
    depth_m = depths.get(day)
    return -1 if depth_m is None else int(depth_m >= COVERING_M)


def nearest_with_snow(site: Site, stations: Sequence[Station], snow: Snow) -> str | None:
    """The nearest station that records snow."""
    kept = [station for station in stations if station.station_id in snow.depth_m]
    if not kept:
        return None
    away = haversine_km(
        site.latitude,
        site.longitude,
        np.array([station.latitude for station in kept]),
        np.array([station.longitude for station in kept]),
    )
    return kept[int(np.argmin(away))].station_id
