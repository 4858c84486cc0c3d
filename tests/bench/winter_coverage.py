"""How often the middle 80 % of the winter's days held: issued on 6 October, looked at on 31 January.

    .venv/bin/python tests/bench/winter_coverage.py [FOLDER]      (the demo by default; about a minute)

Truth is modelled: the same water and ice on the weather that came, the middle of its members. So this checks
the spread of the weather, not the model of ice or of a thermostat.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.demo import demo_folder
from forecaster.falls import FALL_DAYS
from forecaster.pipeline import load_known
from forecaster.risk import fall_quantile
from forecaster.visit.kit import kits_of
from forecaster.visit.winter_run import PondWinter, run_winter

FALLS = range(2006, 2025)
NAMES = {
    "thermostat_days": "days of the thermostat to 31 January",
    "first_ice": "first ice",
    "long_ice": "first ice that stays 3 days",
    "bacteria": "water at 50 °F",
}


def days(pond: PondWinter, name: str) -> np.ndarray:
    found = getattr(pond, name).astype(float)
    return np.where(np.isfinite(found), found, float(FALL_DAYS))


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else demo_folder()
    rows: dict[str, list[tuple[bool, float]]] = {name: [] for name in NAMES}
    for fall in FALLS:
        before, after = (
            run_winter(known, kits_of(known.sites), {}, to_march=False)
            for known in (load_known(folder, date(fall, 10, 6)), load_known(folder, date(fall + 1, 1, 31)))
        )
        for said, came in zip(before.ponds, after.ponds, strict=True):
            for name in NAMES:
                truth = float(np.median(days(came, name)))
                low, middle, high = (fall_quantile(days(said, name), share) for share in (0.1, 0.5, 0.9))
                rows[name].append((low <= truth <= high, middle - truth))
    for name, words in NAMES.items():
        held = np.mean([row[0] for row in rows[name]])
        miss = np.array([row[1] for row in rows[name]])
        count, far = len(miss), abs(miss).mean()
        print(f"{words}: held {held:.2f} of {count}, bias {miss.mean():.1f}, mean miss {far:.1f} days")


if __name__ == "__main__":
    main()
