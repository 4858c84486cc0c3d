"""What can hurt a crew in a step, the caution that stands beside it, and a search that finds it by words.

Common practice, no source. Every text defers: local codes, the makers' sheets and licensed trades go before
it. No clause of a code and no distance is given as a fact.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

Hazard = Literal["electricity", "ice", "cold water", "lifting", "blower", "chemicals"]
HAZARDS: tuple[Hazard, ...] = get_args(Hazard)


@dataclass(frozen=True)
class Caution:
    """`short` stands at every step with the hazard; the first one of a sheet carries `more` too."""

    name: str
    short: str
    more: str


CAUTIONS: dict[Hazard, Caution] = {
    "electricity": Caution(
        "Electricity",
        "Off at the breaker or plug, and tested, before hands or tools go in.",
        "Plug into a GFCI-protected outlet. Wiring is for a licensed electrician; local codes go first.",
    ),
    "ice": Caution(
        "Ice",
        "Stay off ice, however thick it looks; never smash it.",
        "The forecast's ice is modelled, not measured.",
    ),
    "cold water": Caution(
        "Cold water",
        "Firm footing, never alone.",
        "Cold water takes strength within minutes: gloves, and nobody reaches beyond their balance.",
    ),
    "lifting": Caution(
        "Lifting",
        "Drain first; two lift what is heavy or awkward.",
        "Water weighs 8.3 lb a gallon (1 kg a litre).",
    ),
    "blower": Caution(
        "Air",
        "Eye and ear protection; no more pressure than the pipe's maker allows.",
        "Open the far end first; nobody stands before it.",
    ),
    "chemicals": Caution(
        "Chemicals",
        "By the label only, and only what it allows where fish live; gloves.",
        "No antifreeze in a line that leads to a pond. House plumbing is for a licensed plumber; local rules "
        "say what may be used.",
    ),
}

_SIGNS: dict[Hazard, str] = {
    "electricity": (
        r"power|electric|breaker|plug|outlet|circuit|gfci|watt|\bw\b|volt|cord|cable|switch(ed|es)? o[nf]|"
        r"pumps?|aerator|air pump|de-icer|heater|ultraviolet|\buv\b|lamp|dosing unit|transformer"
    ),
    "ice": r"\bice\b|\bicy\b|frozen over|ice-",
    "cold water": (
        r"in(to)? the (pond|water)|from the (pond|water)|pond's edge|shelf|ledge|leaves out|wad(e|ing)|"
        r"off the bottom|surface|reach|net back"
    ),
    "lifting": r"\blift|heavy|\bcarry\b|haul|weigh|\blbs?\b|\bkg\b|pump out|take .* pump|stones?\b",
    "blower": r"\bblow|compress|air pressure|\bblower",
    "chemicals": r"chemical|dosing|dose|treatment|bacteria|antifreeze|algaecide|salt\b|chlorin|cleaner|acid",
}
_SEARCH = {hazard: re.compile(signs, re.IGNORECASE) for hazard, signs in _SIGNS.items()}


def hazards_in(text: str) -> frozenset[Hazard]:
    """The hazards that the words of a text speak of, tagged or not.

    >>> sorted(hazards_in("Lift the pump out of the water"))
    ['electricity', 'lifting']
    """
    return frozenset(hazard for hazard, search in _SEARCH.items() if search.search(text))
