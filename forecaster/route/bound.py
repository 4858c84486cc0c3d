"""Below which cost no plan can be: the assignment of sites to days with its driving estimate, relaxed.

The estimate: every stop takes an equal share of the driving of its crew-day *in the plan at hand*, wherever
it may go, and the crews of a day share their hours. A site may be split over days. The plan itself costs the
same under this estimate as on the road, so the bound is never above it; how far it lies below is the gap.
What the estimate leaves out: another plan might drive less. `sets.py` proves without any estimate, for small
seasons. Where sites find no place, the bound is that of plans which leave as many out: the gap is in money,
not in how many could be placed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.route.rounds import NOWHERE, Rounds

Floats = NDArray[np.float64]


def drive_shares(rounds: Rounds) -> Floats:
    """Each site's share of the driving of its crew-day [h], (n,); least extra drive where it has no place."""
    shares = rounds.extra.min(axis=1, initial=np.inf)
    shares[~np.isfinite(shares)] = 0.0
    for slot, stops in enumerate(rounds.stops):
        if stops:
            shares[stops] = rounds.drive[slot] / len(stops)
    return shares


@dataclass(frozen=True, eq=False)
class Relaxed:
    """`bound`: no plan costs less under the estimate [$]. `hour_price`: what an hour of each slot is worth
    there [$/h], (J,); 0 where hours are left over."""

    bound: float
    hour_price: Floats


def relax(rounds: Rounds) -> Relaxed:
    """Lower bound of `rounds.total()` under the driving estimate of these rounds, by linear programming.

    Raises:
        RuntimeError: The solver did not end with an optimum.
    """
    from scipy.optimize import linprog
    from scipy.sparse import coo_matrix, vstack

    problem = rounds.problem
    n, slot_count = problem.site_count, problem.slot_count
    if n == 0 or slot_count == 0:
        return Relaxed(rounds.total(), np.zeros(slot_count))
    shares = drive_shares(rounds)
    group, firsts = _groups(problem.day, problem.cost)
    capacity = np.bincount(group, weights=np.maximum(problem.limit, rounds.load + rounds.drive))
    cost = problem.cost[:, firsts] + problem.drive_hour * shares[:, None]
    site, at = np.nonzero(np.isfinite(cost))
    hours = problem.hours[site, firsts[at]] + shares[site]
    count = len(site)
    columns = np.arange(count)
    everyone = np.arange(n)
    once = coo_matrix(
        (np.ones(count + n), (np.r_[site, everyone], np.r_[columns, count + everyone])), shape=(n, count + n)
    )
    left_out = np.r_[np.zeros(count), np.full(n, -1.0)][None, :]
    work = vstack([coo_matrix((hours, (at, columns)), shape=(len(firsts), count + n)), left_out])
    answer = linprog(
        np.r_[cost[site, at], problem.not_placed],
        A_ub=work.tocsr(),
        b_ub=np.r_[capacity, -float((rounds.slot_of == NOWHERE).sum())],
        A_eq=once.tocsr(),
        b_eq=np.ones(n),
        bounds=(0, 1),
        method="highs",
    )
    if not answer.success:
        raise RuntimeError(f"the bound was not found: {answer.message}")
    price = np.maximum(0.0, -np.asarray(answer.ineqlin.marginals))[:-1]
    return Relaxed(min(float(answer.fun), rounds.total()), price[group])


def _groups(day: NDArray[np.int64], cost: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Slots of a day that cost every site the same are one: (group of each slot, first slot of each)."""
    known: dict[tuple[int, bytes], int] = {}
    group, firsts = np.empty(len(day), int), list[int]()
    for slot, of_day in enumerate(day):
        key = (int(of_day), cost[:, slot].tobytes())
        if key not in known:
            known[key] = len(firsts)
            firsts.append(slot)
        group[slot] = known[key]
    return group, np.array(firsts, int)


def gap_of(plan_cost: float, bound: float, expected_loss: float) -> float:
    """(plan - bound) / plan, 0-1. No plan costs less than nothing, so it is never above 1.

    >>> gap_of(1100.0, 1067.0, 1000.0)  # 100 of the cost are no part of the expected loss
    0.033
    """
    short = max(0.0, plan_cost - bound)
    if short < 1e-6:
        return 0.0
    return 1.0 if expected_loss <= short else short / expected_loss
