"""What there is to tell of a season folder, put into the outbox together with the memory of what was told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from forecaster.brief.alarms import alarms, no_forecast
from forecaster.brief.channels import Addressees
from forecaster.brief.delivery import troubles
from forecaster.brief.outbox import Message, Outbox, has_outbox
from forecaster.brief.situation import Situation, situation_of
from forecaster.brief.sources import matters_since
from forecaster.build import forecast_route
from forecaster.falls import fall_of
from forecaster.matters import Brief, Matter
from forecaster.pipeline import load_known
from forecaster.report import sentences
from forecaster.report.brief_page import alarm_page, brief_page
from forecaster.report.brief_text import alarm_text, brief_text, subject
from forecaster.report.words import clean
from forecaster.season.settings import Settings

SHOWN, SENT, ALARMS = "shown", "sent", "alarms"
"""Who was told: whoever ran the command, those who get messages, those who get alarms."""

Memory = tuple[date, dict[str, Any]] | None


def situation_in(folder: Path, as_of: date, *, moment: datetime, troubles: Sequence[str] = ()) -> Situation:
    """The situation of a season folder.

    Raises:
        BadInput: No forecast can be made.
    """
    known = load_known(folder, as_of)
    return situation_of(known, forecast_route(known), moment=moment, troubles=troubles)


def brief_of(now: Situation, memory: Memory) -> tuple[Brief, dict[str, Any]]:
    """The brief since what was told, and what has been told with it. A memory of another fall is none."""
    fall = now.forecast.fall
    if memory is not None and fall_of(memory[0]) != fall:
        memory = None
    matters, told = matters_since(now, memory[1] if memory else None)
    return Brief(
        season_name=now.forecast.season_name,
        as_of=now.forecast.as_of,
        since=memory[0] if memory else None,
        matters=matters,
        footing=(sentences.sources(now.forecast), sentences.sites(now.forecast), *_credits(now)),
    ), told


def _credits(now: Situation) -> tuple[str, ...]:
    """Whom the weather data ask to name."""
    return tuple(clean(text) for text in now.forecast.credits)


def today_brief(folder: Path, as_of: date, *, moment: datetime) -> Brief:
    """What a page of today shows: the brief as the command would print it; nothing is written."""
    memory: Memory = None
    said: tuple[str, ...] = ()
    if has_outbox(folder):
        with Outbox(folder) as outbox:
            memory, said = outbox.memory(SHOWN, as_of), troubles(outbox, moment)
    return brief_of(situation_in(folder, as_of, moment=moment, troubles=said), memory)[0]


def brief_message(brief: Brief, number: int, now: datetime) -> Message:
    """The message of a brief, the `number`th of its day."""
    key = f"brief/{brief.as_of}/{number}"
    sites = tuple(dict.fromkeys(site for matter in brief.matters for site in matter.sites))
    return Message(
        key, "brief", brief.as_of, subject(brief), brief_text(brief), brief_page(brief), now, sites
    )


def alarm_message(matter: Matter, settings: Settings, footing: Sequence[str], now: datetime) -> Message:
    """The message of one alarm."""
    day = now.astimezone(ZoneInfo(settings.season.timezone)).date()
    page = alarm_page(matter, heading=settings.season.name, footing=tuple(footing))
    return Message(
        matter.key, matter.kind, day, matter.title, alarm_text(matter, footing), page, now, matter.sites
    )


def queue_brief(outbox: Outbox, now: Situation, to: Addressees, *, written_at: datetime) -> Brief:
    """Put the brief into the outbox, if there is anything to tell, and remember it as sent."""
    as_of = now.forecast.as_of
    brief, told = brief_of(now, outbox.memory(SENT, as_of))
    messages = []
    if brief.matters:
        messages.append(brief_message(brief, outbox.message_count(f"brief/{as_of}/") + 1, written_at))
    places = {message.key: to.brief for message in messages}
    outbox.queue(messages, places, {SENT: told}, as_of=as_of, now=written_at)
    return brief


def queue_alarms(outbox: Outbox, now: Situation, to: Addressees) -> list[Matter]:
    """Put the alarms that speak now into the outbox."""
    as_of = now.forecast.as_of
    memory = outbox.memory(ALARMS, as_of)
    told = memory[1] if memory is not None and fall_of(memory[0]) == now.forecast.fall else {}
    matters, after = alarms(now, told)
    footing = (sentences.heading(now.forecast), sentences.sources(now.forecast), *_credits(now))
    _queue(outbox, matters, after, now.settings, footing, to, as_of=as_of, now=now.moment, before=told)
    return matters


def queue_no_forecast(
    outbox: Outbox,
    reasons: tuple[str, ...],
    settings: Settings,
    to: Addressees,
    *,
    as_of: date,
    now: datetime,
) -> list[Matter]:
    """Put the alarm that no forecast can be made into the outbox."""
    memory = outbox.memory(ALARMS, as_of)
    told = memory[1] if memory is not None else {}
    matters, after = no_forecast(
        tuple(clean(reason) for reason in reasons),
        told,
        fall=fall_of(as_of) or as_of.year,
        moment=now,
        repeat_hours=settings.alarms.repeat_hours,
    )
    _queue(outbox, matters, after, settings, (), to, as_of=as_of, now=now, before=told)
    return matters


def _queue(
    outbox: Outbox,
    matters: Sequence[Matter],
    after: Mapping[str, Any],
    settings: Settings,
    footing: Sequence[str],
    to: Addressees,
    *,
    as_of: date,
    now: datetime,
    before: Mapping[str, Any],
) -> None:
    if not matters and after == before:
        return
    messages = [alarm_message(matter, settings, footing, now) for matter in matters]
    places = {message.key: to.alarms for message in messages}
    outbox.queue(messages, places, {ALARMS: after}, as_of=as_of, now=now)
