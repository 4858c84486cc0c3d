"""A brief or an alarm as plain text, for the terminal and for mail, with the cautions that it needs."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence

from forecaster.matters import Brief, Matter
from forecaster.report.glossary import ICE_CAUTION, TAKE_CARE
from forecaster.report.words import clean, weekday_date

NOTHING = "Nothing to tell."

_ICE = re.compile(r"(?i)\b(ice|icy|freez\w*|froz\w*|frost|snap)\b")
_ELECTRIC = re.compile(
    r"(?i)\b(pump|plumb|electr|power|breaker|circuit|outlet|aerator|de-?icer|heater|switch)"
)


def brief_text(brief: Brief) -> str:
    """The whole brief, ending in a newline; without matters one line that says so."""
    if not brief.matters:
        return f"{NOTHING} {_heading(brief)}\n"
    parts = [_heading(brief), *(matter_text(matter) for matter in brief.matters)]
    return "\n\n".join([*parts, *_footing(brief.footing, brief.matters)]) + "\n"


def alarm_text(matter: Matter, footing: Sequence[str]) -> str:
    """One alarm as the text of a message, ending in a newline."""
    return "\n\n".join([matter_text(matter), *_footing(footing, [matter])]) + "\n"


def matter_text(matter: Matter) -> str:
    """Title, facts and next step of one matter."""
    title = f"Act now: {matter.title}" if matter.urgent else matter.title
    step = [f"Next: {matter.next_step.rstrip('.')}."] if matter.next_step else []
    return "\n".join([title, *(f"- {line}" for line in matter.lines), *step])


def cautions(matters: Iterable[Matter]) -> tuple[str, ...]:
    """The usual cautions that belong beside what these matters mention; empty where they mention nothing."""
    said = " ".join(text for m in matters for text in (m.title, *m.lines, m.next_step))
    found = [ICE_CAUTION] if _ICE.search(said) else []
    if _ELECTRIC.search(said):
        found.append(TAKE_CARE["Electricity"])
    return (*found, TAKE_CARE["Who decides"]) if found else ()


def subject(brief: Brief) -> str:
    """What the lock screen shows: the first matter, and how many more there are."""
    if not brief.matters:
        return NOTHING.rstrip(".")
    more = len(brief.matters) - 1
    return brief.matters[0].title + (f"; {more} more" if more else "")


def brief_json(brief: Brief) -> str:
    """The brief for other programs: no clock, no path; the same facts, the same bytes."""
    record = {
        "season": brief.season_name,
        "as_of": brief.as_of.isoformat(),
        "since": brief.since.isoformat() if brief.since else None,
        "matters": [
            {
                "key": matter.key,
                "kind": matter.kind,
                "title": matter.title,
                "urgent": matter.urgent,
                "lines": list(matter.lines),
                "sites": list(matter.sites),
                "next_step": matter.next_step,
            }
            for matter in brief.matters
        ],
        "cautions": list(cautions(brief.matters)),
        "footing": list(brief.footing),
    }
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _heading(brief: Brief) -> str:
    since = f"Since the brief of {weekday_date(brief.since)}." if brief.since else "The first brief."
    return f"{clean(brief.season_name)}, morning of {weekday_date(brief.as_of, year=True)}. {since}"


def _footing(footing: Sequence[str], matters: Sequence[Matter]) -> list[str]:
    said = ["\n".join(footing)] if footing else []
    care = cautions(matters)
    return [*said, "\n".join(["Take care", *care])] if care else said
