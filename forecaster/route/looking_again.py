"""Where today is the best single day: what leaving the date open until tomorrow morning is worth.

The sites are run once more through the first members, keeping each day's water and minimum, which `waiting`
needs. Counts for an office that can close the pond on any day; where crew-days are few, the plan decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents, WaterEvents, first_freeze
from forecaster.falls import FALL_DAYS
from forecaster.known import Atmosphere, Known
from forecaster.route.waiting import HORIZON_DAYS, Ahead, waiting_saves
from forecaster.simulate import BLOCK_SITES, site_air_members
from forecaster.water.draws import draw_water
from forecaster.water.pooling import PondFit

MOST_MEMBERS = 300
"""Members are taken in turn from all earlier falls and shifts, so the first ones are as good as all."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A site whose best day is the as-of date: its row among the sites of the sheet, its pond, its events,
    how much of its plumbing is exposed (0-1), and the minima seen so far [°C], shape (day,)."""

    row: int
    fit: PondFit
    events: SiteEvents
    plumbing_exposure: float
    past_min_c: NDArray[np.float64]


def looking_again_saves(
    known: Known, air: Atmosphere, route: np.ndarray, candidates: Sequence[Candidate]
) -> list[float]:
    """Expected saving of looking again tomorrow over closing today [$], one a candidate; 0 or less: close.

    Args:
        known: As of the morning.
        air: With the members that `candidates` were run through.
        route: The draws that they were run with (see `draw_route`), shape (m, 8).
        candidates: Sites with a water forecast.
    """
    costs = known.settings.costs
    priced = (costs.warm_day, costs.hard_freeze, costs.plumbing_freeze, costs.ice)
    found: list[float] = []
    for first in range(0, len(candidates), BLOCK_SITES):
        block = candidates[first : first + BLOCK_SITES]
        water, minimum = _weather_ahead(known, air, route, block)
        ahead = Ahead(
            day=known.as_of_day,
            water_c=water,
            minimum_c=minimum,
            start=_drawn([one.events.start for one in block], water.shape[1]),
            hard_freeze=_unpaid(block, "hard_freeze", known.limits.hard_freeze_c, water.shape[1]),
            plumbing_freeze=_unpaid(block, "plumbing_freeze", known.limits.plumbing_freeze_c, water.shape[1]),
            ice_on=_drawn([one.events.ice_on for one in block], water.shape[1]),
            exposure=np.array([one.plumbing_exposure for one in block]),
        )
        found += waiting_saves(ahead, priced).tolist()
    return found


def _weather_ahead(
    known: Known, air: Atmosphere, route: np.ndarray, block: Sequence[Candidate]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Daily mean water and minimum air from the as-of date on, (site, m, day) [°C]."""
    count = min(air.members.count, MOST_MEMBERS)
    rows = [one.row for one in block]
    members = replace(
        air.members,
        source_fall=air.members.source_fall[:count],
        shift_days=air.members.shift_days[:count],
        base=air.members.base[:count],
        tmean_head_c=air.members.tmean_head_c[:count],
        tmin_head_c=air.members.tmin_head_c[:count],
    )
    over = site_air_members(members, air.matrices, air.past_mean_c[rows], rows)
    draws = draw_water([one.fit for one in block], route, seed=known.settings.season.seed)
    draws = replace(
        draws,
        start_c=draws.start_c[:, :count],
        step=draws.step[:, :count],
        coefficients=draws.coefficients[:, :, :count],
        residual_c=draws.residual_c[:, :, :count],
    )
    run = WaterEvents(draws, known.limits, known.as_of_day)
    end = min(known.as_of_day + HORIZON_DAYS + 1, FALL_DAYS)
    path = [run.advance(day, over.mean_c(day)) for day in range(end)]
    lows = [over.minimum_c(day) for day in range(known.as_of_day, end)]
    return np.stack(path[known.as_of_day :], axis=-1).astype(float), np.stack(lows, axis=-1).astype(float)


def _drawn(events: Sequence[np.ndarray | None], count: int) -> NDArray[np.float64]:
    never = np.full(count, np.inf)
    return np.stack([never if days is None else days[:count].astype(float) for days in events])


def _unpaid(block: Sequence[Candidate], name: str, limit_c: float, count: int) -> NDArray[np.float64]:
    """A kind of freeze; never where it has come in this fall already: what it did is done."""
    seen = [np.isfinite(first_freeze(one.past_min_c, limit_c=limit_c)) for one in block]
    return _drawn(
        [None if came else getattr(one.events, name) for one, came in zip(block, seen, strict=True)], count
    )
