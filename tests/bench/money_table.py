"""What the advice is worth on any season folders, pooled: against the best fixed date, and the gap closed.

    python tests/bench/money_table.py FOLDER ... [--outlook emulated] [--step 2] [--closings 7] [--workers 2]

Every folder counts as one station (give each its own); every `--step`-th season is played, decided anew each
morning. The best fixed date and order are chosen for each station over the very seasons that are charged.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.money import season_money
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.policies import (
    FIXED,
    HINDSIGHT,
    NEVER_WAITING,
    RECOMMENDED,
    SHALLOW_FIRST,
    PolicyRow,
)
from forecaster.backtest.policy_table import PolicyTable
from forecaster.backtest.result import empty_result
from forecaster.backtest.schedule import make_schedule


def one(job: tuple[Path, Asked, int]) -> tuple[PolicyRow, ...]:
    folder, asked, step = job
    given = read_backtest(folder, asked)
    model, cache, table = PastModel.of(given), FallCache(), PolicyTable()
    for season in make_schedule(given).seasons[::-1][::step]:
        table.add(season_money(given, model, empty_result(season, [], []), cache))
    return table.rows()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--outlook", default="none")
    parser.add_argument("--step", type=int, default=2)
    parser.add_argument("--closings", type=int, default=7)
    parser.add_argument("--members", type=int, default=300)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    asked = Asked(
        outlook=args.outlook, money=True, members=args.members, closings_a_day=args.closings,
        as_of_days=((10, 1),),
    )  # fmt: skip
    with ProcessPoolExecutor(args.workers) as pool:
        tables = list(pool.map(one, [(folder, asked, args.step) for folder in args.folders]))
    for folder, rows in zip(args.folders, tables, strict=True):
        print(f"{folder.name}, {rows[0].seasons} falls")
        for row in rows:
            world = "limited  " if row.crews_limited else "unlimited"
            parts = ", ".join(f"{name} {part:.0f}" for name, part in row.loss_parts.items())
            gap = "" if row.gap_closed is None else f"  gap closed {row.gap_closed:.2f}"
            more = "" if row.more_than_ours is None else f"  {row.more_than_ours:+.1f} "
            if row.more_than_ours_low is not None and row.more_than_ours_high is not None:
                more += f"({row.more_than_ours_low:+.1f} to {row.more_than_ours_high:+.1f})"
            print(f"  {world} {row.policy} {row.detail}: {row.mean_loss:.1f} [{parts}]{more}{gap}")
    for limited, rule in ((False, FIXED), (True, FIXED), (True, SHALLOW_FIRST)):
        loss = {
            name: np.array([_mean(rows, name, limited) for rows in tables])
            for name in (rule, RECOMMENDED, HINDSIGHT)
        }
        ours, best = loss[RECOMMENDED].sum(), loss[HINDSIGHT].sum()
        share = (loss[rule].sum() - ours) / (loss[rule].sum() - best)
        print(
            f"pooled, crews {'limited' if limited else 'enough'}, against {rule}: "
            f"loss over the rule's {ours / loss[rule].sum():.2f}, share of the gap closed {share:.2f}"
        )
    plain = sum(_mean(rows, NEVER_WAITING, limited=False) for rows in tables)
    print(f"pooled, crews enough, {NEVER_WAITING}: {plain / sum(_mean(r, FIXED, False) for r in tables):.2f}")


def _mean(rows: tuple[PolicyRow, ...], policy: str, limited: bool) -> float:
    return next(row.mean_loss for row in rows if row.policy == policy and row.crews_limited == limited)


if __name__ == "__main__":
    main()
