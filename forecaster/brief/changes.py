"""What changed for the office since the last brief: dates, risks, water, plan. Pure.

Each function takes the situation and what was last told, and gives the matters and what has been told now.
What was told stays the measure until it is told anew: so ten steps of half a day are told when they have
become `moved_days`, and a chance that swings around a level is told once. `None`: nothing was told yet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from forecaster.brief.situation import Situation
from forecaster.forecast import SiteForecast
from forecaster.matters import Matter
from forecaster.report import sentences, view
from forecaster.report.words import chance, clean, day_month, odds, percent, weekday_date

Told = dict[str, Any]
"""What was told, as JSON holds it."""

LEVEL_MARGIN = 0.05
"""A chance must fall so far below a level before it counts as below again; ours, no source."""
REST_DAYS = 3
"""A thing that held and went is new again only when it was gone for so many days; ours, no source."""
LINES_SHOWN = 12
URGENT = ("act_now",)

SEE_PLAN = "See the plan: forecaster route"


def dates(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Planned visits and best days that moved by `moved_days` or more, and visits that came and went."""
    days = now.settings.brief.moved_days
    as_of = now.forecast.as_of
    after: Told = {}
    visits: list[tuple[str, str]] = []
    best: list[tuple[str, str]] = []
    for site in now.forecast.sites:
        was = (told or {}).get(site.site.site_id)
        planned, line = _planned(site, was, as_of, days)
        if line:
            visits.append((site.site.site_id, line))
        ideal, line = _best(site, was, as_of, days)
        if line:
            best.append((site.site.site_id, line))
        after[site.site.site_id] = {"planned": _iso(planned), "best": _iso(ideal)}
    return [
        *_matter(now, "visits_moved", visits, ("visits moved", "visit moved"), SEE_PLAN),
        *_matter(now, "best_days_moved", best, ("best days moved", "best day moved")),
    ], after


def _planned(site: SiteForecast, was: Told | None, as_of: date, days: int) -> tuple[date | None, str]:
    """The planned day that counts as told from now on, and the line about it, "" for none."""
    planned = site.planned_date
    if was is None:
        return planned, ""
    old = _date(was["planned"])
    crew = f" with {clean(site.planned_crew)}" if planned and site.planned_crew else ""
    here = f"{weekday_date(planned)}{crew}" if planned else "no crew-day left"
    if old is not None and old < as_of:
        return planned, f"was planned {weekday_date(old)}, not recorded as closed; now {here}"
    if (old is None) != (planned is None):
        return planned, f"was {weekday_date(old) if old else 'not placed'}, now {here}"
    if old is not None and planned is not None and abs((planned - old).days) >= days:
        return planned, f"was {weekday_date(old)}, now {here}"
    return old, ""


def _best(site: SiteForecast, was: Told | None, as_of: date, days: int) -> tuple[date | None, str]:
    """As `_planned`, for the best day; one that is over slides with today and is not told."""
    best = site.recommended_date
    old = _date(was["best"]) if was else None
    if old is None or best is None or old < as_of:
        return best, ""
    if abs((best - old).days) >= days:
        return best, f"best day was {day_month(old)}, now {day_month(best)}"
    return old, ""


