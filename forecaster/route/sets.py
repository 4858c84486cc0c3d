"""Small seasons to proof: every set of sites that fits in a crew-day, and the best choice among the sets.

All sets with their shortest rounds are listed, so that losses, moved dates and real driving are weighed
together, and a mixed-integer solver picks one set for each crew-day. The relaxed choice bounds the cost of
every plan; columns that it shows to be too dear for any better plan are left out before the solver proves the
best one. Limit: a season with more sets than `at_most` is not tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forecaster.route.rounds import EPSILON, PlanProblem

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_ORDERS = 3_000_000
"""Orders of stops that are tried in one step of the listing; more and the season is not small."""
MOST_COLUMNS = 400_000
CHOICES_A_SET = 0.1
"""Columns that the solver is given for each set that may be listed; more and only the bound is used."""
NODES = 8
"""Work limit of the solver: most seasons that it can prove at all need one node."""


@dataclass(frozen=True, eq=False)
class Proof:
    """`rounds`: sites by slot, None where only a bound was found. `bound`: no plan costs less [$]."""

    rounds: list[list[int]] | None
    cost: float
    bound: float


@dataclass(frozen=True, eq=False)
class _Columns:
    """One column is a set of sites on a group of equal slots: `member` (column, site) as index pairs."""

    group: Ints
    cost: Floats
    column: Ints  # of each membership
    site: Ints
    orders: list[tuple[int, ...]]
    order: Ints  # of each column


def prove(problem: PlanProblem, *, known_cost: float, at_most: int, rel_gap: float = 0.0) -> Proof | None:
    """The best plan and its proof, or a bound alone; None where the season is too large to list, or where
    the known plan has a day that the listing lacks.

    Args:
        problem: The task in numbers.
        known_cost: Cost of a plan that exists [$].
        at_most: Most sets that are listed.
        rel_gap: Stop when the plan is proven to be this close to the best, 0-1.
    """
    from scipy.optimize import linprog

    groups = _equal_slots(problem)
    columns = _columns(problem, groups, at_most)
    if columns is None:
        return None
    model = _model(problem, groups, columns)
    relaxed = linprog(
        model.cost,
        A_ub=model.per_group,
        b_ub=model.rooms,
        A_eq=model.once,
        b_eq=np.ones(problem.site_count),
        bounds=(0, None),
        method="highs",
    )
    if not relaxed.success:
        raise RuntimeError(f"the relaxed plan was not found: {relaxed.message}")
    if relaxed.fun > known_cost + 1e-4:
        return None  # the known plan has a day that was not listed (bookings over the limit): no proof
    duals = model.once.T @ relaxed.eqlin.marginals + model.per_group.T @ relaxed.ineqlin.marginals
    useful = np.flatnonzero(model.cost - duals <= known_cost - relaxed.fun + 1e-4)
    bound = min(float(relaxed.fun), known_cost)
    if len(useful) > CHOICES_A_SET * at_most:
        return Proof(None, known_cost, bound)
    chosen, proven = _choose(model, useful, rel_gap)
    # what was left out costs more than the known plan, so the solver's bound holds up to that
    bound = max(bound, min(proven, known_cost))
    if chosen is None:
        return Proof(None, known_cost, bound)
    rounds = _rounds(problem, groups, columns, chosen)
    cost = float(model.cost[chosen].sum())
    return Proof(rounds, cost, min(bound, cost))


@dataclass(frozen=True, eq=False)
class _Model:
    """Columns, then one for each site that finds no place. Every site once, every group as often as it is."""

    cost: Floats
    once: Any  # sparse (site, column)
    per_group: Any  # sparse (group, column)
    rooms: Floats


def _model(problem: PlanProblem, groups: list[list[int]], columns: _Columns) -> _Model:
    from scipy.sparse import coo_matrix

    n, count = problem.site_count, len(columns.cost)
    everyone = np.arange(n)
    where = (np.r_[columns.site, everyone], np.r_[columns.column, count + everyone])
    once = coo_matrix((np.ones(len(columns.site) + n), where), shape=(n, count + n)).tocsr()
    place = (columns.group, np.arange(count))
    per_group = coo_matrix((np.ones(count), place), shape=(len(groups), count + n)).tocsr()
    rooms = np.array([len(slots) for slots in groups], float)
    return _Model(np.r_[columns.cost, problem.not_placed], once, per_group, rooms)


def _choose(model: _Model, useful: Ints, rel_gap: float) -> tuple[Ints | None, float]:
    """Columns of the best choice among `useful` (None: none found), and the solver's bound [$]."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    answer = milp(
        model.cost[useful],
        constraints=[
            LinearConstraint(model.once[:, useful], 1, 1),
            LinearConstraint(model.per_group[:, useful], -np.inf, model.rooms),
        ],
        integrality=np.ones(len(useful)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": rel_gap, "node_limit": NODES},
    )
    proven = answer.mip_dual_bound
    bound = -np.inf if proven is None or not np.isfinite(proven) else float(proven)
    return (None if answer.x is None else useful[answer.x > 0.5]), bound


def _rounds(
    problem: PlanProblem, groups: list[list[int]], columns: _Columns, chosen: Ints
) -> list[list[int]]:
    """The chosen sets on the slots of their groups, in order."""
    rounds: list[list[int]] = [[] for _ in range(problem.slot_count)]
    free = [list(slots) for slots in groups]
    for column in chosen:
        if column < len(columns.cost):
            slot = free[columns.group[column]].pop(0)
            rounds[slot] = list(columns.orders[columns.order[column]])
    return rounds


