"""Whole falls cut out of the weather: those that may serve as a source of members, and their days.

Position 0 of a block is 1 August less the margin. With the margin of 10 days a block runs from 22 July to
10 February: it never holds 29 February, so blocks of all years line up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_start
from forecaster.weather.stations import Weather

MARGIN_DAYS = 10
"""Days on each side of a fall that a season shifted by up to 10 days needs."""
WIDEST_MARGIN_DAYS = 28
"""Beyond it a block would reach 29 February (31 January + 28 days = 28 February)."""


@dataclass(frozen=True, eq=False)
class FallBlock:
    """One fall at all stations [°C], shape (station, 184 + 2 * margin_days); NaN where nothing is known."""

    year: int
    margin_days: int
    tmean_c: NDArray[np.float64]
    tmin_c: NDArray[np.float64]


def fall_block(weather: Weather, year: int, *, margin_days: int = MARGIN_DAYS) -> FallBlock:
    """The days from `margin_days` before 1 August of `year` to as many after the next 31 January.

    Args:
        weather: Days outside its axis come out as NaN.
        year: Of the fall's August.
        margin_days: 0 to 28 [days].
    Raises:
        ValueError: The margin would reach 29 February.
    """
    if not 0 <= margin_days <= WIDEST_MARGIN_DAYS:
        raise ValueError(f"margin_days is {margin_days}, allowed are 0 to {WIDEST_MARGIN_DAYS}")
    position = weather.index_of(fall_start(year)) - margin_days + np.arange(FALL_DAYS + 2 * margin_days)
    inside = (position >= 0) & (position < weather.day_count)
    blocks = []
    for values in (weather.tmean_c, weather.tmin_c):
        block = np.full((values.shape[0], position.size), np.nan)
        block[:, inside] = values[:, position[inside]]
        blocks.append(block)
    return FallBlock(year, margin_days, blocks[0], blocks[1])


def usable_falls(
    weather: Weather, before: int, *, margin_days: int = MARGIN_DAYS, stations: Sequence[int] | None = None
) -> tuple[int, ...]:
    """Falls earlier than `before` without a missing day at any station, oldest first.

    Args:
        weather: After filling.
        before: Year of a fall; it and later ones are left out.
        margin_days: Days on each side that must be complete as well [days].
        stations: Positions of the stations that count; None for all.
    Returns:
        Years whose daily means are complete at all these stations, and whose minima are at those that
        measure minima at all.
    """
    wanted = list(range(len(weather.stations))) if stations is None else list(stations)
    with_tmin = [station for station in wanted if weather.has_tmin[station]]
    usable = []
    for year in range(weather.first_day.year - 1, before):
        block = fall_block(weather, year, margin_days=margin_days)
        if np.isfinite(block.tmean_c[wanted]).all() and np.isfinite(block.tmin_c[with_tmin]).all():
            usable.append(year)
    return tuple(usable)
