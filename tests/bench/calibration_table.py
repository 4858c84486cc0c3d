"""Does correcting the forecasts afterwards help, when it may learn from earlier seasons only?

    python tests/bench/calibration_table.py FOLDER [FOLDER ...] [--step 2]

Every folder counts as one station. Sustained crossing, the seven weeks before the median, no outlook. For
each season after the twelfth, corrections are learned on the seasons before it: a logistic and an isotonic
curve for the chance of a hard freeze first; a shift and a stretch of the quantiles for the date, chosen by
pinball loss.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression, minimize

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import replay_season
from forecaster.backtest.result import SHARES, SeasonResult
from forecaster.backtest.schedule import make_schedule
from forecaster.backtest.scores import scored_days

Floats = NDArray[np.float64]
FEWEST = 12
SUSTAINED = 1


def chances(result: SeasonResult) -> tuple[Floats, Floats, Floats]:
    """Chance given, what came, chance of past seasons."""
    given = result.freeze_chance[:, :, SUSTAINED]
    use = result.scored[:, :, SUSTAINED] & np.isfinite(given)
    return (
        given[use],
        result.freeze_happened[:, :, SUSTAINED][use],
        result.freeze_reference[:, :, SUSTAINED][use],
    )


def dates(result: SeasonResult) -> tuple[Floats, Floats]:
    """Quantiles (case, 5) and the day that came."""
    use = result.scored[:, :, SUSTAINED]
    came = np.broadcast_to(result.observed[None, :, SUSTAINED], use.shape)[use]
    return scored_days(result.quantiles[:, :, SUSTAINED][use]), scored_days(came)


def pinball(quantiles: Floats, came: Floats) -> Floats:
    """Mean over the five quantiles, by case [days]."""
    above = came[:, None] - quantiles
    return np.asarray(np.maximum(SHARES * above, (SHARES - 1.0) * above).mean(axis=1))


def logit(chance: Floats) -> Floats:
    inside = np.clip(chance, 0.01, 0.99)
    return np.asarray(np.log(inside / (1.0 - inside)))


def logistic(given: Floats, came: Floats, new: Floats) -> Floats:
    """Curve through the past, drawn a little towards none."""

    def cost(line: Floats) -> float:
        miss = np.logaddexp(0.0, -(2.0 * came - 1.0) * (line[0] + line[1] * logit(given))).mean()
        return float(miss + 0.02 * (line[0] ** 2 + (line[1] - 1.0) ** 2))

    found = minimize(cost, np.array([0.0, 1.0])).x
    return np.asarray(1.0 / (1.0 + np.exp(-(found[0] + found[1] * logit(new)))))


def isotonic(given: Floats, came: Floats, new: Floats) -> Floats:
    """Rising steps through the past."""
    order = np.argsort(given, kind="stable")
    return np.asarray(np.interp(new, given[order], isotonic_regression(came[order]).x))


def stretched(quantiles: Floats, came: Floats, new: Floats) -> Floats:
    """The shift and stretch about the middle that served the past best."""

    def moved(days: Floats, factor: float, shift: float) -> Floats:
        middle = days[:, [2]]
        return middle + shift + factor * (days - middle)

    choices = [
        (factor, shift) for factor in (0.8, 0.9, 1.0, 1.1, 1.2) for shift in (-2.0, -1.0, 0.0, 1.0, 2.0)
    ]
    best = min(choices, key=lambda choice: pinball(moved(quantiles, *choice), came).mean())
    return moved(new, *best)


def station(folder: Path, step: int) -> Floats:
    """Sums: squared misses as given, logistic, isotonic, past only; pinball as given, stretched; cases."""
    given = read_backtest(folder, Asked())
    model, cache, schedule = PastModel.of(given), FallCache(), make_schedule(given)
    results = [
        replay_season(given, model, season, schedule.days_of(season), cache)
        for season in schedule.seasons[::step]
    ]
    sums = np.zeros(7)
    for at in range(FEWEST, len(results)):
        given_p, came_p, _ = (np.concatenate(part) for part in zip(*map(chances, results[:at]), strict=True))
        past_q, past_day = (np.concatenate(part) for part in zip(*map(dates, results[:at]), strict=True))
        chance, came, reference = chances(results[at])
        quantiles, day = dates(results[at])
        forms = (
            chance,
            logistic(given_p, came_p, chance),
            isotonic(given_p, came_p, chance),
            reference,
        )
        sums[:4] += [((form - came) ** 2).sum() for form in forms]
        sums[4:] += [
            pinball(quantiles, day).sum(),
            pinball(stretched(past_q, past_day, quantiles), day).sum(),
            len(day),
        ]
    return sums


def line(name: str, sums: Floats) -> str:
    skill = 1.0 - sums[:3] / sums[3]
    return (
        f"{name:14} skill of the chance: as given {skill[0]:+.3f}, logistic {skill[1]:+.3f}, isotonic "
        f"{skill[2]:+.3f}; pinball, days: as given {sums[4] / sums[6]:.3f}, stretched {sums[5] / sums[6]:.3f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--step", type=int, default=2)
    asked = parser.parse_args()
    total = np.zeros(7)
    for folder in asked.folders:
        sums = station(folder, asked.step)
        total += sums
        print(line(folder.name, sums), flush=True)
    print(line("all", total))


if __name__ == "__main__":
    main()
