"""What the advice is worth on any season folders, alone and pooled: against simple rules, and the gap closed.

    python tests/bench/money_table.py FOLDER ... [--outlook emulated] [--step 2] [--first 1975] [--closings 7]

Every folder counts as one station (give each its own); every `--step`-th season from `--first` on is played,
decided anew each morning. The best fixed date and order are chosen for each station over the very seasons
that are charged. Pooled: stations' mean losses added up; bounds are 90 % of a bootstrap over calendar years,
in which a year takes all its stations with it.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.money import season_money
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.policies import (
    HINDSIGHT,
    NEVER_WAITING,
    RANKED,
    RECOMMENDED,
    SIMPLE,
)
from forecaster.backtest.policy_table import PolicyTable
from forecaster.backtest.result import SeasonResult, empty_result
from forecaster.backtest.schedule import make_schedule

SEASONS_A_JOB = 6
DRAWS = 2000


def play(job: tuple[Path, Asked, tuple[int, ...]]) -> list[SeasonResult]:
    folder, asked, seasons = job
    given = read_backtest(folder, asked)
    model, cache = PastModel.of(given), FallCache()
    return [season_money(given, model, empty_result(season, [], []), cache) for season in seasons]


def seasons_of(folder: Path, asked: Asked, step: int, first: int) -> tuple[int, ...]:
    seasons = make_schedule(read_backtest(folder, asked)).seasons[::-1][::step]
    return tuple(season for season in seasons if season >= first)


def play_all(
    folders: list[Path], asked: Asked, *, step: int, first: int, workers: int
) -> dict[str, PolicyTable]:
    jobs = [
        (folder, asked, chosen[at : at + SEASONS_A_JOB])
        for folder in folders
        for chosen in [seasons_of(folder, asked, step, first)]
        for at in range(0, len(chosen), SEASONS_A_JOB)
    ]
    tables = {folder.name: PolicyTable() for folder in folders}
    with ProcessPoolExecutor(workers) as pool:
        for number, (job, results) in enumerate(zip(jobs, pool.map(play, jobs), strict=True), 1):
            for result in results:
                tables[job[0].name].add(result)
            print(f"{number} of {len(jobs)}", file=sys.stderr, flush=True)
    return tables


def print_station(name: str, table: PolicyTable) -> None:
    rows = table.rows()
    print(f"{name}, {rows[0].seasons} falls, {min(table.years)}-{max(table.years)}")
    for row in rows:
        world = "limited  " if row.crews_limited else "unlimited"
        parts = ", ".join(f"{part} {dollars:.0f}" for part, dollars in row.loss_parts.items())
        gap = "" if row.gap_closed is None else f"  gap closed {row.gap_closed:.2f}"
        more = "" if row.more_than_ours is None else f"  {row.more_than_ours:+.1f} "
        if row.more_than_ours_low is not None and row.more_than_ours_high is not None:
            more += f"({row.more_than_ours_low:+.1f} to {row.more_than_ours_high:+.1f})"
        print(f"  {world} {row.policy} {row.detail}: {row.mean_loss:.1f} [{parts}]{more}{gap}")


def pooled(tables: dict[str, PolicyTable], *, limited: bool) -> dict[str, np.ndarray]:
    """Sum over stations of the mean loss of each policy, in the falls scored and in DRAWS bootstrap draws:
    shape (1 + DRAWS,) by policy."""
    years = sorted({year for table in tables.values() for year in table.years})
    drawn = np.random.default_rng(1).integers(len(years), size=(DRAWS, len(years)))
    times = np.stack([np.bincount(row, minlength=len(years)) for row in drawn])
    times = np.concatenate([np.ones((1, len(years)), int), times])
    out: dict[str, np.ndarray] = {}
    for table in tables.values():
        weight = times[:, np.searchsorted(years, table.years)].astype(float)
        weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1.0)
        for name, parts in table.losses(limited)[0].items():
            out[name] = out.get(name, 0.0) + weight @ parts.sum(axis=1)
    return out


def said(values: np.ndarray) -> str:
    low, high = np.quantile(values[1:], [0.05, 0.95])
    return f"{values[0]:.2f} ({low:.2f} to {high:.2f})"


def print_pooled(tables: dict[str, PolicyTable]) -> None:
    count = len(tables)
    for limited in (False, True):
        loss = pooled(tables, limited=limited)
        ours, best = loss[RECOMMENDED], loss[HINDSIGHT]
        print(f"pooled, crews {'limited' if limited else 'enough'}: dollars a pond and fall, mean of {count}")
        for name in (*SIMPLE, NEVER_WAITING, RANKED, RECOMMENDED, HINDSIGHT):
            if name not in loss or (limited and name == NEVER_WAITING):
                continue
            rule = loss[name]
            line = f"  {name}: {rule[0] / count:.1f}"
            if name not in (RECOMMENDED, HINDSIGHT):
                line += f"; less ours {said((rule - ours) / count)}; ours / this {said(ours / rule)}"
                line += f"; share of the gap closed {said((rule - ours) / (rule - best))}"
            print(line)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--outlook", default="none")
    parser.add_argument("--step", type=int, default=2)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--closings", type=int, default=7)
    parser.add_argument("--members", type=int, default=300)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    asked = Asked(
        outlook=args.outlook, money=True, members=args.members, closings_a_day=args.closings,
        as_of_days=((10, 1),),
    )  # fmt: skip
    tables = play_all(args.folders, asked, step=args.step, first=args.first, workers=args.workers)
    for name, table in tables.items():
        print_station(name, table)
    print_pooled(tables)


if __name__ == "__main__":
    main()
