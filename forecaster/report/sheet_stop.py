"""One crew-day as records that paper and page are drawn from: a stop a sheet, with the day's small map.

The words of a sheet are made here, once for both. Access notes and gate codes are on it: it is for the crew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from math import cos, radians

from forecaster.forecast import CrewDay
from forecaster.report.words import clean, weekday_date
from forecaster.season.settings import Crew
from forecaster.season.sites import Site
from forecaster.visit.hazards import CAUTIONS, HAZARDS
from forecaster.visit.kit import Kit
from forecaster.visit.kit_checks import Finding, kit_findings
from forecaster.visit.steps import Step, Work, visit_work

KIND_WORDS = {"pond": "pond", "fall without pond": "fall without a pond", "fountain": "fountain"}
WINTER_WORDS = {
    "close": "all of it is closed",
    "partly": "part of it stays on over the winter",
    "runs": "runs all winter: a look, not a closing",
}
SIGN = ("Crew", "Time out", "Customer, name and signature")
WHO_DECIDES = "Local codes, the makers' sheets and licensed trades go before this sheet."


@dataclass(frozen=True)
class MapPoint:
    """A stop or the start place on the small map, from 0, 0 (upper left) to the map's width and height."""

    x: float
    y: float
    label: str
    is_start: bool = False
    is_here: bool = False


@dataclass(frozen=True)
class DayMap:
    """The way of one crew-day: points in order, on a field of `width` x `height` (the longer side is 1)."""

    points: tuple[MapPoint, ...]
    width: float
    height: float


@dataclass(frozen=True)
class StepWords:
    """One step as it is shown: its cautions beside it, blanks to fill in behind it."""

    number: int
    step: Step
    cautions: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class StopSheet:
    """One side. `facts` are name and text; `closed` is the day of a closing already entered."""

    site: Site
    head: str
    number: int
    count: int
    when: str
    facts: tuple[tuple[str, str], ...]
    steps: tuple[StepWords, ...]
    left_out: str
    map: DayMap | None
    closed: date | None = None


@dataclass(frozen=True)
class DaySheets:
    """All sheets of a crew-day; `source` says which plan they follow."""

    season_name: str
    title: str
    source: str
    units: str
    stops: tuple[StopSheet, ...]


def day_sheets(
    crew_day: CrewDay,
    sites: Mapping[str, Site],
    kits: Mapping[str, Kit],
    *,
    season_name: str,
    units: str,
    crews: Sequence[Crew] = (),
    closed: Mapping[str, date] | None = None,
    source: str = "",
) -> DaySheets:
    """The sheets of one crew-day, in the order of its stops.

    Args:
        crew_day: Day, crew and stops.
        sites, kits: By site id; a stop that the sheet lost is left out of both and of the day.
        season_name, units: For heads and numbers.
        crews: For the start place on the map.
        closed: Sites that are closed already.
        source: Which plan this is, in words.
    """
    stops = [stop for stop in crew_day.stops if stop.site_id in sites]
    start = next((crew for crew in crews if crew.name == crew_day.crew), None)
    places = [sites[stop.site_id] for stop in stops]
    title = f"{weekday_date(crew_day.day, year=True)}, {clean(crew_day.crew) or 'no crew'}"
    sheets = tuple(
        stop_sheet(
            sites[stop.site_id],
            kits[stop.site_id],
            number=number,
            count=len(stops),
            when=f"{title}, {_clock(stop.arrive)} to {_clock(stop.leave)}",
            units=units,
            day_map=day_map(places, start, here=number - 1) if len(stops) > 1 or start else None,
            closed=(closed or {}).get(stop.site_id),
        )
        for number, stop in enumerate(stops, start=1)
    )
    return DaySheets(clean(season_name), title, source, units, sheets)


def stop_sheet(
    site: Site,
    kit: Kit,
    *,
    number: int,
    count: int,
    when: str,
    units: str,
    day_map: DayMap | None = None,
    closed: date | None = None,
) -> StopSheet:
    """The sheet of one stop."""
    work = visit_work(site, kit, units=units)
    findings = kit_findings(site, kit, units=units)
    return StopSheet(
        site=site,
        head=clean(site.customer) or "no name",
        number=number,
        count=count,
        when=when,
        facts=(*_facts(site, kit, work), *_findings(findings)),
        steps=step_words(work.steps),
        left_out="; ".join(f"{item.title} ({item.reason})" for item in work.left_out),
        map=day_map,
        closed=closed,
    )


def step_words(steps: Sequence[Step]) -> tuple[StepWords, ...]:
    """Steps with the cautions that stand beside them: whole at the first step with a hazard, short later."""
    said: set[str] = set()
    made = []
    for number, step in enumerate(steps, start=1):
        cautions = []
        for hazard in HAZARDS:
            if hazard in step.hazards:
                caution = CAUTIONS[hazard]
                text = caution.short if hazard in said else f"{caution.short} {caution.more}"
                cautions.append((caution.name, text))
                said.add(hazard)
        made.append(StepWords(number, replace(step, text=clean(step.text)), tuple(cautions)))
    return tuple(made)


def day_map(sites: Sequence[Site], start: Crew | None, *, here: int) -> DayMap:
    """The small map: north is up, both directions have the same scale, straight lines."""
    spots = [(site.latitude, site.longitude) for site in sites]
    spots = ([(start.latitude, start.longitude)] if start else []) + spots
    middle = sum(latitude for latitude, _ in spots) / len(spots)
    narrowing = cos(radians(middle))
    west, east = min(p[1] for p in spots), max(p[1] for p in spots)
    south, north = min(p[0] for p in spots), max(p[0] for p in spots)
    wide, high = (east - west) * narrowing, north - south
    longest = max(wide, high, 1e-6)
    width, height = (max(side / longest, 0.35) for side in (wide, high))
    left, top = (width - wide / longest) / 2, (height - high / longest) / 2
    points = []
    for at, (latitude, longitude) in enumerate(spots):
        x = left + (longitude - west) * narrowing / longest
        y = top + (north - latitude) / longest
        order = at if start else at + 1
        is_start = start is not None and at == 0
        points.append(MapPoint(x, y, "" if is_start else str(order), is_start, order == here + 1))
    return DayMap(tuple(points), width, height)


def _facts(site: Site, kit: Kit, work: Work) -> tuple[tuple[str, str], ...]:
    kind = KIND_WORDS[site.kind]
    if site.has_pond:
        kind += ", fish" if site.fish else ", no fish"
    facts = [
        ("Address", clean(site.address) or f"not noted; {site.latitude:.4f}, {site.longitude:.4f}"),
        ("Access", clean(site.access) or "nothing noted"),
        ("Notes", clean(site.notes)),
        ("Phone", clean(kit.phone)),
        ("Work", f"{kind}; {WINTER_WORDS[site.winter]}"),
        ("Bring", ", ".join(work.bring)),
    ]
    return tuple((name, text) for name, text in facts if text)


def _findings(findings: Sequence[Finding]) -> tuple[tuple[str, str], ...]:
    names = {"look": "Look", "ask": "Ask"}
    return tuple((names[f.level], f"{f.text[:1].upper()}{clean(f.text[1:])}") for f in findings)


def _clock(moment: time) -> str:
    return f"{moment:%H:%M}"
