"""What is planning worth? Past falls played with the same crews, roads and knowledge by four ways of working.

Ours: planned anew every week with what was known, only the days until the next plan are done. Against it,
each from the first day that served it best over the very falls scored: most urgent first (the ranking of
that week), nearest neighbour by area, and the order of the sheet. Everybody has the same hours, lost days
and drives the shortest round of its stops. Dollars are what really came (modelled water, observed frost) plus
the driving.
Run by hand on a season folder:

    python tests/bench/plan_policies.py FOLDER --seasons 1995-2024 [--members 150] [--outlook none|emulated]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.money import _Play
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import Season
from forecaster.errors import BadInput
from forecaster.falls import date_of, fall_day
from forecaster.route.assign import RouteTask, Visit, plan_problem
from forecaster.route.rounds import EPSILON, Rounds
from forecaster.route.solve import solve, tighten
from forecaster.route.window import loss_by_day, share_by_day
from forecaster.season.settings import crews_for_fall

OURS, RANKED, AREA, SHEET = "planned weekly", "most urgent first", "nearest by area", "order of the sheet"
Choice = Callable[[Rounds, int, list[int], int], list[int]]


@dataclass
class Tally:
    """Dollars of one way of working in one fall: losses and driving."""

    loss: float
    driving: float

    @property
    def total(self) -> float:
        """Both."""
        return self.loss + self.driving


class Fall:
    """One past fall: its truth, and what was known each week."""

    def __init__(self, play: _Play, outlook: str) -> None:
        self.play, self.outlook = play, outlook
        given, year = play.given, play.replayed.season
        self.year = year
        self.crews = crews_for_fall(given.settings.crews, given.settings.season.year, year)
        self.sites = [given.sites[position] for position in play.position]
        self.actual = play.loss.sum(axis=2)
        first = min(crew.first_day for crew in self.crews)
        last = max(crew.last_day for crew in self.crews)
        self.weeks = list(range(fall_day(first, year), fall_day(last, year) + 1, 7))
        self.expected: dict[int, np.ndarray] = {}
        self.ice: dict[int, np.ndarray] = {}
        self.ranks: dict[int, np.ndarray] = {}

    def look(self, day: int) -> None:
        """Forecast on one morning, kept."""
        as_of = date_of(day, self.year)
        assert as_of is not None
        events = self.play._events(self.play.replayed.morning(as_of, self.outlook))
        costs = self.play.given.settings.costs
        losses = [
            loss_by_day(event, costs, plumbing_exposure=float(share)).total
            for event, share in zip(events, self.play.exposure, strict=True)
        ]
        self.expected[day] = np.stack(losses) - self.play._paid(events, day)
        self.ice[day] = np.stack([share_by_day(event.ice_on) for event in events if event.ice_on is not None])
        self.ranks[day] = self.play._ranked(events, self.expected[day], day)

    def task(self, day: int, waiting: Sequence[int], in_force: dict[str, tuple[date, str]]) -> RouteTask:
        """What is left to plan on a morning."""
        as_of = date_of(day, self.year)
        assert as_of is not None
        visits = tuple(
            Visit(self.sites[n], self.expected[day][n], self.sites[n].hours_on_site, self.ice[day][n])
            for n in waiting
        )
        settings = self.play.given.settings
        return RouteTask(
            self.year, as_of, visits, self.crews, settings.costs, settings.route, in_force, seed=1
        )


def ours(fall: Fall) -> Tally:
    """Planned anew every week from the plan in force."""
    waiting, tally = list(range(len(fall.sites))), Tally(0.0, 0.0)
    in_force: dict[str, tuple[date, str]] = {}
    for day in fall.weeks:
        if not waiting:
            break
        task = fall.task(day, waiting, in_force)
        solved = solve(task)
        for at, slot in enumerate(task.slots):
            stops = solved.rounds.stops[at]
            on = fall_day(slot.day, fall.year)
            if stops and on < day + 7:
                tally.driving += task.costs.drive_hour * float(solved.rounds.drive[at])
                tally.loss += sum(float(fall.actual[waiting[stop], on]) for stop in stops)
        done = {s for s, (on, _) in solved.assignment.placed.items() if fall_day(on, fall.year) < day + 7}
        in_force = {s: place for s, place in solved.assignment.placed.items() if s not in done}
        waiting = [n for n in waiting if fall.sites[n].site_id not in done]
    tally.loss += sum(float(fall.actual[n, -1]) for n in waiting)
    return tally


def by_rule(fall: Fall, choose: Choice, first_day: int) -> Tally:
    """Crew-days filled one after the other from `first_day` on; `choose` orders the candidates for a slot."""
    week = fall.weeks[0]
    waiting = list(range(len(fall.sites)))
    base = fall.task(week, waiting, {})
    problem = plan_problem(base)
    rounds, left, tally = Rounds(problem), list(waiting), Tally(0.0, 0.0)
    for at, slot in enumerate(base.slots):
        on = fall_day(slot.day, fall.year)
        if on < first_day:
            continue
        for site in choose(rounds, at, left, on):
            need = rounds.load[at] + rounds.drive[at] + problem.hours[site, at] + rounds.extra[site, at]
            room = problem.limit[at] if rounds.stops[at] else problem.whole[at]
            if need <= room + EPSILON:
                rounds.put(site, at)
                rounds.refresh(at)
                left.remove(site)
        if not left:
            break
    tighten(rounds)
    tally.driving = base.costs.drive_hour * float(rounds.drive.sum())
    for at, stops in enumerate(rounds.stops):
        on = int(problem.day[at])
        tally.loss += sum(float(fall.actual[site, on]) for site in stops)
    tally.loss += sum(float(fall.actual[n, -1]) for n in left)
    return tally


def rules(fall: Fall) -> dict[str, Choice]:
    """The three ways of filling a crew-day."""

    def urgent(rounds: Rounds, slot: int, left: list[int], on: int) -> list[int]:
        known = max((week for week in fall.ranks if week <= on), default=min(fall.ranks))
        return [int(n) for n in fall.ranks[known] if int(n) in left]

    def area(rounds: Rounds, slot: int, left: list[int], on: int) -> list[int]:
        here, order, rest = -1, list[int](), set(left)
        while rest and len(order) < 12:
            hours = rounds.problem.out[slot] if here < 0 else rounds.problem.between[here]
            here = min(rest, key=lambda n: (float(hours[n]), n))
            order.append(here)
            rest.remove(here)
        return order

    return {RANKED: urgent, AREA: area, SHEET: lambda rounds, slot, left, on: list(left)}


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seasons", default="1995-2024")
    parser.add_argument("--members", type=int, default=150)
    parser.add_argument("--outlook", default="none", choices=("none", "emulated"))
    parser.add_argument(
        "--starts", type=int, default=3, help="days between the first days that rules may try"
    )
    asked = parser.parse_args()
    first, last = (int(year) for year in asked.seasons.split("-"))
    given = read_backtest(
        asked.folder,
        Asked(seasons=(first, last), outlook=asked.outlook, money=True, members=asked.members),
    )
    model, cache = PastModel.of(given), FallCache()
    tallies: dict[str, dict[int, list[Tally]]] = {}
    for year in range(first, last + 1):
        began = time.perf_counter()
        try:
            fall = Fall(_Play(Season(given, model, year, cache), model), asked.outlook)
            for day in fall.weeks:
                fall.look(day)
        except BadInput as error:
            print(f"{year}: left out, {error.problems[0].text}")
            continue
        tallies.setdefault(OURS, {}).setdefault(0, []).append(ours(fall))
        for name, choose in rules(fall).items():
            for start in range(fall.weeks[0], fall.weeks[0] + 64, asked.starts):
                tallies.setdefault(name, {}).setdefault(start, []).append(by_rule(fall, choose, start))
        print(
            f"{year}: ours ${tallies[OURS][0][-1].total:,.0f}, {time.perf_counter() - began:.0f} s",
            flush=True,
        )
    for name, by_start in tallies.items():
        start, best = min(by_start.items(), key=lambda item: np.mean([t.total for t in item[1]]))
        totals = np.array([t.total for t in best])
        mine = np.array([t.total for t in tallies[OURS][0]])
        when = "" if name == OURS else f", from {date_of(start, last):%d %b}"
        rng = np.random.default_rng(1)
        more = (totals - mine)[rng.integers(0, len(mine), (2000, len(mine)))].mean(axis=1)
        low, high = np.quantile(more, [0.05, 0.95])
        print(
            f"{name}{when}: ${totals.mean():,.0f} a fall "
            f"(driving ${np.mean([t.driving for t in best]):,.0f}), "
            f"${(totals - mine).mean():,.0f} more than ours (90 %: {low:,.0f} to {high:,.0f}); "
            f"ours cheaper in {(mine < totals - 1e-6).sum()} of {len(mine)} falls"
        )


if __name__ == "__main__":
    main()
