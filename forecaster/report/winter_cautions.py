"""Cautions of the winter, written once, to stand beside what needs them. Common practice, no source."""

from __future__ import annotations

ELECTRICITY = (
    "Electricity near water: switch off at the breaker or plug before hands go in, and plug into a "
    "GFCI-protected outlet. Wiring is for licensed electricians; local codes go first."
)
ICE = (
    "Ice: modelled, not measured. Do not walk on it, whatever it looks like, and do not break it by blows "
    "over fish. Work at cold water from firm ground, never alone."
)
BACTERIA = (
    "Products for the water: dose by their label, and only what it allows where fish live. Gloves on. No "
    "antifreeze in a pond or in a line that leads to one."
)
FEEDING = "Fish: your fish-care practice goes before any threshold here; sick or young fish need their own."
LIFTING = "Lifting: pumps full of water are heavy; drain them first and carry with two."
"""Shown wherever gear is carried."""
