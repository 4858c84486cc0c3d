"""From the task to a plan with its gap: a start, the search, the shortest rounds, the proof.

Stops by proof or by a number of rounds of search, never by the clock: the same input gives the same plan on
any machine and any number of cores. A small season is proven as it is (sets.py), a larger one under a driving
estimate (bound.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from forecaster.route.assign import Assignment, RouteTask, plan_problem, told_date
from forecaster.route.bound import gap_of, relax
from forecaster.route.conflicts import booked_rounds
from forecaster.route.rounds import EPSILON, NOWHERE, PlanProblem, Rounds
from forecaster.route.search import improve, search
from forecaster.route.sets import prove
from forecaster.route.stops import round_hours, shortest_round

DEFAULT_GAP = 0.05
FIRST_ROUNDS = 100
"""Rounds of search before a proof is tried."""
SMALL_SITES = 60
"""Up to so many sites a proof over sets is tried."""
ROUNDS = 300
"""Rounds of search in one batch."""
BATCHES, FINER_BATCHES = 2, 10
"""Most batches: the first is always run unless the plan is proven, more while the gap is above the target."""
PROVEN = 1e-6
"""Gap at which a plan counts as proven the best."""
SETS_AT_MOST = 20_000
SETS_AT_MOST_FINER = 200_000


@dataclass(frozen=True, eq=False)
class Solved:
    """The plan in numbers (`rounds`, tightened) and in words of the task."""

    problem: PlanProblem
    rounds: Rounds
    assignment: Assignment


def solve(task: RouteTask, *, gap: float = DEFAULT_GAP) -> Solved:
    """The plan of the task; `gap` is the target at which the search may stop, 0-1."""
    problem = plan_problem(task)
    rounds = Rounds(problem)
    if problem.slot_count == 0 or problem.site_count == 0:
        return _solved(task, rounds, rounds.total(), exact=True)
    _start(task, rounds)
    finer = gap < DEFAULT_GAP
    exact_bound = None
    if problem.site_count <= SMALL_SITES:
        cost = search(rounds, rounds_of_search=FIRST_ROUNDS, seed=task.seed)
        proof = prove(problem, known_cost=cost, at_most=SETS_AT_MOST_FINER if finer else SETS_AT_MOST)
        if proof is not None and proof.rounds is not None and proof.cost < cost - EPSILON:
            rounds.load_rounds(proof.rounds)
        best = proof is not None and gap_of(rounds.total(), proof.bound, rounds.total()) <= PROVEN
        if proof is not None and (best or not (rounds.slot_of == NOWHERE).any()):
            exact_bound = proof.bound
    tighten(rounds)
    bound = _bound(rounds, exact_bound)
    batches = FINER_BATCHES if finer else BATCHES
    done = 0
    # the bound leaves as many sites out as the plan does: before any search it says nothing
    while done < batches and (
        (done == 0 and exact_bound is None)
        or gap_of(rounds.total(), bound, rounds.money()) > (gap if done else PROVEN)
    ):
        done += 1
        search(rounds, rounds_of_search=ROUNDS, seed=task.seed + done)
        tighten(rounds)
        bound = _bound(rounds, exact_bound)
    return _solved(task, rounds, bound, exact=exact_bound is not None)


def _bound(rounds: Rounds, exact_bound: float | None) -> float:
    return relax(rounds).bound if exact_bound is None else exact_bound


def tighten(rounds: Rounds) -> None:
    """Give every slot its shortest round."""
    problem = rounds.problem
    for slot, stops in enumerate(rounds.stops):
        if len(stops) < 2:
            continue
        hours = np.zeros((len(stops) + 1, len(stops) + 1))
        at = sorted(stops)
        hours[0, 1:], hours[1:, 0] = problem.out[slot, at], problem.back[slot, at]
        hours[1:, 1:] = problem.between[np.ix_(at, at)]
        order = shortest_round(hours)
        if round_hours(hours, order) <= rounds.drive[slot] + EPSILON:
            rounds.stops[slot] = [at[place - 1] for place in order]
            rounds.refresh(slot)


def _start(task: RouteTask, rounds: Rounds) -> None:
    """Bookings first, then the plan in force as far as it is still possible, then whatever improves."""
    position = {visit.site.site_id: at for at, visit in enumerate(task.visits)}
    slot_at = {(slot.day, slot.crew): at for at, slot in enumerate(task.slots)}
    for place, site_ids in booked_rounds(task).items():
        for site_id in site_ids:
            rounds.put(position[site_id], slot_at[place])
        rounds.refresh(slot_at[place])
    wanted = {visit.site.site_id: task.in_force.get(visit.site.site_id) for visit in task.visits}
    for visit in task.visits:
        told = told_date(visit.site, task.as_of)
        planned = wanted[visit.site.site_id]
        if told is not None and (planned is None or planned[0] != told):
            wanted[visit.site.site_id] = (told, "")
    for site_id, planned in sorted(wanted.items()):
        site = position[site_id]
        if planned is None or rounds.slot_of[site] != NOWHERE:
            continue
        slots = (
            [slot_at[planned]]
            if planned in slot_at
            else [at for at, slot in enumerate(task.slots) if slot.day == planned[0]]
        )
        for slot in slots:
            if _has_room(rounds, site, slot):
                rounds.put(site, slot)
                rounds.refresh(slot)
                break


def _has_room(rounds: Rounds, site: int, slot: int) -> bool:
    problem = rounds.problem
    if not np.isfinite(problem.cost[site, slot]):
        return False
    need = rounds.load[slot] + rounds.drive[slot] + problem.hours[site, slot] + rounds.extra[site, slot]
    return bool(need <= problem.limit_for(slot, [*rounds.stops[slot], site]) + EPSILON)


def forced(problem: PlanProblem, site: int, day: int) -> PlanProblem:
    """The same task with one site held to a day."""
    cost = problem.cost.copy()
    cost[site, problem.day != day] = np.inf
    return replace(problem, cost=cost)


def cost_if_held(rounds: Rounds, site: int, day: int) -> tuple[float, list[list[int]]]:
    """Cost [$] and rounds of the plan if a site had to be on `day` and the others made the best of it."""
    held = Rounds(forced(rounds.problem, site, day))
    held.load_rounds(rounds.copy_rounds())
    if held.slot_of[site] != NOWHERE:
        slot = held.take(site)
        held.refresh(slot)
    improve(held)
    tighten(held)
    return held.total(), held.copy_rounds()


def resolved(task: RouteTask, solved: Solved) -> Solved:
    """The plan again after its rounds were changed by hand; the bound still holds where it is exact."""
    exact = solved.assignment.exact_driving
    return _solved(
        task, solved.rounds, _bound(solved.rounds, solved.assignment.bound if exact else None), exact=exact
    )


def _solved(task: RouteTask, rounds: Rounds, bound: float, *, exact: bool) -> Solved:
    ids = [visit.site.site_id for visit in task.visits]
    named = {
        task.slots[slot]: tuple(ids[site] for site in stops)
        for slot, stops in enumerate(rounds.stops)
        if stops
    }
    placed = {site_id: (slot.day, slot.crew) for slot, stops in named.items() for site_id in stops}
    assignment = Assignment(
        rounds=named,
        placed=placed,
        not_placed=tuple(site_id for site_id in ids if site_id not in placed),
        cost=rounds.total(),
        bound=min(bound, rounds.total()),
        exact_driving=exact,
    )
    return Solved(rounds.problem, rounds, assignment)
