"""Better plans by trying changes: moving a site, exchanging two, taking some out and putting them back.

`improve` makes every change that saves money until none is left. `search` then takes a dozen sites out,
puts them back in another order and improves again, many times over. Seeded, and stopped by a number of
rounds: the same input gives the same plan on any machine. It proves nothing; `bound.py` does.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from forecaster.route.rounds import EPSILON, NOWHERE, Rounds

MOVES_A_PASS = 64
TAKE_OUT = (4, 18)
"""Fewest and most sites that are taken out at once."""
WORSE_SHARE = 0.003
"""A plan this much worse than the best one is still gone on from, at first; then ever less."""


def improve(rounds: Rounds) -> None:
    """Move, exchange or replace sites while that saves money; several at a time in different slots."""
    while True:
        deltas, kinds, first, second = _candidates(rounds)
        if not len(deltas):
            return
        touched: set[int] = set()
        priced = rounds.slot_of.copy()
        for at in np.argsort(deltas, kind="stable")[:MOVES_A_PASS]:
            a, b = int(first[at]), int(second[at])
            there = b if kinds[at] == MOVE else int(priced[b])
            here = int(priced[a])
            moved = rounds.slot_of[a] != here or (kinds[at] == EXCHANGE and rounds.slot_of[b] != there)
            if moved or here in touched or there in touched:
                continue
            touched |= {here, there} - {NOWHERE}
            _apply(rounds, int(kinds[at]), a, b, here, there)
        for slot in touched:
            rounds.refresh(slot)


def _apply(rounds: Rounds, kind: int, a: int, b: int, here: int, there: int) -> None:
    if here != NOWHERE:
        rounds.take(a)
    if kind == EXCHANGE:
        rounds.take(b)
        if here != NOWHERE:
            rounds.put(b, here)
    rounds.put(a, there)


Changes = tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]
MOVE, EXCHANGE = 0, 1


def _candidates(rounds: Rounds) -> Changes:
    """Changes that save money: (saving as negative $, kind, site, slot or other site)."""
    problem, slot_of = rounds.problem, rounds.slot_of
    out = slot_of == NOWHERE
    at = np.where(out, 0, slot_of)
    present = np.where(out, problem.not_placed, problem.cost[np.arange(len(at)), at])
    found = [_moves(rounds, out, present), _exchanges(rounds, out, at, present)]
    deltas, kinds, first, second = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return deltas, kinds, first, second


def _moves(rounds: Rounds, out: NDArray[np.bool_], present: NDArray[np.float64]) -> Changes:
    """One site to another slot, or from nowhere to a slot."""
    p = rounds.problem
    room = np.where(rounds.load > 0, p.limit, p.whole)
    saved = np.where(out, 0.0, rounds.without)
    delta = p.cost - present[:, None] + p.drive_hour * (rounds.extra - saved[:, None])
    full = rounds.load + rounds.drive
    delta[full[None, :] + p.hours + rounds.extra > room[None, :] + EPSILON] = np.inf
    delta[np.flatnonzero(~out), rounds.slot_of[~out]] = np.inf
    site, slot = np.nonzero(delta < -EPSILON)
    return delta[site, slot], np.full(len(site), MOVE), site, slot


def _exchanges(
    rounds: Rounds, out: NDArray[np.bool_], at: NDArray[np.int64], present: NDArray[np.float64]
) -> Changes:
    """Two sites in each other's slots; a site from nowhere in the slot of one that ends nowhere."""
    p, everyone = rounds.problem, np.arange(len(at))
    # [t, s]: s takes the place of t; what t costs now is taken off
    half = p.cost[:, at].T - present[:, None] + p.drive_hour * rounds.instead
    hours = rounds.drive[at][:, None] + rounds.instead + p.hours[:, at].T
    hours += (rounds.load[at] - p.hours[everyone, at])[:, None]
    alone = np.array([len(stops) == 1 for stops in rounds.stops])[at]
    half[hours > np.where(alone, p.whole[at], p.limit[at])[:, None] + EPSILON] = np.inf
    delta = half + half.T
    delta[rounds.slot_of[:, None] == rounds.slot_of[None, :]] = np.inf
    if out.any():
        delta[:, out] = np.inf
        ends = p.not_placed[None, :] - p.not_placed[out][:, None]
        delta[out] = np.where(out[None, :], np.inf, half[:, out].T + ends)
    first, second = np.nonzero(delta < -EPSILON)
    once = (first < second) | out[first]
    first, second = first[once], second[once]
    return delta[first, second], np.full(len(first), EXCHANGE), first, second


def search(
    rounds: Rounds, *, rounds_of_search: int, seed: int, enough: Callable[[float], bool] | None = None
) -> float:
    """Improve the plan in `rounds` by taking sites out and putting them back; returns its cost [$]."""
    rng = np.random.default_rng([seed, 11])
    improve(rounds)
    near = np.argsort(rounds.problem.between + rounds.problem.between.T, axis=1, kind="stable")
    present = best = rounds.total()
    kept = best_rounds = rounds.copy_rounds()
    for number in range(rounds_of_search):
        _shake(rounds, rng, near)
        improve(rounds)
        cost = rounds.total()
        slack = WORSE_SHARE * best * (1.0 - number / rounds_of_search)
        if cost < best - EPSILON:
            best, best_rounds = cost, rounds.copy_rounds()
        if cost < best + slack and cost != present:
            present, kept = cost, rounds.copy_rounds()
        else:
            rounds.load_rounds(kept)
    rounds.load_rounds(best_rounds)
    return best


def _shake(rounds: Rounds, rng: np.random.Generator, near: NDArray[np.int64]) -> None:
    """Take out some sites that lie together, or whose days do, and put them back in another order."""
    n = rounds.problem.site_count
    count = min(n, int(rng.integers(*TAKE_OUT)))
    centre = int(rng.integers(n))
    if rng.random() < 0.5:
        chosen = near[centre, :count]
    else:
        day = np.where(rounds.slot_of >= 0, rounds.problem.day[rounds.slot_of], 10_000)
        apart = np.abs(day - day[centre]) + 3.0 * rng.random(n)
        chosen = np.argsort(apart, kind="stable")[:count]
    touched = {rounds.take(int(site)) for site in chosen if rounds.slot_of[site] >= 0}
    for slot in touched:
        rounds.refresh(slot)
    outside = np.flatnonzero(rounds.slot_of == NOWHERE)
    for site in rng.permutation(outside):
        slot, cost = rounds.best_slot(int(site))
        if cost < rounds.problem.not_placed[site]:
            rounds.put(int(site), slot)
            rounds.refresh(slot)
