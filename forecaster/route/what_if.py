"""What would happen if: a crew is ill, a crew more, a rain day, a site more. Changes nothing that is kept.

A text of one or more changes, parted by semicolons:

    ill North 2025-10-14            the crew does not work that day (or FIRST..LAST)
    rain 2025-10-14                 nobody works that day (or FIRST..LAST)
    extra North 2025-10-14          one more crew that day, like North and sent where North may go
    move S1 North 2025-10-14        the visit stays on that crew-day, the others make the best of it
    site NEW 43.10 -88.20 24in 2h   one more pond: place, mean depth (in or cm), hours on site (default 2h)
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.forecast import Move, RouteForecast
from forecaster.known import Known
from forecaster.season.moments import parse_day
from forecaster.season.settings import Crew
from forecaster.season.sites import Site
from forecaster.season.tables import BadCell
from forecaster.units import M_PER_INCH

WHERE = "--what-if"
HOW = (
    "Write: ill CREW DATE; rain DATE; extra CREW DATE; move SITE CREW DATE; "
    "site ID LATITUDE LONGITUDE DEPTHin HOURSh (several parted by semicolons)."
)
LONGEST_SPAN = 60


def apply_what_if(known: Known, text: str) -> Known:
    """What would be known if the changes of `text` were so.

    Raises:
        BadInput: A change cannot be read or does not fit the season: all problems at once.
    """
    problems: list[Problem] = []
    changes = [part.strip() for part in text.split(";") if part.strip()]
    if not changes:
        problems.append(Problem(WHERE, f"names no change. {HOW}"))
    for change in changes:
        try:
            known = _changed(known, change)
        except (BadCell, ValueError) as error:
            problems.append(Problem(WHERE, f'"{change}": {error}'))
    if problems:
        raise BadInput(problems)
    return known


def _changed(known: Known, change: str) -> Known:
    word, _, rest = change.partition(" ")
    kinds: dict[str, Callable[[Known, str], Known]] = {
        "ill": _ill,
        "rain": _rain,
        "extra": _extra,
        "move": _move,
        "site": _site,
    }
    if word.casefold() not in kinds:
        raise ValueError(f'"{word}" is no change.{did_you_mean(word.casefold(), kinds)} {HOW}')
    return kinds[word.casefold()](known, rest.strip())


def _ill(known: Known, rest: str) -> Known:
    name, days = _crew_and_days(known, rest)
    return _off(known, [name], days)


def _rain(known: Known, rest: str) -> Known:
    return _off(known, [crew.name for crew in known.crews], _days(rest))


def _off(known: Known, names: Sequence[str], days: Sequence[date]) -> Known:
    crews = tuple(
        crew.model_copy(update={"days_off": crew.days_off | set(days)}) if crew.name in names else crew
        for crew in known.crews
    )
    return replace(known, crews=crews)


def _extra(known: Known, rest: str) -> Known:
    name, days = _crew_and_days(known, rest)
    like = next(crew for crew in known.crews if crew.name == name)
    more = _named(known.crews, f"{name} extra")
    crew = like.model_copy(
        update={
            "name": more,
            "first_day": days[0],
            "last_day": days[-1],
            "work_days": frozenset(range(7)),
            "days_off": frozenset(),
        }
    )
    sites = tuple(
        replace(site, crews=(*site.crews, more)) if name in site.crews else site for site in known.sites
    )
    return replace(known, crews=(*known.crews, crew), sites=sites)


def _named(crews: Sequence[Crew], wanted: str) -> str:
    taken, name, number = {crew.name for crew in crews}, wanted, 1
    while name in taken:
        number += 1
        name = f"{wanted} {number}"
    return name


def _site(known: Known, rest: str) -> Known:
    found = re.fullmatch(
        r"(\S+)\s+(-?[\d.]+)[,\s]\s*(-?[\d.]+)\s+([\d.]+)\s*(in|cm)(?:\s+([\d.]+)\s*h)?", rest, re.IGNORECASE
    )
    if not found:
        raise ValueError("write it like: site NEW 43.10 -88.20 24in 2h.")
    site_id, latitude, longitude = found[1], float(found[2]), float(found[3])
    if any(site.site_id == site_id for site in known.sites):
        raise ValueError(f"{site_id} is in the site sheet already. Take another name.")
    depth_m = float(found[4]) * (M_PER_INCH if found[5].casefold() == "in" else 0.01)
    on_site = float(found[6] or 2.0)
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(f"{latitude:g}, {longitude:g} is no place on earth. Write latitude, then longitude.")
    if not 0.15 <= depth_m <= 6.1:
        raise ValueError(f"{found[4]}{found[5]} is no depth of a pond. Write 6in to 240in.")
    if not 0.1 <= on_site <= 24:
        raise ValueError(f"{on_site:g} h is no visit. Write 0.1h to 24h.")
    more = Site(site_id, "(what if)", latitude, longitude, depth_m, hours_on_site=on_site)
    return replace(known, sites=(*known.sites, more))


def _move(known: Known, rest: str) -> Known:
    """A site's id may hold spaces, so the longest one that the text begins with is meant."""
    ids = [site.site_id for site in known.sites if f"{rest} ".startswith(f"{site.site_id} ")]
    if not ids:
        site_id = rest.split(" ")[0]
        hint = did_you_mean(site_id, [site.site_id for site in known.sites])
        raise ValueError(f'"{site_id}" is no site.{hint} Write move SITE CREW DATE.')
    site_id = max(ids, key=len)
    name, days = _crew_and_days(known, rest.removeprefix(site_id).strip())
    if len(days) > 1:
        raise ValueError("a visit takes one day. Write one date.")
    sites = tuple(
        replace(site, hand_placed=(days[0], name)) if site.site_id == site_id else site
        for site in known.sites
    )
    return replace(known, sites=sites)