def _equal_slots(problem: PlanProblem) -> list[list[int]]:
    """Slots that are alike in everything, in order of the first of each group."""
    found: dict[tuple[object, ...], list[int]] = {}
    for slot in range(problem.slot_count):
        key = (
            int(problem.day[slot]),
            problem.cost[:, slot].tobytes(),
            problem.out[slot].tobytes(),
            problem.back[slot].tobytes(),
            float(problem.limit[slot]),
            float(problem.whole[slot]),
        )
        found.setdefault(key, []).append(slot)
    return list(found.values())


def _columns(problem: PlanProblem, groups: list[list[int]], at_most: int) -> _Columns | None:
    starts: dict[bytes, list[int]] = {}
    for at, slots in enumerate(groups):
        key = problem.out[slots[0]].tobytes() + problem.back[slots[0]].tobytes()
        starts.setdefault(key, []).append(at)
    parts, orders, total = [], list[tuple[int, ...]](), 0
    for members in starts.values():
        firsts = np.array([groups[at][0] for at in members], int)
        levels = _listed(problem, firsts, at_most)
        if levels is None:
            return None
        for sets, drive in levels:
            first = len(orders)
            orders += [tuple(int(site) for site in row) for row in sets]
            kept, slot_at = _fitting(problem, firsts, sets, drive)
            cost = problem.cost[:, firsts][sets].sum(axis=1)[kept, slot_at] + problem.drive_hour * drive[kept]
            parts.append((np.array(members, int)[slot_at], cost, sets[kept], first + kept))
            total += len(cost)
            if total > MOST_COLUMNS:
                return None
    if not parts:
        empty = np.zeros(0, int)
        return _Columns(empty, np.zeros(0), empty, empty, orders, empty)
    sizes = np.concatenate([np.full(len(cost), sets.shape[1]) for _, cost, sets, _ in parts])
    return _Columns(
        group=np.concatenate([part[0] for part in parts]),
        cost=np.concatenate([part[1] for part in parts]),
        column=np.repeat(np.arange(total), sizes),
        site=np.concatenate([part[2].ravel() for part in parts]),
        orders=orders,
        order=np.concatenate([part[3] for part in parts]),
    )


def _fitting(problem: PlanProblem, slots: Ints, sets: Ints, drive: Floats) -> tuple[Ints, Ints]:
    """Pairs (set, slot) that may be and whose hours suffice."""
    hours = problem.hours[:, slots][sets].sum(axis=1) + drive[:, None]
    alone = (sets.shape[1] == 1) | problem.booked[sets].all(axis=1)
    room = np.where(alone[:, None], problem.whole[slots], problem.limit[slots])
    may = np.isfinite(problem.cost[:, slots][sets].sum(axis=1))
    kept, slot_at = np.nonzero(may & (hours <= room + EPSILON))
    return kept, slot_at


def _listed(problem: PlanProblem, slots: Ints, at_most: int) -> list[tuple[Ints, Floats]] | None:
    """Sets of 1, 2, ... sites that fit in some slot of one start place, in their best order, with the drive.

    None where there are more than `at_most`, or too many orders to try.
    """
    levels, total = [], 0
    keys = np.array([[site] for site in range(problem.site_count)], int)  # sites of each set, rising
    while len(keys):
        if len(keys) * _order_count(keys.shape[1]) > MOST_ORDERS:
            return None
        sets, drive = _shortest(problem, int(slots[0]), keys)
        kept = np.unique(_fitting(problem, slots, sets, drive)[0])
        total += len(kept)
        if total > at_most:
            return None
        levels.append((sets[kept], drive[kept]))
        longer = _longer(keys[kept], problem.site_count, at_most)
        if longer is None:
            return None
        keys = longer
    return levels


def _order_count(stops: int) -> int:
    return int(np.prod(np.arange(1, stops + 1)))


def _longer(keys: Ints, site_count: int, at_most: int) -> Ints | None:
    """Every set with one more site behind its last, if all its parts of one site less are there too."""
    last = keys[:, -1]
    more = site_count - 1 - last
    if more.sum() > 10 * at_most:
        return None
    row = np.repeat(np.arange(len(keys)), more)
    offset = np.arange(len(row)) - np.repeat(np.cumsum(more) - more, more)
    longer = np.column_stack([keys[row], last[row] + 1 + offset])
    present = {key.tobytes() for key in np.ascontiguousarray(keys)}
    keep = np.ones(len(longer), bool)
    for left_out in range(longer.shape[1] - 1):
        parts = np.ascontiguousarray(np.delete(longer, left_out, axis=1))
        keep &= np.array([part.tobytes() in present for part in parts], bool)
    return longer[keep]


def _shortest(problem: PlanProblem, slot: int, keys: Ints) -> tuple[Ints, Floats]:
    """The shortest round of each set by trying every order: (sets in that order, drive [h])."""
    best = np.full(len(keys), np.inf)
    order = keys.copy()
    out, back, between = problem.out[slot], problem.back[slot], problem.between
    for tried in permutations(range(keys.shape[1])):
        sites = keys[:, tried]
        drive = out[sites[:, 0]] + back[sites[:, -1]]
        for leg in range(keys.shape[1] - 1):
            drive = drive + between[sites[:, leg], sites[:, leg + 1]]
        better = drive < best - 1e-9
        best = np.where(better, drive, best)
        order[better] = sites[better]
    return order, best
