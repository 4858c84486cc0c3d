"""Close today, or look again tomorrow? What another morning of weather is worth, from the same members.

The recommended date is the best single day to choose now. Where nothing has to be booked, nobody has to
choose now: each morning may be waited for, the water of the day before and the frost so far are then known,
and one closes when that says so. Its worth is found backwards from the last day by regression on the members
(Longstaff and Schwartz 2001, "Valuing American options by simulation"): on each morning those are closed
whose water and frost so far make closing the cheaper choice on average. Limit: for one pond that can be
closed on any day; with few crew-days waiting takes a day from another pond, and the plan does without it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS

Floats = NDArray[np.float64]

HORIZON_DAYS = 60
"""Mornings that are waited for at most; the last one closes what is left."""
RIDGE = 1e-3
"""Added to the diagonal of the normal equations, per member: features may be equal in all members."""


@dataclass(frozen=True, eq=False)
class Ahead:
    """Members of some ponds from one morning on.

    `water_c`, `minimum_c` (site, m, day): daily mean water and minimum air of the as-of day and the days
    after [°C], the same value in all members where there are no minima; `start`,
    `hard_freeze`, `plumbing_freeze`, `ice_on` (site, m): days since 1 August, inf never; a freeze that has
    been paid for, or that cannot be known, is inf. `exposure` (site,): of the plumbing, 0-1.
    """

    day: int
    water_c: Floats
    minimum_c: Floats
    start: Floats
    hard_freeze: Floats
    plumbing_freeze: Floats
    ice_on: Floats
    exposure: Floats

    def loss(self, day: int, costs: tuple[float, float, float, float]) -> Floats:
        """What closing on one day costs in each member [$], (site, m)."""
        warm_day, hard, plumbing, ice = costs
        return np.asarray(
            warm_day * np.maximum(np.minimum(self.start, FALL_DAYS) - day, 0.0)
            + hard * (self.hard_freeze <= day)
            + plumbing * self.exposure[:, None] * (self.plumbing_freeze <= day)
            + ice * (self.ice_on <= day)
        )


def waiting_saves(ahead: Ahead, costs: tuple[float, float, float, float]) -> Floats:
    """Expected saving of looking again tomorrow over closing today [$], (site,); 0 or less: close.

    Args:
        ahead: The members.
        costs: Of a warm day, a hard freeze, a plumbing freeze and ice [$].
    """
    last = min(ahead.water_c.shape[2], HORIZON_DAYS, FALL_DAYS - 1 - ahead.day)
    if last < 1:
        return np.full(len(ahead.start), -np.inf)
    to_come = ahead.loss(ahead.day + last, costs)
    for step in range(last - 1, 0, -1):
        now = ahead.loss(ahead.day + step, costs)
        dearer = fitted(now - to_come, features(ahead, step))
        to_come = np.where(dearer <= 0.0, now, to_come)
    return np.asarray((ahead.loss(ahead.day, costs) - to_come).mean(axis=1))


def features(ahead: Ahead, step: int) -> Floats:
    """What is known on the morning `step` days ahead, (site, m, feature): water of the day before, its change
    over three days, whether a hard freeze has come, and how cold the last two nights were."""
    water = ahead.water_c[:, :, step - 1]
    change = water - ahead.water_c[:, :, max(step - 4, 0)]
    frozen = (ahead.hard_freeze < ahead.day + step).astype(float)
    level = _scaled(water)
    night = _scaled(ahead.minimum_c[:, :, step - 1])
    before = _scaled(ahead.minimum_c[:, :, max(step - 2, 0)])
    return np.stack(
        [
            np.ones_like(level),
            level,
            level**2,
            change / 3.0,
            frozen,
            frozen * level,
            night,
            before,
            night * level,
        ],
        axis=-1,
    )


def _scaled(values: Floats) -> Floats:
    """Less the members' mean, over their spread: (site, m)."""
    spread = np.maximum(values.std(axis=1, keepdims=True), 0.1)
    return np.asarray((values - values.mean(axis=1, keepdims=True)) / spread)


def fitted(value: Floats, known: Floats) -> Floats:
    """Least squares of `value` (site, m) on `known` (site, m, feature), for each site alone: (site, m)."""
    cross = np.swapaxes(known, 1, 2)
    normal = cross @ known + RIDGE * known.shape[1] * np.eye(known.shape[2])
    solved = np.linalg.solve(normal, cross @ value[:, :, None])
    return np.asarray((known @ solved)[:, :, 0])
