"""The backtest as one HTML file for the analyst: no script, no other host, terms with their meaning below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from jinja2 import Template
from markupsafe import Markup

from forecaster.backtest.contract import Backtest
from forecaster.backtest.policies import PolicyRow
from forecaster.backtest.scores import brier_parts
from forecaster.backtest.summary import KINDS, ScoreRow, Summary
from forecaster.backtest.truth import EVENTS
from forecaster.report.backtest_beside import beside_cells, money_cells
from forecaster.report.backtest_svg import (
    Bar,
    bars_chart,
    histogram_chart,
    money_chart,
    reliability_chart,
)
from forecaster.report.backtest_text import (
    day_words,
    event_words,
    outlook_words,
    promise_sentences,
    row_name,
)
from forecaster.report.svg import TEMPLATES
from forecaster.report.templating import page_environment
from forecaster.report.words import clean

TERMS = {
    "Score (fair CRPS)": "Distance in days between the whole forecast and the day that came; for one sure "
    "date it is the miss itself. Fair: a forecast of few members is not punished for their number. Less is "
    "better.",
    "Past only": "The reference: the crossing dates of all earlier seasons in which it was still to come on "
    "that day of the year. It knows nothing later either.",
    "Ratio": "Our score over the reference's. Below 1 the forecast knows more than past seasons do.",
    "8 in 10": "Share of cases between the outer dates (10 % and 90 %), which is promised to be 0.80.",
    "Brier score, skill": "Mean squared miss of a chance; skill is the part of the reference's that is "
    "saved: 0 as good as past seasons, 1 perfect, below 0 worse.",
    "Middle lies in": "How far ahead the middle of the forecast lay on that morning: the lead. It is known "
    "then; sorting by the day that came would pick the cases by their outcome.",
    "Usual date; as last fall": "Two rules without any forecast: the middle of the earlier falls, and the "
    "day of the last one. Misses more: their miss in days less ours, fall by fall.",
    "Rank histogram": "Where the day that came fell among the members. Level is right; a hump in the middle "
    "is too wide, horns are too narrow, a slope is too early or too late.",
    "Bounds": "9 in 10 draws of whole seasons with replacement: weeks and ponds of one fall are one "
    "experience of the weather, not many.",
    "Truth": "Measured: readings so dense that the day is seen. Modelled: what the model makes of the air "
    "that came, then both sides are without errors of their own. The two are kept apart.",
}


@dataclass(frozen=True)
class Panel:
    """Charts and sentences of one event and kind of truth."""

    head: str
    sentences: list[str]
    coverage: Markup
    ratio: Markup
    transform: Markup
    reliability: Markup | None
    parts: str
    plumbing: Markup | None
    plumbing_parts: str


@dataclass(frozen=True)
class MoneyPanel:
    """One world of crews."""

    head: str
    note: str
    chart: Markup
    rows: list[dict[str, str]]


def backtest_page(backtest: Backtest, *, beside: Sequence[Backtest] = ()) -> str:
    """The whole page, from `<!doctype html>` to the end; `beside`: replays with other
    outlooks, this one too."""
    summary = backtest.summary
    return _template().render(
        title=clean(backtest.season_name),
        years=summary.years,
        stations=", ".join(clean(name) for name in backtest.stations),
        outlook=outlook_words(backtest),
        emulated=summary.emulated_mornings > 0,
        members=backtest.members,
        seed=backtest.seed,
        kinds=[
            (
                KINDS[kind],
                [panel for event in (1, 0) if (panel := panel_of(backtest, kind, event)) is not None],
            )
            for kind in backtest.kinds()
        ],
        rows=[score_cells(row) for row in summary.rows()],
        leads=[score_cells(row) for row in summary.lead_rows()],
        money=money_panels(backtest),
        beside=[cells for cells in (beside_cells(beside), money_cells(beside)) if cells],
        skipped=backtest.skipped,
        warnings=backtest.warnings,
        terms=TERMS,
        page_css=Markup(TEMPLATES.joinpath("page.css").read_text(encoding="utf-8")),
        chart_css=Markup(TEMPLATES.joinpath("backtest.css").read_text(encoding="utf-8")),
    )


@cache
def _template() -> Template:
    environment = page_environment()
    return environment.get_template("backtest.html.j2")


def panel_of(backtest: Backtest, kind: int, event: int) -> Panel | None:
    """Charts and sentences of one kind of truth and event (positions in KINDS, EVENTS); None if no case."""
    summary = backtest.summary
    rows = [row for row in summary.rows() if row.truth == KINDS[kind] and row.event == EVENTS[event]]
    if not rows:
        return None
    name = event_words(backtest, event)
    whole = [r.as_of_month_day == "all" for r in rows]
    coverage = [
        Bar(_label(r), r.coverage_80 or 0.0, r.coverage_80_low, r.coverage_80_high, strong)
        for r, strong in zip(rows, whole, strict=True)
    ]
    ratio = [
        Bar(_label(r), r.crps_ratio or 0.0, r.crps_ratio_low, r.crps_ratio_high, strong)
        for r, strong in zip(rows, whole, strict=True)
    ]
    hard, hard_parts = _freeze_chart(summary, kind, event, 0, "Chance of a hard freeze first")
    plumbing, plumbing_parts = _freeze_chart(summary, kind, event, 1, "Chance of a plumbing freeze first")
    return Panel(
        head=f"The day of {name}",
        sentences=promise_sentences(backtest, kind, event),
        coverage=Markup(
            bars_chart(
                coverage, title="8 in 10", aim=0.8, low=0.0, high=1.0,
                description="Share of cases between the outer dates, by as-of day; 0.8 is promised.",
            )
        ),
        ratio=Markup(
            bars_chart(
                ratio, title="Score against past seasons", aim=1.0, low=0.5, high=1.5,
                description="Our score over that of past seasons, by as-of day; below 1 is better.",
            )
        ),
        transform=Markup(
            histogram_chart(
                summary.transform(kind, event), title="Rank histogram",
                description="Where the day that came fell among the members, in tenths.",
            )
        ),
        reliability=hard,
        parts=hard_parts,
        plumbing=plumbing,
        plumbing_parts=plumbing_parts,
    )  # fmt: skip


def _freeze_chart(
    summary: Summary, kind: int, event: int, freeze: int, title: str
) -> tuple[Markup | None, str]:
    """Reliability of a freeze's chance as a picture, and its parts in words; None where none was given."""
    found = summary.reliability(kind, event, freeze)
    if not found.bins.count.sum():
        return None, ""
    p = brier_parts(found.bins)
    chart = reliability_chart(
        found, title=title, description="How often it happened, by the chance that was given."
    )
    return Markup(chart), (
        f"Brier score {p.score:.3f} = reliability {p.reliability:.3f} - resolution {p.resolution:.3f} + "
        f"uncertainty {p.uncertainty:.3f}; {found.outside()} of 10 bins outside their bounds."
    )


