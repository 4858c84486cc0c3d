"""From the results of seasons to scores: one season at a time goes in, sums stay, so memory is flat.

Sums are kept by season, because seasons are what the bootstrap draws: the weeks and sites of one fall are
one experience of the weather.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.result import SeasonResult
from forecaster.backtest.scores import BINS, ReliabilityBins, ratio_bounds, reliability_bins, season_weights
from forecaster.backtest.truth import EVENTS
from forecaster.errors import Notice

Floats = NDArray[np.float64]

KINDS = ("modelled", "measured")
STATS = (
    "n", "crps", "crps_reference", "error", "error_reference", "bias", "inside_80", "inside_50",
    "n_freeze", "brier", "brier_reference", "freeze_happened",
)  # fmt: skip
TRANSFORM_BINS = 10
LOW, HIGH = 0, -1


@dataclass(frozen=True)
class ScoreRow:
    """Scores of one as-of day (or of all, `as_of_month_day` "all"), event and kind of truth.

    Dates in days, chances 0-1; None where there is nothing to score. Bounds are 90 % of a bootstrap over
    seasons. `crps_ratio` is ours over the reference's; skill is 1 - ours / the reference's.
    """

    as_of_month_day: str
    event: str
    truth: str
    n: int
    seasons: int
    crps_days: float | None
    crps_climatology_days: float | None
    crps_ratio: float | None
    crps_ratio_low: float | None
    crps_ratio_high: float | None
    mae_days: float | None
    mae_climatology_days: float | None
    bias_days: float | None
    coverage_50: float | None
    coverage_80: float | None
    coverage_80_low: float | None
    coverage_80_high: float | None
    n_freeze: int
    freeze_share: float | None
    brier: float | None
    brier_climatology: float | None
    brier_skill: float | None
    brier_skill_low: float | None
    brier_skill_high: float | None


@dataclass(frozen=True, eq=False)
class Reliability:
    """Forecast chance against what happened, one a bin. `low`, `high`: 90 % of a bootstrap over seasons of
    the share that would be seen if the chances were right, so a share outside them is a broken promise."""

    bins: ReliabilityBins
    low: Floats
    high: Floats

    def outside(self) -> int:
        """Bins with cases whose observed share lies outside its bounds."""
        seen = self.bins.observed_share()
        return int(((self.bins.count > 0) & ((seen < self.low) | (seen > self.high))).sum())


@dataclass
class Summary:
    """Sums over seasons; `sums` (season)(kind, event, case, STATS)."""

    as_of_days: tuple[tuple[int, int], ...]
    years: list[int] = field(default_factory=list)
    sums: list[Floats] = field(default_factory=list)
    transforms: list[Floats] = field(default_factory=list)
    reliabilities: list[Floats] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    too_few_earlier: int = 0
    emulated_mornings: int = 0

    def add(self, result: SeasonResult) -> None:
        """Take one season in."""
        inside = _inside(result, 0, 4), _inside(result, 1, 3)
        kinds, events, cases = len(KINDS), len(EVENTS), len(result.days)
        sums = np.zeros((kinds, events, cases, len(STATS)))
        transform = np.zeros((kinds, events, TRANSFORM_BINS))
        reliability = np.zeros((kinds, events, 3, BINS))
        for kind in range(kinds):
            use = result.scored & (result.measured == bool(kind))[None]
            frozen = use & np.isfinite(result.freeze_chance) & np.isfinite(result.freeze_reference)
            ours = (result.freeze_chance - result.freeze_happened) ** 2
            theirs = (result.freeze_reference - result.freeze_happened) ** 2
            columns = [
                (use, np.ones_like(result.crps)),
                (use, result.crps), (use, result.reference_crps),
                (use, result.error), (use, result.reference_error), (use, result.bias),
                (use, inside[0]), (use, inside[1]),
                (frozen, np.ones_like(ours)), (frozen, ours), (frozen, theirs),
                (frozen, result.freeze_happened),
            ]  # fmt: skip
            for number, (where, values) in enumerate(columns):
                sums[kind, :, :, number] = np.where(where, values, 0.0).sum(axis=1).T
            for event in range(events):
                at = use[:, :, event]
                counts = np.histogram(result.transform[:, :, event][at], TRANSFORM_BINS, (0.0, 1.0))[0]
                transform[kind, event] = counts
                at = frozen[:, :, event]
                bins = reliability_bins(
                    result.freeze_chance[:, :, event][at], result.freeze_happened[:, :, event][at]
                )
                reliability[kind, event] = [bins.count, bins.chance_sum, bins.happened]
        self.years.append(result.season)
        self.sums.append(sums)
        self.transforms.append(transform)
        self.reliabilities.append(reliability)
        self.notices += result.notices
        self.emulated_mornings += int((result.outlook[result.done] == 1).sum())
        waiting = result.done[:, None, None] & ~result.scored & np.isnan(result.reference_crps)
        self.too_few_earlier += int(waiting.sum())

    def rows(self) -> list[ScoreRow]:
        """One row a kind, event and as-of day that has cases, and one for all days together."""
        out = []
        for kind in range(len(KINDS)):
            for event in range(len(EVENTS)):
                for case, (month, day) in enumerate(self.as_of_days):
                    out.append(self.row(kind, event, [case], f"{month:02d}-{day:02d}"))
                out.append(self.row(kind, event, list(range(len(self.as_of_days))), "all"))
        return [row for row in out if row.n]

    def row(self, kind: int, event: int, cases: list[int], name: str) -> ScoreRow:
        """Scores over some of the as-of days."""
        per_season = np.stack([season[kind, event, cases].sum(axis=0) for season in self.sums])
        column = dict(zip(STATS, per_season.T, strict=True))
        total = {name: float(values.sum()) for name, values in column.items()}
        n, frozen = total["n"], total["n_freeze"]
        ratio = ratio_bounds(column["crps"], column["crps_reference"])
        inside = ratio_bounds(column["inside_80"], column["n"])
        brier = ratio_bounds(column["brier"], column["brier_reference"])
        skill = _ratio(total["brier"], total["brier_reference"])
        return ScoreRow(
            as_of_month_day=name,
            event=EVENTS[event],
            truth=KINDS[kind],
            n=int(n),
            seasons=int((column["n"] > 0).sum()),
            crps_days=_ratio(total["crps"], n),
            crps_climatology_days=_ratio(total["crps_reference"], n),
            crps_ratio=_ratio(total["crps"], total["crps_reference"]),
            crps_ratio_low=_number(ratio[LOW]),
            crps_ratio_high=_number(ratio[HIGH]),
            mae_days=_ratio(total["error"], n),
            mae_climatology_days=_ratio(total["error_reference"], n),
            bias_days=_ratio(total["bias"], n),
            coverage_50=_ratio(total["inside_50"], n),
            coverage_80=_ratio(total["inside_80"], n),
            coverage_80_low=_number(inside[LOW]),
            coverage_80_high=_number(inside[HIGH]),
            n_freeze=int(frozen),
            freeze_share=_ratio(total["freeze_happened"], frozen),
            brier=_ratio(total["brier"], frozen),
            brier_climatology=_ratio(total["brier_reference"], frozen),
            brier_skill=None if skill is None else 1.0 - skill,
            brier_skill_low=_number(1.0 - brier[HIGH]),
            brier_skill_high=_number(1.0 - brier[LOW]),
        )

    def transform(self, kind: int, event: int) -> Floats:
        """Share of cases in each tenth of the probability integral transform, shape (10,)."""
        counts = np.sum([season[kind, event] for season in self.transforms], axis=0)
        return np.asarray(counts / max(float(counts.sum()), 1.0))

    def reliability(self, kind: int, event: int) -> Reliability:
        """Reliability of the hard-freeze-first chance, with bounds for what right chances would show.

        Seasons are drawn whole; in each drawn season one number u decides all its cases of a bin alike
        (it happens where u is below the chance), because the weeks and ponds of a fall share its weather.
        """
        stack = np.stack([season[kind, event] for season in self.reliabilities])  # (season, 3, bin)
        bins = ReliabilityBins(*stack.sum(axis=0))
        weights = season_weights(len(stack))
        u = np.random.default_rng(2).uniform(size=weights.shape)
        chance = stack[:, 1] / np.maximum(stack[:, 0], 1.0)
        low, high = np.zeros(BINS), np.ones(BINS)
        for at in range(BINS):
            cases = weights * stack[:, 0, at]
            drawn = cases.sum(axis=1)
            if bins.count[at]:
                came = (cases * (u < chance[:, at])).sum(axis=1)[drawn > 0] / drawn[drawn > 0]
                low[at], high[at] = np.quantile(came, [0.05, 0.95])
        return Reliability(bins, np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0))

    def cases_read(self) -> tuple[int, int]:
        """Scored cases against modelled and against measured water."""
        counts = [int(sum(season[kind, :, :, 0].sum() for season in self.sums)) for kind in range(2)]
        return counts[0], counts[1]


def _inside(result: SeasonResult, low: int, high: int) -> Floats:
    """1 where the observed day lies between two quantiles, the limits included."""
    observed = result.observed[None]
    q = result.quantiles
    return np.asarray(((q[..., low] <= observed) & (observed <= q[..., high])).astype(float))


def _ratio(above: float, below: float) -> float | None:
    return above / below if below > 0 else None


def _number(value: float) -> float | None:
    return value if np.isfinite(value) else None
