"""The backtest in plain words for somebody who is no statistician, and one small table."""

from __future__ import annotations

from collections.abc import Sequence

from forecaster.backtest.contract import Backtest
from forecaster.backtest.summary import KINDS, ScoreRow
from forecaster.backtest.truth import EVENTS
from forecaster.report.table import wrapped
from forecaster.units import c_to_f

WIDTH = 100
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def backtest_text(backtest: Backtest) -> str:
    """The whole summary, ending with a line break."""
    summary = backtest.summary
    years = summary.years
    lines = [
        f"{backtest.season_name}: {len(years)} past seasons replayed ({years[0]} to {years[-1]}), each "
        f"forecast made with only what was known that morning. Stations: {', '.join(backtest.stations)}.",
        f"Outlook: {outlook_words(backtest)}.",
    ]
    for kind in backtest.kinds():
        lines += ["", *_kind_lines(backtest, kind)]
    if backtest.policies:
        lines += ["", *_money_lines(backtest)]
    if backtest.skipped:
        names = ", ".join(notice.where.removeprefix("season ") for notice in backtest.skipped)
        lines += ["", f"Seasons left out: {names}. First reason: {backtest.skipped[0].text}"]
    folded = [
        part
        for line in lines
        for part in (wrapped(line, width=WIDTH) if line and "  " not in line else [line])
    ]
    return "\n".join(folded) + "\n"


def outlook_words(backtest: Backtest) -> str:
    """What the forecasts knew of the coming ten days."""
    kind = backtest.asked.outlook
    if kind == "none":
        return "none, only past seasons"
    if kind == "perfect":
        return "the next ten days known perfectly; an upper bound, nobody had it"
    if backtest.summary.emulated_mornings:
        whose = "emulated" if kind == "emulated" else "kept ones where there are any, else emulated"
        return f"{whose}; emulated ones are made from the weather that came, with typical errors"
    return "as kept at the time"


def event_words(backtest: Backtest, event: int) -> str:
    """An event with its limit in the office's unit."""
    limit_c = (backtest.start_c, backtest.sustained_c)[event]
    limit = f"{c_to_f(limit_c):.0f} °F" if backtest.units == "us" else f"{limit_c:.1f} °C"
    return f"the water at or below {limit} for {backtest.hold_days} days"


def promise_sentences(backtest: Backtest, kind: int, event: int) -> list[str]:
    """What the scores mean, one sentence each; empty where nothing was scored."""
    days = list(range(len(backtest.summary.as_of_days)))
    row = backtest.summary.row(kind, event, days, "all")
    if not row.n or row.crps_days is None or row.crps_ratio is None or row.coverage_80 is None:
        return []
    said = [
        f"The day of {event_words(backtest, event)}: the middle of the forecast missed it by "
        f"{row.mae_days:.1f} days on average{_rules(row)}. Its whole spread is worth {_better(row)}.",
        f"8 times in 10 were promised between the outer dates, {10 * row.coverage_80:.1f} came true "
        f"({10 * (row.coverage_80_low or 0):.1f} to {10 * (row.coverage_80_high or 0):.1f} would be seen in "
        f"other draws of the seasons).",
    ]
    if row.brier is not None and row.brier_skill is not None and row.freeze_share:
        skill = _skill(row.brier_skill, row.brier_skill_low, row.brier_skill_high)
        said.append(
            f"A hard freeze came first in {row.freeze_share:.0%} of the cases; the chance given for it "
            f"{skill}. Promises by tenths: {_kept(backtest, kind, event, 0)}."
        )
    if row.n_plumbing and not row.plumbing_share:
        bins = backtest.summary.reliability(kind, event, 1).bins
        given = float(bins.chance_sum.sum() / bins.count.sum())
        said.append(f"No plumbing freeze came first; its chance was given as {given:.0%} on average.")
    elif row.brier_plumbing_skill is not None:
        skill = _skill(row.brier_plumbing_skill, row.brier_plumbing_skill_low, row.brier_plumbing_skill_high)
        said.append(
            f"A plumbing freeze came first in {row.plumbing_share or 0:.0%}; the chance given for it "
            f"{skill}. Promises by tenths: {_kept(backtest, kind, event, 1)}."
        )
    return said


def _kept(backtest: Backtest, kind: int, event: int, freeze: int) -> str:
    outside = backtest.summary.reliability(kind, event, freeze).outside()
    return "all kept" if outside == 0 else f"{outside} of 10 not kept beyond chance"


