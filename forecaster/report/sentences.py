"""What is said of a site and of the plan, one sentence a fact: for the screen, the page and the sheet.

Plain words of the trade; the terms are those of `glossary.py`. Names of the user pass `words.clean`.
"""

from __future__ import annotations

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report import view
from forecaster.report.words import (
    chance,
    clean,
    count,
    crossing,
    day_month,
    dollars,
    listed,
    weather_age,
    weekday_date,
    window,
)

LITTLE_DOLLARS = 1.0
"""A saving below this is not worth a second look [$]."""


def heading(forecast: RouteForecast) -> str:
    """Season, fall and as-of date."""
    day = weekday_date(forecast.as_of, year=True)
    return f"{clean(forecast.season_name)}, fall of {forecast.fall}, as of the morning of {day}"


def sources(forecast: RouteForecast) -> str:
    """How old the weather is, which outlook, how many possible falls, which seed."""
    weather = weather_age((station.last_day for station in forecast.stations), forecast.as_of)
    falls = f"{count(forecast.members, 'possible fall')}, seed {forecast.seed}"
    return f"{weather[0].upper()}{weather[1:]}; {clean(forecast.outlook_text)}. {falls}."


def stations(forecast: RouteForecast) -> str:
    """The stations used and the days filled in, "" without a station."""
    if not forecast.stations:
        return ""
    names = listed((f"{clean(s.name)} ({clean(s.station_id)})" for s in forecast.stations), at_most=4)
    filled = sum(station.filled_days for station in forecast.stations)
    return f"Stations: {names}; {count(filled, 'day')} filled in from neighbours."


def sites(forecast: RouteForecast) -> str:
    """How many sites are in which state."""
    text = "No site is left to close."
    if forecast.sites:
        words = {"no_forecast": "without a water forecast"}
        parts = [f"{len(group.sites):,} {words.get(group.key, group.key)}" for group in view.groups(forecast)]
        text = f"{count(len(forecast.sites), 'site')} to close: {', '.join(parts)}."
    rest = [
        f"{len(others):,} {word}"
        for others, word in ((forecast.closed, "closed"), (forecast.runs_all_winter, "running all winter"))
        if others
    ]
    return f"{text} {', '.join(rest).capitalize()}." if rest else text


def caught(forecast: RouteForecast) -> str:
    """How many ponds are still open at their first hard freeze if the plan is kept."""
    plan = forecast.plan
    if plan.caught_p90 is None:
        return "Ponds still open at their first hard freeze: not known."
    half = f"; half the falls, at most {plan.caught_p50}" if plan.caught_p50 is not None else ""
    return f"Ponds still open at their first hard freeze: 9 falls in 10, at most {plan.caught_p90}{half}."


def loss(forecast: RouteForecast) -> str:
    """What the plan is expected to cost, and how far that may be from the best plan."""
    text = f"Expected loss with driving and moved dates: {dollars(forecast.plan.expected_loss)}."
    gap = forecast.plan.gap
    if gap is None:
        return f"{text} How far that is from the best plan is not known."
    if gap < 0.0005:
        return f"{text} No plan with these crews costs less."
    return f"{text} The best plan with these crews costs at most {gap * 100:.1f} % less."


def not_placed(forecast: RouteForecast) -> str:
    """The sites for which no crew-day is left, "" where all are placed."""
    names = [clean(name) for name in forecast.plan.not_placed]
    if not names:
        return ""
    more = "Add a crew-day, or ease their dates, weekdays or crews."
    return f"No crew-day left for {count(len(names), 'site')}: {listed(names)}. {more}"


def name_of(site: SiteForecast) -> str:
    """Site and customer on one line, safe to print."""
    return f"{clean(site.site.site_id)}  {clean(site.site.customer)}".rstrip()


def planned(site: SiteForecast) -> str:
    """The planned day and crew."""
    if site.planned_date is None:
        return "not placed in the plan"
    crew = f" with {clean(site.planned_crew)}" if site.planned_crew else ""
    return f"planned {weekday_date(site.planned_date)}{crew}"


def closing(site: SiteForecast, *, dash: str = "-") -> str:
    """Window, best day and planned day."""
    if site.recommended_date is None:
        return f"No best day; {planned(site)}."
    days = window(site.window_start, site.window_end, dash=dash)
    return f"Closes {days}, best {weekday_date(site.recommended_date)}; {planned(site)}."


def promised(site: SiteForecast) -> str:
    """The dates told to and agreed with the customer, "" for none."""
    told, booked = site.site.told_date, site.site.booked_date
    parts = [
        f"{word} {weekday_date(day)}" for word, day in (("told", told), ("booked", booked)) if day is not None
    ]
    return f"Customer: {', '.join(parts)}." if parts else ""


def settling(site: SiteForecast, fall: int) -> str:
    """When the water settles, and that it may warm up again."""
    if site.state == "no_forecast":
        return "No water forecast for this site."
    days = crossing(
        site.sustained_p10,
        site.sustained_p50,
        site.sustained_p90,
        fall=fall,
        p_not_reached=site.p_not_reached,
    )
    return f"Water settles {days}. Warms up again after that: {chance(site.p_rebound)}."


def freezing(site: SiteForecast) -> str:
    """The chances of a hard freeze."""
    soon = f"ithin 14 days: {chance(site.p_hard_freeze_14d)}"
    if site.state == "no_forecast":
        return f"Hard freeze w{soon}."
    return f"Hard freeze first: {chance(site.p_hard_freeze_first)}; w{soon}."


def frost_so_far(site: SiteForecast) -> str:
    """What has frozen already, "" for nothing."""
    nights = f"Nights of frost so far: {site.frost_nights}."
    if site.first_hard_freeze_seen is not None:
        return f"First hard freeze was on {day_month(site.first_hard_freeze_seen)}. {nights}"
    return nights if site.frost_nights else ""


def could_wait(site: SiteForecast) -> str:
    """Whether today's date may be left open until tomorrow, where today is the best day; else ""."""
    saves = site.looking_again_saves
    if saves is None:
        return ""
    if saves < LITTLE_DOLLARS:
        return "Where a crew is free any day: nothing is gained by waiting for tomorrow's forecast."
    return (
        f"Where a crew is free any day: leave it open and look again tomorrow, which is worth about "
        f"{dollars(saves)} on average. With few crew-days, keep to the plan."
    )


def site_facts(site: SiteForecast, fall: int) -> list[str]:
    """All that is said of one site, most wanted first; its reason last."""
    urgent = view.act_now(site)
    facts = [
        f"Act now: {urgent}." if urgent else "",
        closing(site),
        promised(site),
        settling(site, fall),
        freezing(site),
        frost_so_far(site),
        could_wait(site),
        clean(site.reason),
    ]
    return [fact for fact in facts if fact]
