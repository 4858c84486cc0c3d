"""What was taken from which pond into the store, and what goes back in spring. Pure.

Three sources, the surest first: gear recorded in the ledger, what the closing says was done, and the sheet,
which only says what there is to take. Limit: a closing is free text; a clause counts where it names the thing
and says out, removed, taken, pulled or stored; what is not said is "not said", never taken for granted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from forecaster.season.events import Event
from forecaster.season.sites import Site
from forecaster.season.state_records import ClosedEvent
from forecaster.units import KG_PER_POUND
from forecaster.visit.kit import Device, Kit

Status = Literal["taken", "not said", "left", "back", "to take"]

TWO_TO_LIFT_KG = 51 * KG_PER_POUND
"""NIOSH lifting equation (Pub. 94-110): 51 lb is the limit of one person in the ideal case only [kg]."""

_TAKEN = re.compile(r"\b(out|removed|taken|took|pulled|stored|in (?:the )?store|brought in)\b")
_LEFT = re.compile(r"\b(not|left|stays?|stayed|kept|keep|still in|in place|could not)\b")
_WORDS: dict[str, str] = {
    "pump": r"\bpumps?\b",
    "UV unit": r"\b(uv|ultra-?violet|clarifier)\b",
    "dosing unit": r"\b(dos(?:er|ing)|feeder)\b",
    "check valve": r"\bcheck[- ]?valves?\b",
}


@dataclass(frozen=True)
class StoredItem:
    """One thing of one site. `day`: taken or brought back, None where not known; `source`: who says so.

    `keep`: "wet" or "dry" where the sheet says how to store it. `heavy`: two to lift by the sheet's weight.
    """

    site: Site
    item: str
    status: Status
    day: date | None
    store: str
    watts: float | None
    keep: str
    heavy: bool
    source: str


@dataclass(frozen=True)
class StoreList:
    """All things by site and item; `stays_on`: what is at the pond in the winter and comes out in spring."""

    season_name: str
    as_of: date
    items: tuple[StoredItem, ...]
    stays_on: tuple[tuple[Site, str], ...]
    no_frost_free_store: tuple[Site, ...]

    @property
    def stored(self) -> tuple[StoredItem, ...]:
        """What is in the store, as far as somebody said so."""
        return tuple(item for item in self.items if item.status == "taken")


def store_list(
    sites: Sequence[Site],
    kits: Mapping[str, Kit],
    closed: Mapping[str, ClosedEvent],
    gear: Iterable[Event],
    *,
    season_name: str,
    as_of: date,
    every: bool = False,
) -> StoreList:
    """The store on the as-of date.

    Args:
        sites: All sites of the sheet.
        kits: By site.
        closed: The closings that were done.
        gear: Gear events that stand, by day and number.
        season_name, as_of: For the heading.
        every: Name the things of sites that are still open too, as "to take".
    """
    by_site: dict[str, list[Event]] = {}
    for event in gear:
        by_site.setdefault(event.site_id, []).append(event)
    items: list[StoredItem] = []
    stays: list[tuple[Site, str]] = []
    without: list[Site] = []
    for site in sites:
        kit, done = kits[site.site_id], closed.get(site.site_id)
        found = _items(site, kit, done, by_site.get(site.site_id, ()), every=every)
        items += found
        if done is not None or (every and site.winter != "runs"):
            stays += [(site, name) for name in at_the_pond(kit)]
            if kit.frost_free is False and found:
                without.append(site)
    return StoreList(season_name, as_of, tuple(items), tuple(stays), tuple(without))


def things_to_take(site: Site, kit: Kit) -> dict[str, Device | None]:
    """What a closing takes into the store by the sheet; what stays on there is left out."""
    kept = kit.kept_running or frozenset()
    things: dict[str, Device | None] = {}
    if site.winter == "runs":
        return things
    if kit.pump.there and not {"pump", "fall"} & kept:
        things["pump"] = kit.pump
    if kit.uv.there and "uv" not in kept:
        things["UV unit"] = kit.uv
    if kit.dosing:
        things["dosing unit"] = None
    if kit.check_valve:
        things["check valve"] = None
    return things


def at_the_pond(kit: Kit) -> tuple[str, ...]:
    """What is at the pond over the winter and comes out in spring."""
    there = (
        ("de-icer", kit.deicer.there),
        ("aerator and diffuser", kit.aerator.there),
        ("leaf net", kit.net),
    )
    return tuple(name for name, is_there in there if is_there)


def said_of(item: str, done: str) -> Status:
    """What a closing's own words say of a thing: taken, left, or nothing.

    >>> [said_of("pump", done) for done in ("Pump out and cleaned, net on", "net on", "pump left in")]
    ['taken', 'not said', 'left']
    """
    named = re.compile(_WORDS.get(item, re.escape(item)), re.IGNORECASE)
    for clause in re.split(r"[,;.\n]|\bbut\b", done):
        if named.search(clause):
            lowered = clause.casefold()
            if _LEFT.search(lowered):
                return "left"
            if _TAKEN.search(lowered):
                return "taken"
    return "not said"


def _items(
    site: Site, kit: Kit, done: ClosedEvent | None, gear: Sequence[Event], *, every: bool
) -> list[StoredItem]:
    things = things_to_take(site, kit)
    latest: dict[str, tuple[str, Event]] = {}
    for event in gear:
        for named in event.facts["items"]:
            latest[_alike(named, things)] = (named, event)
    found = []
    for item, device in things.items():
        status, day, store, source = _state(item, done, latest.get(item), every=every)
        if status is None:
            continue
        heavy = item == "pump" and (kit.pump_weight_kg or 0.0) > TWO_TO_LIFT_KG
        keep = (kit.pump_store or "") if item == "pump" else ""
        watts = None if device is None else device.watts
        found.append(StoredItem(site, item, status, day, store or kit.store, watts, keep, heavy, source))
    for key, (named, event) in latest.items():
        if key not in things:
            status, day, store, source = _state(key, None, (named, event), every=every)
            found.append(
                StoredItem(site, named, status or "taken", day, store or kit.store, None, "", False, source)
            )
    return found


def _state(
    item: str, done: ClosedEvent | None, recorded: tuple[str, Event] | None, *, every: bool
) -> tuple[Status | None, date | None, str, str]:
    """Status, day, store and source of one thing; status None: not to be listed."""
    if recorded is not None:
        event = recorded[1]
        status: Status = "back" if event.facts.get("back") else "taken"
        return status, event.day, event.facts.get("store", ""), f"event {event.event_id}"
    if done is not None:
        said = said_of(item, done.what)
        return said, done.day if said == "taken" else None, "", f"closing, event {done.event_id}"
    return ("to take" if every else None), None, "", "sheet"


def _alike(named: str, things: Mapping[str, object]) -> str:
    """The sheet's thing that a recorded name means ("Pump 180 W" is the pump), else the name itself."""
    for item in things:
        if re.search(_WORDS.get(item, re.escape(item)), named, re.IGNORECASE):
            return item
    return named.casefold()
