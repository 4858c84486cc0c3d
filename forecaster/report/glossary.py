"""The words of the pages and the usual cautions of the work, each written once."""

from __future__ import annotations

from forecaster.report.words import limit
from forecaster.units import f_step_to_c, f_to_c

TAKE_CARE = {
    "Ice and cold water": (
        "Ice thickness here is modelled, not measured: do not walk on it. Cold water takes strength within "
        "minutes: do not work at the edge alone."
    ),
    "Electricity": (
        "Before hands or tools go into the water, switch the circuit off at the panel, lock it and test it. "
        "Wiring is for licensed electricians."
    ),
    "Lifting, air, chemicals": (
        "Lift pumps and stones with two. Blow lines out with eye protection and no more pressure than the "
        "pipe allows. Use only what the label allows where fish live."
    ),
    "Who decides": "Local codes, the makers' sheets and licensed trades go before anything written here.",
}
"""The usual cautions of the work; common practice, no single source."""

ICE_CAUTION = (
    "If there is ice: its thickness is modelled, not measured. Do not walk on it and do not break it by "
    "blows."
)


def glossary(units: str) -> dict[str, str]:
    """Word to meaning, limits in the reader's unit; the limits named are the defaults.

    >>> glossary("metric")["Warms up again"]
    'After settling, the water is 1.0 °C or more above the limit on two days.'
    """
    start, settled = limit(f_to_c(50), units), limit(f_to_c(45), units)
    freezes = ", ".join(limit(f_to_c(f), units) for f in (32, 28, 20))
    rebound = "1.0 °C" if units == "metric" else f"{1 / f_step_to_c(1):.1f} °F"
    return {
        "Chance": "Of the possible falls, the share in which a thing happens: 1 in 8 is one fall of eight.",
        "Possible falls": (
            "Courses that the rest of the season may take: earlier seasons, moved to today's climate, "
            "starting from the outlook and from the water as it is now."
        ),
        "Settled": (
            "The first run of days with daily-mean water at or below the sustained limit has begun: 5 days "
            f"at {settled} unless the settings say otherwise."
        ),
        "Start limit": f"The same for the start of the closing time: {start} unless set otherwise.",
        "Freeze, hard freeze, plumbing freeze": (
            f"A day whose lowest air temperature at the site is at or below {freezes}, in this order, unless "
            "the settings say otherwise."
        ),
        "Hard freeze first": "The first hard freeze from today on comes before the water has settled.",
        "Ready, waiting": "The chance that the water has settled is at least one half, or less.",
        "Warms up again": f"After settling, the water is {rebound} or more above the limit on two days.",
        "Closing window": "The days on which closing costs little more than on the best day.",
        "Best day": "The working day with the least expected loss for this site alone, crews not counted.",
        "Planned": "The day and crew in the plan for the whole route.",
        "Expected loss": (
            "Dollars by the costs in the settings, averaged over the possible falls: warm days lost when too "
            "early; hard freeze, frozen plumbing and ice when too late."
        ),
        "De-icer, aerator": (
            "Devices that let gas out under ice: a floating heater that keeps a hole open; a pump that blows "
            "air through a diffuser."
        ),
        "Diffuser, shelf, ledge": (
            "The stone or disc from which an aerator's bubbles rise; the shallow steps at a pond's side, on "
            "which plants stand and people trip."
        ),
        "Breaker, circuit, GFCI": (
            "The switch in the panel; the wires that hang on it; a device that cuts the current when it "
            "leaks. All of them are a licensed electrician's work."
        ),
        "Check valve": "A part of the line that lets water go one way only; water stays behind it.",
        "Skimmer, filter housing": "Boxes that clean the water: from the surface, or beside the pond.",
        "Ultraviolet lamp, dosing gear": (
            "A lamp in a tube against green water; a device that adds a product to the water."
        ),
        "Spillway, basin": "The lip over which a fall runs; the hollow below a fall without pond.",
        "Tether": "A short line that holds a floating de-icer in its place.",
        "kWh": "Kilowatt-hours, the unit of the power bill: watts times hours, by 1,000.",
        "Thermostat": "The switch of a de-icer: on where the water is near freezing, off where it is warmer.",
        "Cold-water bacteria": "A product for cold water in place of the usual one, which rests in the cold.",
        "Ice that stays": "Modelled ice on still water for some days on end; a few days can harm fish.",
        "Winter watch": "What a closed pond asks for, by when, and when somebody should look at it again.",
        "8 in 10": (
            "A range in brackets holds eight falls in ten: one in ten is earlier or colder, one in ten later "
            "or warmer."
        ),
    }