def _label(row: ScoreRow) -> str:
    return "all" if row.as_of_month_day == "all" else day_words(row.as_of_month_day)


def score_cells(row: ScoreRow) -> dict[str, str]:
    """One row of the table of scores, column name -> text."""

    def shown(value: float | None, form: str) -> str:
        return "" if value is None else format(value, form)

    return {
        ("middle lies in" if row.lead else "as of"): row_name(row),
        "event": row.event,
        "truth": row.truth,
        "cases": f"{row.n:,}",
        "seasons": str(row.seasons),
        "score": shown(row.crps_days, ".2f"),
        "past only": shown(row.crps_climatology_days, ".2f"),
        "ratio": _bounded(row.crps_ratio, row.crps_ratio_low, row.crps_ratio_high),
        "miss": shown(row.mae_days, ".1f"),
        "usual date misses more": _bounded(
            row.usual_date_misses_more_days,
            row.usual_date_misses_more_low,
            row.usual_date_misses_more_high,
            1,
        ),
        "as last fall misses more": _bounded(
            row.last_fall_misses_more_days,
            row.last_fall_misses_more_low,
            row.last_fall_misses_more_high,
            1,
        ),
        "bias": shown(row.bias_days, "+.1f"),
        "5 in 10": _bounded(row.coverage_50, row.coverage_50_low, row.coverage_50_high),
        "8 in 10": _bounded(row.coverage_80, row.coverage_80_low, row.coverage_80_high),
        "Brier": shown(row.brier, ".3f"),
        "past only Brier": shown(row.brier_climatology, ".3f"),
        "skill": _bounded(row.brier_skill, row.brier_skill_low, row.brier_skill_high),
        "plumbing Brier": shown(row.brier_plumbing, ".3f"),
        "plumbing skill": _bounded(
            row.brier_plumbing_skill, row.brier_plumbing_skill_low, row.brier_plumbing_skill_high
        ),
    }


def _bounded(value: float | None, low: float | None, high: float | None, digits: int = 2) -> str:
    if value is None:
        return ""
    if low is None or high is None:
        return f"{value:.{digits}f}"
    return f"{value:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def money_panels(backtest: Backtest) -> list[MoneyPanel]:
    """The worlds of crews that were played, none without money."""
    panels = []
    notes = iter(backtest.money_notes)
    for limited in (False, True):
        world = [row for row in backtest.policies if row.crews_limited == limited]
        if not world:
            continue
        bars = [
            Bar(
                f"{row.policy} ({row.detail})" if row.detail else row.policy,
                row.mean_loss, row.low, row.high, row.policy == "recommended",
            )
            for row in world
        ]  # fmt: skip
        panels.append(
            MoneyPanel(
                head="The crews' days as they are" if limited else "Crews enough for any day",
                note=next(notes, ""),
                chart=Markup(
                    money_chart(bars, title="Mean loss a pond and season", description="Dollars, by policy.")
                ),
                rows=[
                    {
                        "policy": f"{row.policy} ({row.detail})" if row.detail else row.policy,
                        "mean": f"{row.mean_loss:.0f} ({row.low:.0f} to {row.high:.0f})",
                        "spread": f"{row.spread:.0f}",
                        "more than ours": _more(row),
                        "gap closed": "" if row.gap_closed is None else f"{row.gap_closed:.2f}",
                        "worst season": f"{row.worst_season}: {row.worst_loss:.0f} ({row.worst_why})",
                        "next worst": ", ".join(str(year) for year in row.worst_seasons[1:]),
                    }
                    for row in world
                ],
            )
        )
    return panels


def _more(row: PolicyRow) -> str:
    low, high = row.more_than_ours_low, row.more_than_ours_high
    if row.more_than_ours is None or low is None or high is None:
        return ""
    return f"{row.more_than_ours:+.0f} ({low:+.0f} to {high:+.0f})"
