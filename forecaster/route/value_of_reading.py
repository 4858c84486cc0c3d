"""What one thermometer reading today would save on average: pre-posterior analysis over the members.

Members are split by the reading they would show (their water today plus the reading's error). Each part
gets its own best day; the saving is the mean loss of the one best day for all less that of the own ones.
Splitting members at random saves a little too, by chance: that is taken off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents
from forecaster.route.window import Floats, loss_by_day
from forecaster.season.settings import Costs

PARTS_OF_MEMBERS = 3
READING_SD_C = 0.4
"""Error of a reading with time and depth [°C]; see water/evidence.py."""


def reading_value(
    events: SiteEvents, costs: Costs, *, allowed: NDArray[np.bool_], plumbing_exposure: float, seed: int
) -> float:
    """Expected saving [$] by one reading today, never negative; 0 without a water forecast."""
    if events.water_now_c is None or not allowed.any():
        return 0.0
    rng = np.random.default_rng([seed, 5])
    noise = rng.standard_normal((2, len(events.water_now_c)))
    shown_c = events.water_now_c + READING_SD_C * noise[0]
    by_reading = _mean_of_best(events, costs, allowed, plumbing_exposure, shown_c)
    by_chance = _mean_of_best(events, costs, allowed, plumbing_exposure, noise[1])
    return max(0.0, by_chance - by_reading)


def _mean_of_best(
    events: SiteEvents, costs: Costs, allowed: NDArray[np.bool_], plumbing_exposure: float, key: Floats
) -> float:
    order = np.argsort(key, kind="stable")
    total = 0.0
    for part in np.array_split(order, PARTS_OF_MEMBERS):
        loss = loss_by_day(events.pick(part), costs, plumbing_exposure=plumbing_exposure).total
        total += float(loss[allowed].min()) * len(part)
    return total / len(order)
