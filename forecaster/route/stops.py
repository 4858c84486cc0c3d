"""Order of a crew-day's stops: the shortest round, exactly for up to 12 stops, and its clock times."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from forecaster.forecast import Stop

EXACT_STOPS = 12
"""Up to so many stops the shortest round is found exactly (Held & Karp 1962)."""
ROUNDED = 9
"""Decimals of hours that count: rounds that differ by less are equal, and the first by index is taken."""

Floats = NDArray[np.float64]


def shortest_round(hours: Floats) -> list[int]:
    """Order of places 1..n-1 on the shortest round from place 0 and back; of equals the first by index.

    Beyond 12 stops: the nearest place next, then any stretch turned round while that makes it shorter.

    Args:
        hours: Driving times, shape (n, n), from row to column.

    >>> shortest_round(np.array([[0.0, 3, 5, 4], [3, 0, 4, 5], [5, 4, 0, 3], [4, 5, 3, 0]]))
    [1, 2, 3]
    """
    stops = len(hours) - 1
    if stops <= 1:
        return list(range(1, stops + 1))
    return _exact(hours) if stops <= EXACT_STOPS else _turned(hours, _nearest(hours))


def round_hours(hours: Floats, order: Sequence[int]) -> float:
    """Driving of the round from place 0 through `order` and back [h]."""
    path = [0, *order, 0]
    return float(sum(hours[a, b] for a, b in pairwise(path)))


def _exact(hours: Floats) -> list[int]:
    """Backwards over sets of places still to visit, so that the order can be read off from the first."""
    stops = len(hours) - 1
    between = hours[1:, 1:]
    rest = np.full((1 << stops, stops), np.inf)  # [places left, here]: shortest way through them and home
    rest[0] = hours[1:, 0]
    for left in range(1, 1 << stops):
        members = [place for place in range(stops) if left >> place & 1]
        ways = [between[:, place] + rest[left ^ (1 << place), place] for place in members]
        rest[left] = np.round(np.min(ways, axis=0), ROUNDED)
    left, here, order = (1 << stops) - 1, -1, list[int]()
    while left:
        members = [place for place in range(stops) if left >> place & 1]
        first = hours[0, 1:] if here < 0 else between[here]
        ways = [round(float(first[place] + rest[left ^ (1 << place), place]), ROUNDED) for place in members]
        here = members[ways.index(min(ways))]
        order.append(here + 1)
        left ^= 1 << here
    return order


def _nearest(hours: Floats) -> list[int]:
    order, here, left = list[int](), 0, set(range(1, len(hours)))
    while left:
        here = min(left, key=lambda place: (float(hours[here, place]), place))
        order.append(here)
        left.remove(here)
    return order


def _turned(hours: Floats, order: list[int]) -> list[int]:
    best, improved = round_hours(hours, order), True
    while improved:
        improved = False
        for first in range(len(order) - 1):
            for last in range(first + 1, len(order)):
                tried = order[:first] + order[first : last + 1][::-1] + order[last + 1 :]
                length = round_hours(hours, tried)
                if length < best - 1e-9:
                    order, best, improved = tried, length, True
    return order


def clock_stops(
    site_ids: Sequence[str],
    legs_h: Sequence[float],
    on_site_h: Sequence[float],
    *,
    day: date,
    start: time,
) -> tuple[Stop, ...]:
    """Arrival and leave times, to the minute; `legs_h` is the drive to each stop [h].

    A time past midnight ends at 23:59: no crew-day is that long unless its settings are wrong.

    >>> clock_stops(["A", "B"], [0.5, 0.25], [2.0, 1.0], day=date(2025, 10, 6), start=time(7, 30))[1]
    Stop(site_id='B', arrive=datetime.time(10, 15), leave=datetime.time(11, 15))
    """
    clock, stops = datetime.combine(day, start), []
    for site_id, leg, hours in zip(site_ids, legs_h, on_site_h, strict=True):
        arrive = clock + timedelta(hours=leg)
        clock = arrive + timedelta(hours=hours)
        stops.append(Stop(site_id, _minute(arrive, day), _minute(clock, day)))
    return tuple(stops)


def _minute(moment: datetime, day: date) -> time:
    rounded = moment + timedelta(seconds=30)
    return time(rounded.hour, rounded.minute) if rounded.date() == day else time(23, 59)
