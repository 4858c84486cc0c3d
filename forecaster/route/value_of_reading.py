"""What one thermometer reading today would save on average: pre-posterior analysis over the members.

First every site is judged by how much its loss on the planned day hangs on its water today: the standard
deviation of the water times the slope of the loss. The first ones are then worked out: members are split by
the reading they would show (their water today plus the reading's error), each part takes its own best day at
the prices of the crews' hours, and what that saves is the value. Splitting members at random saves a little
too, by chance: that is taken off. Limit: the other sites stay where they are; their days enter by price.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS
from forecaster.route.plan_risk import member_loss
from forecaster.route.window import Floats, loss_by_day
from forecaster.season.settings import Costs

PARTS_OF_MEMBERS = 3
READING_SD_C = 0.4
"""Error of a reading with time and depth [°C]; see water/evidence.py."""
WORKED_OUT = 20
"""Sites that are worked out, the most promising first."""
LEAST_VALUE = 0.005


@dataclass(frozen=True, eq=False)
class ReadingTask:
    """One site: its events, the days that it may have, (184,), what its hours cost on each day [$], (184,),
    and its planned day, None where it has none."""

    site_id: str
    events: SiteEvents
    plumbing_exposure: float
    allowed: NDArray[np.bool_]
    price: Floats
    planned: int | None


def reading_values(
    tasks: Sequence[ReadingTask], costs: Costs, *, seed: int, at_most: int = 5
) -> tuple[tuple[str, float], ...]:
    """Sites where one reading today would save most, with what it saves on average [$], most first."""
    promising = sorted(tasks, key=lambda task: (-promise(task, costs), task.site_id))[:WORKED_OUT]
    values = [(task.site_id, reading_value(task, costs, seed=seed)) for task in promising]
    kept = [item for item in values if item[1] > LEAST_VALUE]
    return tuple(sorted(kept, key=lambda item: (-item[1], item[0]))[:at_most])


def promise(task: ReadingTask, costs: Costs) -> float:
    """Spread of today's water times the slope of the loss on the planned day [$]; 0 without a forecast."""
    water_c = task.events.water_now_c
    if water_c is None or not task.allowed.any():
        return 0.0
    day = int(np.flatnonzero(task.allowed)[0]) if task.planned is None else task.planned
    loss = member_loss(task.events, costs, plumbing_exposure=task.plumbing_exposure, day=day)
    if loss.ndim == 0:
        return 0.0
    water = np.asarray(water_c, float)
    spread = float(water.std())
    return (
        0.0 if spread < 1e-9 else abs(float(((water - water.mean()) * (loss - loss.mean())).mean())) / spread
    )


def reading_value(task: ReadingTask, costs: Costs, *, seed: int) -> float:
    """Expected saving [$] by one reading today, never negative; 0 without a water forecast."""
    if task.events.water_now_c is None or not task.allowed.any():
        return 0.0
    shown_c, by_chance = reading_keys(np.asarray(task.events.water_now_c, float), seed=seed)
    return max(0.0, _mean_of_best(task, costs, by_chance) - _mean_of_best(task, costs, shown_c))


def reading_keys(water_c: Floats, *, seed: int) -> tuple[Floats, Floats]:
    """What a thermometer would show in each member [°C], and as many numbers that mean nothing."""
    noise = np.random.default_rng([seed, 5]).standard_normal((2, len(water_c)))
    return water_c + READING_SD_C * noise[0], noise[1]


def parts_of(key: Floats) -> list[NDArray[np.int64]]:
    """Members in parts of nearly equal number by rising `key`."""
    return list(np.array_split(np.argsort(key, kind="stable"), PARTS_OF_MEMBERS))


def _mean_of_best(task: ReadingTask, costs: Costs, key: Floats) -> float:
    total = 0.0
    for part in parts_of(key):
        loss = loss_by_day(task.events.pick(part), costs, plumbing_exposure=task.plumbing_exposure).total
        total += float((loss + task.price)[task.allowed].min()) * len(part)
    return total / len(key)


def no_price() -> Floats:
    """Hours that cost nothing on any day (184,)."""
    return np.zeros(FALL_DAYS)
