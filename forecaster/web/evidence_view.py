"""What the Evidence page shows of a kept replay: its parts for one station and morning, and their data.

Pure: a replay in, tables and charts out. The bounds are bootstraps over seasons, so a choice takes some
tenths of a second; the page keeps the last few.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from forecaster.backtest.contract import Backtest, csv_head, csv_rows
from forecaster.backtest.summary import KINDS, STATS
from forecaster.backtest.truth import EVENTS, FREEZES
from forecaster.report.backtest_page import MoneyPanel, Panel, money_panels, panel_of, score_cells
from forecaster.report.backtest_text import day_words
from forecaster.season.tables import safe_text
from forecaster.web.evidence_store import Evidence

Row = Mapping[str, str]
WORST_SHOWN = 8
TABLES = ("scores", "reliability", "ranks", "seasons", "money", "forecasts")
"""Names of the files with the data behind the pictures."""


@dataclass(frozen=True)
class Pictured:
    """Charts of one event with the tables of the same numbers."""

    panel: Panel
    hard: tuple[Row, ...]
    plumbing: tuple[Row, ...]
    ranks: tuple[Row, ...]


@dataclass(frozen=True)
class Section:
    """One kind of truth: its charts with the tables of the same numbers."""

    kind: str
    panels: tuple[Pictured, ...]


@dataclass(frozen=True)
class Shown:
    """Everything between the head and the foot of the page for one choice."""

    sections: tuple[Section, ...]
    scores: tuple[Row, ...]
    leads: tuple[Row, ...]
    seasons: tuple[Row, ...]
    money: tuple[MoneyPanel, ...]


def shown(evidence: Evidence, station: str | None, as_of_day: tuple[int, int] | None) -> Shown:
    """The parts of the page.

    Raises:
        KeyError: No site has that station, or no morning is on that day.
    """
    backtest = evidence.chosen(station=station, as_of_day=as_of_day)
    sections = []
    for kind in backtest.kinds():
        panels = []
        for event in (1, 0):
            panel = panel_of(backtest, kind, event)
            if panel is not None:
                hard, plumbing = (reliability_rows(backtest, kind, event, freeze) for freeze in (0, 1))
                panels.append(Pictured(panel, hard, plumbing, rank_rows(backtest, kind, event)))
        sections.append(Section(KINDS[kind], tuple(panels)))
    return Shown(
        sections=tuple(sections),
        scores=tuple(score_cells(row) for row in backtest.summary.rows()),
        leads=tuple(score_cells(row) for row in backtest.summary.lead_rows()),
        seasons=season_rows(backtest),
        money=tuple(money_panels(backtest)),
    )


def reliability_rows(backtest: Backtest, kind: int, event: int, freeze: int) -> tuple[Row, ...]:
    """Given chance of a freeze first (position in `truth.FREEZES`) against what came, a row a tenth that has
    cases."""
    found = backtest.summary.reliability(kind, event, freeze)
    chance, seen = found.bins.mean_chance(), found.bins.observed_share()
    return tuple(
        {
            "chance given": f"{chance[at]:.2f}",
            "it came": f"{seen[at]:.2f}",
            "right chances would show": f"{found.low[at]:.2f} to {found.high[at]:.2f}",
            "cases": f"{int(found.bins.count[at])}",
        }
        for at in range(len(found.bins.count))
        if found.bins.count[at]
    )


def rank_rows(backtest: Backtest, kind: int, event: int) -> tuple[Row, ...]:
    """Where the day that came fell among the members, a row a tenth."""
    shares = backtest.summary.transform(kind, event)
    return tuple(
        {"tenth of the members": f"{number + 1}", "share of cases": f"{share:.3f}"}
        for number, share in enumerate(shares)
    )


def season_rows(backtest: Backtest) -> tuple[Row, ...]:
    """One row a season and kind of truth for the sustained crossing, the worst first.

    Worst: the season whose score is most above that of past seasons.
    """
    event = EVENTS.index("sustained")
    rows = []
    for year, sums in zip(backtest.summary.years, backtest.summary.sums, strict=True):
        for kind, name in enumerate(KINDS):
            total = dict(zip(STATS, sums[kind, event].sum(axis=0), strict=True))
            n = total["n"]
            if n:
                rows.append((total["crps"] / n - total["crps_reference"] / n, _season_row(year, name, total)))
    return tuple(row for _, row in sorted(rows, key=lambda pair: (-pair[0], pair[1]["season"])))


def _season_row(year: int, truth: str, total: Mapping[str, float]) -> Row:
    n, frozen = total["n"], total["n_freeze"]
    skill = 1.0 - total["brier"] / total["brier_reference"] if total["brier_reference"] > 0.0 else None
    return {
        "season": str(year),
        "truth": truth,
        "cases": f"{int(n)}",
        "score": f"{total['crps'] / n:.2f}",
        "past only": f"{total['crps_reference'] / n:.2f}",
        "miss": f"{total['error'] / n:.1f}",
        "bias": f"{total['bias'] / n:+.1f}",
        "8 in 10": f"{total['inside_80'] / n:.2f}",
        "a hard freeze came first": f"{total['freeze_happened'] / frozen:.2f}" if frozen else "",
        "freeze skill": "" if skill is None else f"{skill:+.2f}",
    }


def table_csv(
    evidence: Evidence, name: str, station: str | None, as_of_day: tuple[int, int] | None
) -> Iterable[str]:
    """The data behind a picture as pieces of a CSV file.

    Args:
        evidence: The kept replay.
        name: One of TABLES.
        station: Only sites of this station, None for all (`money` is of the whole route in any case).
        as_of_day: Only this (month, day), None for all.
    Raises:
        KeyError: Unknown name, station or day.
    """
    if name not in TABLES:
        raise KeyError(name)
    backtest = evidence.chosen(station=station, as_of_day=as_of_day)
    if name == "forecasts":
        return _forecasts(evidence, station, as_of_day)
    rows: Sequence[Mapping[str, object]]
    if name == "scores":
        rows = [asdict(row) for row in (*backtest.summary.rows(), *backtest.summary.lead_rows())]
    elif name == "money":
        rows = [_flat(asdict(row)) for row in backtest.policies]
    elif name == "seasons":
        rows = season_rows(backtest)
    elif name == "reliability":
        rows = [
            {"truth": KINDS[kind], "event": EVENTS[event], "freeze": freeze, **row}
            for kind in backtest.kinds()
            for event in range(len(EVENTS))
            for at, freeze in enumerate(FREEZES)
            for row in reliability_rows(backtest, kind, event, at)
        ]
    else:
        rows = [
            {"truth": KINDS[kind], "event": EVENTS[event], **row}
            for kind in backtest.kinds()
            for event in range(len(EVENTS))
            for row in rank_rows(backtest, kind, event)
        ]
    return [_csv(rows)]


def choices(evidence: Evidence) -> tuple[list[str], list[tuple[str, str]]]:
    """Stations that serve a replayed site, and (09-13, "13 Sep") of the mornings."""
    ids = evidence.results[0].site_ids if evidence.results else ()
    days = [f"{month:02d}-{day:02d}" for month, day in evidence.about.summary.as_of_days]
    return sorted({evidence.stations[name] for name in ids if name in evidence.stations}), [
        (day, day_words(day)) for day in days
    ]


def _forecasts(evidence: Evidence, station: str | None, as_of_day: tuple[int, int] | None) -> Iterable[str]:
    from forecaster.web.evidence_store import part_of

    days = evidence.about.summary.as_of_days
    ids = evidence.results[0].site_ids
    cases = [at for at, day in enumerate(days) if as_of_day in (None, day)]
    sites = [at for at, name in enumerate(ids) if station in (None, evidence.stations.get(name))]
    yield csv_head()
    for result in evidence.results:
        yield csv_rows(part_of(result, cases, sites))


def _flat(row: Mapping[str, object]) -> dict[str, object]:
    """A policy's row with its lists and parts in columns of their own."""
    flat: dict[str, object] = {}
    for name, value in row.items():
        if isinstance(value, Mapping):
            flat |= {f"{name}_{part}": number for part, number in value.items()}
        else:
            flat[name] = " ".join(str(one) for one in value) if isinstance(value, list) else value
    return flat


def _csv(rows: Sequence[Mapping[str, object]]) -> str:
    out = io.StringIO()
    if rows:
        names = list(dict.fromkeys(name for row in rows for name in row))
        writer = csv.DictWriter(out, names, lineterminator="\n", restval="")
        writer.writerow({name: name.replace(" ", "_") for name in names})
        writer.writerows({name: _cell(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, int | float):
        return f"{value:.6g}" if isinstance(value, float) else str(value)
    text = str(value)
    try:
        float(text)
    except ValueError:
        return safe_text(text)
    return text
