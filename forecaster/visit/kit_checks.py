"""What should be looked at or asked about a site's kit before its visit, in plain findings. Pure.

Common practice, no source: two independent devices for gas exchange where fish winter, on separate circuits;
a diffuser 10 to 16 inches below the surface and off the bottom; about 300 W in still water rather than a
large heater; a frost-free store. An unknown thing is asked, never assumed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from forecaster.season.sites import Site
from forecaster.units import M_PER_INCH
from forecaster.visit.hazards import Hazard
from forecaster.visit.kit import Kit
from forecaster.visit.measured import depth_words, weight_words
from forecaster.visit.pipes import EDGE_LIMIT_KG
from forecaster.visit.steps import DIFFUSER_FROM_M, DIFFUSER_GOOD_M, DIFFUSER_TO_M

LARGE_HEATER_W, ENOUGH_W = 1000.0, 300.0
"""A de-icer from the first on is asked about; the second suffices in still water (README) [W]."""

BOTTOM_M = 3 * M_PER_INCH
"""A diffuser this near the greatest depth counts as on the bottom [m]."""

ROUNDING_M = 0.001


@dataclass(frozen=True)
class Finding:
    """One finding: `look` is something to change or to see to, `ask` something that is not known.

    `columns` of the sheet are those that it rests on.
    """

    site_id: str
    level: Literal["look", "ask"]
    text: str
    columns: tuple[str, ...]
    hazards: frozenset[Hazard] = frozenset()


def kit_findings(site: Site, kit: Kit, *, units: str = "us") -> tuple[Finding, ...]:
    """All findings of one site, those to look at first."""
    found = [
        *_gas_exchange(site, kit),
        *_circuits(site, kit),
        *_diffuser(site, kit, units),
        *_deicer(site, kit),
        *_outlet(kit),
        *_line(site, kit),
        *_store(site, kit),
        *_weight(kit, units),
        *_not_known(site, kit),
    ]
    return tuple(sorted(found, key=lambda finding: finding.level == "ask"))


def route_findings(
    sites: Iterable[Site], kits: Mapping[str, Kit], *, units: str = "us"
) -> tuple[Finding, ...]:
    """The findings of all sites, site by site."""
    return tuple(f for site in sites for f in kit_findings(site, kits[site.site_id], units=units))


def gas_exchange_count(site: Site, kit: Kit) -> tuple[int, int]:
    """How many ways there are for gas to get out in winter, and how many more there may be (not known)."""
    kept = kit.kept_running or frozenset()
    running = bool({"pump", "fall"} & kept) or (site.winter == "runs" and not kept)
    there = sum(device.there is True for device in kit.gas_exchange) + running
    return there, sum(device.there is None for device in kit.gas_exchange)


def _fish_winter(site: Site) -> bool:
    return site.has_pond and site.fish


def _gas_exchange(site: Site, kit: Kit) -> list[Finding]:
    if not _fish_winter(site):
        return []
    there, unknown = gas_exchange_count(site, kit)
    columns = ("aerator_watts", "deicer_watts")
    if there >= 2:
        return []
    if there + unknown >= 2:
        known = "one way" if there else "no way"
        text = f"fish winter here and {known} for gas to get out is known: ask for aerator and de-icer."
        return [Finding(site.site_id, "ask", text, columns, frozenset({"electricity"}))]
    if there == 1:
        text = "fish winter here with only one device for gas exchange. Offer a second, on its own circuit."
    else:
        text = "fish winter here with no device for gas exchange. Offer an aerator and a de-icer."
    return [Finding(site.site_id, "look", text, columns, frozenset({"electricity"}))]


def _circuits(site: Site, kit: Kit) -> list[Finding]:
    if not all(device.there for device in kit.gas_exchange):
        return []
    if kit.circuits == 1:
        text = (
            "aerator and de-icer hang on one circuit: one fault stops both. Ask the customer to have a "
            "licensed electrician part them."
        )
        return [Finding(site.site_id, "look", text, ("circuits",), frozenset({"electricity"}))]
    return []


def _diffuser(site: Site, kit: Kit, units: str) -> list[Finding]:
    depth, deepest = kit.diffuser_depth_m, site.max_depth_m or site.mean_depth_m
    if depth is None or not site.has_pond or kit.aerator.there is False:
        return []
    low, good, high = (depth_words(m, units) for m in (DIFFUSER_FROM_M, DIFFUSER_GOOD_M, DIFFUSER_TO_M))
    now, column = depth_words(depth, units), ("diffuser_depth_in",)
    tags: frozenset[Hazard] = frozenset({"electricity", "cold water"})
    rule = f"in winter {low.split()[0]} to {high} on the shallow shelf, {good} is good"
    if depth > DIFFUSER_TO_M + ROUNDING_M:
        text = (
            f"the diffuser hangs at {now}: {rule}; deeper, it mixes up the warm water in which fish winter."
        )
        return [Finding(site.site_id, "look", text, column, tags)]
    if depth < DIFFUSER_FROM_M - ROUNDING_M:
        text = f"the diffuser is only {now} deep: {rule}."
        return [Finding(site.site_id, "look", text, column, tags)]
    if deepest is not None and depth > deepest - BOTTOM_M + ROUNDING_M:
        bottom = depth_words(deepest, units)
        text = f"the diffuser at {now} lies on or near the bottom ({bottom}): keep it off it."
        return [Finding(site.site_id, "look", text, (*column, "max_depth_in"), tags)]
    return []


def _deicer(site: Site, kit: Kit) -> list[Finding]:
    found = []
    tags: frozenset[Hazard] = frozenset({"electricity"})
    if (kit.deicer.watts or 0.0) >= LARGE_HEATER_W:
        text = (
            f"the de-icer has {kit.deicer.watts:,.0f} W: about {ENOUGH_W:.0f} W in still water keeps a hole "
            "open for far less power. Offer a smaller one."
        )
        found.append(Finding(site.site_id, "look", text, ("deicer_watts",), tags))
    if kit.deicer_near_bubbles:
        text = "the de-icer floats near the bubbles, which take its warmth: tether it in still water."
        both: frozenset[Hazard] = tags | {"cold water"}
        found.append(Finding(site.site_id, "look", text, ("deicer_near_bubbles",), both))
    return found


def _outlet(kit: Kit) -> list[Finding]:
    if kit.gfci is not False:
        return []
    text = "its outlet is not GFCI-protected: ask the customer to have a licensed electrician look at it."
    return [Finding(kit.site_id, "look", text, ("gfci",), frozenset({"electricity"}))]


def _line(site: Site, kit: Kit) -> list[Finding]:
    if kit.line_drains is not False or site.winter == "runs":
        return []
    text = "its line does not drain by itself: bring a drain pump and a low-pressure blower."
    return [Finding(site.site_id, "look", text, ("line_drains",), frozenset({"blower", "electricity"}))]


def _store(site: Site, kit: Kit) -> list[Finding]:
    if kit.frost_free is not False or site.winter == "runs":
        return []
    where = f" ({kit.store})" if kit.store else ""
    text = f"its store{where} is not frost-free: what holds water needs another place."
    return [Finding(site.site_id, "look", text, ("frost_free",))]


def _weight(kit: Kit, units: str) -> list[Finding]:
    weight = kit.pump_weight_kg
    if weight is None or weight <= EDGE_LIMIT_KG:
        return []
    text = f"its pump weighs {weight_words(weight, units)}: two lift it, or a hoist does."
    return [Finding(kit.site_id, "look", text, ("pump_weight_lb",), frozenset({"lifting", "electricity"}))]


def _not_known(site: Site, kit: Kit) -> list[Finding]:
    """One finding for all that the sheet does not say and the crew will need."""
    closes, fish = site.winter != "runs", _fish_winter(site)
    both = all(device.there for device in kit.gas_exchange)
    asked = (
        ("breaker", "where to switch off", not kit.breaker),
        ("pump_watts", "a pump or none", kit.pump.there is None),
        ("kept_running", "what stays on", site.winter == "partly" and kit.kept_running is None),
        ("circuits", "how many circuits", both and kit.circuits is None),
        ("gfci", "a GFCI-protected outlet or not", kit.gfci is None),
        (
            "diffuser_depth_in",
            "depth of the diffuser",
            bool(kit.aerator.there and kit.diffuser_depth_m is None),
        ),
        (
            "deicer_near_bubbles",
            "de-icer apart from the bubbles or not",
            both and kit.deicer_near_bubbles is None,
        ),
        ("line_length_ft", "length of the line", closes and kit.line_length_m is None),
        ("line_diameter_in", "size of the line", closes and kit.line_diameter_m is None),
        ("line_drains", "whether the line drains", closes and kit.line_drains is None),
        ("store", "the store", closes and not kit.store),
        ("frost_free", "frost-free store or not", closes and kit.frost_free is None),
        ("winter_access", "the way in when snow lies", fish and not kit.winter_access),
    )
    open_points = [(column, words) for column, words, is_open in asked if is_open]
    if not open_points:
        return []
    text = f"not noted: {', '.join(words for _, words in open_points)}."
    tags: frozenset[Hazard] = frozenset({"electricity"})
    return [Finding(site.site_id, "ask", text, tuple(column for column, _ in open_points), tags)]
