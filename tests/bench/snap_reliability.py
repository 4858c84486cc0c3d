"""Chances around cold snaps against what came, over all past falls of a station: reliability and Brier skill.

    python tests/bench/snap_reliability.py FOLDER [--outlook none|emulated] [--first 1968] [--every 2]

On every second morning from 1 October to 20 December the members are made from what was known then, past
only (earlier falls, weather to the day before, an emulated outlook where asked). Counted for each station:
a hard freeze, a plumbing freeze, and a cold snap on one of the three days from that morning on. The
reference is past-only too: the share of the same days, give or take ten, in the last thirty earlier falls.

    python tests/bench/snap_reliability.py FOLDER --left-out

With several stations: each is left out in turn and plays a site. The chance that its night was at or below
the two limits, from the others' blend and the spread of `snap/spread.py` (learnt without it), against what
it measured.
"""

from __future__ import annotations

import argparse
import itertools
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from scipy.stats import norm

from forecaster.backtest.emulator import EMULATED_ERROR, emulated_outlooks
from forecaster.events import first_freeze
from forecaster.falls import fall_day, fall_start
from forecaster.scenarios import make_members
from forecaster.snap.compare import as_known_on, station_lows
from forecaster.snap.spread import NIGHT_MEMORY, blend_error, low_spread
from forecaster.snap.states import in_snap
from forecaster.units import f_to_c
from forecaster.weather.fall_blocks import fall_block, usable_falls
from forecaster.weather.files import read_weather
from forecaster.weather.site_air import site_air
from forecaster.weather.stations import Weather

HARD_C, PLUMBING_C, DAYS = f_to_c(28), f_to_c(20), 3
EVENTS = ("hard freeze in 3 days", "plumbing freeze in 3 days", "cold snap in 3 days")
BINS = (0.0, 0.01, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0001)


def happened(low_c: np.ndarray) -> np.ndarray:
    """The three events from minima (..., 3): shape (..., 3)."""
    hard = np.isfinite(first_freeze(low_c, limit_c=HARD_C))
    plumbing = np.isfinite(first_freeze(low_c, limit_c=PLUMBING_C))
    snap = in_snap(low_c, hard_c=HARD_C, plumbing_c=PLUMBING_C).any(axis=-1)
    return np.stack([hard, plumbing, snap], axis=-1)


def mornings(fall: int, every: int) -> list[date]:
    return [date(fall, 10, 1) + timedelta(days=n) for n in range(0, 81, every)]


def forecasts(weather: Weather, fall: int, outlook: str, every: int):
    """(chance, reference, came) of each morning, station and event of a fall."""
    truth = fall_block(weather, fall, margin_days=0)
    for morning in mornings(fall, every):
        then = as_known_on(weather, morning)
        falls = usable_falls(then, fall)[-30:]
        if len(falls) < 15:
            return
        given: dict = {}
        if outlook == "emulated":
            outlooks = emulated_outlooks(then, weather, falls, fall=fall, as_of=morning, seed=1)
            errors = {s.station_id: EMULATED_ERROR for s in weather.stations}
            given = {"outlooks": outlooks, "outlook_errors": errors}
        members = make_members(then, falls, fall=fall, as_of=morning, count=600, seed=1, **given)
        day = fall_day(morning, fall)
        past = np.stack([fall_block(then, year).tmin_c for year in falls])  # margin 10
        for station in range(len(weather.stations)):
            low = np.stack([station_lows(members, station, day + n) for n in range(DAYS)], axis=-1)
            came = truth.tmin_c[station, day : day + DAYS]
            windows = [past[:, station, 10 + day + s : 10 + day + s + DAYS] for s in range(-10, 11)]
            usual = happened(np.concatenate(windows)).mean(axis=0)
            if np.isfinite(came).all():
                yield happened(low).mean(axis=0), usual, happened(came)


