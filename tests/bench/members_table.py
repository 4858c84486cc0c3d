"""Members by recipe on any season folders: score over past only, coverage, skill of the freeze chance.

    python tests/bench/members_table.py FOLDER [FOLDER ...] [--outlook emulated] [--workers 2]

Every folder counts as one station (give each its own). The seven weeks before the median crossing.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import replay_season
from forecaster.backtest.schedule import make_schedule
from forecaster.backtest.summary import STATS, Summary
from forecaster.scenarios import Recipe

RECIPES = {
    "as shipped": Recipe(),
    "mean and minimum each alone": Recipe(linked=False),
    "half the trend, not joined": Recipe(trend_share=0.5, joined_days=0),
    "no trend": Recipe(trend_share=0.0),
    "whole trend": Recipe(trend_share=1.0),
    "trend by part of the fall": Recipe(seasonal_trend=True),
    "not joined to the season": Recipe(joined_days=0),
    "spread of the new days": Recipe(rescaled=True),
    "no shifts": Recipe(shifts_days=(0,)),
}


def one(job: tuple[Path, str, Recipe]) -> Summary:
    folder, outlook, recipe = job
    given = read_backtest(folder, Asked(outlook=outlook, members=300))
    schedule, model, cache = make_schedule(given), PastModel.of(given), FallCache()
    summary = Summary(schedule.as_of_days)
    for season in schedule.seasons:
        summary.add(replay_season(given, model, season, schedule.days_of(season), cache, recipe))
    return summary


def totals(summary: Summary, weeks: slice) -> np.ndarray:
    """Sums of STATS over seasons, sustained crossing against modelled water."""
    return np.sum([season[0, 1, weeks] for season in summary.sums], axis=(0, 1))


def line(name: str, sums: np.ndarray, late: np.ndarray) -> str:
    n, crps, past, inside = (sums[STATS.index(key)] for key in ("n", "crps", "crps_reference", "inside_80"))
    brier, brier_past = (sums[STATS.index(key)] for key in ("brier", "brier_reference"))
    late_ratio = late[STATS.index("crps")] / late[STATS.index("crps_reference")]
    skill = 1.0 - brier / brier_past if brier_past > 0 else float("nan")
    return f"{name:32} {crps / past:.3f}  late {late_ratio:.3f}  8 in 10 {inside / n:.2f}  skill {skill:+.2f}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--outlook", default="none")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--recipes", default=",".join(RECIPES))
    asked = parser.parse_args()
    with ProcessPoolExecutor(asked.workers) as pool:
        for name in asked.recipes.split(","):
            jobs = [(folder, asked.outlook, RECIPES[name]) for folder in asked.folders]
            found = list(pool.map(one, jobs))
            whole, late = ([totals(s, part) for s in found] for part in (slice(None), slice(-3, None)))
            print(line(name, np.sum(whole, axis=0), np.sum(late, axis=0)), flush=True)
            for folder, a, b in zip(asked.folders, whole, late, strict=True):
                print("    " + line(folder.name, a, b), flush=True)


if __name__ == "__main__":
    main()
