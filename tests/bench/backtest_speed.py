"""Time and memory of a backtest: FOLDER, 50 seasons, 8 as-of days, 750 members, two workers.

    python tests/bench/backtest_speed.py FOLDER [--seasons 1976-2025] [--workers 2]

Peak memory is of the parent, which must not grow with the seasons; children are printed beside it.
"""

from __future__ import annotations

import argparse
import resource
import time
from pathlib import Path

from forecaster.backtest.inputs import Asked
from forecaster.backtest.run import run_backtest

DAYS = ((9, 10), (9, 17), (9, 24), (10, 1), (10, 8), (10, 15), (10, 22), (10, 29))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seasons", default="1976-2025")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--outlook", default="none")
    given = parser.parse_args()
    first, last = (int(year) for year in given.seasons.split("-"))
    peaks: list[int] = []
    began = time.perf_counter()
    done = run_backtest(
        given.folder,
        Asked(seasons=(first, last), as_of_days=DAYS, members=750, outlook=given.outlook),
        workers=given.workers,
        each=lambda result: peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024),
    )
    took = time.perf_counter() - began
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    print(
        f"{len(done.summary.years)} seasons x {len(DAYS)} days: {took:.0f} s with {given.workers} workers; "
        f"parent {peaks[0]} MB after the first season, {peaks[-1]} MB after the last; child {children} MB"
    )


if __name__ == "__main__":
    main()
