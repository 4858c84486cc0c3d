"""What the ledger says that matters after a snap: who was told what, quick visits, who has looked, notes."""

from __future__ import annotations

from datetime import date, timedelta

from forecaster.season.state import SeasonState
from forecaster.snap.records import Said, SiteState

NOTES_SHOWN = 3


def checked_of(state: SeasonState, site_id: str, first: date | None, as_of: date) -> date | None:
    """Day of the last visit or outcome since the snap began, None where nobody has looked."""
    if first is None:
        return None
    items = [(v.site_id, v.day) for v in state.visits] + [(o.site_id, o.day) for o in state.outcomes]
    looked = [day for where, day in items if where == site_id and first <= day <= as_of]
    return max(looked, default=None)


def notes_of(state: SeasonState, site_id: str, first: date, as_of: date) -> tuple[str, ...]:
    """The office's words about a site since the week before the snap."""
    start = first - timedelta(days=7)
    said = [(n.day, n.text) for n in state.notes if n.site_id == site_id and start <= n.day <= as_of]
    said += [
        (o.day, f"{o.what}{': ' + o.text if o.text else ''}")
        for o in state.outcomes
        if o.site_id == site_id and start <= o.day <= as_of
    ]
    said += [
        (s.day, f"skipped: {s.reason}") for s in state.skipped if s.site_id == site_id and s.day >= start
    ]
    return tuple(f"{day.isoformat()}: {text}" for day, text in sorted(said)[-NOTES_SHOWN:])


def said_of(state: SeasonState, one: SiteState) -> tuple[Said, ...]:
    """Dates that bind, with who said them when where the ledger knows."""
    found = []
    for what, day in (("booked", one.site.booked_date), ("told", one.site.told_date)):
        if day is None or (what == "told" and one.site.booked_date == day):
            continue
        events = [
            event
            for event in state.events
            if event.site_id == one.site.site_id
            and event.kind in ("told", "booked")
            and event.event_id not in state.undone
            and event.facts.get("date") == day.isoformat()
        ]
        last = events[-1] if events else None
        found.append(Said(what, day, last.who if last else "", last.day if last else None))
    return tuple(found)