def risks(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Sites whose chance of a hard freeze crossed a risk level."""
    levels = now.settings.brief.risk_levels
    after: Told = {}
    moves: list[tuple[str, str, int, float]] = []
    for site in now.forecast.sites:
        p = view.risk(site)
        old = (told or {}).get(site.site.site_id, {"level": 0, "p": None})
        level = old["level"] if p is None else level_of(p, int(old["level"]), levels)
        if p is not None and level != old["level"]:
            before = f", was {percent(old['p'])}" if old["p"] is not None else ""
            moves.append((site.site.site_id, f"{_meaning(site)}: {chance(p)}{before}", level, p))
            after[site.site.site_id] = {"level": level, "p": round(p, 4)}
        else:
            after[site.site.site_id] = {**old, "p": old["p"] if p is None or old["level"] else round(p, 4)}
    return _risk_matters(now, moves, told or {}), after


def level_of(p: float, old: int, levels: tuple[float, ...]) -> int:
    """The level of a chance: up at once, down only when it is clearly below.

    >>> level_of(0.51, 1, (0.2, 0.5)), level_of(0.47, 2, (0.2, 0.5)), level_of(0.44, 2, (0.2, 0.5))
    (2, 2, 1)
    """
    up = sum(p >= level for level in levels)
    down = sum(p >= level - LEVEL_MARGIN for level in levels)
    return max(up, min(old, down))


def _risk_matters(now: Situation, moves: list[tuple[str, str, int, float]], told: Told) -> list[Matter]:
    found = []
    levels = now.settings.brief.risk_levels
    for up, kind in ((True, "risk_up"), (False, "risk_down")):
        group = [move for move in moves if (move[2] > int(told.get(move[0], {"level": 0})["level"])) == up]
        group.sort(key=lambda move: -move[3])
        if group:
            edge = odds(levels[max(move[2] for move in group) - 1] if up else levels[group[0][2]])
            what = f"hard freeze now {edge} or more" if up else f"hard freeze now less than {edge}"
            lines = [(site_id, line) for site_id, line, _, _ in group]
            found += _matter(now, kind, lines, (f"sites: {what}", what))
    return found


def _meaning(site: SiteForecast) -> str:
    return "hard freeze before the water settles" if site.state == "waiting" else "hard freeze within 14 days"


def water(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Sites whose water has settled since: they wait only for a crew now."""
    after = {site.site.site_id: site.state for site in now.forecast.sites}
    settled = [
        (site.site.site_id, f"water has probably settled; {sentences.planned(site)}")
        for site in now.forecast.sites
        if site.state == "ready" and (told or {}).get(site.site.site_id) == "waiting"
    ]
    words = ("sites are now ready to close", "now ready to close")
    return _matter(now, "ready", settled, words), dict(after)


def plan(now: Situation, told: Told | None) -> tuple[list[Matter], Told]:
    """Where the weather breaks the plan: frost before the visit, no crew-day, dates told that it moves.

    A plan searched anew each morning may let a thing go for a day: what held within `REST_DAYS` is not new.
    """
    forecast = now.forecast
    before = told or {}
    urgent = {
        site.site.site_id: f"{reason}; {sentences.planned(site)}"
        for site in forecast.sites
        if (reason := view.act_now(site))
    }
    lost = dict.fromkeys(forecast.plan.not_placed, "no crew-day left")
    moves = {
        f"{move.site_id} {move.from_day}": (
            move.site_id,
            f"told {day_month(move.from_day)}, the plan now has {_or_none(move.to_day)}",
        )
        for move in forecast.plan.moves
        if move.told
    }
    limit, caught = forecast.plan.caught_limit, forecast.plan.caught_p90
    over = {"plan": ""} if limit is not None and caught is not None and caught > limit else {}
    kinds: dict[str, Iterable[str]] = {
        "urgent": urgent,
        "not_placed": lost,
        "told_moves": moves,
        "over": over,
    }
    rests = {kind: _rested(before.get(kind, {}), held, forecast.as_of) for kind, held in kinds.items()}
    fresh = {kind: rest[0] for kind, rest in rests.items()}
    found = [
        *_matter(
            now,
            "act_now",
            [(site_id, urgent[site_id]) for site_id in fresh["urgent"]],
            ("sites cannot wait for the planned day", "cannot wait for the planned day"),
            "Close these first, or move the crew",
        ),
        *_matter(
            now,
            "not_placed",
            [(site_id, lost[site_id]) for site_id in fresh["not_placed"]],
            ("sites without a crew-day", "no crew-day left"),
            "Add a crew-day, or ease dates, weekdays or crews",
        ),
        *_matter(
            now,
            "told_moved",
            [moves[key] for key in fresh["told_moves"]],
            ("dates told to customers would move", "the date told would move"),
            "Call the customers, or book the date to keep it",
        ),
    ]
    if fresh["over"]:
        title = f"The plan no longer keeps at most {limit} caught ponds"
        line = sentences.caught(forecast)
        found.append(Matter(f"over/{forecast.as_of}", "over", title, (line,), next_step=SEE_PLAN))
    return found, {kind: rest[1] for kind, rest in rests.items()}


def _rested(before: Mapping[str, str], held: Iterable[str], as_of: date) -> tuple[list[str], dict[str, str]]:
    """Which of `held` are new, and name -> the last day on which each held, the old ones dropped."""
    fresh = [name for name in held if name not in before]
    days = {name: day for name, day in before.items() if (as_of - date.fromisoformat(day)).days < REST_DAYS}
    return fresh, {**days, **dict.fromkeys(held, as_of.isoformat())}


def _or_none(day: date | None) -> str:
    return day_month(day) if day else "no day for it"


def _matter(
    now: Situation, kind: str, lines: list[tuple[str, str]], words: tuple[str, str], next_step: str = ""
) -> list[Matter]:
    """One matter about several sites, none without a line; `words` for several, and for one that is named."""
    if not lines:
        return []
    names = {site.site.site_id: sentences.name_of(site) for site in now.forecast.sites}
    shown = [f"{names.get(site_id, clean(site_id))}: {line}" for site_id, line in lines[:LINES_SHOWN]]
    if len(lines) > LINES_SHOWN:
        shown.append(f"and {len(lines) - LINES_SHOWN} more")
    if len(lines) == 1:  # the title names it
        shown = [lines[0][1]]
    one = f"{' '.join(names.get(lines[0][0], clean(lines[0][0])).split())}: {words[1]}"
    title = one if len(lines) == 1 else f"{len(lines)} {words[0]}"
    sites = tuple(site_id for site_id, _ in lines)
    return [
        Matter(f"{kind}/{now.forecast.as_of}", kind, title, tuple(shown), sites, kind in URGENT, next_step)
    ]


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
