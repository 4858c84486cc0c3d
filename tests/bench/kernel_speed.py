"""The kernel (recursion and events) against the same in pandas and in xarray with xclim, in one run.

    python tests/bench/kernel_speed.py [--sites 40] [--members 150]

All give the same days (checked); invented weather, no folder needed.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
import xarray as xr

from forecaster.backtest.past import physics_points
from forecaster.backtest.point_water import Runs, Watch, member_crossings
from forecaster.backtest.station_air import WARM_UP_DAYS
from forecaster.falls import FALL_DAYS
from forecaster.season.sites import Site

Reals = np.ndarray
LIMIT_C, HOLD_DAYS = 65 / 9, 5


def timed(work: Callable[[], np.ndarray]) -> tuple[np.ndarray, float]:
    best, found = np.inf, np.zeros(0)
    for _ in range(3):
        began = time.perf_counter()
        found = work()
        best = min(best, time.perf_counter() - began)
    return found, best


def by_pandas(
    base: np.ndarray, slope: np.ndarray, k: np.ndarray, air: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """Exponentially weighted means with the start value in front, and a rolling sum."""
    found = np.full((len(k), air.shape[1]), np.inf)
    for site, step in enumerate(k):
        driven = base[site][:, None] + slope[site][:, None] * air
        frame = pd.DataFrame(np.vstack([np.full((1, air.shape[1]), start[site]), driven]))
        water = frame.ewm(alpha=step, adjust=False).mean().iloc[1:]
        held = (water <= LIMIT_C).astype(float).rolling(HOLD_DAYS).sum() == HOLD_DAYS
        values = held.to_numpy()
        first = values.argmax(axis=0) - HOLD_DAYS + 1.0
        found[site] = np.where(values.any(axis=0), first, np.inf)
    return found


def by_xclim(
    base: np.ndarray, slope: np.ndarray, k: np.ndarray, air: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """The recursion in xarray, day by day, and xclim's first run."""
    from xclim.indices.run_length import first_run

    days = pd.date_range("2021-08-01", periods=FALL_DAYS)
    a, b = (xr.DataArray(v, dims=("site", "time"), coords={"time": days}) for v in (base, slope))
    t = xr.DataArray(air, dims=("time", "member"), coords={"time": days})
    step, state = xr.DataArray(k, dims="site"), xr.DataArray(start, dims="site")
    water = []
    for day in range(FALL_DAYS):
        driven = a.isel(time=day) + b.isel(time=day) * t.isel(time=day)
        state = np.maximum(state + step * (driven - state), 0.0)
        water.append(state)
    whole = xr.concat(water, dim="time").assign_coords(time=days)
    first = first_run(whole <= LIMIT_C, window=HOLD_DAYS, dim="time")
    return np.asarray(first.fillna(np.inf).transpose("site", "member"))


def main() -> None:
    warnings.simplefilter("ignore")
    parser = argparse.ArgumentParser()
    parser.add_argument("--sites", type=int, default=40)
    parser.add_argument("--members", type=int, default=150)
    asked = parser.parse_args()
    rng = np.random.default_rng(1)
    sites = [Site(str(n), "", 43.0, -88.0, rng.uniform(0.4, 1.3)) for n in range(asked.sites)]
    points = physics_points(sites)
    base, slope = (part[:, WARM_UP_DAYS:] for part in points.line(2021))
    day = np.arange(FALL_DAYS)[:, None]
    air = 21.0 - 26.0 * np.sin(np.pi * (day + 20) / 400.0) + rng.normal(0, 3, (FALL_DAYS, asked.members))
    start = np.full(asked.sites, 22.0)
    nothing = Runs(np.zeros((asked.sites, 1), int), np.full((asked.sites, 1), np.inf))

    def ours() -> np.ndarray:
        return member_crossings(
            points, 2021, state_c=start, runs=nothing,
            air_c=np.ascontiguousarray(air[:, None, :], np.float32),
            air_of=np.zeros(asked.sites, int), first_day=0, watched=(Watch(LIMIT_C, HOLD_DAYS),),
        )[0]  # fmt: skip

    found, own = timed(ours)
    for name, other in (("pandas", by_pandas), ("xarray and xclim", by_xclim)):
        theirs, took = timed(lambda: other(base, slope, points.step, air, start))  # noqa: B023
        same = (theirs == found).mean()
        print(f"{name}: {took:.3f} s against {own:.4f} s, {took / own:.0f} times; same days in {same:.4%}")


if __name__ == "__main__":
    main()
