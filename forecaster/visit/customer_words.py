"""What a customer has to be told of the closing: day, window, why, what changed. Facts; the words are above.

Chances of frost stay out: a customer gets a day, its window and one honest sentence. The day is the plan's;
where the customer was told or agreed to another one, that is a change and has its reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Literal

from forecaster.falls import fall_day
from forecaster.forecast import CrewDay, RouteForecast, SiteForecast
from forecaster.season.sites import Site
from forecaster.visit.kit import Kit

About = Literal["closing", "change", "done"]
Reason = Literal["cooled", "will cool", "before frost", "heated", "no pond"]
ChangeReason = Literal["frost earlier", "water still warm", "round"]

WORTH_NAMING = 0.5
"""From this difference of the expected loss on [$] a change is said to be for frost or for warm water."""


@dataclass(frozen=True)
class CustomerFacts:
    """One site's message: `about` what, the `day` of the visit (of the closing, where it is done).

    `arrive` is the plan's local time, None where the day is not the plan's. `old_day` is the day the customer
    knows, where it changed. `window_*`: days that would do as well, None where there are none.
    """

    site: Site
    kit: Kit
    about: About
    day: date
    arrive: time | None
    window_start: date | None
    window_end: date | None
    reason: Reason | None
    old_day: date | None = None
    change_reason: ChangeReason | None = None


@dataclass(frozen=True)
class NotWritten:
    """A site without a message, and why."""

    site: Site
    why: str


def customer_facts(
    forecast: RouteForecast,
    kits: Mapping[str, Kit],
    closed: Mapping[str, date],
    crew_days: Sequence[CrewDay] | None = None,
) -> tuple[tuple[CustomerFacts, ...], tuple[NotWritten, ...]]:
    """What to tell each customer, by day and site, and the sites that get no message.

    Args:
        forecast: The finished forecast with its plan.
        kits: By site.
        closed: Days of the closings that were done.
        crew_days: Those of the plan in force, where it stands; by default those of the forecast.
    """
    visits = {
        stop.site_id: (crew_day.day, stop.arrive)
        for crew_day in (forecast.crew_days if crew_days is None else crew_days)
        for stop in crew_day.stops
        if crew_day.day >= forecast.as_of
    }
    found: list[CustomerFacts] = []
    without: list[NotWritten] = []
    for site in forecast.sites:
        visit = visits.get(site.site.site_id)
        if visit is None:
            known_day = site.site.booked_date or site.site.told_date
            why = "a date is named, but the plan has no day" if known_day else "no planned day yet"
            without.append(NotWritten(site.site, why))
            continue
        found.append(_coming(site, kits[site.site.site_id], *visit, forecast))
    for one in forecast.closed:
        when = closed.get(one.site_id)
        if when is None:
            without.append(NotWritten(one, "closed, but the day is not known"))
            continue
        found.append(CustomerFacts(one, kits[one.site_id], "done", when, None, None, None, None))
    without += [NotWritten(one, "runs all winter") for one in forecast.runs_all_winter]
    return tuple(sorted(found, key=lambda f: (f.day, f.site.site_id))), tuple(without)


def _coming(site: SiteForecast, kit: Kit, day: date, arrive: time, forecast: RouteForecast) -> CustomerFacts:
    known_day = site.site.booked_date or site.site.told_date
    moved = known_day is not None and known_day != day
    old = known_day if moved else None
    change = change_reason(site, old, day, forecast) if old is not None else None
    inside = site.window_start is not None and site.window_end is not None
    inside = inside and site.window_start <= day <= site.window_end  # type: ignore[operator]
    return CustomerFacts(
        site=site.site,
        kit=kit,
        about="closing" if old is None else "change",
        day=day,
        arrive=arrive,
        window_start=site.window_start if inside else None,
        window_end=site.window_end if inside else None,
        reason=reason_of(site, day),
        old_day=old,
        change_reason=change,
    )


def reason_of(site: SiteForecast, day: date) -> Reason:
    """Why this day, as far as a customer is told."""
    if not site.site.has_pond:
        return "no pond"
    if site.site.heated:
        return "heated"
    if site.state == "ready":
        return "cooled"
    if site.start_p50 is not None and day >= site.start_p50:
        return "will cool"
    return "before frost"


def change_reason(site: SiteForecast, old: date, new: date, forecast: RouteForecast) -> ChangeReason:
    """Why the day moved: by the parts of the expected loss on the two days, else for the crews' round."""
    parts = site.loss_parts_by_day
    if parts is None or old < forecast.as_of:
        return "round"
    days = [fall_day(day, forecast.fall) for day in (old, new)]
    if not all(0 <= day < parts.shape[1] for day in days):
        return "round"
    warm = float(parts[0, days[0]] - parts[0, days[1]])
    cold = float(parts[1:, days[0]].sum() - parts[1:, days[1]].sum())
    if new < old and cold >= WORTH_NAMING:
        return "frost earlier"
    if new > old and warm >= WORTH_NAMING and warm > -cold:
        return "water still warm"
    return "round"
