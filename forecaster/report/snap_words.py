"""What is said after a cold snap, one sentence a fact: the nights, a site's state, what to check there."""

from __future__ import annotations

from forecaster.report.words import (
    chance,
    clean,
    count,
    day_month,
    degrees,
    dollars,
    hours,
    limit,
    odds,
    weekday_date,
    window,
)
from forecaster.snap.records import (
    GasSite,
    Ice,
    Night,
    SnapReport,
    SnapSite,
    StationNight,
)

CM_PER_INCH = 2.54
LIKELY = 0.2
"""From this chance on a state is worth a line of what to check."""
PART_WORDS = {
    "pipes": "pipes",
    "leak": "a leak found early",
    "fish": "fish under ice",
    "ice": "ice",
    "hard_freeze": "hard frost",
    "warm_day": "warm water lost",
}
KIND_WORDS = {
    "observed": "measured",
    "filled": "from neighbours",
    "expected": "expected",
    "read": "read this morning",
}
WATER_CARE = "Breaker off, locked and tested before hands go in."
ICE_CARE = "Modelled, not measured: do not walk on it. Open it with warm water, not by blows. Never alone."
PROTECT_CARE = (
    "Power off at the breaker, locked and tested. Then pump out or lines drained; where fish are "
    "under ice, open a hole with warm water and set air or a de-icer. Lift nothing heavy alone. "
    "Air only as the pipe's maker allows. Wiring and antifreeze are for licensed trades and local codes."
)


def snap(report: SnapReport) -> str:
    """The snap in one sentence; that there was none where there was none."""
    if report.first_day is None or report.last_day is None:
        if report.sites and all(site.state.p_snap is None for site in report.sites):
            return "Whether a cold snap came is not known: no station near the sites gives daily minima."
        return f"No cold snap since {weekday_date(report.since)}: {definition(report)}."
    days = window(report.first_day, report.last_day)
    hit = sum((site.state.p_snap or 0.0) >= 0.5 for site in report.sites)
    text = f"Cold snap {days}: it came to {hit} of {count(len(report.sites), 'open site')}"
    read = any(n.day == report.as_of and n.kind == "read" for n in report.station_nights)
    last = ""
    if report.last_day == report.as_of:
        known = "as read at a station" if read else "expected, not measured yet"
        last = f" {day_month(report.as_of)} is {known}."
    return f"{text}; {coldest_station(report)}.{last}"


def definition(report: SnapReport) -> str:
    """What counts as one."""
    hard, plumbing = (limit(c, report.units) for c in (report.hard_c, report.plumbing_c))
    return f"a snap is two days in a row at {hard} or less at a site, or one at {plumbing}"


def coldest_station(report: SnapReport) -> str:
    """The lowest measured minimum of the snap, or that there is none yet."""
    seen = [
        n
        for n in report.station_nights
        if n.min_c is not None
        and n.kind in ("observed", "read")
        and report.first_day is not None
        and report.last_day is not None
        and report.first_day <= n.day <= report.last_day
    ]
    if not seen:
        return "no day of it is measured yet"
    low = min(seen, key=lambda n: (n.min_c if n.min_c is not None else 99.0, n.day))
    return (
        f"lowest {degrees(low.min_c or 0.0, report.units)} at {clean(low.station_id)} on {day_month(low.day)}"
    )


def spread(report: SnapReport) -> str:
    """How sure a site's minimum is."""
    place, night = (step_words(sd * 1.2816, report.units) for sd in (report.place_sd_c, report.night_sd_c))
    base = (
        f"measured by leaving out each of the {report.spread_places} stations in turn, and by a valley's four"
        if report.spread_places
        else "with one station it is that of a valley with four"
    )
    return (
        f"A site's night is the blend of its stations, 8 times in 10 within {place} for the place and "
        f"{night} for the night ({base}). All chances here carry that."
    )


def step_words(difference_c: float, units: str) -> str:
    """A difference of temperatures [°C] in the reader's unit."""
    return f"{difference_c:.1f} °C" if units == "metric" else f"{difference_c * 1.8:.0f} °F"


