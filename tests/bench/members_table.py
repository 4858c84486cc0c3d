"""Members by recipe on any season folders: do the forecasts keep their promises?

    python tests/bench/members_table.py FOLDER [FOLDER ...] [--outlook emulated] [--recipes "as shipped"]

Every folder counts as one station (give each its own). Sustained crossing against modelled water, the seven
weeks before the station's median crossing. A line a station and one for all together: score (fair CRPS) over
that of past falls alone, the same in the last three weeks, how often the day lay between the outer two dates,
skill of the chance of a hard freeze first, the same in the last two weeks, how many of the filled tenths of
that chance broke their promise, the same of a plumbing freeze, and what two simple rules miss more. Brackets:
90 % of a bootstrap over calendar years, in which a year takes all its stations with it.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import replay_season
from forecaster.backtest.schedule import make_schedule
from forecaster.backtest.summary import ScoreRow, Summary
from forecaster.moved_falls import Recipe

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
    "eleven shifts": Recipe(shifts_days=tuple(range(-10, 11, 2))),
}
MODELLED, SUSTAINED = 0, 1
SEASONS_A_JOB = 12


@dataclass(frozen=True)
class Job:
    """Some seasons of one folder."""

    folder: Path
    outlook: str
    recipe: Recipe
    seasons: tuple[int, ...]


def asked_of(outlook: str) -> Asked:
    return Asked(outlook=outlook, members=300)


def replay(job: Job) -> Summary:
    given = read_backtest(job.folder, asked_of(job.outlook))
    schedule, model, cache = make_schedule(given), PastModel.of(given), FallCache()
    summary = Summary(schedule.as_of_days)
    for season in job.seasons:
        summary.add(replay_season(given, model, season, schedule.days_of(season), cache, job.recipe))
    return summary


def together(parts: list[Summary]) -> Summary:
    """One summary of all, the stations of a year added up; as-of days by their place in the seven weeks."""
    whole = Summary(parts[0].as_of_days)
    for year in sorted({year for part in parts for year in part.years}):
        at = [(part, part.years.index(year)) for part in parts if year in part.years]
        whole.years.append(year)
        whole.sums.append(np.sum([part.sums[n] for part, n in at], axis=0))
        whole.lead_sums.append(np.sum([part.lead_sums[n] for part, n in at], axis=0))
        whole.transforms.append(np.sum([part.transforms[n] for part, n in at], axis=0))
        whole.reliabilities.append(np.sum([part.reliabilities[n] for part, n in at], axis=0))
    return whole


def line(name: str, summary: Summary) -> str:
    days = range(len(summary.as_of_days))

    def over(cases: list[int]) -> ScoreRow:
        return summary.row(MODELLED, SUSTAINED, cases, name)

    row, three, two = over(list(days)), over(list(days)[-3:]), over(list(days)[-2:])
    kept = summary.reliability(MODELLED, SUSTAINED)
    plumbing = summary.reliability(MODELLED, SUSTAINED, 1)
    filled = int((kept.bins.count > 0).sum())
    return (
        f"{name:30} {row.seasons} falls"
        f"  score {said(row.crps_ratio, row.crps_ratio_low, row.crps_ratio_high, 3)}"
        f"  late {said(three.crps_ratio, three.crps_ratio_low, three.crps_ratio_high, 3)}"
        f"  8 in 10 {said(row.coverage_80, row.coverage_80_low, row.coverage_80_high)}"
        f"  skill {said(row.brier_skill, row.brier_skill_low, row.brier_skill_high)}"
        f"  late {said(two.brier_skill, two.brier_skill_low, two.brier_skill_high)}"
        f"  tenths broken {kept.outside()} of {filled}"
        f"  plumbing skill "
        f"{said(row.brier_plumbing_skill, row.brier_plumbing_skill_low, row.brier_plumbing_skill_high)}"
        f"  tenths broken {plumbing.outside()} of {int((plumbing.bins.count > 0).sum())}"
        f"  misses {row.mae_days:.1f} days, usual date {row.usual_date_misses_more_days:+.1f} more"
        f"  as last fall {row.last_fall_misses_more_days:+.1f}"
    )


def said(value: float | None, low: float | None, high: float | None, digits: int = 2) -> str:
    if value is None or low is None or high is None:
        return "-"
    return f"{value:.{digits}f} ({low:.2f} to {high:.2f})"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--outlook", default="none")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--recipes", default=",".join(RECIPES))
    asked = parser.parse_args()
    seasons = {f: make_schedule(read_backtest(f, asked_of(asked.outlook))).seasons for f in asked.folders}
    with ProcessPoolExecutor(asked.workers) as pool:
        for name in asked.recipes.split(","):
            jobs = [
                Job(folder, asked.outlook, RECIPES[name], tuple(chosen[first : first + SEASONS_A_JOB]))
                for folder, chosen in seasons.items()
                for first in range(0, len(chosen), SEASONS_A_JOB)
            ]
            found = list(pool.map(replay, jobs))
            stations = {
                folder: together(
                    [part for part, job in zip(found, jobs, strict=True) if job.folder == folder]
                )
                for folder in asked.folders
            }
            print(line(name, together(list(stations.values()))), flush=True)
            for folder, summary in stations.items():
                print("    " + line(folder.name, summary), flush=True)


if __name__ == "__main__":
    main()
