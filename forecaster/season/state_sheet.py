"""The site sheet seen with the ledger: the dates that bind, and where the two say different things."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from forecaster.errors import Notice
from forecaster.season.sites import Site

if TYPE_CHECKING:
    from forecaster.season.state_records import SeasonState


PROTECTED = "protected"
"""A visit whose words begin so was a quick one: power off, pump out or lines drained; the closing remains."""


def protected_sites(state: SeasonState, today: date) -> dict[str, date]:
    """Sites with a quick visit done by `today`, and the day of the last."""
    return {
        visit.site_id: visit.day
        for visit in sorted(state.visits, key=lambda visit: visit.day)
        if visit.what.casefold().startswith(PROTECTED) and visit.day <= today
    }


def apply_state(sites: Iterable[Site], state: SeasonState, *, today: date | None = None) -> tuple[Site, ...]:
    """The sites with the dates that the ledger knows; where sheet and ledger differ, the ledger holds.

    Dates of the sheet that were called off, or that passed when a crew left without closing, are dropped.
    With `today`, a site protected by then has no plumbing at stake any more.
    """
    applied = []
    drained = protected_sites(state, today) if today is not None else {}
    for given in sites:
        site = replace(given, plumbing_exposure=0.0) if given.site_id in drained else given
        booked = state.booked.get(site.site_id, _standing(site.site_id, site.booked_date, state))
        told = state.told.get(site.site_id, _standing(site.site_id, site.told_date, state))
        placed = state.placed.get(site.site_id)
        if placed is not None and booked is not None and booked != placed[0]:
            placed = None  # a date agreed with the customer goes before the office's own
        unchanged = booked == site.booked_date and told == site.told_date and placed is None
        applied.append(
            site if unchanged else replace(site, booked_date=booked, told_date=told, hand_placed=placed)
        )
    return tuple(applied)


def standing_dates(site_id: str, in_sheet: Iterable[date], state: SeasonState) -> list[date]:
    """The booked and told dates of a site, the ledger's and the sheet's, that were not called off yet."""
    gone, passed = state.called_off.get(site_id, frozenset()), state.void.get(site_id, date.min)
    dates = {day for day in in_sheet if day not in gone and day > passed}
    dates |= {dates_of[site_id] for dates_of in (state.booked, state.told) if site_id in dates_of}
    return sorted(dates)


def _standing(site_id: str, in_sheet: date | None, state: SeasonState) -> date | None:
    """A date of the sheet, None where it no longer stands."""
    if in_sheet is None or in_sheet <= state.void.get(site_id, date.min):
        return None
    return None if in_sheet in state.called_off.get(site_id, ()) else in_sheet


def state_notices(sites: Iterable[Site], state: SeasonState) -> tuple[Notice, ...]:
    """Where the sheet and the ledger say different things, and events of sites that the sheet lacks."""
    notices, known = [], set[str]()
    for site in sites:
        known.add(site.site_id)
        for name, dates, in_sheet in (
            ("booked", state.booked, site.booked_date),
            ("told", state.told, site.told_date),
        ):
            in_ledger = dates.get(site.site_id)
            if in_ledger is not None and in_sheet is not None and in_ledger != in_sheet:
                text = f"the sheet says {in_sheet}, the ledger {in_ledger}; the ledger holds."
                notices.append(Notice(f"{site.site_id}, {name}_date", text))
            elif in_ledger is None and in_sheet in state.called_off.get(site.site_id, ()):
                text = f"{in_sheet} of the sheet was called off and does not count. Take it out of the sheet."
                notices.append(Notice(f"{site.site_id}, {name}_date", text))
    spoken_of = {*state.closed, *state.booked, *state.told, *(r.site_id for r in state.readings)}
    for site_id in sorted(spoken_of - known):
        text = f"{site_id} is not in the site sheet any more; what was recorded of it does not count."
        notices.append(Notice("season.sqlite", text))
    return tuple(notices)
