"""Gear taken from a site into the store, and brought back, as events of the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from forecaster.errors import BadInput, Problem
from forecaster.season.events import Entry, Event, clean_text

MOST_ITEMS = 20


def gear(
    site_id: str,
    day: date,
    items: Sequence[str],
    *,
    back: bool = False,
    store: str = "",
    by: str = "",
    source: str = "",
) -> Entry:
    """On `day` things were taken from a site into a `store`, or brought `back`.

    Raises:
        BadInput: Nothing is named, or too much.
    Example:
        >>> gear("V-03", date(2025, 10, 6), ["pump"], store="shelf 3").facts
        {'items': ['pump'], 'store': 'shelf 3'}
    """
    named = list(dict.fromkeys(text for item in items if (text := clean_text(item, "gear"))))
    if not 1 <= len(named) <= MOST_ITEMS:
        found = "nothing is named" if not named else f"{len(named)} things are named"
        raise BadInput(Problem("gear", f'{found}; name 1 to {MOST_ITEMS}, like "pump; UV unit".'))
    facts: dict[str, object] = {"items": named}
    if back:
        facts["back"] = True
    for name, text in (("store", clean_text(store, "store")), ("by", clean_text(by, "by"))):
        if text:
            facts[name] = text
    return Entry("gear", day, facts, clean_text(site_id, "site_id"), source=source)


def standing_gear(events: Iterable[Event], undone: frozenset[int], *, since: date) -> list[Event]:
    """The gear events of `since` and later that stand, in the order of their days and numbers. Those of
    earlier seasons are left out: what was taken then has long been back."""
    kept = [e for e in events if e.kind == "gear" and e.event_id not in undone and e.day >= since]
    return sorted(kept, key=lambda event: (event.day, event.event_id))


def taken_after(events: Sequence[Event], site_id: str, day: date) -> date | None:
    """The day after `day` on which something was taken from a site, None where there is none: then it cannot
    have been brought back on `day`. `events` as `standing_gear` gives them."""
    days = [e.day for e in events if e.site_id == site_id and not e.facts.get("back") and e.day > day]
    return days[-1] if days else None
