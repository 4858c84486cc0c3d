"""Closed and running sites with fish where ice may hold the gases in: long cover, cold air, broken devices.

Ice cover of more than a few days can suffocate fish (University of Illinois Extension), and bubblers often
fail when the air stays below the teens °F (the same). Whether a device works nobody knows from here: what the
office has noted since the closing is shown in its own words. Snow is not known.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from forecaster.season.sites import Site
from forecaster.season.state_records import ClosedEvent, Note, Outcome, Visit
from forecaster.snap.records import GasSite, SiteState

NEAR_CHANCE = 0.05
"""Sites with less chance of long cover, and no trouble noted, are left out."""
BUBBLER_LIMIT_C = (15.0 - 32.0) / 1.8
"""Air below which bubblers often fail: "below the teens °F", read as 15 °F."""
TROUBLE = re.compile(
    r"de-?ic|heater|aerat|bubbl|diffus|air ?(pump|line|stone)|power|breaker|trip|gfci|outlet|unplug"
    r"|froze|frozen|fail|broke|dead|not work|hole|snow|ice",
    re.IGNORECASE,
)
"""Words of a note that speak of the gas exchange or of what stops it."""
DEVICES = ("deicer_watts", "aerator_watts")


def gas_sites(
    states: Iterable[SiteState],
    closed: Mapping[str, ClosedEvent],
    notes: Sequence[Note | Outcome | Visit],
    *,
    as_of: date,
    since: date,
) -> list[GasSite]:
    """Closed or running ponds with fish to look at, likeliest long cover first.

    Args:
        states: Of the closed and running sites.
        closed: When each was closed, as far as the ledger says.
        notes: Notes, outcomes and visits of all sites; those up to `as_of` since the closing are searched.
        as_of, since: Today, and the first day looked at for cold that stops bubblers.
    """
    found = []
    for state in states:
        site = state.site
        if not (site.fish and site.has_pond) or state.ice is None or state.p_covered is None:
            continue
        done = closed[site.site_id].day if site.site_id in closed else None
        trouble = _trouble(site.site_id, notes, from_day=done, as_of=as_of)
        near = max(state.p_covered, state.p_covered_next or 0.0)
        if (near < NEAR_CHANCE or state.running) and not trouble:  # running water keeps a hole
            continue
        lows = [night.p50_c for night in state.nights if since <= night.day <= as_of]
        found.append(
            GasSite(
                site=site,
                closed_on=done,
                ice=state.ice,
                p_covered=state.p_covered,
                p_covered_next=state.p_covered_next or 0.0,
                devices=devices_of(site),
                trouble=trouble,
                too_cold_for_air=min(lows, default=99.0) <= BUBBLER_LIMIT_C,
            )
        )
    return sorted(
        found,
        key=lambda g: (
            not (g.trouble and g.p_covered_next >= NEAR_CHANCE),
            -g.p_covered_next,
            g.site.site_id,
        ),
    )


def devices_of(site: Site) -> tuple[str, ...]:
    """Gas-exchange devices that the sheet names, () for none.

    >>> devices_of(Site("A", "", 43.0, -88.0, 0.5, extra={"deicer_watts": "300", "aerator_watts": ""}))
    ('de-icer',)
    """
    names = {"deicer_watts": "de-icer", "aerator_watts": "aerator"}
    watts = [(name, site.extra.get(name, "").strip()) for name in DEVICES]
    return tuple(names[name] for name, value in watts if value not in ("", "0"))


def _trouble(
    site_id: str, notes: Sequence[Note | Outcome | Visit], *, from_day: date | None, as_of: date
) -> tuple[str, ...]:
    said = []
    for note in notes:
        text = note.what if isinstance(note, Visit) else note.text
        if note.site_id != site_id or note.day > as_of or not TROUBLE.search(text):
            continue
        if from_day is None or note.day >= from_day:
            said.append((note.day, text))
    return tuple(f"{day.isoformat()}: {text}" for day, text in sorted(said)[-3:])
