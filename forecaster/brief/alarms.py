"""The alarms: which rule speaks now, about which sites, and when it was last heard. Pure.

A rule holds for some sites. The first time it does, an episode begins and the rule speaks. In the same
episode it speaks again only about sites that it has not named: after `repeat_hours`, or at once if they are
at least as many as those named. A site is let go when its value is clearly back (a margin, so that a chance
that swings around the limit is no new alarm); when all are, the episode is over. Each message's key is its
rule, fall, episode and number in it, so the same alarm is never two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from forecaster.brief.coming import MINIMUM_DAYS
from forecaster.brief.situation import Situation
from forecaster.forecast import SiteForecast
from forecaster.matters import Matter
from forecaster.report import sentences
from forecaster.report.words import about, chance, count, degrees, limit, listed, odds, weekday_date

Told = dict[str, Any]
CHANCE_MARGIN = 0.1
"""A chance must fall so far below its limit before its site is let go; ours, no source."""
WATER_MARGIN_C = 1.0
"""Water must be so far above its threshold before its site is let go: what counts as a rebound [°C]."""
LINES_SHOWN = 12


@dataclass(frozen=True)
class Holding:
    """For whom a rule holds: site id -> line (clear of the limit), and who is within the margin of it."""

    lines: Mapping[str, str]
    near: frozenset[str]


def alarms(now: Situation, told: Mapping[str, Told]) -> tuple[list[Matter], dict[str, Told]]:
    """The alarms that speak now, and what has been told now, by rule."""
    found: list[Matter] = []
    after = {rule: dict(before) for rule, before in told.items()}
    for rule, holding in _holdings(now).items():
        new, after[rule] = _spoken(holding, after.get(rule, {}), now)
        if new:
            found.append(_matter(now, rule, new, holding, _key(now.forecast.fall, rule, after[rule])))
    matters, after["data"] = _data(now, after.get("data", {}))
    after.pop("no_forecast", None)  # there is one again
    return found + matters, after


def no_forecast(
    reasons: tuple[str, ...], told: Mapping[str, Told], *, fall: int, moment: datetime, repeat_hours: int
) -> tuple[list[Matter], dict[str, Told]]:
    """The alarm that no forecast can be made; again only for another reason, or after a week."""
    before = told.get("no_forecast", {})
    same = before.get("reasons") == list(reasons) and _hours(before, moment) < 7 * 24
    if same or (before and _hours(before, moment) < repeat_hours):
        return [], dict(told)
    state = {"episode": int(before.get("episode", 0)) + 1, "part": 1, "at": moment.isoformat()}
    step = "Run forecaster check FOLDER, and put right what it says"
    matter = Matter(
        _key(fall, "no_forecast", state),
        "no_forecast",
        "No forecast could be made",
        reasons[:LINES_SHOWN],
        (),
        True,
        step,
    )
    return [matter], {**told, "no_forecast": {**state, "reasons": list(reasons)}}


def _holdings(now: Situation) -> dict[str, Holding]:
    """Every rule that is on, with the sites for which it holds."""
    rules, thresholds = now.settings.alarms, now.settings.thresholds
    found = {
        "hard_freeze": _chances(now, "p_hard_freeze", rules.hard_freeze_chance),
        "minimum": _chances(now, "p_below", rules.minimum_chance),
    }
    for name, limit_c in (("start", thresholds.start_c), ("sustained", thresholds.sustained_c)):
        if rules.water in (name, "both"):
            found[name] = _water(now, limit_c)
    return found


def _chances(now: Situation, field: str, least: float) -> Holding:
    lines, near = {}, set()
    for site in now.forecast.sites:
        nights = now.coming.get(site.site.site_id)
        p = None if nights is None else getattr(nights, field)
        if p is None or nights is None:
            continue
        if p > least - CHANCE_MARGIN:
            near.add(site.site.site_id)
        if p > least:
            low = _low(now, site)
            day = nights.hard_freeze_day if field == "p_hard_freeze" else None
            when = f", most often {weekday_date(day)}" if day else ""
            lines[site.site.site_id] = f"{chance(p)}{when}; {low}; {sentences.planned(site)}"
    return Holding(lines, frozenset(near))


def _low(now: Situation, site: SiteForecast) -> str:
    nights = now.coming[site.site.site_id]
    if nights.low_p50_c is None or nights.low_p10_c is None or nights.low_p90_c is None:
        return "lowest not known"
    units = now.forecast.units
    low, high = (degrees(t, units).split()[0] for t in (nights.low_p10_c, nights.low_p90_c))
    middle = degrees(nights.low_p50_c, units)
    return f"lowest of {count(MINIMUM_DAYS, 'night')} about {middle} ({low} to {high})"


def _water(now: Situation, limit_c: float) -> Holding:
    lines, near = {}, set()
    for site in now.forecast.sites:
        if site.water_now_c is None:
            continue
        if site.water_now_c <= limit_c + WATER_MARGIN_C:
            near.add(site.site.site_id)
        if site.water_now_c <= limit_c:
            water = about(site.water_now_c, site.water_now_sd_c, now.forecast.units)
            lines[site.site.site_id] = f"water {water}; {sentences.planned(site)}"
    return Holding(lines, frozenset(near))


def _spoken(holding: Holding, before: Told, now: Situation) -> tuple[list[str], Told]:
    """The sites that the rule speaks of now, none for silence; and its memory."""
    named = [site_id for site_id in before.get("named", ()) if site_id in holding.near]
    episode, part = int(before.get("episode", 0)), int(before.get("part", 0))
    new = [site_id for site_id in holding.lines if site_id not in named]
    kept = {**before, "named": named} if before else {}
    if not new:
        return [], kept
    waited = _hours(before, now.moment) >= now.settings.alarms.repeat_hours
    many = bool(named) and len(new) >= len(named)
    if before.get("at") and not waited and not many:
        return [], kept
    fresh = not named
    return new, {
        "episode": episode + 1 if fresh else episode,
        "part": 1 if fresh else part + 1,
        "named": sorted({*named, *new}),
        "at": now.moment.isoformat(),
    }


def _hours(before: Told, moment: datetime) -> float:
    """Hours since the rule spoke; a clock that was set back counts as time too."""
    if not before.get("at"):
        return float("inf")
    return abs((moment - datetime.fromisoformat(before["at"])).total_seconds()) / 3600


def _key(fall: int, rule: str, state: Told) -> str:
    part = f"/{state['part']}" if state["part"] > 1 else ""
    return f"{rule}/{fall}/{state['episode']}{part}"


def _matter(now: Situation, rule: str, new: list[str], holding: Holding, key: str) -> Matter:
    names = {site.site.site_id: sentences.name_of(site) for site in now.forecast.sites}
    lines = [f"{names[site_id]}: {holding.lines[site_id]}" for site_id in new[:LINES_SHOWN]]
    if len(new) > LINES_SHOWN:
        rest = listed((site_id for site_id in new[LINES_SHOWN:]), at_most=30)
        lines.append(f"and {len(new) - LINES_SHOWN} more: {rest}")
    title, step = _words(now, rule, new)
    if len(new) == 1:
        title = f"{title}: {' '.join(names[new[0]].split())}"
    else:
        title = f"{title}: {len(new)} open sites"
    return Matter(key, rule, title, tuple(lines), tuple(new), rule in ("hard_freeze", "minimum"), step)


def _words(now: Situation, rule: str, new: list[str]) -> tuple[str, str]:
    """The title without its sites, and the next step."""
    units, rules = now.forecast.units, now.settings.alarms
    if rule in ("start", "sustained"):
        limit_c = getattr(now.settings.thresholds, f"{rule}_c")
        return f"Water probably at {limit(limit_c, units)} or below", "Close them as the plan comes to them"
    nights = [now.coming[site_id] for site_id in new]
    step = "Close or protect pumps and lines before it comes; the order: forecaster route"
    if rule == "minimum":
        p = max(night.p_below or 0.0 for night in nights)
        below = limit(rules.minimum_c, units)
        return f"{below} or colder within {count(MINIMUM_DAYS, 'night')}, up to {odds(p)}", step
    p = max(night.p_hard_freeze or 0.0 for night in nights)
    days = [night.hard_freeze_day for night in nights if night.hard_freeze_day is not None]
    when = f" about {weekday_date(min(days))}" if days else ""
    return f"Hard freeze{when}, up to {odds(p)}", step


def _data(now: Situation, before: Told) -> tuple[list[Matter], Told]:
    """Weather that is too old; again when it is twice as old."""
    hours, most = now.weather_hours, now.settings.alarms.data_hours
    episode = int(before.get("episode", 0))
    if hours is None or hours <= most:
        return [], {"episode": episode} if episode else {}
    said = float(before.get("hours", 0.0))
    if said and hours < 2 * said:
        return [], dict(before)
    state = {
        "episode": episode if said else episode + 1,
        "part": int(before.get("part", 0)) + 1 if said else 1,
        "hours": round(hours, 1),
        "at": now.moment.isoformat(),
    }
    title = f"The weather is {count(round(hours / 24), 'day')} old"
    line = f"Nothing newer than {weekday_date(max(s.last_day for s in now.forecast.stations))} has come in."
    step = "Check the network, then: forecaster weather update"
    return [Matter(_key(now.forecast.fall, "data", state), "data", title, (line,), next_step=step)], state
