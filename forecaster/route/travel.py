"""Driving times between start places and sites: from the office's table, else from straight lines.

An estimate is the great-circle distance times the road factor over the speed. Where a table is mixed in,
a drive is never longer than the same drive by way of another place, so that leaving out a stop never makes
a round longer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.season.settings import Crew, RouteSettings
from forecaster.season.sites import Site
from forecaster.season.travel_times import TravelTimes

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Travel:
    """Driving [h], directed: `out` and `back` (crew, site), `between` (site, site).

    `estimated`: share of the pairs that are estimates from straight lines, 0-1.
    """

    out: Floats
    back: Floats
    between: Floats
    estimated: float = 1.0


def travel_of(
    sites: Sequence[Site], crews: Sequence[Crew], route: RouteSettings, table: TravelTimes | None = None
) -> Travel:
    """Driving times of a route."""
    names = [*(crew.name for crew in crews), *(site.site_id for site in sites)]
    starts = [(crew.latitude, crew.longitude) for crew in crews]
    hours = drive_hours([*starts, *((site.latitude, site.longitude) for site in sites)], route)
    count, given = len(crews), set[tuple[int, int]]()
    if table is not None and table.table:
        index = {name: at for at, name in enumerate(names)}
        for start, end in [*table.table, *((end, start) for start, end in table.table)]:
            known = table.hours(start, end)
            if start in index and end in index and start != end and known is not None:
                hours[index[start], index[end]] = known
                given.add((index[start], index[end]))
        _close(hours)
    pairs = max(1, len(names) * (len(names) - 1))
    return Travel(
        out=hours[:count, count:].copy(),
        back=hours[count:, :count].T.copy(),
        between=hours[count:, count:].copy(),
        estimated=1.0 - len(given) / pairs,
    )


def drive_hours(places: Sequence[tuple[float, float]], route: RouteSettings) -> Floats:
    """Estimated driving between places [h], shape (n, n), from (latitude, longitude) in degrees.

    >>> from forecaster.season.settings import RouteSettings
    >>> km60 = drive_hours([(43.0, -88.0), (43.0 + 60 / 111.195, -88.0)], RouteSettings(speed_km_h=60.0))
    >>> float(km60[0, 1].round(3))  # 60 km by air, 78 by road
    1.3
    """
    if not places:
        return np.zeros((0, 0))
    latitude = np.array([place[0] for place in places])
    longitude = np.array([place[1] for place in places])
    away = haversine_km(latitude[:, None], longitude[:, None], latitude[None, :], longitude[None, :])
    return np.asarray(away * route.road_factor / route.speed_km_h)


def _close(hours: Floats) -> None:
    """Shorten every drive that is longer than by way of another place (Floyd 1962, Warshall 1962)."""
    for via in range(len(hours)):
        np.minimum(hours, hours[:, via : via + 1] + hours[via : via + 1, :], out=hours)
