"""What changed in the weather since the last brief: cold snaps, the outlook, the age of the data. Pure.

As in `changes.py`: the situation and what was last told in, the matters and what has been told now out.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from forecaster.brief.situation import OutlookNights, Situation
from forecaster.matters import Matter
from forecaster.report import sentences
from forecaster.report.words import clean, count, degrees, odds, weekday_date
from forecaster.units import STORED_TENTH_C

Told = dict[str, Any]

OUTLOOK_STEP_C = 2.0
"""Nights that the outlook changes by so much are told [°C]; about its typical error of day 5 (2.5 °C)."""
MORE_SITES = 0.25
"""A snap is told again when its sites have grown by this share, or its chance by as much."""
LIKELY, NEAR_DAYS = 0.5, 3
"""A snap at least so likely within so many days is a matter of now; ours, no source."""
STATIONS_SHOWN, SITES_SHOWN = 6, 8


def snap(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """A cold snap that is likely at open sites; told again when it comes earlier, grows, or is off."""
    forecast, least = now.forecast, now.settings.brief.snap_chance
    threatened = {
        site.site.site_id: nights
        for site in forecast.sites
        if (nights := now.coming.get(site.site.site_id)) is not None
        and nights.p_snap is not None
        and nights.p_snap >= least
    }
    days = [nights.snap_day for nights in threatened.values() if nights.snap_day is not None]
    if not days:
        return _snap_off(now, told), {}
    first, p = min(days), max(nights.p_snap or 0.0 for nights in threatened.values())
    before = told or {}
    grown = len(threatened) >= (1 + MORE_SITES) * before.get("sites", 0) + 1
    if before and not grown and first >= date.fromisoformat(before["day"]) and p < before["p"] + MORE_SITES:
        return [], before
    title = f"Cold snap about {weekday_date(first)}, {odds(p)}: {count(len(threatened), 'open site')}"
    worst = sorted(threatened, key=lambda s: (-(threatened[s].p_snap or 0.0), s))
    sites = {site.site.site_id: site for site in forecast.sites}
    lines = [
        f"{sentences.name_of(sites[s])}: {odds(threatened[s].p_snap or 0.0)}; {sentences.planned(sites[s])}"
        for s in worst[:SITES_SHOWN]
    ]
    if len(worst) > SITES_SHOWN:
        lines.append(f"and {len(worst) - SITES_SHOWN} more with a chance of {odds(least)} or more")
    step = "Close what can be closed before it, and look after pumps and lines of the others"
    urgent = p >= LIKELY and (first - forecast.as_of).days <= NEAR_DAYS
    matter = Matter(f"snap/{first}", "snap", title, tuple(lines), tuple(worst), urgent, step)
    return [matter], {"day": first.isoformat(), "sites": len(threatened), "p": round(p, 4)}


def _snap_off(now: Situation, told: Told | None) -> list[Matter]:
    if not told or date.fromisoformat(told["day"]) < now.forecast.as_of:
        return []
    day = weekday_date(date.fromisoformat(told["day"]))
    title = f"The cold snap about {day} is no longer likely"
    return [Matter(f"snap_off/{now.forecast.as_of}", "snap_off", title)]


def outlook(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """A new outlook whose nights differ from those told, or cross the limit of a hard freeze."""
    if now.outlook is None:
        return [], told or {}
    lows = {
        station: {night.isoformat(): low for night, low in nights.items()}
        for station, nights in now.outlook.low_c.items()
    }
    if not told:
        return _first_outlook(now, now.outlook), {"low_c": lows}
    changes = [
        (low - before[night], station, date.fromisoformat(night), before[night], low)
        for station, nights in lows.items()
        if (before := told["low_c"].get(station)) is not None
        for night, low in nights.items()
        if night in before and _differs(now, before[night], low)
    ]
    if not changes:  # what was told stays the measure, new days are added
        kept = {station: {**nights, **told["low_c"].get(station, {})} for station, nights in lows.items()}
        today = now.forecast.as_of.isoformat()
        return [], {"low_c": {s: {n: low for n, low in kept[s].items() if n >= today} for s in kept}}
    units = now.forecast.units
    step, _, day, old, low = min(changes, key=lambda change: (change[0] >= 0, -abs(change[0]), change[2]))
    way = "colder" if step < 0 else "milder"
    title = f"New outlook, {way}: {degrees(low, units)} on {weekday_date(day)}, was {degrees(old, units)}"
    coldest = {change[1]: change for change in sorted(changes, reverse=True)}
    lines = tuple(
        f"{clean(station)}: {weekday_date(day)} {degrees(low, units)}, was {degrees(old, units)}"
        for _, station, day, old, low in sorted(coldest.values())[:STATIONS_SHOWN]
    )
    return [Matter(f"outlook/{now.outlook.issued_at:%Y-%m-%dT%H}", "outlook", title, lines)], {"low_c": lows}


def _differs(now: Situation, old_c: float, new_c: float) -> bool:
    """True for a night of frost, before or now, that changed much or crossed the hard freeze."""
    frost_c = now.settings.thresholds.freeze_c + STORED_TENTH_C
    limit_c = now.settings.thresholds.hard_freeze_c + STORED_TENTH_C
    crossed = (old_c <= limit_c) != (new_c <= limit_c)
    return min(old_c, new_c) <= frost_c and (crossed or abs(new_c - old_c) >= OUTLOOK_STEP_C)


def _first_outlook(now: Situation, nights: OutlookNights) -> list[Matter]:
    """The coldest night of an outlook that nobody was told yet, where it is a frost."""
    every = [(low, day, station) for station, lows in nights.low_c.items() for day, low in lows.items()]
    if not every or min(every)[0] > now.settings.thresholds.freeze_c + STORED_TENTH_C:
        return []
    low, day, station = min(every)
    title = f"Outlook: {degrees(low, now.forecast.units)} on {weekday_date(day)} at {clean(station)}"
    line = "The outlook has its own error; the chances of each site count it in."
    return [Matter(f"outlook/{nights.issued_at:%Y-%m-%dT%H}", "outlook", title, (line,))]


def data(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Weather or outlook that is too old, told once, again when twice as old, and when it is fresh again."""
    limit = now.settings.alarms.data_hours
    before = told or {}
    ages = {"weather": now.weather_hours, "outlook": now.outlook_hours}
    found, after = [], {}
    for name, hours in ages.items():
        old = float(before.get(name, 0.0))
        if hours is not None and hours > limit:
            after[name] = old or round(hours, 1)
            if not old or hours >= 2 * old:
                after[name] = round(hours, 1)
                title = f"The {name} is {count(round(hours / 24), 'day')} old"
                line = "Dates and chances rest on it and get less sure with each day."
                step = "Check the network, then: forecaster weather update"
                found.append(
                    Matter(f"stale_{name}/{now.forecast.as_of}", "stale", title, (line,), (), False, step)
                )
        elif old:
            title = f"The {name} is up to date again"
            found.append(Matter(f"fresh_{name}/{now.forecast.as_of}", "fresh", title))
    return found, after


def troubles(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Messages that could not be delivered."""
    before = set((told or {}).get("said", ()))
    new = [text for text in now.troubles if text not in before]
    if not new:
        return [], {"said": list(now.troubles)}
    title = f"{count(len(new), 'message')} could not be delivered"
    step = "Check [mail], the secrets file and the addresses, then: forecaster watch FOLDER --health"
    key = f"undelivered/{now.moment:%Y-%m-%dT%H%M}"
    return [Matter(key, "undelivered", title, tuple(new[:8]), next_step=step)], {"said": list(now.troubles)}
