"""What every report shows, in which group and order: chosen once, so that table, page and sheet agree.

Reads a finished forecast; no number is computed here that the forecast does not hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from forecaster.forecast import CrewDay, RouteForecast, SiteForecast

NEAR_CHANCE = 0.2
"""Chance of a hard freeze within 14 days from which waiting for the plan's day is a matter of now."""
ACT_NOW_CHANCE = 0.5
"""A hard freeze before the visit is "act now" when it is at least this likely; ours, no source."""


@dataclass(frozen=True)
class Group:
    """Sites shown together, in order of rank. `risk_meaning` says which chance of a hard freeze is shown."""

    key: str  # ready | waiting | no_forecast
    title: str
    meaning: str
    sorted_by: str
    risk_meaning: str
    sites: tuple[SiteForecast, ...]


def groups(forecast: RouteForecast) -> tuple[Group, ...]:
    """The open sites: ready first, then waiting, then those without a water forecast; empty ones left out."""
    shown = (
        (
            "ready",
            "Ready",
            "the water has probably settled, so only the frost counts now",
            "Sorted by the chance of a hard freeze within 14 days.",
            "within 14 days",
        ),
        (
            "waiting",
            "Waiting",
            "the water has probably not settled yet",
            "Sorted by the chance that a hard freeze comes before the water has settled.",
            "before the water has settled",
        ),
        (
            "no_forecast",
            "No water forecast",
            "heated ponds, falls without a pond and fountains: only the frost counts",
            "Sorted by rank. Hard freeze: the chance within 14 days.",
            "within 14 days",
        ),
    )
    made = (Group(*texts, sites=tuple(s for s in forecast.sites if s.state == texts[0])) for texts in shown)
    return tuple(group for group in made if group.sites)


def risk(site: SiteForecast) -> float | None:
    """The chance by which the site's group is sorted (0-1)."""
    return site.p_hard_freeze_first if site.state == "waiting" else site.p_hard_freeze_14d


def act_now(site: SiteForecast) -> str:
    """Why this site cannot wait for its turn, in a few words; "" when it can."""
    before, soon = site.p_hard_freeze_before_planned, site.p_hard_freeze_14d
    near = soon is not None and soon >= NEAR_CHANCE
    if near and site.planned_date is not None and before is not None and before >= ACT_NOW_CHANCE:
        return "hard freeze likely before the planned day"
    if site.planned_date is None and site.state != "waiting" and soon is not None and soon >= ACT_NOW_CHANCE:
        return "not placed, hard freeze likely within 14 days"
    return ""


def next_working_days(forecast: RouteForecast, *, days: int = 5) -> tuple[CrewDay, ...]:
    """The crew-days of the first `days` working days from the as-of date on, by date and crew."""
    coming = sorted(
        (crew_day for crew_day in forecast.crew_days if crew_day.day >= forecast.as_of),
        key=lambda crew_day: (crew_day.day, crew_day.crew),
    )
    chosen = set(sorted({crew_day.day for crew_day in coming})[:days])
    return tuple(crew_day for crew_day in coming if crew_day.day in chosen)


def later_working_days(forecast: RouteForecast, *, after: tuple[CrewDay, ...]) -> tuple[date, ...]:
    """The working days that follow those in `after`."""
    last = max((crew_day.day for crew_day in after), default=forecast.as_of)
    return tuple(sorted({crew_day.day for crew_day in forecast.crew_days if crew_day.day > last}))
