"""How far from the best possible are the plans of large seasons, and how long does that take?

Invented seasons: 200 sites x 45 working days x 3 crews, and 500 sites x 45 days x 8 crews, with booked and
told dates. Run by hand:

    python tests/bench/plan_gap.py [--sites 200] [--crews 3] [--gap 0.03]
"""

from __future__ import annotations

import argparse
import time
from datetime import date, timedelta

import numpy as np

from forecaster.falls import FALL_DAYS
from forecaster.route.assign import RouteTask, Visit
from forecaster.route.bound import gap_of
from forecaster.route.solve import solve
from forecaster.season.settings import Costs, Crew, RouteSettings
from forecaster.season.sites import Site

FALL, AS_OF = 2025, date(2025, 9, 22)
WORKING_DAYS = 45
TOWNS = 14


def season(sites: int, crews: int, *, seed: int = 1) -> RouteTask:
    """Sites in towns around one yard; losses fall with cooling water, then rise with frost."""
    rng = np.random.default_rng(seed)
    last = AS_OF + timedelta(days=WORKING_DAYS * 7 // 5 - 1)
    made = tuple(
        Crew(
            name=f"Crew {n + 1}",
            latitude=43.0,
            longitude=-88.0,
            hours_per_day=8.0,
            work_days=["mon", "tue", "wed", "thu", "fri"],  # type: ignore[arg-type]
            first_day=AS_OF,
            last_day=last,
        )
        for n in range(crews)
    )
    towns = np.column_stack([43 + rng.uniform(-0.3, 0.3, TOWNS), -88 + rng.uniform(-0.4, 0.4, TOWNS)])
    day, visits = np.arange(FALL_DAYS), []
    for number in range(sites):
        place = towns[rng.integers(TOWNS)] + rng.normal(0, 0.02, 2)
        ready, frost = rng.normal(80, 7), rng.normal(95, 5)
        spread = rng.uniform(5, 9)
        warm = 10 * np.logaddexp(0, (ready - day) / spread) * spread
        cold = rng.uniform(150, 500) / (1 + np.exp(-(day - frost) / 6.0))
        dates: dict[str, date] = {}
        chance = rng.random()
        some = AS_OF + timedelta(days=int(rng.integers(3, 55)))
        if chance < 0.12 and some.weekday() < 5:
            dates["booked_date" if chance < 0.03 else "told_date"] = some
        site = Site(f"S{number:03d}", "invented", float(place[0]), float(place[1]), 0.6, **dates)  # type: ignore[arg-type]
        visits.append(Visit(site, warm + cold, float(rng.choice([1.0, 1.5, 2.0, 3.0]))))
    return RouteTask(FALL, AS_OF, tuple(visits), made, Costs(), RouteSettings(), seed=seed)


def main() -> None:
    """Solve and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--crews", type=int, default=3)
    parser.add_argument("--gap", type=float, default=0.05)
    asked = parser.parse_args()
    task = season(asked.sites, asked.crews)
    start, cpu = time.perf_counter(), time.process_time()
    plan = solve(task, gap=asked.gap).assignment
    took, used = time.perf_counter() - start, time.process_time() - cpu
    gap = gap_of(plan.cost, plan.bound, plan.cost)
    driving = "real" if plan.exact_driving else "estimated"
    print(
        f"{asked.sites} sites, {len(task.slots)} crew-days: ${plan.cost:,.0f}, bound ${plan.bound:,.0f}, "
        f"gap {gap:.2%} ({driving} driving), {len(plan.not_placed)} without a place, "
        f"{took:.1f} s ({used:.1f} s of processor)"
    )


if __name__ == "__main__":
    main()
