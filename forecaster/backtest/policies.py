"""Rules for when to close, played against what really came. Arrays in, arrays out; days since 1 August.

Two worlds. Unlimited crews: each pond is closed on any day its rule names. Limited crews: so many closings a
working day; who comes first is part of the rule. Never closed within the crews' season is charged as closed
on 31 January. Opponents are chosen in their favour: the fixed date and order that did best over the very
seasons that are scored.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from forecaster.falls import FALL_DAYS

Floats = NDArray[np.float64]
Days = NDArray[np.int64]
LAST_DAY = FALL_DAYS - 1

FIXED = "best fixed date"
AFTER_START = "after the run at the start threshold"
AFTER_SUSTAINED = "after the run at the sustained threshold"
SECOND_FROST = "after the second night of frost"
OUTLOOK_FREEZE = "first freeze in the outlook"
RANKED = "rank by risk from the best start"
RANDOM = "random order from the best start"
RECOMMENDED = "recommended"
NEVER_WAITING = "recommended date, never looking again"
SHALLOW_FIRST = "best fixed date, shallow first"
HINDSIGHT = "hindsight"
SIMPLE = (FIXED, SHALLOW_FIRST, AFTER_START, AFTER_SUSTAINED, SECOND_FROST, OUTLOOK_FREEZE, RANDOM)
"""Rules that an office could follow without this program."""


@dataclass(frozen=True)
class PolicyRow:
    """One policy over all seasons: dollars a site and season, bounds are 90 % of a bootstrap over seasons.

    `spread`: standard deviation over seasons. `less_than_ours_*`: this policy's loss less the recommended
    one's, paired by season. `worst_season` and `worst_why`: its dearest season and what made it so;
    `worst_seasons`: the five dearest.
    `loss_parts`: the mean loss by what it is for.
    """

    policy: str
    crews_limited: bool
    mean_loss: float
    low: float
    high: float
    seasons: int
    spread: float
    worst_season: int
    worst_loss: float
    worst_why: str
    worst_seasons: list[int]
    more_than_ours: float | None
    more_than_ours_low: float | None
    more_than_ours_high: float | None
    gap_closed: float | None
    gap_closed_low: float | None
    gap_closed_high: float | None
    detail: str = ""
    loss_parts: dict[str, float] = field(default_factory=dict)


def actual_loss(
    start: Floats,
    hard_freeze: Floats,
    plumbing_freeze: Floats,
    ice_on: Floats,
    *,
    costs: Sequence[float],
    exposure: Floats,
) -> Floats:
    """What closing on each day would have cost, shape (site, 184, part) [$]; parts as in `route.window`.

    Args:
        start: Start crossing of each site, never = inf counts as 1 February, shape (site,).
        hard_freeze, plumbing_freeze, ice_on: First day of each, inf never, shape (site,).
        costs: Of a warm day, a hard freeze, a plumbing freeze and ice [$].
        exposure: Of the plumbing, 0-1, shape (site,).
    """
    day = np.arange(FALL_DAYS)
    warm = np.maximum(np.minimum(start, FALL_DAYS)[:, None] - day, 0.0)
    came = [(event[:, None] <= day).astype(float) for event in (hard_freeze, plumbing_freeze, ice_on)]
    parts = [warm * costs[0], came[0] * costs[1], came[1] * costs[2] * exposure[:, None], came[2] * costs[3]]
    return np.stack(parts, axis=-1)


def in_queue(wanted: Days, order: Days, capacity: Days) -> Days:
    """Closing days where each site waits from its wanted day on, first wanted first served.

    Args:
        wanted: First day on which the rule wants each site closed, shape (site,); 184 or more is never.
        order: Sites in the order in which those of one day are served.
        capacity: Closings possible on each day, shape (184,).
    Returns:
        Day of each site, shape (site,); 183 where it never came to that.

    >>> in_queue(np.array([5, 5, 4]), np.array([1, 0, 2]), np.where(np.arange(184) >= 5, 1, 0))
    array([7, 6, 5])
    """
    place = np.empty(len(order), int)
    place[order] = np.arange(len(order))
    line = np.lexsort((place, wanted))
    closed = np.full(len(wanted), LAST_DAY)
    left = capacity.copy()
    at = 0
    for site in line:
        at = max(at, int(min(wanted[site], FALL_DAYS)))
        while at < FALL_DAYS and left[at] <= 0:
            at += 1
        if at >= FALL_DAYS:
            break
        left[at] -= 1
        closed[site] = at
    return closed


def best_assignment(loss: Floats, capacity: Days, from_day: int) -> Days:
    """Day of each site that together cost least, with so many closings a day, shape (site,); -1 for none.

    Args:
        loss: Cost of closing each site on each day [$], shape (site, 184).
        capacity: Closings possible on each day.
        from_day: First day that is still open.
    """
    days = np.repeat(np.arange(FALL_DAYS), np.where(np.arange(FALL_DAYS) >= from_day, capacity, 0))
    placed = np.full(len(loss), -1)
    if len(days) and len(loss):
        rows, columns = linear_sum_assignment(loss[:, days])
        placed[rows] = days[columns]
    return placed


def fixed_starts(loss: Floats, orders: Sequence[Days], capacity: Days) -> Floats:
    """Mean loss a site by part for every fixed first day and order, shape (order, 184, part).

    Args:
        loss: What closing each site on each day costs, shape (site, 184, part).
        orders: Sites in the order of closing.
        capacity: Closings possible on each day.
    """
    out = np.empty((len(orders), FALL_DAYS, loss.shape[2]))
    sites = np.arange(len(loss))
    for number, order in enumerate(orders):
        for first in range(FALL_DAYS):
            days = np.repeat(np.arange(first, FALL_DAYS), capacity[first:])[: len(order)]
            closed = np.full(len(order), LAST_DAY)
            closed[order[: len(days)]] = days
            out[number, first] = loss[sites, closed].mean(axis=0)
    return out


def ranked_starts(
    loss: Floats, ranks: dict[int, Days], capacity: Days, rank_on: Callable[[int], int]
) -> Floats:
    """The same where each day's closings are the most urgent of the open sites, shape (184, part).

    Args:
        loss: As above.
        ranks: Sites in order of urgency as known on each decision day.
        capacity: Closings possible on each day.
        rank_on: Decision day whose order holds on a day.
    """
    out = np.empty((FALL_DAYS, loss.shape[2]))
    sites = np.arange(len(loss))
    for first in range(FALL_DAYS):
        closed = np.full(len(loss), LAST_DAY)
        waiting = np.ones(len(loss), np.bool_)
        for day in range(first, FALL_DAYS):
            if not waiting.any():
                break
            if capacity[day]:
                order = ranks[rank_on(day)]
                chosen = order[waiting[order]][: capacity[day]]
                closed[chosen] = day
                waiting[chosen] = False
        out[first] = loss[sites, closed].mean(axis=0)
    return out
