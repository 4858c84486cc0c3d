"""What changed in the site sheet since it was last confirmed: sites gone, new, renamed, moved, deeper.

The sheet is the office's own, so the program only tells. A serious change (a site gone, a pond moved or of
another depth) is more often a slip than meant: a plan is not put in force before somebody confirmed it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from forecaster.distance import haversine_km
from forecaster.errors import Notice
from forecaster.season.events import Entry, pack
from forecaster.season.quantities import LENGTH_UNITS, shown
from forecaster.season.sites import Site
from forecaster.units import KM_PER_MILE, c_step_to_f

Snapshot = Mapping[str, Mapping[str, Any]]
"""What is remembered of each site, by site_id: JSON values, in the program's units."""

MOVED_KM = 0.2
"""A place corrected by less is not worth a word [km]."""

SERIOUS_KM = 2.0
SERIOUS_DEPTH_SHARE = 0.25
SAME_PLACE_KM = 0.05
_WORDS = (
    "customer",
    "kind",
    "winter",
    "exposure",
    "waterfall",
    "heated",
    "hours_on_site",
    "plumbing_exposure",
)


@dataclass(frozen=True)
class Change:
    """One change of the sheet, in words; `serious` ones must be confirmed."""

    site_id: str
    row: int  # 0 where the site is gone
    text: str
    serious: bool

    def notice(self, sheet: str = "sites") -> Notice:
        """The change as a notice of an output."""
        where = f"{sheet} row {self.row}" if self.row else sheet
        return Notice(where, f"{self.site_id} {self.text}")


def sheet_snapshot(sites: Iterable[Site]) -> dict[str, dict[str, Any]]:
    """What is remembered of a sheet."""
    return {
        site.site_id: {
            "latitude": site.latitude,
            "longitude": site.longitude,
            "mean_depth_m": None if site.mean_depth_m is None else round(site.mean_depth_m, 6),
            "minimum_offset_c": round(site.minimum_offset_c, 6),
            **{name: getattr(site, name) for name in _WORDS},
        }
        for site in sites
    }


def sheet_entry(sites: Sequence[Site], day: date) -> Entry:
    """The entry that remembers a sheet as confirmed on `day`."""
    return Entry("sheet", day, {"sites": len(sites)}, document=pack(sheet_snapshot(sites)))


def sheet_changes(before: Snapshot | None, sites: Sequence[Site], *, units: str) -> tuple[Change, ...]:
    """What changed since `before`, serious changes first, then in the order of the sheet.

    Args:
        before: The sheet as last confirmed (`SeasonState.sheet`); None: nothing to compare with.
        sites: The sheet now.
        units: "us" or "metric", for the words.
    """
    if before is None:
        return ()
    now = {site.site_id: site for site in sites}
    gone = [site_id for site_id in before if site_id not in now]
    new = [site for site in sites if site.site_id not in before]
    changes = []
    for site_id in gone:
        renamed = _same_pond(before[site_id], new)
        if renamed is not None:
            new.remove(renamed)
            text = (
                f"seems to be called {renamed.site_id} now: what was recorded for {site_id} no longer counts."
                " Give it its old site_id, or confirm."
            )
            changes.append(Change(site_id, renamed.row, text, serious=True))
        else:
            text = f"({before[site_id].get('customer', '')}) is gone from the sheet."
            changes.append(Change(site_id, 0, text, serious=True))
    changes += [Change(site.site_id, site.row, f"({site.customer}) is new.", serious=False) for site in new]
    for site in sites:
        if site.site_id in before:
            changes += _changes_of(before[site.site_id], site, units)
    return tuple(sorted(changes, key=lambda change: (not change.serious, change.row)))


def _changes_of(before: Mapping[str, Any], site: Site, units: str) -> list[Change]:
    found: list[tuple[str, bool]] = []
    moved_km = float(haversine_km(before["latitude"], before["longitude"], site.latitude, site.longitude))
    if moved_km > MOVED_KM:
        far, unit = (moved_km / KM_PER_MILE, "miles") if units == "us" else (moved_km, "km")
        found.append((f"moved {far:,.1f} {unit}.", moved_km > SERIOUS_KM))
    depth, now = before.get("mean_depth_m"), site.mean_depth_m
    if (depth is None) != (now is None):
        found.append((f"mean depth changed from {_depth(depth, units)} to {_depth(now, units)}.", True))
    elif depth is not None and now is not None and abs(now - depth) > 0.001:
        serious = abs(now - depth) > SERIOUS_DEPTH_SHARE * depth
        found.append((f"mean depth changed from {_depth(depth, units)} to {_depth(now, units)}.", serious))
    offset_c = before.get("minimum_offset_c", 0.0)
    if abs(site.minimum_offset_c - offset_c) > 0.01:
        step: Callable[[float], float] = c_step_to_f if units == "us" else float
        degrees = "°F" if units == "us" else "°C"
        words = f"{shown(round(step(offset_c), 1))} to {shown(round(step(site.minimum_offset_c), 1))}"
        found.append((f"minimum offset changed from {words} {degrees}.", False))
    for name in _WORDS:
        was, is_now = before.get(name), getattr(site, name)
        if was != is_now:
            words = f"{name} changed from {_word(was)} to {_word(is_now)}."
            found.append((words, name in ("kind", "heated")))
    return [Change(site.site_id, site.row, text, serious) for text, serious in found]


def _same_pond(before: Mapping[str, Any], new: Sequence[Site]) -> Site | None:
    """The new site that is the one before under another id: same customer and place."""
    for site in new:
        apart_km = float(haversine_km(before["latitude"], before["longitude"], site.latitude, site.longitude))
        if apart_km <= SAME_PLACE_KM and site.customer == before.get("customer"):
            return site
    return None


def _depth(depth_m: float | None, units: str) -> str:
    if depth_m is None:
        return "none"
    unit = LENGTH_UNITS[0 if units == "us" else 1]
    return f"{shown(round(unit.from_internal(depth_m), 1))} {unit.words}"


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f'"{value}"' if isinstance(value, str) else str(value)
