"""Why this date, in one sentence that a customer could be told."""

from __future__ import annotations

import numpy as np

from forecaster.events import SiteEvents
from forecaster.falls import date_of
from forecaster.season.sites import Site


def reason_for(
    site: Site, events: SiteEvents, best: int | None, *, fall: int, as_of_day: int, units: str
) -> str:
    """One sentence; `best` is the recommended day of the fall or None where no working day is left."""
    if best is None:
        return "No crew can come: no working day is left that this site's limits allow."
    day = date_of(float(best), fall)
    when = "today" if best == as_of_day else f"{day:%a} {day.day} {day:%b}" if day else ""
    frost = _frost(events, best)
    if not site.has_pond:
        return f"There is no pond here to cool, so we close before the first hard freeze: {when}{frost}."
    if events.start is None:
        return f"The pond is heated, so we go by the air alone: {when}{frost}."
    start = "50 °F" if units == "us" else "10 °C"
    reached = float((events.start <= best).mean())
    settled = (
        f"the water is below {start} by then in {_in_ten(reached)} falls like this one"
        if reached < 0.95
        else f"the water has surely cooled below {start} by then"
    )
    return f"{when[0].upper()}{when[1:]} is the best balance: {settled}{frost}."


def _frost(events: SiteEvents, best: int) -> str:
    if events.hard_freeze is None:
        return ""
    chance = float((events.hard_freeze <= best).mean())
    if chance < 0.01:
        return ", and a hard freeze before is very unlikely"
    return f", and a hard freeze has come by then in {_in_ten(chance)}"


def _in_ten(chance: float) -> str:
    if chance < 0.05:
        return "fewer than 1 in 20"
    if chance > 0.95:
        return "more than 19 in 20"
    return f"about {int(np.clip(round(chance * 10), 1, 9))} in 10"
