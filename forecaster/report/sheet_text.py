"""Crew-day sheets on a screen: who goes where when, and on demand the steps of each stop."""

from __future__ import annotations

from collections.abc import Sequence

from forecaster.report.sheet_stop import WHO_DECIDES, DaySheets, StopSheet
from forecaster.report.table import wrapped
from forecaster.report.words import clean


def sheets_text(days: Sequence[DaySheets], *, full: bool, width: int = 100) -> str:
    """The sheets in one text, ending in a newline; without `full` only the stops with their findings."""
    lines: list[str] = []
    for day in days:
        lines += [f"Crew sheets, {clean(day.title)}"]
        if day.source:
            lines += [f"{day.source}."]
        for stop in day.stops:
            lines += ["", *_stop(stop, full=full, width=width)]
        lines.append("")
    lines += wrapped(WHO_DECIDES, width=width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _stop(stop: StopSheet, *, full: bool, width: int) -> list[str]:
    order = f"{stop.number}. " if stop.count else ""
    lines = wrapped(
        f"{order}{stop.head}, {clean(stop.site.site_id)}: {stop.when}", width=width, hanging="   "
    )
    if stop.closed:
        lines.append("   Closed already by the ledger: ask before work starts.")
    facts = stop.facts if full else [fact for fact in stop.facts if fact[0] in ("Look", "Address")]
    for name, text in facts:
        lines += wrapped(f"{name}: {text}", width=width, indent="   ", hanging="     ")
    if not full:
        return lines
    for words in stop.steps:
        blanks = "".join(f" {name} ____" for name in words.step.write)
        text = f"[ ] {words.number}. {words.step.title}. {words.step.text}{blanks}"
        lines += wrapped(text, width=width, indent="   ", hanging="         ")
        for name, caution in words.cautions:
            lines += wrapped(f"| {name}: {caution}", width=width, indent="       ", hanging="       | ")
    if stop.left_out:
        lines += wrapped(f"Left out here: {stop.left_out}.", width=width, indent="   ", hanging="     ")
    return lines
