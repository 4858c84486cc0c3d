"""Small seasons against every assignment tried, and the hand cases of the trade's textbooks."""

import numpy as np
import pytest
from brute_force import least_cost
from plan_checker import faults
from route_cases import FRI, MON, THU, TUE, WED, crew, random_task, task, visit

from forecaster.route.assign import plan_problem
from forecaster.route.bound import gap_of, relax
from forecaster.route.rounds import Rounds
from forecaster.route.search import improve, search
from forecaster.route.sets import prove
from forecaster.route.solve import solve


def check_against_all(seed: int) -> None:
    whole = random_task(seed, sites=6, days=4, crews=2)
    solved = solve(whole)
    assert solved.assignment.cost == pytest.approx(least_cost(plan_problem(whole)), abs=1e-4)
    assert solved.assignment.exact_driving
    assert gap_of(solved.assignment.cost, solved.assignment.bound, solved.assignment.cost) < 1e-6
    assert faults(whole, solved.assignment) == []


@pytest.mark.parametrize("seed", range(6))
def test_no_assignment_of_all_costs_less(seed: int):
    check_against_all(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6, 106))
def test_no_assignment_of_all_costs_less_many(seed: int):
    check_against_all(seed)


def test_two_days_two_ponds_a_day():
    # extra loss of the second day 50, 60, 10, 20: the first two go on Monday, 30 in all; next best 60
    ponds = [
        visit(name, {MON: 0.0, TUE: extra})
        for name, extra in (("A", 50.0), ("B", 60.0), ("C", 10.0), ("D", 20.0))
    ]
    solved = solve(task(*ponds))
    days = {name: day for name, (day, _) in solved.assignment.placed.items()}
    assert days == {"A": MON, "B": MON, "C": TUE, "D": TUE}
    assert solved.assignment.cost == pytest.approx(30.0)


def test_three_by_three_assignment():
    # [[10,40,70],[20,25,30],[15,60,90]]: optimum 85 (40 + 30 + 15); the greedy by rows gives 125
    days = (MON, TUE, WED)
    rows = {"A": (10.0, 40.0, 70.0), "B": (20.0, 25.0, 30.0), "C": (15.0, 60.0, 90.0)}
    ponds = [visit(name, dict(zip(days, row, strict=True)), hours=3.0) for name, row in rows.items()]
    solved = solve(task(*ponds, crews=(crew(hours=4.0, last=WED),)))
    assert solved.assignment.cost == pytest.approx(85.0)
    placed = {name: day for name, (day, _) in solved.assignment.placed.items()}
    assert placed == {"A": TUE, "B": WED, "C": MON}


def test_neighbours_go_together_when_the_loss_allows():
    # two pairs far apart, any day equally good: one pair a day, not one of each
    north = {"latitude": 43.5, "longitude": -88.0}
    south = {"latitude": 42.5, "longitude": -88.0}
    ponds = [visit(f"N{n}", {MON: 0.0, TUE: 0.0}, hours=1.0, **north) for n in range(2)]
    ponds += [visit(f"S{n}", {MON: 0.0, TUE: 0.0}, hours=1.0, **south) for n in range(2)]
    placed = solve(task(*ponds, crews=(crew(hours=6.0),))).assignment.placed
    assert placed["N0"] == placed["N1"] != placed["S0"] == placed["S1"]


@pytest.mark.parametrize("seed", range(4))
def test_search_alone_comes_within_two_percent_of_the_proof(seed: int):
    problem = plan_problem(random_task(100 + seed, sites=14, days=9, crews=2))
    rounds = Rounds(problem)
    found = search(rounds, rounds_of_search=100, seed=1)
    proof = prove(problem, known_cost=found, at_most=100_000)
    assert proof is not None
    assert proof.bound <= proof.cost + 1e-6
    assert proof.bound - 1e-6 <= found <= 1.02 * proof.cost


@pytest.mark.parametrize("seed", range(6))
def test_no_relaxation_costs_more_than_the_plan(seed: int):
    rounds = Rounds(plan_problem(random_task(200 + seed, sites=25, days=12, crews=2)))
    improve(rounds)
    relaxed = relax(rounds)
    assert relaxed.bound <= rounds.total() + 1e-6
    assert (relaxed.hour_price >= 0).all()


def test_kept_changes_are_priced_as_the_plan_made_anew():
    rounds = Rounds(plan_problem(random_task(7, sites=30, days=12, crews=2)))
    search(rounds, rounds_of_search=20, seed=3)
    again = Rounds(rounds.problem)
    again.load_rounds(rounds.copy_rounds())
    assert again.total() == pytest.approx(rounds.total(), abs=1e-9)
    np.testing.assert_allclose(again.instead, rounds.instead, atol=1e-12)
    np.testing.assert_allclose(again.extra, rounds.extra, atol=1e-12)


def test_a_told_date_moves_only_for_more_than_its_price():
    def planned(saving: float) -> object:
        told = visit("A", {MON: 0.0, THU: saving}, told_date=THU)
        return solve(task(told, crews=(crew(last=FRI),))).assignment.placed["A"][0]

    assert planned(24.0) == THU  # moving costs 25
    assert planned(26.0) == MON


def test_same_task_same_plan():
    first, second = (solve(random_task(3, sites=70, days=25, crews=2)).assignment for _ in range(2))
    assert first == second
