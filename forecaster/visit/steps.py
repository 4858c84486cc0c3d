"""What a crew does at one site, in order: steps with the hazards of each, and what is left out, why.

Pure: site and kit in, steps out; how they look on paper is decided elsewhere. What is common practice, with
no source, says so in the constants. Limit: the order suits most sites; the notes of a site go before it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from forecaster.season.sites import Site
from forecaster.units import M_PER_INCH
from forecaster.visit.hazards import HAZARDS, Hazard
from forecaster.visit.kit import Kit
from forecaster.visit.measured import (
    depth_words,
    length_words,
    size_words,
    volume_words,
    weight_words,
)
from forecaster.visit.pipes import EDGE_LIMIT_KG, line_volume

DIFFUSER_FROM_M, DIFFUSER_GOOD_M, DIFFUSER_TO_M = (depth * M_PER_INCH for depth in (10, 12, 16))
"""Winter depth of an air diffuser below the surface (common practice, no source) [m]."""


@dataclass(frozen=True)
class Step:
    """One step. `key` names it for programs; `write` are blanks that the crew fills in."""

    key: str
    title: str
    text: str
    hazards: frozenset[Hazard] = frozenset()
    write: tuple[str, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """A step that does not apply here, and why."""

    title: str
    reason: str


@dataclass(frozen=True)
class Work:
    """All of one visit."""

    steps: tuple[Step, ...]
    left_out: tuple[LeftOut, ...]
    bring: tuple[str, ...]


def visit_work(site: Site, kit: Kit, *, units: str = "us") -> Work:
    """The work at a site: steps that apply, those that do not, what to bring."""
    making = _Making(site, kit, units)
    made: list[Step | LeftOut] = [
        making.power_off(),
        making.ice(),
        making.leaves(),
        making.reading(),
        making.diffuser(),
        making.deicer(),
        making.pump(),
        making.lamp_and_dosing(),
        making.check_valve(),
        making.housings(),
        making.lines(),
        making.fountain(),
        making.power_on(),
        making.gas_exchange(),
        making.net(),
        making.store(),
        making.photos(),
    ]
    steps = tuple(item for item in made if isinstance(item, Step))
    left_out = tuple(item for item in made if isinstance(item, LeftOut))
    return Work(steps, left_out, making.bring(steps))


def _tags(*hazards: Hazard) -> frozenset[Hazard]:
    assert set(hazards) <= set(HAZARDS)
    return frozenset(hazards)


class _Making:
    """Makes each step of one site."""

    def __init__(self, site: Site, kit: Kit, units: str) -> None:
        self.site, self.kit, self.units = site, kit, units
        self.runs = site.winter == "runs"
        self.unsaid = site.winter == "partly" and kit.kept_running is None
        kept = kit.kept_running or frozenset()
        self.kept = frozenset({"pump", "fall", "uv"}) if self.runs and not kept else kept
        self.fish = site.has_pond and site.fish

    def power_off(self) -> Step:
        where = self.kit.breaker or "not noted: find it first"
        until = "until the step “Power on”" if isinstance(self.power_on(), Step) else "when you leave"
        text = f"See what runs, then all of it off at the breaker or plug ({where}). It stays off {until}."
        return Step("power_off", "Power off", text, _tags("electricity"))

    def ice(self) -> Step | LeftOut:
        if not self.site.has_pond:
            return LeftOut("Ice on the pond", "no pond")
        text = "Stop, take a photo, call the office. Where fish are, a hole is melted, never smashed."
        return Step("ice", "If there is ice", text, _tags("ice", "cold water"))

    def leaves(self) -> Step:
        if not self.site.has_pond:
            text = "Basin, spillway and screens free of leaves."
            return Step("leaves", "Basin cleared", text)
        where = f": {self.kit.ledges}" if self.kit.ledges else " (not noted: sketch them)"
        text = f"First note the shallow ledges{where}. Then leaves out with a long net, from the edge inward."
        return Step("leaves", "Leaves out", text, _tags("cold water", "lifting"))

    def reading(self) -> Step | LeftOut:
        if not self.site.has_pond:
            return LeftOut("Water reading", "no pond")
        unit = "°C" if self.units == "metric" else "°F"
        depth = "cm" if self.units == "metric" else "in"
        text = "Thermometer a minute in the water, away from the inflow."
        return Step("reading", "Water reading", text, _tags("cold water"), (unit, "time", f"depth, {depth}"))

    def diffuser(self) -> Step | LeftOut:
        title = "Diffuser to the shelf"
        if not self.site.has_pond:
            return LeftOut(title, "no pond")
        if self.kit.aerator.there is False:
            return LeftOut(title, "no aerator here")
        if self.kit.aerator.there is None and not self.fish:
            return LeftOut(title, "no aerator noted, no fish")
        low, good, high = (
            depth_words(m, self.units) for m in (DIFFUSER_FROM_M, DIFFUSER_GOOD_M, DIFFUSER_TO_M)
        )
        unsure = "" if self.kit.aerator.there else "If there is an aerator (not noted): "
        now = self.kit.diffuser_depth_m
        was = f" Noted: it hangs at {depth_words(now, self.units)}." if now is not None else ""
        shelf = self.kit.shelf_depth_m
        on = f" The shelf is {depth_words(shelf, self.units)} deep." if shelf is not None else ""
        text = (
            f"{unsure}diffuser on the shallow shelf, {low.split()[0]} to {high} below the surface "
            f"({good} is good), and off the bottom.{was}{on}"
        )
        return Step(
            "diffuser", title, _capital(text), _tags("electricity", "cold water"), (self._depth_blank(),)
        )

    def deicer(self) -> Step | LeftOut:
        title = "De-icer in still water"
        if not self.site.has_pond:
            return LeftOut(title, "no pond")
        if self.kit.deicer.there is False:
            return LeftOut(title, "no de-icer here")
        if self.kit.deicer.there is None and not self.fish:
            return LeftOut(title, "no de-icer noted, no fish")
        unsure = "" if self.kit.deicer.there else "If there is one (not noted): "
        near = " It is near the bubbles now: move it." if self.kit.deicer_near_bubbles else ""
        text = f"{unsure}in still water away from bubbles and inflow, on a short tether, cord dry.{near}"
        return Step("deicer", title, _capital(text), _tags("electricity", "cold water"))

    def pump(self) -> Step | LeftOut:
        title = "Pump out"
        if self.kit.pump.there is False:
            return LeftOut(title, "no pump here")
        if not self.unsaid and {"pump", "fall"} & self.kept:
            return LeftOut(title, "it runs all winter" if self.runs else "it stays on over the winter")
        watts = f" ({self.kit.pump.watts:g} W)" if self.kit.pump.watts else ""
        ask = "What stays on is not noted: ask the office first. If the pump goes: " if self.unsaid else ""
        weight = self.kit.pump_weight_kg
        limit = weight_words(EDGE_LIMIT_KG, self.units)
        if weight is None:
            lift = f"Weight not known: over about {limit}, two lift it."
        elif weight > EDGE_LIMIT_KG:
            lift = f"It weighs {weight_words(weight, self.units)}: two lift it."
        else:
            lift = f"It weighs {weight_words(weight, self.units)} without water."
        keep = {
            "wet": " Its maker wants it stored wet.",
            "dry": " Stored dry.",
            None: " Wet or dry store: as its maker says.",
        }[self.kit.pump_store]
        text = f"{ask}pump{watts} out by its handle or rope, never by the cord. {lift}{keep}"
        return Step("pump", title, _capital(text), _tags("electricity", "cold water", "lifting"))

    def lamp_and_dosing(self) -> Step | LeftOut:
        title = "Ultraviolet lamp, dosing gear out"
        lamp, dosing = self.kit.uv.there, self.kit.dosing
        stays = self.runs or "uv" in self.kept
        if dosing is False and (lamp is False or stays):
            return LeftOut(title, "none here" if lamp is False else "it stays on over the winter")
        parts = []
        if lamp is not False and not stays:
            there = "" if lamp else " (if there is one)"
            parts.append(f"ultraviolet lamp{there} off its line, drained; its glass breaks easily")
        if dosing is not False:
            there = "" if dosing else " (if there is any)"
            parts.append(f"dosing gear{there} out, its product as the label says")
        text = _capital("; ".join(parts) + ".")
        if dosing is False:
            return Step("uv", "Ultraviolet lamp out", text, _tags("electricity"))
        return Step("uv", title, text, _tags("electricity", "chemicals"))

    def check_valve(self) -> Step | LeftOut:
        title = "Check valve out"
        if self.kit.check_valve is False:
            return LeftOut(title, "none here")
        if self._line_in_use():
            return LeftOut(title, "its line stays in use")
        if self.kit.check_valve is None:
            return Step("check_valve", title, "If there is one (not noted): out, drained, tagged.")
        return Step("check_valve", title, "Out, drained and tagged with the site.")

    def housings(self) -> Step | LeftOut:
        title = "Housings drained"
        if self.runs or {"pump", "fall"} & self.kept:
            return LeftOut(title, "the water keeps running")
        names = [
            name
            for name, there in (("skimmer", self.kit.skimmer), ("filter housing", self.kit.filter_housing))
            if there
        ]
        if not names and self.kit.skimmer is False and self.kit.filter_housing is False:
            return LeftOut(title, "no skimmer or filter housing here")
        which = " and ".join(names) if names else "skimmer, filter and other housings, as there are"
        return Step(
            "housings", title, f"Drain {which}; lids loose, drain plugs out and bagged.", _tags("electricity")
        )

    def lines(self) -> Step | LeftOut:
        title = "Lines drained"
        if self._line_in_use():
            return LeftOut(title, "the line stays in use")
        kit, volume = self.kit, line_volume(self.kit)
        if kit.line_diameter_m is not None and kit.line_length_m is not None:
            size = size_words(kit.line_diameter_m, self.units)
            held = f", {volume_words(volume, self.units)} of water" if volume else ""
            what = f"{length_words(kit.line_length_m, self.units)} of {size}{held}."
        else:
            what = "Its size or length is not noted: write them down."
        if kit.line_drains is False:
            how = "It does not drain by itself: pump it out, or blow it out at low pressure."
            tags = _tags("electricity", "blower")
        elif kit.line_drains:
            how = "It drains by itself: open it and wait until nothing comes."
            tags = _tags()
        else:
            how = "Open the low end; if water stays in it, pump it out or blow it out at low pressure."
            tags = _tags("electricity", "blower")
        text = f"{what} {how} Where the water may go, local rules say."
        return Step("lines", title, text, tags, ("gal" if self.units != "metric" else "l",))

    def fountain(self) -> Step | LeftOut:
        title = "Basin and spout"
        if self.site.has_pond:
            return LeftOut(title, "a pond")
        if self.runs:
            return LeftOut(title, "it runs all winter")
        if self.site.kind == "fountain":
            return Step("basin", title, "Basin drained, spout covered so that no water stands in it.")
        return Step(
            "basin",
            title,
            "Basin below the fall drained below the pump; spillway open so that rain runs off.",
            _tags("electricity"),
        )

    def gas_exchange(self) -> Step | LeftOut:
        title = "Two ways for gas to get out"
        if not self.fish:
            return LeftOut(title, "no fish in the winter" if self.site.has_pond else "no pond")
        names = [
            name
            for name, there in (
                ("aerator", self.kit.aerator.there),
                ("de-icer", self.kit.deicer.there),
                ("running water", bool({"pump", "fall"} & self.kept)),
            )
            if there
        ]
        if len(names) >= 2:
            text = f"{_capital(' and '.join(names))}: see that both work, each on a circuit of its own."
        elif names:
            text = f"Only one is noted: {names[0]}. Look for a second; if none, tell customer and office."
        else:
            text = "None is noted: look for aerator and de-icer; if one lacks, tell customer and office."
        if self.kit.circuits == 1 and len(names) >= 2:
            text += " Both are noted on one circuit: tell the customer to have an electrician look."
        return Step("gas_exchange", title, text, _tags("electricity"), ("devices", "circuits"))

    def power_on(self) -> Step | LeftOut:
        on = [
            name
            for name, there in (
                ("aerator", self.fish and self.kit.aerator.there),
                ("de-icer", self.fish and self.kit.deicer.there),
                ("pump", "pump" in self.kept or "fall" in self.kept),
                ("ultraviolet lamp", "uv" in self.kept and self.kit.uv.there),
                ("heater", self.site.heated or "heater" in self.kept),
            )
            if there
        ]
        if not on and not self.fish and not self.unsaid:
            return LeftOut("Power on", "nothing stays on over the winter")
        which = ", ".join(on) if on else "what stays on over the winter"
        text = (
            f"Hands and tools out, then on again: {which}. Everything else stays off, plugs dry and tagged."
        )
        return Step("power_on", "Power on", text, _tags("electricity"))

    def net(self) -> Step | LeftOut:
        title = "Net back on"
        if not self.site.has_pond:
            return LeftOut(title, "no pond")
        if self.kit.net is False:
            return LeftOut(title, "no net here")
        unsure = "" if self.kit.net else "If the customer has one: "
        text = f"{unsure}net back on, taut and weighted, where leaves still hang; else off, dried, tagged."
        return Step("net", title, _capital(text), _tags("cold water", "lifting"))

    def store(self) -> Step | LeftOut:
        title = "Clean, label, store"
        if self.runs:
            return LeftOut(title, "nothing is taken out")
        where = self.kit.store or "place not noted: write it down"
        frost = {
            True: "frost-free",
            False: "not frost-free: what holds water goes elsewhere",
            None: "check that it stays above freezing",
        }[self.kit.frost_free]
        text = f"All gear rinsed, drained, tagged with the site, into the store ({where}; {frost})."
        return Step("store", title, text, _tags("lifting"), ("stored where",))

    def photos(self) -> Step:
        text = "Before; gear that came out; site after; anything broken."
        return Step("photos", "Photos", text)

    def bring(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """Things for the truck, by the steps that apply."""
        keys = {step.key: step for step in steps}
        things = ["gloves", "phone for photos", "tags and marker"]
        for key, thing in (
            ("leaves", "long leaf net" if self.site.has_pond else "brush"),
            ("reading", "thermometer"),
            ("diffuser", "weight and line for the diffuser"),
            ("deicer", "short tether"),
            ("pump", "bucket and rope"),
            ("lines", "pipe tools"),
            ("net", "pegs and weights for the net"),
        ):
            if key in keys:
                things.append(thing)
        if "lines" in keys and "blower" in keys["lines"].hazards:
            things += ["drain pump", "low-pressure blower", "eye and ear protection"]
        return tuple(things)

    def _line_in_use(self) -> bool:
        """The water keeps running through the line: the fall does."""
        return self.runs or "fall" in self.kept

    def _depth_blank(self) -> str:
        return "depth, cm" if self.units == "metric" else "depth, in"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
