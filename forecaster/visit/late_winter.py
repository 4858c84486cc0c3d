"""February and March of every member, which the season's axis does not reach: the source season goes on.

A member is an earlier season moved to now; after 31 January it runs on along that season's own days, moved by
as many days, and lifted by what it was lifted in the last days of January. Its water error of 31 January
stays. Limit: where a source season's late winter has a gap, its members are left out, and that is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_start
from forecaster.scenarios import Members
from forecaster.water.draws import WaterDraws
from forecaster.water.lagged import day_of_year
from forecaster.water.physics import REFERENCE_SUN_W_M2, SUMMER_SOLSTICE, clear_sky_sun
from forecaster.weather.stations import Weather

SEAM_DAYS = 10
"""A member's lift is its mean over so many last days of January [days]."""


@dataclass(frozen=True, eq=False)
class LongMembers:
    """Members whose daily means run to `last_day`; `whole` (m,) tells which of them do.

    `missing_falls`: source seasons whose late winter has a gap at some station.
    """

    members: Members
    day_count: int
    whole: NDArray[np.bool_]
    missing_falls: tuple[int, ...]


def winter_end(fall: int) -> date:
    """31 March after the fall: the last day of the winter that is counted."""
    return date(fall + 1, 3, 31)


def prolonged(members: Members, weather: Weather, used: np.ndarray) -> LongMembers:
    """The members with their daily means carried on to 31 March.

    Args:
        members: The ensemble to 31 January.
        weather: As known on the as-of date, filled.
        used: Stations that some site uses (station,); gaps of others do not count.
    """
    day_count = (winter_end(members.fall) - fall_start(members.fall)).days + 1
    days = np.arange(FALL_DAYS - SEAM_DAYS, day_count)
    rows = members.tmean_base_c.shape[0]
    tail = np.full((rows, members.tmean_base_c.shape[1], day_count - FALL_DAYS), np.nan)
    first_member = {int(row): n for n, row in reversed(list(enumerate(members.base)))}
    for row, member in first_member.items():
        source = int(members.source_fall[member])
        at = weather.index_of(fall_start(source)) + int(members.shift_days[member]) + days
        inside = (at >= 0) & (at < weather.day_count)
        own = np.full((tail.shape[1], len(days)), np.nan)
        own[:, inside] = weather.tmean_c[:, at[inside]]
        lift = (members.tmean_base_c[row, :, FALL_DAYS - SEAM_DAYS :] - own[:, :SEAM_DAYS]).mean(axis=1)
        tail[row] = own[:, SEAM_DAYS:] + lift[:, None]
    row_whole = np.isfinite(tail[:, used]).all(axis=(1, 2))
    whole = row_whole[members.base]
    missing = tuple(sorted({int(fall) for fall in members.source_fall[~whole]}))
    longer = np.concatenate([members.tmean_base_c, tail], axis=2)
    return LongMembers(replace(members, tmean_base_c=longer), day_count, whole, missing)


def longer_draws(draws: WaterDraws, latitudes: np.ndarray, *, fall: int, day_count: int) -> WaterDraws:
    """The same draws to day `day_count` of the fall: sun and season go on, the error stays as it was."""
    more = day_count - FALL_DAYS
    if more <= 0:
        return draws
    days = day_of_year(fall_start(fall) + timedelta(days=FALL_DAYS), more)
    turn = 2.0 * np.pi * (days - SUMMER_SOLSTICE) / 365.25
    terms = np.empty((more, 3, len(latitudes)), np.float32)
    for site, latitude in enumerate(latitudes):
        sun = (clear_sky_sun(float(latitude), days) - REFERENCE_SUN_W_M2) / 100.0
        terms[:, :, site] = np.column_stack([sun, np.sin(turn), np.cos(turn)])
    last = np.broadcast_to(draws.residual_c[-1], (more, *draws.residual_c.shape[1:]))
    return replace(
        draws,
        terms=np.concatenate([draws.terms, terms]),
        residual_c=np.concatenate([draws.residual_c, last]),
    )
