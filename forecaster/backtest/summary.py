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
from forecaster.backtest.truth import EVENTS, FREEZES
from forecaster.errors import Notice
from forecaster.falls import fall_day

Floats = NDArray[np.float64]

KINDS = ("modelled", "measured")
STATS = (
    "n", "crps", "crps_reference", "error", "error_reference", "bias", "inside_80", "inside_50",
    "n_freeze", "brier", "brier_reference", "freeze_happened",
    "n_plumbing", "brier_plumbing", "brier_plumbing_reference", "plumbing_happened", "error_last_fall",
)  # fmt: skip
LEAD_DAYS = (7, 14, 21, 28, 42)
LEADS = ("under 1 week", "1 to 2 weeks", "2 to 3 weeks", "3 to 4 weeks", "4 to 6 weeks", "6 weeks or more")
"""Lead: from the as-of date to the middle of the forecast itself, which is known on that morning. By the day
that came, a score would pick its cases by their outcome."""
TRANSFORM_BINS = 10
LOW, HIGH = 0, -1


@dataclass(frozen=True)
class ScoreRow:
    """Scores of one as-of day (or of all, `as_of_month_day` "all"), event and kind of truth.

    Dates in days, chances 0-1; None where there is nothing to score. Bounds are 90 % of a bootstrap over
    seasons. `crps_ratio` is ours over the reference's; skill is 1 - ours / the reference's. `brier` is of the
    chance of a hard freeze first, `brier_plumbing` of a plumbing freeze first. `mae_climatology_days` and
    `mae_last_fall_days`: miss of the rules "the usual date" (median of earlier falls) and "as last fall";
    `*_misses_more_days`: that less our miss, paired by season. `lead`: one of LEADS where only its cases
    count, else empty.
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
    coverage_50_low: float | None
    coverage_50_high: float | None
    usual_date_misses_more_days: float | None
    usual_date_misses_more_low: float | None
    usual_date_misses_more_high: float | None
    mae_last_fall_days: float | None
    last_fall_misses_more_days: float | None
    last_fall_misses_more_low: float | None
    last_fall_misses_more_high: float | None
    n_plumbing: int
    plumbing_share: float | None
    brier_plumbing: float | None
    brier_plumbing_climatology: float | None
    brier_plumbing_skill: float | None
    brier_plumbing_skill_low: float | None
    brier_plumbing_skill_high: float | None
    lead: str = ""


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
    """Sums over seasons, one array a season: `sums` (kind, event, case, STATS), `lead_sums` (kind, event,
    LEADS, STATS), `transforms` (kind, event, tenth), `reliabilities` (freeze, kind, event, 3, bin)."""

    as_of_days: tuple[tuple[int, int], ...]
    years: list[int] = field(default_factory=list)
    sums: list[Floats] = field(default_factory=list)
    lead_sums: list[Floats] = field(default_factory=list)
    transforms: list[Floats] = field(default_factory=list)
    reliabilities: list[Floats] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    too_few_earlier: int = 0
    emulated_mornings: int = 0

    def add(self, result: SeasonResult) -> None:
        """Take one season in."""
        kinds, events, cases = len(KINDS), len(EVENTS), len(result.days)
        sums = np.zeros((kinds, events, cases, len(STATS)))
        by_lead = np.zeros((kinds, events, len(LEADS), len(STATS)))
        transform = np.zeros((kinds, events, TRANSFORM_BINS))
        reliability = np.zeros((len(FREEZES), kinds, events, 3, BINS))
        lead = _lead(result)
        for kind in range(kinds):
            use = result.scored & (result.measured == bool(kind))[None]
            for number, (where, values) in enumerate(_columns(result, use)):
                counted = np.where(where, values, 0.0)
                sums[kind, :, :, number] = counted.sum(axis=1).T
                for at in range(len(LEADS)):
                    by_lead[kind, :, at, number] = np.where(lead == at, counted, 0.0).sum(axis=(0, 1))
            for event in range(events):
                at_event = use[:, :, event]
                counts = np.histogram(result.transform[:, :, event][at_event], TRANSFORM_BINS, (0.0, 1.0))[0]
                transform[kind, event] = counts
                for freeze, (chance, happened, past) in enumerate(_freezes(result)):
                    known = use & np.isfinite(chance) & np.isfinite(past)
                    cells = known[:, :, event]
                    bins = reliability_bins(chance[:, :, event][cells], happened[:, :, event][cells])
                    reliability[freeze, kind, event] = [bins.count, bins.chance_sum, bins.happened]
        self.years.append(result.season)
        self.sums.append(sums)
        self.lead_sums.append(by_lead)
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

    def lead_rows(self) -> list[ScoreRow]:
        """One row a kind, event and lead that has cases, all as-of days together."""
        out = []
        for kind in range(len(KINDS)):
            for event in range(len(EVENTS)):
                for at, lead in enumerate(LEADS):
                    per_season = np.stack([season[kind, event, at] for season in self.lead_sums])
                    out.append(_score_row(per_season, kind, event, "all", lead))
        return [row for row in out if row.n]

    def row(self, kind: int, event: int, cases: list[int], name: str) -> ScoreRow:
        """Scores over some of the as-of days."""
        per_season = np.stack([season[kind, event, cases].sum(axis=0) for season in self.sums])
        return _score_row(per_season, kind, event, name)

    def transform(self, kind: int, event: int) -> Floats:
        """Share of cases in each tenth of the probability integral transform, shape (10,)."""
        counts = np.sum([season[kind, event] for season in self.transforms], axis=0)
        return np.asarray(counts / max(float(counts.sum()), 1.0))

    def reliability(self, kind: int, event: int, freeze: int = 0) -> Reliability:
        """Reliability of the chance of a freeze first (position in FREEZES), with bounds for what right
        chances would show.

        Seasons are drawn whole; in each drawn season one number u decides all its cases of a bin alike
        (it happens where u is below the chance), because the weeks and ponds of a fall share its weather.
        """
        stack = np.stack([season[freeze, kind, event] for season in self.reliabilities])  # (season, 3, bin)
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


def _score_row(per_season: Floats, kind: int, event: int, name: str, lead: str = "") -> ScoreRow:
    """From sums (season, STATS)."""
    column = dict(zip(STATS, per_season.T, strict=True))
    total = {name: float(values.sum()) for name, values in column.items()}
    n, frozen = total["n"], total["n_freeze"]
    ratio = ratio_bounds(column["crps"], column["crps_reference"])
    inside = ratio_bounds(column["inside_80"], column["n"])
    brier = ratio_bounds(column["brier"], column["brier_reference"])
    skill = _ratio(total["brier"], total["brier_reference"])
    usual = ratio_bounds(column["error_reference"] - column["error"], column["n"])
    last = ratio_bounds(column["error_last_fall"] - column["error"], column["n"])
    half = ratio_bounds(column["inside_50"], column["n"])
    plumbing = ratio_bounds(column["brier_plumbing"], column["brier_plumbing_reference"])
    plumbing_skill = _ratio(total["brier_plumbing"], total["brier_plumbing_reference"])
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
        coverage_50_low=_number(half[LOW]),
        coverage_50_high=_number(half[HIGH]),
        usual_date_misses_more_days=_ratio(total["error_reference"] - total["error"], n),
        usual_date_misses_more_low=_number(usual[LOW]),
        usual_date_misses_more_high=_number(usual[HIGH]),
        mae_last_fall_days=_ratio(total["error_last_fall"], n),
        last_fall_misses_more_days=_ratio(total["error_last_fall"] - total["error"], n),
        last_fall_misses_more_low=_number(last[LOW]),
        last_fall_misses_more_high=_number(last[HIGH]),
        n_plumbing=int(total["n_plumbing"]),
        plumbing_share=_ratio(total["plumbing_happened"], total["n_plumbing"]),
        brier_plumbing=_ratio(total["brier_plumbing"], total["n_plumbing"]),
        brier_plumbing_climatology=_ratio(total["brier_plumbing_reference"], total["n_plumbing"]),
        brier_plumbing_skill=None if plumbing_skill is None else 1.0 - plumbing_skill,
        brier_plumbing_skill_low=_number(1.0 - plumbing[HIGH]),
        brier_plumbing_skill_high=_number(1.0 - plumbing[LOW]),
        lead=lead,
    )


def _freezes(result: SeasonResult) -> tuple[tuple[Floats, Floats, Floats], ...]:
    """Chance, what happened and the chance of past falls for each of FREEZES, (case, site, event)."""
    return (
        (result.freeze_chance, result.freeze_happened, result.freeze_reference),
        (result.plumbing_chance, result.plumbing_happened, result.plumbing_reference),
    )


def _columns(result: SeasonResult, use: NDArray[np.bool_]) -> list[tuple[NDArray[np.bool_], Floats]]:
    """Which cases count and with what value, in the order of STATS, (case, site, event) each."""
    one = np.ones_like(result.crps)
    found = [
        (use, one),
        (use, result.crps), (use, result.reference_crps),
        (use, result.error), (use, result.reference_error), (use, result.bias),
        (use, _inside(result, 0, 4)), (use, _inside(result, 1, 3)),
    ]  # fmt: skip
    for chance, happened, past in _freezes(result):
        known = use & np.isfinite(chance) & np.isfinite(past)
        ours, theirs = (chance - happened) ** 2, (past - happened) ** 2
        found += [(known, one), (known, ours), (known, theirs), (known, happened)]
    return [*found, (use, result.last_fall_error)]


def _lead(result: SeasonResult) -> NDArray[np.int64]:
    """Position in LEADS of each case, by the middle of its forecast, (case, site, event)."""
    as_of = np.array([fall_day(day, result.season) for day in result.days])[:, None, None]
    middle = np.nan_to_num(result.quantiles[..., 2], nan=np.inf, posinf=np.inf)
    return np.searchsorted(np.array(LEAD_DAYS), middle - as_of, side="right")


def _inside(result: SeasonResult, low: int, high: int) -> Floats:
    """1 where the observed day lies between two quantiles, the limits included."""
    observed = result.observed[None]
    q = result.quantiles
    return np.asarray(((q[..., low] <= observed) & (observed <= q[..., high])).astype(float))


def _ratio(above: float, below: float) -> float | None:
    return above / below if below > 0 else None


def _number(value: float) -> float | None:
    return value if np.isfinite(value) else None
