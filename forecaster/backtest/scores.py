"""Scores of forecast dates and chances. Arrays in, arrays out; never reached must be a number by now.

Dates are days since 1 August with "not reached" already set to 1 February (day 184), as the contract of the
backtest says. Limit: no weights; every member counts the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS

Floats = NDArray[np.float64]


def scored_days(event_days: np.ndarray) -> Floats:
    """Event days with never reached as 1 February, and everything before 1 August as 1 August.

    >>> scored_days(np.array([12.0, np.inf]))
    array([ 12., 184.])
    """
    return np.asarray(np.clip(np.asarray(event_days, float), 0.0, float(FALL_DAYS)))


def fair_crps(members: np.ndarray, observed: np.ndarray) -> Floats:
    """Continuous ranked probability score that does not punish a small ensemble [unit of members].

    mean |x - y| - sum over pairs |x - x'| / (2 m (m - 1)); it may be negative.

    Args:
        members: Shape (..., m), m of 2 or more, finite.
        observed: Shape (...), finite.
    References:
        Ferro 2014, Quarterly Journal of the Royal Meteorological Society 140:1917 (doi 10.1002/qj.2270).

    >>> round(float(fair_crps(np.array([1.0, 2.0, 4.0]), np.array(3.0))), 6)
    0.333333
    """
    count = members.shape[-1]
    if count < 2:
        raise ValueError(f"a fair score needs 2 members or more, got {count}")
    ordered = np.sort(np.asarray(members, float), axis=-1)
    return fair_crps_of_sorted(ordered, np.full(ordered.shape[:-1], count), observed)


def fair_crps_of_sorted(ordered: np.ndarray, count: np.ndarray, observed: np.ndarray) -> Floats:
    """The same for ensembles of different sizes in one array.

    Args:
        ordered: Shape (..., m), ascending; only the first `count` of each row are looked at.
        count: Members of each row, shape (...); NaN comes out where fewer than 2.
        observed: Shape (...).
    """
    place = np.arange(1, ordered.shape[-1] + 1)
    number = np.asarray(count)[..., None]
    used = np.where(place <= number, ordered, 0.0)
    away = np.where(place <= number, np.abs(used - np.asarray(observed, float)[..., None]), 0.0)
    pairs = (used * (2.0 * place - number - 1.0)).sum(axis=-1)  # sum over i < j of (x_j - x_i)
    size = np.where(np.asarray(count) > 1, np.asarray(count, float), np.nan)
    return np.asarray(away.sum(axis=-1) / size - pairs / (size * (size - 1.0)))


def quantiles_of_sorted(ordered: np.ndarray, count: np.ndarray, shares: np.ndarray) -> Floats:
    """Quantiles by the inverted distribution function, shape (..., share); see `risk.fall_quantile`.

    >>> quantiles_of_sorted(np.array([1.0, 2.0, 3.0, np.inf]), np.array(4), np.array([0.5, 0.75, 0.9]))
    array([ 2.,  3., inf])
    """
    at = np.ceil(np.asarray(count)[..., None] * shares - 1e-9).astype(int) - 1
    return np.asarray(np.take_along_axis(ordered, np.clip(at, 0, ordered.shape[-1] - 1), axis=-1))


def probability_transform(members: np.ndarray, observed: np.ndarray) -> Floats:
    """Share of members below the observed value, half of the equal ones included, shape (...).

    >>> probability_transform(np.array([1.0, 2.0, 2.0, 4.0]), np.array(2.0))
    array(0.5)
    """
    at = np.asarray(observed)[..., None]
    return np.asarray((members < at).mean(axis=-1) + 0.5 * (members == at).mean(axis=-1))


def brier_score(chance: np.ndarray, happened: np.ndarray) -> float:
    """Mean squared difference of chance (0-1) and outcome (0 or 1).

    >>> round(brier_score(np.array([0.1, 0.5]), np.array([0, 1])), 3)
    0.13
    """
    return float(((np.asarray(chance, float) - np.asarray(happened, float)) ** 2).mean())


@dataclass(frozen=True)
class BrierParts:
    """Brier score = reliability - resolution + uncertainty, exact when binned by distinct chance."""

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def score(self) -> float:
        """The sum of the parts."""
        return self.reliability - self.resolution + self.uncertainty


def brier_parts(bins: ReliabilityBins) -> BrierParts:
    """Murphy's decomposition (1973, Journal of Applied Meteorology 12:595) over the bins.

    Inside a bin the mean chance stands for all; the parts then sum to the score of the binned chances.
    """
    total = bins.count.sum()
    share = bins.count / total
    chance, observed = bins.mean_chance(), bins.observed_share()
    base = float(bins.happened.sum() / total)
    return BrierParts(
        reliability=float((share * (chance - observed) ** 2).sum()),
        resolution=float((share * (observed - base) ** 2).sum()),
        uncertainty=base * (1.0 - base),
    )


@dataclass(frozen=True, eq=False)
class ReliabilityBins:
    """Cases by forecast chance, shape (bin,) each: how many, sum of chances, how often it happened."""

    count: Floats
    chance_sum: Floats
    happened: Floats

    def mean_chance(self) -> Floats:
        """Mean forecast chance of each bin, 0 where empty."""
        return np.asarray(self.chance_sum / np.maximum(self.count, 1.0))

    def observed_share(self) -> Floats:
        """How often it happened in each bin, 0 where empty."""
        return np.asarray(self.happened / np.maximum(self.count, 1.0))


BINS = 10


def reliability_bins(chance: np.ndarray, happened: np.ndarray, *, bins: int = BINS) -> ReliabilityBins:
    """Count cases in equal bins of the forecast chance; a chance of 1 falls into the last.

    >>> reliability_bins(np.array([0.05, 0.95, 1.0]), np.array([0, 1, 1]), bins=2).count
    array([1., 2.])
    """
    chance, happened = np.asarray(chance, float).ravel(), np.asarray(happened, float).ravel()
    at = np.minimum((chance * bins + 1e-9).astype(int), bins - 1)
    return ReliabilityBins(
        count=np.bincount(at, minlength=bins).astype(float),
        chance_sum=np.bincount(at, weights=chance, minlength=bins).astype(float),
        happened=np.bincount(at, weights=happened, minlength=bins).astype(float),
    )


REPEATS = 2000


def season_weights(season_count: int, *, seed: int = 1, repeats: int = REPEATS) -> Floats:
    """How often each season is drawn in each bootstrap sample, shape (repeats, season)."""
    rng = np.random.default_rng([seed, season_count])
    return rng.multinomial(season_count, np.full(season_count, 1.0 / season_count), repeats).astype(float)


def ratio_bounds(
    above: np.ndarray, below: np.ndarray, *, share: float = 0.9, seed: int = 1
) -> tuple[float, float]:
    """Bootstrap interval of sum(above) / sum(below), whole seasons drawn with replacement.

    Args:
        above, below: Sums of each season, shape (season,): for a mean, `below` is the number of cases.
        share: Of samples between the bounds, 0-1.
    Returns:
        Lower and upper bound; NaN where no sample has any case.
    """
    weights = season_weights(len(above), seed=seed)
    total = weights @ np.asarray(below, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(total > 0, (weights @ np.asarray(above, float)) / total, np.nan)
    if np.isnan(ratio).all():
        return float("nan"), float("nan")
    low, high = np.nanquantile(ratio, [(1.0 - share) / 2.0, (1.0 + share) / 2.0])
    return float(low), float(high)