def night_range(night: Night, units: str) -> str:
    """A site's minimum with its range.

    >>> from datetime import date
    >>> night_range(Night(date(2025, 11, 9), -9.0, -7.0, -5.0, 1.0, 0.6, "observed"), "us")
    '19 °F (16 to 23)'
    """
    return degrees_range(night.p10_c, night.p50_c, night.p90_c, units)


def degrees_range(p10_c: float, p50_c: float, p90_c: float, units: str) -> str:
    """A temperature [°C] with the range that holds 8 chances in 10."""
    low, high = (degrees(c, units).split(" ")[0] for c in (p10_c, p90_c))
    return f"{degrees(p50_c, units)} ({low} to {high})"


def station_cell(night: StationNight, units: str) -> str:
    """A station's minimum, marked where nobody measured it."""
    if night.min_c is None:
        return "not known"
    mark = {"observed": "", "filled": " n", "expected": " e", "read": " r"}[night.kind]
    return f"{degrees(night.min_c, units)}{mark}"


def station_hours(night: StationNight) -> str:
    """Hours at or below the two limits, "-" where not known; "about" where estimated."""
    if night.hours_hard is None or night.hours_plumbing is None:
        return "-"
    about = "about " if night.hours_from == "estimated" else ""
    return f"{about}{night.hours_hard:.0f} / {night.hours_plumbing:.0f}"


def hours_note(report: SnapReport) -> str:
    """Where the hours come from."""
    kinds = {n.hours_from for n in report.station_nights if n.hours_from}
    if kinds == {"measured"}:
        return "Hours are measured, many values a day."
    rest = "estimated from the day's lowest and highest, as if it were one even wave: rough"
    if "measured" in kinds:
        return f'Hours without "about" are measured; the others are {rest}.'
    if kinds:
        return f"No values within the day are kept (weather/hourly/STATION.csv), so hours are {rest}."
    return "Hours are not known."


def pipes(site: SnapSite, report: SnapReport) -> str:
    """Chance of frozen plumbing so far and in the coming nights, by exposure and running water."""
    state = site.state
    if state.p_plumbing_so_far is None:
        return "Frost at this site is not known: no station near it gives minima."
    cold = limit(report.plumbing_c, report.units)
    share = report.costs["running_share"] if state.running else 1.0
    if site.protected_on is not None:
        return f"Protected on {day_month(site.protected_on)}: lines are drained."
    at_stake = state.site.plumbing_exposure * share
    water = "water running" if state.running else "water still"
    if_so = "counted as sure" if at_stake > 0.99 else odds(at_stake)
    return (
        f"{cold} so far {chance(state.p_plumbing_so_far)}; in the next {count(report.soon_days, 'night')} "
        f"{chance(state.p_plumbing_next)}. Frozen pipes if so: {if_so} (exposure "
        f"{state.site.plumbing_exposure:g}, {water}); in all {damage(site, report)}."
    )


def damage(site: SnapSite, report: SnapReport) -> str:
    """Chance that pipes are or will be frozen by the last of the soon nights."""
    state = site.state
    share = report.costs["running_share"] if state.running else 1.0
    reached = (state.p_plumbing_so_far or 0.0) + (state.p_plumbing_new or 0.0)
    return chance(min(1.0, reached * share * state.site.plumbing_exposure))


def thickness(cm: float, units: str) -> str:
    """Ice thickness without its unit.

    >>> thickness(2.0, "us"), thickness(2.0, "metric"), thickness(0.3, "us")
    ('0.8', '2', '0.1')
    """
    return f"{cm:.0f}" if units == "metric" else f"{cm / CM_PER_INCH:.1f}"


