"""Order of a crew-day's stops with arrival and leave times; driving is estimated from straight lines."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from itertools import combinations

import numpy as np

from forecaster.forecast import Stop
from forecaster.season.settings import Crew, RouteSettings
from forecaster.season.sites import Site
from forecaster.weather.distance import haversine_km

EXACT_STOPS = 12
"""Up to so many stops the shortest round is found exactly (Held & Karp 1962), beyond by nearest neighbour."""


def drive_hours(places: Sequence[tuple[float, float]], route: RouteSettings) -> np.ndarray:
    """Estimated driving between places [h], shape (n, n), from (latitude, longitude) in degrees."""
    latitude = np.array([place[0] for place in places])
    longitude = np.array([place[1] for place in places])
    away = haversine_km(latitude[:, None], longitude[:, None], latitude[None, :], longitude[None, :])
    return np.asarray(away * route.road_factor / route.speed_km_h)


def shortest_round(hours: np.ndarray) -> list[int]:
    """Order of places 1..n-1 on the shortest round from place 0 and back; of equals the first by index.

    Args:
        hours: Symmetric driving times, shape (n, n).

    >>> shortest_round(np.array([[0.0, 3, 5, 4], [3, 0, 4, 5], [5, 4, 0, 3], [4, 5, 3, 0]]))
    [1, 2, 3]
    """
    stops = len(hours) - 1
    if stops > EXACT_STOPS:
        return _nearest(hours)
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {
        (1 << (j - 1), j): (float(hours[0, j]), (j,)) for j in range(1, stops + 1)
    }
    for size in range(2, stops + 1):
        for chosen in combinations(range(1, stops + 1), size):
            mask = sum(1 << (j - 1) for j in chosen)
            for last in chosen:
                rest = mask & ~(1 << (last - 1))
                best[mask, last] = min(
                    (round(best[rest, j][0] + float(hours[j, last]), 9), (*best[rest, j][1], last))
                    for j in chosen
                    if j != last
                )
    full = (1 << stops) - 1
    ends = [(round(best[full, j][0] + float(hours[j, 0]), 9), best[full, j][1]) for j in range(1, stops + 1)]
    return list(min(ends)[1]) if ends else []


def _nearest(hours: np.ndarray) -> list[int]:
    order, here, left = [], 0, set(range(1, len(hours)))
    while left:
        here = min(left, key=lambda j: (float(hours[here, j]), j))
        order.append(here)
        left.remove(here)
    return order


def order_stops(
    sites: Sequence[Site], crew: Crew, route: RouteSettings, *, hours_on_site: dict[str, float]
) -> tuple[tuple[Stop, ...], float]:
    """Stops in driving order with clock times, and the driving of the day [h]."""
    by_id = sorted(sites, key=lambda site: site.site_id)
    places = [(crew.latitude, crew.longitude), *((site.latitude, site.longitude) for site in by_id)]
    hours = drive_hours(places, route)
    order = shortest_round(hours)
    clock = datetime.combine(crew.first_day, crew.start_time)
    here, driven, stops = 0, 0.0, []
    for place in order:
        leg = float(hours[here, place])
        site = by_id[place - 1]
        arrive = clock + timedelta(hours=leg)
        clock = arrive + timedelta(hours=hours_on_site[site.site_id])
        stops.append(Stop(site.site_id, _minute(arrive), _minute(clock)))
        driven += leg
        here = place
    driven += float(hours[here, 0]) if order else 0.0
    return tuple(stops), driven


def _minute(moment: datetime) -> time:
    rounded = moment + timedelta(seconds=30)
    return time(rounded.hour, rounded.minute)