def left_out(weather: Weather):
    """(chance, reference, came) of each cold night at each left-out station, for the two limits."""
    days = [weather.first_day + timedelta(days=n) for n in range(weather.day_count)]
    counted = np.array([d.month in (9, 10, 11, 12, 1) and d.year >= days[-1].year - 15 for d in days])
    seen = np.where(weather.filled, np.nan, weather.tmin_c)
    for station in range(len(weather.stations)):
        others = [n for n in range(len(weather.stations)) if n != station]
        rest = replace(
            weather,
            stations=tuple(weather.stations[n] for n in others),
            tmin_c=weather.tmin_c[others], tmax_c=weather.tmax_c[others], tmean_c=weather.tmean_c[others],
            filled=weather.filled[others], last_observed=tuple(weather.last_observed[n] for n in others),
        )  # fmt: skip
        spread = low_spread(rest, stations_per_site=3)
        sd = float(np.hypot(spread.place_sd_c, spread.night_sd_c))
        from forecaster.snap.spread import _as_site

        air = site_air([_as_site(weather.stations[station])], rest.stations, stations_per_site=3,
                       has_tmin=[True] * len(others))[0]  # fmt: skip
        blend = air.minimum_c(seen[others])
        use = counted & np.isfinite(blend) & np.isfinite(seen[station]) & (blend < 6.0)
        for limit in (HARD_C, PLUMBING_C):
            chance = norm.cdf((limit + 0.05 - blend[use]) / sd)
            came = seen[station, use] <= limit + 0.05
            yield weather.stations[station].station_id, limit, chance, came, spread


def table(name: str, chance: np.ndarray, usual: np.ndarray | None, came: np.ndarray) -> None:
    brier = float(((chance - came) ** 2).mean())
    said = ""
    if usual is not None:
        reference = float(((usual - came) ** 2).mean())
        said = f"  Brier {brier:.4f}, past only {reference:.4f}, skill {1 - brier / reference:+.3f}"
    print(f"\n{name}: {len(chance)} forecasts, came {came.mean():.3f}, said {chance.mean():.3f}{said}")
    print("  said          forecasts  mean said   came    came if right (9 in 10)")
    for low, high in itertools.pairwise(BINS):
        inside = (chance >= low) & (chance < high)
        if not inside.any():
            continue
        n, mean = int(inside.sum()), float(chance[inside].mean())
        half = 1.645 * np.sqrt(mean * (1 - mean) / n)
        right = f"{max(0.0, mean - half):.2f}-{min(1.0, mean + half):.2f}"
        print(f"  {low:4.2f}-{min(high, 1):4.2f}  {n:11}  {mean:9.3f}  {came[inside].mean():5.3f}    {right}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--outlook", default="none", choices=("none", "emulated"))
    parser.add_argument("--first", type=int, default=1968)
    parser.add_argument("--last", type=int, default=2024)
    parser.add_argument("--every", type=int, default=2)
    parser.add_argument("--left-out", action="store_true")
    asked = parser.parse_args()
    weather = read_weather(asked.folder / "weather", as_of=date(asked.last + 1, 3, 1), with_outlooks=False)
    if asked.left_out:
        rows = list(left_out(weather))
        for limit, name in ((HARD_C, "28 F that night"), (PLUMBING_C, "20 F that night")):
            ours = [row for row in rows if row[1] == limit]
            table(name, np.concatenate([r[2] for r in ours]), None, np.concatenate([r[3] for r in ours]))
        for station in range(len(weather.stations)):
            off = blend_error(weather, station, stations_per_site=3)
            memory = np.corrcoef(off[1:], off[:-1])[0, 1]
            name = weather.stations[station].station_id
            print(f"  {name}: off {off.mean():+.2f}, sd {off.std():.2f} C, memory {memory:.2f}")
        print(f"  (memory used: {NIGHT_MEMORY})")
        return
    assert fall_start(asked.first) >= weather.first_day
    found = [
        f
        for fall in range(asked.first, asked.last + 1)
        for f in forecasts(weather, fall, asked.outlook, asked.every)
    ]
    chance, usual, came = (np.stack([f[n] for f in found]) for n in range(3))
    for at, name in enumerate(EVENTS):
        table(f"{name} ({asked.outlook} outlook)", chance[:, at], usual[:, at], came[:, at])


if __name__ == "__main__":
    main()
