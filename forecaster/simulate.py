"""All members of all sites: weather and water run forward together, in blocks of sites.

The only long loop of the program. Blocks have one size, so that sums over members keep their order and the
same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.events import FreezeEvents, Limits, SiteEvents, WaterEvents
from forecaster.falls import FALL_DAYS
from forecaster.scenarios import Members
from forecaster.water.draws import WaterDraws, draw_water
from forecaster.water.pooling import PondFit
from forecaster.weather.site_air import AirMatrices

BLOCK_SITES = 25
Reals = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class SiteAirMembers:
    """Air of a block of sites in all members: `day` of the fall -> (site, m) [°C], float32.

    `past_mean_c` (site, day): observed daily means before the first unobserved day.
    """

    members: Members
    past_mean_c: Reals
    base_mean_c: Reals  # (site, base, day)
    base_min_c: Reals
    head_mean_c: Reals  # (site, m, head)
    head_min_c: Reals

    def mean_c(self, day: int) -> Reals:
        """Daily mean [°C]: (site, 1) while observed, then (site, m)."""
        if day < self.members.first_day:
            return self.past_mean_c[:, day : day + 1]
        return self._of(day, self.base_mean_c, self.head_mean_c)

    def minimum_c(self, day: int) -> Reals:
        """Daily minimum [°C], (site, m), from the first unobserved day on."""
        return self._of(day, self.base_min_c, self.head_min_c)

    def _of(self, day: int, base_c: Reals, head_c: Reals) -> Reals:
        at = day - self.members.head_from
        if 0 <= at < head_c.shape[2]:
            return head_c[:, :, at]
        return base_c[:, :, day][:, self.members.base]


def site_air_members(
    members: Members, matrices: AirMatrices, past_mean_c: np.ndarray, sites: Sequence[int]
) -> SiteAirMembers:
    """Air of the sites at positions `sites`; `past_mean_c` (site of the block, day of the fall) [°C]."""
    pick = list(sites)

    def blend(weights: np.ndarray, shift: np.ndarray, values: np.ndarray) -> Reals:
        blended = np.einsum("ks,bsd->kbd", weights[pick], np.nan_to_num(values))
        return np.asarray(blended + shift[pick][:, None, None], np.float32)

    return SiteAirMembers(
        members=members,
        past_mean_c=np.asarray(past_mean_c, np.float32),
        base_mean_c=blend(matrices.mean, matrices.mean_shift_c, members.tmean_base_c),
        base_min_c=blend(matrices.minimum, matrices.min_shift_c, members.tmin_base_c),
        head_mean_c=blend(matrices.mean, matrices.mean_shift_c, members.tmean_head_c),
        head_min_c=blend(matrices.minimum, matrices.min_shift_c, members.tmin_head_c),
    )


def run_members(
    members: Members,
    matrices: AirMatrices,
    past_mean_c: np.ndarray,
    fits: Sequence[PondFit | None],
    route: np.ndarray,
    *,
    limits: Limits,
    as_of_day: int,
    seed: int,
) -> Iterator[SiteEvents]:
    """Events of every site in every member, site by site in the given order.

    Args:
        members: The ensemble.
        matrices: Each site's weights of the stations; a row of zeros in `minimum`: no minima there.
        past_mean_c: Observed daily mean air at each site by day of the fall [°C], shape (site, day).
        fits: Each site's pond, or None where no water is forecast.
        route: Draws of the route's shift (see `draw_route`), shape (m, 8).
        limits: Thresholds.
        as_of_day: Day index of the as-of date.
        seed: Of the draws.
    """
    with_water = [i for i, fit in enumerate(fits) if fit is not None]
    without = [i for i, fit in enumerate(fits) if fit is None]
    done: dict[int, SiteEvents] = {}
    for group, wet in ((with_water, True), (without, False)):
        for first in range(0, len(group), BLOCK_SITES):
            block = group[first : first + BLOCK_SITES]
            air = site_air_members(members, matrices, past_mean_c[block], block)
            ponds = [fit for i in block if (fit := fits[i]) is not None]
            draws = draw_water(ponds, route, seed=seed) if wet else None
            has_minima = matrices.minimum[block].sum(axis=1) > 0.0
            events = _run_block(air, draws, len(block), limits=limits, as_of_day=as_of_day)
            for at, site in enumerate(block):
                done[site] = _site_events(events, at, bool(has_minima[at]))
    for site in range(len(fits)):
        yield done[site]


def _run_block(
    air: SiteAirMembers, draws: WaterDraws | None, site_count: int, *, limits: Limits, as_of_day: int
) -> tuple[WaterEvents | None, FreezeEvents]:
    water = WaterEvents(draws, limits, as_of_day) if draws is not None else None
    freeze = FreezeEvents((site_count, air.members.count), limits, as_of_day)
    for day in range(0 if water is not None else as_of_day, FALL_DAYS):
        if water is not None:
            water.advance(day, air.mean_c(day))
        if day >= as_of_day:
            freeze.advance(day, air.minimum_c(day))
    return water, freeze


def _site_events(events: tuple[WaterEvents | None, FreezeEvents], at: int, has_minima: bool) -> SiteEvents:
    water, freeze = events
    return SiteEvents(
        start=water.start[at] if water else None,
        sustained=water.sustained[at] if water else None,
        ice_on=water.ice_on[at] if water else None,
        rebound=water.rebound[at] if water else None,
        hard_freeze=freeze.hard_freeze[at] if has_minima else None,
        plumbing_freeze=freeze.plumbing_freeze[at] if has_minima else None,
        hard_freeze_soon=freeze.hard_freeze_soon[at] if has_minima else None,
        water_now_c=water.water_now_c[at] if water else None,
    )
