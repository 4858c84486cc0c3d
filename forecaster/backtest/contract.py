"""The backtest as data: JSON with every score, and one CSV row a season, as-of day, site and event."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from forecaster.backtest.inputs import OUTLOOK_KINDS, Asked
from forecaster.backtest.policies import PolicyRow
from forecaster.backtest.result import SeasonResult
from forecaster.backtest.scores import brier_parts
from forecaster.backtest.summary import KINDS, Reliability, Summary
from forecaster.backtest.truth import EVENTS, FREEZES
from forecaster.errors import Notice
from forecaster.falls import date_of

CSV_COLUMNS = (
    "season", "as_of", "site_id", "event", "truth", "p10", "p25", "p50", "p75", "p90", "p_not_reached",
    "observed", "p_hard_freeze_first", "hard_freeze_first", "outlook", "scored", "crps_days",
    "crps_climatology_days", "p_hard_freeze_first_climatology", "p_plumbing_freeze_first",
    "plumbing_freeze_first", "p_plumbing_freeze_first_climatology",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Backtest:
    """Everything that a report of a backtest is made from. `policies` is empty without money."""

    season_name: str
    asked: Asked
    members: int
    seed: int
    stations: tuple[str, ...]
    hold_days: int
    start_c: float
    sustained_c: float
    units: str
    summary: Summary
    skipped: tuple[Notice, ...]
    policies: tuple[PolicyRow, ...]
    money_notes: tuple[str, ...]
    warnings: tuple[Notice, ...]

    def kinds(self) -> list[int]:
        """Kinds of truth with any scored case."""
        return [kind for kind, cases in enumerate(self.summary.cases_read()) if cases]


def backtest_json(backtest: Backtest, side_by_side: Sequence[dict[str, object]] = ()) -> str:
    """The backtest as JSON text: snake_case, units in names, null where there is nothing.

    `side_by_side`: replays with other outlooks, this one among them; the key is absent without any.
    """
    summary = backtest.summary
    rows = summary.rows()
    content = {
        "seasons": summary.years,
        "as_of_month_days": [f"{month:02d}-{day:02d}" for month, day in summary.as_of_days],
        "outlook": backtest.asked.outlook,
        "outlook_is_emulated": summary.emulated_mornings > 0,
        "members": backtest.members,
        "seed": backtest.seed,
        "stations": list(backtest.stations),
        "scores": [asdict(row) for row in rows if row.as_of_month_day != "all"],
        "pooled": [asdict(row) for row in rows if row.as_of_month_day == "all"],
        "by_lead": [asdict(row) for row in summary.lead_rows()],
        "reliability": [
            {
                "truth": KINDS[kind],
                "event": EVENTS[event],
                "freeze": name.replace(" ", "_"),
                **_reliability(summary.reliability(kind, event, freeze)),
            }
            for kind in backtest.kinds()
            for event in range(len(EVENTS))
            for freeze, name in enumerate(FREEZES)
        ],
        "probability_transform": [
            {
                "truth": KINDS[kind],
                "event": EVENTS[event],
                "share_by_tenth": summary.transform(kind, event).tolist(),
            }
            for kind in backtest.kinds()
            for event in range(len(EVENTS))
        ],
        **({"policies": [asdict(row) for row in backtest.policies]} if backtest.asked.money else {}),
        **({"money_notes": list(backtest.money_notes)} if backtest.asked.money else {}),
        **({"side_by_side": list(side_by_side)} if side_by_side else {}),
        "skipped": [asdict(notice) for notice in backtest.skipped],
        "warnings": [asdict(notice) for notice in backtest.warnings],
    }
    return json.dumps(content, indent=1, allow_nan=False) + "\n"


def _reliability(reliability: Reliability) -> dict[str, object]:
    bins = reliability.bins
    parts = brier_parts(bins) if bins.count.sum() else None
    return {
        "parts": None
        if parts is None
        else {
            "reliability": parts.reliability,
            "resolution": parts.resolution,
            "uncertainty": parts.uncertainty,
        },
        "bins": [
            {
                "count": int(bins.count[at]),
                "mean_chance": float(bins.mean_chance()[at]),
                "observed_share": float(bins.observed_share()[at]),
                "expected_low": float(reliability.low[at]),
                "expected_high": float(reliability.high[at]),
            }
            for at in range(len(bins.count))
            if bins.count[at]
        ],
    }


def csv_head() -> str:
    """The line of column names."""
    return ",".join(CSV_COLUMNS) + "\n"


def csv_rows(result: SeasonResult) -> str:
    """Rows of one season. Dates are ISO, empty where not reached; flags 0 or 1, empty where refused."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for case, as_of in enumerate(result.days):
        if not result.done[case]:
            continue
        for site, site_id in enumerate(result.site_ids):
            for event, name in enumerate(EVENTS):
                at = (case, site, event)
                writer.writerow(
                    [
                        result.season, as_of.isoformat(), site_id, name,
                        KINDS[int(result.measured[site, event])],
                        *_dates(result.quantiles[at], result.season),
                        _short(result.p_not_reached[at]),
                        *_dates([result.observed[site, event]], result.season),
                        _short(result.freeze_chance[at]), _flag(result.freeze_happened[at]),
                        OUTLOOK_KINDS[int(result.outlook[case])], int(result.scored[at]),
                        _short(result.crps[at]), _short(result.reference_crps[at]),
                        _short(result.freeze_reference[at]), _short(result.plumbing_chance[at]),
                        _flag(result.plumbing_happened[at]), _short(result.plumbing_reference[at]),
                    ]
                )  # fmt: skip
    return out.getvalue()


def _dates(days: Iterable[float], season: int) -> Sequence[str]:
    found = [date_of(float(day), season) for day in days]
    return ["" if day is None else day.isoformat() for day in found]


def _short(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.6g}"


def _flag(value: float) -> str:
    return "" if np.isnan(value) else str(int(value))
