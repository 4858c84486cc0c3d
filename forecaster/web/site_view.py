"""What the Site page says, computed from a finished state: facts with reasons, tables, contacts, history."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.falls import FALL_DAYS, fall_day, fall_end, fall_start
from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.known import Known
from forecaster.report import sentences, view
from forecaster.report.site_page import why_rank
from forecaster.report.words import (
    about,
    chance,
    clean,
    count,
    crossing,
    day_month,
    degrees,
    dollars,
    listed,
    percent,
    weekday_date,
)
from forecaster.season.event_words import event_words
from forecaster.season.events import Event
from forecaster.season.known_sites import Basics
from forecaster.season.ledger_rules import UNDONE_KINDS
from forecaster.season.quantities import LENGTH_UNITS
from forecaster.season.readings import Reading
from forecaster.web.contact import MAIL_COLUMNS, PHONE_COLUMNS
from forecaster.web.site_days import SiteDays

PART_NAMES = {
    "warm_day": "warm water",
    "hard_freeze": "hard freeze",
    "plumbing_freeze": "pipes",
    "ice": "ice",
}
SHARE_NAMES = {"own": "its own readings", "route": "its neighbours' readings", "prior": "its depth and place"}
READINGS_SHOWN = 30
LOSS_BEFORE, LOSS_AFTER = 0, 10


@dataclass(frozen=True)
class Fact:
    """A number in words, and where it comes from."""

    name: str
    value: str
    why: str


@dataclass(frozen=True)
class LossRow:
    """One day of the table of losses [$]: the four parts and their sum; `mark` says what the day is."""

    day: date
    parts: tuple[float, ...]
    total: float
    mark: str


@dataclass(frozen=True)
class HistoryRow:
    """One event in words. `undone`: it was taken back; `can_undo`: it may be."""

    event_id: int
    kind: str
    when: str
    who: str
    text: str
    undone: bool
    can_undo: bool


def facts_of(forecast: RouteForecast, site: SiteForecast, known: Known, days: SiteDays | None) -> list[Fact]:
    """The numbers of one site, each with its reason."""
    falls = f"Counted over {count(forecast.members, 'possible fall')}."
    facts = [Fact("Water now", _water_now(forecast, site), _water_why(forecast, site, known, days))]
    if site.state != "no_forecast" and site.sustained_p10 is not None:
        settles = crossing(site.sustained_p10, site.sustained_p50, site.sustained_p90, fall=forecast.fall)
        start = crossing(site.start_p10, site.start_p50, site.start_p90, fall=forecast.fall)
        facts.append(
            Fact(
                "Water settles",
                settles,
                f"{sentences.settling(site, forecast.fall)} The start limit comes {start}. {falls}",
            )
        )
    if site.state == "waiting":
        why = (
            f"{falls} Frozen plumbing first: {chance(site.p_plumbing_freeze_first)}. "
            f"Ice first: {chance(site.p_ice_first)}."
        )
        facts.append(Fact("Hard freeze first", chance(site.p_hard_freeze_first), why))
    soon = (
        f"Lowest air at the site, from the {clean(forecast.outlook_text)} and then from the possible falls."
        f" {sentences.frost_so_far(site)}"
    )
    facts.append(Fact("Hard freeze in 14 days", chance(site.p_hard_freeze_14d), soon))
    facts.append(Fact("Best day", weekday_date(site.recommended_date), best_why(site)))
    rank = " ".join(why_rank(forecast, site))
    facts.append(Fact("Rank", f"{site.rank} of {len(forecast.sites)}", rank))
    return facts


def _water_now(forecast: RouteForecast, site: SiteForecast) -> str:
    return about(site.water_now_c, site.water_now_sd_c, forecast.units)


def _water_why(forecast: RouteForecast, site: SiteForecast, known: Known, days: SiteDays | None) -> str:
    if site.water_now_c is None:
        what = "is heated" if site.site.has_pond else "has no pond"
        return f"This site {what}, so there is no water forecast: only the air counts."
    station = next((s for s in forecast.stations if s.station_id == site.station_id), None)
    text = "Daily mean of yesterday, with the range that holds 8 times in 10. "
    if station is not None:
        text += f"Nearest station: {clean(station.name)}, weather to {day_month(station.last_day)}. "
    own = [r for r in known.readings if r.site_id == site.site.site_id]
    if own:
        last = max(own, key=lambda r: (r.day, r.hour or 0.0))
        by = f" by {clean(last.by)}" if last.by else ""
        text += (
            f"{count(len(own), 'reading')} here, the last {degrees(last.water_c, forecast.units)} on "
            f"{day_month(last.day)}{by}. "
        )
    else:
        text += "Nobody has measured this pond yet. "
    if days is not None and days.shares is not None and days.lag_days is not None:
        parts = sorted(days.shares.items(), key=lambda item: -item[1])
        rests = listed(f"{SHARE_NAMES.get(name, name)} {percent(share)}" for name, share in parts)
        text += f"It rests on {rests}. The pond trails the air by about {days.lag_days:.1f} days."
    return text


def best_why(site: SiteForecast) -> str:
    """Cost by cost, how sure the water is, and how far other costs would move the day."""
    if site.recommended_date is None:
        return clean(site.reason)
    named = [f"{PART_NAMES.get(name, name)} {dollars(part)}" for name, part in site.loss_parts.items()]
    text = f"Expected cost {dollars(site.expected_loss)}: {', '.join(named)}. "
    if site.p_start_by_recommended is not None:
        text += f"Water at the start limit by then: {chance(site.p_start_by_recommended)}. "
    moved = [
        f"{PART_NAMES.get(name, name)} {_days(halved)} or {_days(doubled)}"
        for name, (halved, doubled) in site.date_shifts.items()
        if halved or doubled
    ]
    if moved:
        return f"{text}If a cost were half or double, the best day would move: {'; '.join(moved)}."
    return f"{text}Half or double of any one cost would not move the day."


def _days(shift: int) -> str:
    if shift == 0:
        return "not at all"
    return f"{count(abs(shift), 'day')} {'later' if shift > 0 else 'earlier'}"


def loss_span(forecast: RouteForecast, site: SiteForecast) -> tuple[date, date]:
    """The days that picture and table of losses show: from today to a while after all that is marked."""
    marked = [site.recommended_date, site.planned_date, site.window_end, site.site.booked_date]
    last = max([day for day in marked if day is not None] + [forecast.as_of + timedelta(days=21)])
    return forecast.as_of, min(last + timedelta(days=LOSS_AFTER), fall_end(forecast.fall))


def loss_rows(forecast: RouteForecast, site: SiteForecast) -> list[LossRow]:
    """What closing on each day is expected to cost; empty where it is not known."""
    parts = site.loss_parts_by_day
    if parts is None:
        return []
    first, last = loss_span(forecast, site)
    rows = []
    for index in range(fall_day(first, forecast.fall), min(fall_day(last, forecast.fall), FALL_DAYS - 1) + 1):
        day = fall_start(forecast.fall) + timedelta(days=index)
        marks = [
            word
            for word, marked in (
                ("best", site.recommended_date),
                ("planned", site.planned_date),
                ("told", site.site.told_date),
                ("booked", site.site.booked_date),
            )
            if marked == day
        ]
        own = tuple(float(value) for value in parts[:, index])
        rows.append(LossRow(day, own, sum(own), ", ".join(marks)))
    return rows


def readings_of(known: Known, site_id: str) -> list[Reading]:
    """The readings of one site, the latest first."""
    own = [reading for reading in known.readings if reading.site_id == site_id]
    return sorted(own, key=lambda r: (r.day, -1.0 if r.hour is None else r.hour), reverse=True)


def outlook_rows(days: SiteDays | None, units: str, *, from_day: date) -> list[tuple[date, str, str]]:
    """The outlook at a site day by day in words, "-" where a value is not given."""
    if days is None or days.outlook is None:
        return []

    def words(value_c: float) -> str:
        return degrees(value_c, units) if math.isfinite(value_c) else "-"

    given = zip(days.outlook.days, days.outlook.min_c, days.outlook.max_c, strict=True)
    return [(day, words(float(low)), words(float(high))) for day, low, high in given if day >= from_day]


def depth_words(depth_m: float | None, units: str) -> str:
    """A depth in the season's unit, "-" where it was not given.

    >>> depth_words(0.6096, "us"), depth_words(None, "us")
    ('24 inches', '-')
    """
    if depth_m is None:
        return "-"
    unit = LENGTH_UNITS[0 if units == "us" else 1]
    return f"{unit.from_internal(depth_m):.0f} {unit.words}"


# --- the customer


def is_contact(column: str) -> bool:
    """Whether a column of the sheet holds a way to reach the customer."""
    return column.strip().casefold() in (*PHONE_COLUMNS, *MAIL_COLUMNS)


def customer_words(site: SiteForecast) -> str:
    """What the customer could be told; no chance of frost is named. "" where no day is left."""
    promised = site.site.booked_date or site.site.told_date
    purpose = (
        "We come when the water has cooled and before hard frost."
        if site.site.has_pond
        else "We come before hard frost."
    )
    if promised is not None:
        return f"We close your {_feature(site)} on {weekday_date(promised)}. {purpose}"
    if site.recommended_date is None:
        return ""
    start, end = site.window_start, site.window_end
    span = (
        f"between {weekday_date(start)} and {weekday_date(end)}"
        if start and end and start != end
        else f"on {weekday_date(site.recommended_date)}"
    )
    return f"We expect to close your {_feature(site)} {span}. {purpose}"


def _feature(site: SiteForecast) -> str:
    return {"pond": "pond", "fountain": "fountain"}.get(site.site.kind, "waterfall")


# --- what was said and done


def history_of(
    events: Sequence[Event], undone: frozenset[int], site_id: str, basics: Basics
) -> list[HistoryRow]:
    """All events about a site, the latest first."""
    rows = []
    for event in reversed(events):
        if event.site_id != site_id:
            continue
        moment = event.recorded_at.astimezone(basics.zone)
        gone = event.event_id in undone
        rows.append(
            HistoryRow(
                event_id=event.event_id,
                kind=event.kind,
                when=f"{weekday_date(moment.date())} {moment:%H:%M}",
                who=clean(event.who),
                text=clean(event_words(event, basics)),
                undone=gone,
                can_undo=not gone and event.kind in UNDONE_KINDS,
            )
        )
    return rows


def state_words(site: SiteForecast) -> str:
    """Ready, waiting or without a water forecast, in words for the head of the page."""
    title = {"ready": "Ready", "waiting": "Waiting"}.get(site.state, "No water forecast")
    urgent = view.act_now(site)
    return f"{title}. Act now: {urgent}." if urgent else f"{title}."
