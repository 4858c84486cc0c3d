"""The best plan by trying every assignment of every site to every slot or to none. For six sites or so."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import numpy as np

from forecaster.route.rounds import PlanProblem


def least_cost(problem: PlanProblem) -> float:
    """Cost of the best of all assignments [$]: (slots + 1) ** sites of them."""
    sites, slots = problem.site_count, problem.slot_count
    drive = np.full((slots, 1 << sites), np.inf)
    fits = np.zeros((slots, 1 << sites), bool)
    for slot, mask in product(range(slots), range(1 << sites)):
        members = [site for site in range(sites) if mask >> site & 1]
        rounds = [_round(problem, slot, order) for order in permutations(members)]
        drive[slot, mask] = min(rounds)
        hours = drive[slot, mask] + sum(problem.hours[site, slot] for site in members)
        alone = len(members) == 1 or all(problem.booked[site] for site in members)
        fits[slot, mask] = hours <= (problem.whole if alone else problem.limit)[slot] + 1e-9
    choice = np.stack(np.meshgrid(*[np.arange(slots + 1)] * sites, indexing="ij")).reshape(sites, -1)
    padded = np.column_stack([problem.cost, problem.not_placed])
    total = padded[np.arange(sites)[:, None], choice].sum(axis=0)
    for slot in range(slots):
        mask = ((choice == slot) * (1 << np.arange(sites))[:, None]).sum(axis=0)
        total += np.where(fits[slot, mask], problem.drive_hour * drive[slot, mask], np.inf)
    return float(total.min())


def _round(problem: PlanProblem, slot: int, order: tuple[int, ...]) -> float:
    if not order:
        return 0.0
    legs = [problem.between[a, b] for a, b in pairwise(order)]
    return float(problem.out[slot, order[0]] + sum(legs) + problem.back[slot, order[-1]])