def _rules(row: ScoreRow) -> str:
    """What two simple rules missed it by, and whether the difference is sure."""
    said = []
    for name, miss, low, high in (
        (
            "the usual date",
            row.mae_climatology_days,
            row.usual_date_misses_more_low,
            row.usual_date_misses_more_high,
        ),
        (
            "the same day as last fall",
            row.mae_last_fall_days,
            row.last_fall_misses_more_low,
            row.last_fall_misses_more_high,
        ),
    ):
        if miss is not None and low is not None and high is not None:
            said.append(f"{name}: {miss:.1f}{'' if low > 0 or high < 0 else ', unsure'}")
    return f" ({'; '.join(said)})" if said else ""


def _better(row: ScoreRow) -> str:
    assert row.crps_ratio is not None
    change = 1.0 - row.crps_ratio
    low, high = row.crps_ratio_low, row.crps_ratio_high
    sure = low is not None and high is not None and (high < 1.0 or low > 1.0)
    if not sure:
        which = "better" if change >= 0 else "worse"
        return f"about as much as past seasons alone ({abs(change):.0%} {which}, unsure)"
    return f"{abs(change):.0%} {'more' if change > 0 else 'less'} than past seasons alone"


def _skill(skill: float, low: float | None, high: float | None) -> str:
    if low is not None and low > 0.0:
        return f"is {skill:.0%} better than past seasons alone"
    if high is not None and high < 0.0:
        return f"is {-skill:.0%} worse than past seasons alone"
    return f"is about as good as past seasons alone ({skill:+.0%}, unsure)"


def _kind_lines(backtest: Backtest, kind: int) -> list[str]:
    head = {
        "modelled": "Against modelled water (what the model makes of the air that came; both sides without "
        "errors of their own):",
        "measured": "Against measured water (readings dense enough to see the day; forecasts with all "
        "their uncertainty):",
    }[KINDS[kind]]
    lines = [head]
    for event in range(len(EVENTS)):
        lines += promise_sentences(backtest, kind, event)
    lines += ["", *_table(backtest, kind)]
    return lines


HEAD = "event       cases   score  past only  ratio  miss  bias  8 in 10  freeze skill"


def _table(backtest: Backtest, kind: int) -> list[str]:
    summary = backtest.summary
    days = [row for row in summary.rows() if row.truth == KINDS[kind]]
    leads = [row for row in summary.lead_rows() if row.truth == KINDS[kind]]
    return [
        f"  as of            {HEAD}",
        *_table_lines(days),
        "  score: fair CRPS, less is better; miss: of the middle; bias: late is plus; all three in days",
        "",
        f"  middle lies in   {HEAD}",
        *_table_lines(leads),
        "  all days together, by how far ahead the middle of the forecast lay",
    ]


def _table_lines(rows: Sequence[ScoreRow]) -> list[str]:
    lines = []
    for row in rows:
        name = row_name(row)
        skill = "       -" if row.brier_skill is None else f"{row.brier_skill:+8.2f}"
        ratio = float("nan") if row.crps_ratio is None else row.crps_ratio
        lines.append(
            f"  {name:<16} {row.event:<10} {row.n:>6,} {row.crps_days or 0:>7.2f} "
            f"{row.crps_climatology_days or 0:>9.2f} {ratio:>7.2f} {row.mae_days or 0:>5.1f} "
            f"{row.bias_days or 0:>+5.1f} {row.coverage_80 or 0:>8.2f} {skill:>13}"
        )
    return lines


def row_name(row: ScoreRow) -> str:
    """The as-of day, the lead, or that all days are together."""
    if row.lead:
        return row.lead
    return "all days" if row.as_of_month_day == "all" else day_words(row.as_of_month_day)


def day_words(month_day: str) -> str:
    """A month and day in words.

    >>> day_words("10-07")
    '7 Oct'
    """
    month, day = month_day.split("-")
    return f"{int(day)} {MONTHS[int(month) - 1]}"


def _money_lines(backtest: Backtest) -> list[str]:
    lines = ["Money, dollars a pond and season; in brackets 9 draws of the seasons in 10:"]
    for limited in (False, True):
        world = [row for row in backtest.policies if row.crews_limited == limited]
        lines.append("with the crews' days as they are" if limited else "with crews enough for any day")
        for row in world:
            name = f"{row.policy} ({row.detail})" if row.detail else row.policy
            lines.append(
                f"  {name:<58} {row.mean_loss:>5.0f} ({row.low:.0f}-{row.high:.0f})"
                f"  worst {row.worst_season}: {row.worst_loss:.0f}"
            )
    lines += list(backtest.money_notes)
    return lines
