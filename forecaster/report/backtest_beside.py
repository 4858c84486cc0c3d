"""Several replays side by side, each with another knowledge of the coming days: one table, one list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from forecaster.backtest.contract import Backtest
from forecaster.backtest.policies import RECOMMENDED, SIMPLE, PolicyRow
from forecaster.backtest.summary import KINDS, ScoreRow
from forecaster.backtest.truth import EVENTS

LAST_DAYS = 3
"""The last as-of days are also shown alone: there an outlook tells most."""


def beside_json(runs: Sequence[Backtest]) -> list[dict[str, object]]:
    """Pooled scores, those of the last as-of days, and policies of each replay, in the order given."""
    return [
        {
            "outlook": run.asked.outlook,
            "outlook_is_emulated": run.summary.emulated_mornings > 0,
            "pooled": [asdict(whole) for whole, _ in _pairs(run)],
            "last_days": [asdict(late) for _, late in _pairs(run)],
            **({"policies": [asdict(row) for row in run.policies]} if run.asked.money else {}),
            **({"money_notes": list(run.money_notes)} if run.asked.money else {}),
        }
        for run in runs
    ]


def beside_cells(runs: Sequence[Backtest]) -> list[dict[str, str]]:
    """Scores of all replays, those of one event and truth together: column name -> text."""
    found = []
    for kind, truth in enumerate(KINDS):
        for event, name in enumerate(EVENTS):
            for run in runs:
                for whole, late in _pairs(run, kind, event):
                    found.append(
                        {
                            "event": name,
                            "truth": truth,
                            "outlook": _name(run),
                            "score": _shown(whole.crps_days, ".2f"),
                            "ratio": _shown(whole.crps_ratio, ".2f"),
                            f"last {LAST_DAYS}": _shown(late.crps_ratio, ".2f"),
                            "miss": _shown(whole.mae_days, ".1f"),
                            "8 in 10": _shown(whole.coverage_80, ".2f"),
                            "freeze skill": _shown(whole.brier_skill, "+.2f"),
                        }
                    )
    return found


def money_cells(runs: Sequence[Backtest]) -> list[dict[str, str]]:
    """What the advice cost in each replay, and its share of the gap: column name -> text; none
    without money."""
    found = []
    for limited in (False, True):
        for run in runs:
            world = {row.policy: row for row in run.policies if row.crews_limited == limited}
            simple = [row for name, row in world.items() if name in SIMPLE]
            if RECOMMENDED in world and simple:
                best = min(simple, key=lambda row: row.mean_loss)
                found.append(_money(run, limited, world[RECOMMENDED], best))
    return found


def beside_text(runs: Sequence[Backtest]) -> str:
    """The same for a terminal, ending with a line break."""
    lines = ["", "Side by side, by what was known of the coming ten days (emulated: made from what came):"]
    for cells in (beside_cells(runs), money_cells(runs)):
        if cells:
            lines += _table(cells)
    lines.append(
        f"  ratio: over past seasons alone, below 1 is better; last {LAST_DAYS}: the last as-of days"
    )
    return "\n".join(lines) + "\n"


def _pairs(
    run: Backtest, kind: int | None = None, event: int | None = None
) -> list[tuple[ScoreRow, ScoreRow]]:
    days = list(range(len(run.summary.as_of_days)))
    pairs = []
    for k in run.kinds() if kind is None else [kind]:
        for e in range(len(EVENTS)) if event is None else [event]:
            whole = run.summary.row(k, e, days, "all")
            if whole.n:
                pairs.append((whole, run.summary.row(k, e, days[-LAST_DAYS:], "last")))
    return pairs


def _money(run: Backtest, limited: bool, ours: PolicyRow, best: PolicyRow) -> dict[str, str]:
    return {
        "crews": "as they are" if limited else "enough",
        "outlook": _name(run),
        "our advice": f"{ours.mean_loss:.0f} ({ours.low:.0f}-{ours.high:.0f})",
        "best simple rule": f"{best.mean_loss:.0f} ({best.policy})",
        "gap closed": _shown(best.gap_closed, ".2f"),
    }


def _name(run: Backtest) -> str:
    emulated = run.asked.outlook == "kept" and run.summary.emulated_mornings > 0
    return run.asked.outlook + (", else emulated" if emulated else "")


def _shown(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


def _table(cells: Sequence[dict[str, str]]) -> list[str]:
    names = list(cells[0])
    wide = {name: max(len(name), *(len(row[name]) for row in cells)) for name in names}
    rows = [{name: name for name in names}, *cells]
    return ["  " + "  ".join(row[name].ljust(wide[name]) for name in names).rstrip() for row in rows]