def _crew_and_days(known: Known, rest: str) -> tuple[str, list[date]]:
    """A crew's name, which may hold spaces, and days at the end."""
    name, _, days = rest.rpartition(" ")
    if not name.strip():
        raise ValueError(
            f'"{rest}" is no crew with a date. Write the crew, then the date, like Heron 2025-10-14.'
        )
    names = {crew.name.casefold(): crew.name for crew in known.crews}
    if name.strip().casefold() not in names:
        listed = ", ".join(names.values())
        raise ValueError(
            f'"{name.strip()}" is no crew ({listed}).{did_you_mean(name.strip(), names.values())}'
        )
    return names[name.strip().casefold()], _days(days)


def _days(text: str) -> list[date]:
    first, dots, last = text.strip().partition("..")
    start = parse_day(first.strip())
    end = parse_day(last.strip()) if dots else start
    if end < start or (end - start).days > LONGEST_SPAN:
        raise ValueError(f"{start} to {end} is no span of days (at most {LONGEST_SPAN}). Write FIRST..LAST.")
    return [start + timedelta(days=n) for n in range((end - start).days + 1)]


@dataclass(frozen=True)
class PlanDifference:
    """What a change would do: money [$], ponds caught (9 falls in 10), sites without a place, moves."""

    text: str
    loss_before: float
    loss_after: float
    caught_before: int | None
    caught_after: int | None
    unplaced_before: tuple[str, ...]
    unplaced_after: tuple[str, ...]
    moves: tuple[Move, ...]


def as_in_force(known: Known, forecast: RouteForecast) -> Known:
    """The same knowledge with the plan of `forecast` in force: a re-plan starts from it and lists moves."""
    placed = {
        site.site.site_id: (site.planned_date, site.planned_crew)
        for site in forecast.sites
        if site.planned_date is not None and site.planned_crew is not None
    }
    return replace(known, in_force=placed)


def difference(text: str, before: RouteForecast, after: RouteForecast) -> PlanDifference:
    """Two plans side by side; `after` was planned from `before` as the plan in force.

    `moves` names only visits whose day differs between the two: one moved from its told date by both is
    no effect of the change.
    """
    days = {site.site.site_id: site.planned_date for site in before.sites}
    return PlanDifference(
        text=text,
        loss_before=before.plan.expected_loss,
        loss_after=after.plan.expected_loss,
        caught_before=before.plan.caught_p90,
        caught_after=after.plan.caught_p90,
        unplaced_before=before.plan.not_placed,
        unplaced_after=after.plan.not_placed,
        moves=tuple(move for move in after.plan.moves if move.to_day != days.get(move.site_id)),
    )