def ice(ice: Ice | None, units: str) -> str:
    """Modelled ice with its band and upper bound."""
    if ice is None:
        return "not known: no water forecast"
    if ice.p_ice < 0.01:
        return "none expected (less than 1 in 100)"
    unit = "cm" if units == "metric" else "in"
    low, middle, high, bound = (
        thickness(cm, units) for cm in (ice.p10_cm, ice.p50_cm, ice.p90_cm, ice.bound_cm)
    )
    band = f"; about {middle} {unit} ({low} to {high})"
    if ice.p_ice < 0.5:
        band = f"; 9 times in 10 no more than {high} {unit}" if float(high) > 0 else ""
    most = f", by Stefan's law no more than {bound} {unit}" if float(bound) > 0 and band else ""
    return f"some ice {chance(ice.p_ice)}{band}{most}"


def checks(site: SnapSite, report: SnapReport) -> list[str]:
    """What to look at there, a few lines, most pressing first; cautions stand in the line that needs them."""
    state, found = site.state, list[str]()
    icy = state.ice is not None and state.ice.p_ice >= LIKELY
    if site.site.site_id in report.plan.barred:
        found.append("Its access limits forbid today: ring the customer, or send a crew that may come.")
    if site.protected_on is not None:
        found.append(
            f"Protected on {day_month(site.protected_on)}: the closing remains, {hours(site.left_hours)}."
        )
    elif (state.p_plumbing_new or 0.0) >= report.quick_chance:
        found.append(f"Before dark: power off, pump out or lines drained. {WATER_CARE}")
    if (state.p_plumbing_so_far or 0.0) >= LIKELY and site.checked_on is None:
        found.append(
            "Pond level, wet ground, unions, valves, filter and lamp housings: anything cracked? "
            "Pump off first if the level has dropped."
        )
    if state.running:
        stopped = "" if not icy else " Ice dams can send it over the edge."
        found.append(f"Does water still run? If not: {WATER_CARE.lower()}{stopped}")
    if icy:
        found.append(f"Ice to open at the pump. {ICE_CARE}")
    if (
        state.site.fish
        and state.site.has_pond
        and max(state.p_covered or 0.0, state.p_covered_next or 0.0) >= 0.1
    ):
        found.append("Fish: is there a hole in the ice? Set air or a de-icer on a GFCI-protected outlet.")
    if not found:
        found.append("Nothing presses: the closing can keep its day.")
    return found


def said(site: SnapSite) -> str:
    """Who was told what, and what the plan says, in one sentence; a next step where nobody was told."""
    parts = []
    for one in site.said:
        who = f" by {clean(one.by)}" if one.by else ""
        when = f", said {day_month(one.said_on)}{who}" if one.said_on else " (site sheet)"
        parts.append(f"{one.what} {weekday_date(one.day)}{when}")
    if site.planned_date is not None:
        crew = f" with {clean(site.planned_crew)}" if site.planned_crew else ""
        parts.append(f"planned {weekday_date(site.planned_date)}{crew}")
    return f"{'; '.join(parts)}." if parts else "Nobody told the customer a date; none is planned."


def worth(site: SnapSite, action: str) -> str:
    """What a visit saves, part by part, and for each hour."""
    parts = site.quick if action == "quick" else site.close
    named = [f"{PART_WORDS[name]} {dollars(value)}" for name, value in parts.items() if abs(value) >= 0.5]
    total = dollars(site.saves(action))
    return (
        f"{total} for {hours(site.hours(action))}, {dollars(site.per_hour(action))} an hour"
        f"{': ' + ', '.join(named) if named else ''}."
    )


def gas(site: GasSite, report: SnapReport) -> str:
    """A closed site whose gas exchange may have frozen shut."""
    days = count(int(report.costs["ice_cover_days"]), "day")
    devices = f"devices in the sheet: {', '.join(site.devices)}" if site.devices else "no device in the sheet"
    cold = " Air below 15 °F has come: bubblers often fail then." if site.too_cold_for_air else ""
    if report.units == "metric" and cold:
        cold = cold.replace("15 °F", "-9 °C")
    text = (
        f"Ice for {days} or more: {chance(site.p_covered)}, in {count(report.soon_days, 'day')} "
        f"{chance(site.p_covered_next)}; {devices}; snow is not known.{cold}"
    )
    return f"{text} Noted: {'; '.join(clean(line) for line in site.trouble)}." if site.trouble else text
