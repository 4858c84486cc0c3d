"""Crew calendars for the office's own calendar program (RFC 5545), one visit an event.

A visit keeps its identifier through all plans, so that a calendar that is read in again updates the event
instead of adding one; a visit that has left a crew is sent to it once more as cancelled. Times are local
with their time zone, right across the end of daylight time. No clock: the stamp is the as-of date.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from forecaster.falls import fall_end, fall_start
from forecaster.forecast import RouteForecast
from forecaster.report.handover import VisitRow, visit_rows
from forecaster.report.words import clean, weekday_date

if TYPE_CHECKING:
    from icalendar import Calendar, Event

PRODUCT = "-//forecaster//fall closing plan//EN"
IDENTITY = "urn:forecaster:closing"


def crew_calendars(forecast: RouteForecast, *, with_access: bool = False) -> dict[str, bytes]:
    """Crew name -> calendar, for every crew of the season.

    Args:
        forecast: The finished forecast; its `in_force` tells which visits have left a crew.
        with_access: Put access notes and the sheet's notes (gate codes, phone numbers) into the events.
    """
    rows = visit_rows(forecast, with_access=with_access)
    names = [clean(crew.name) for crew in forecast.crews]
    names += [row.crew for row in rows if row.crew not in names]
    return {
        name: _calendar(forecast, name, [row for row in rows if row.crew == name], _left(forecast, name))
        for name in dict.fromkeys(names)
    }


def whole_calendar(forecast: RouteForecast, *, with_access: bool = False) -> bytes:
    """All crews in one calendar; each event names its crew."""
    rows = visit_rows(forecast, with_access=with_access)
    planned = {row.forecast.site.site_id for row in rows}
    gone = {site_id: place for site_id, place in _coming(forecast).items() if site_id not in planned}
    return _calendar(forecast, "", list(rows), gone)


def file_names(crews: Mapping[str, bytes]) -> dict[str, str]:
    """Crew name -> file name: letters, digits and hyphens, no two alike.

    >>> file_names({"North": b"", "Crew #1": b"", "Crew 1": b""})
    {'North': 'north.ics', 'Crew #1': 'crew-1.ics', 'Crew 1': 'crew-1-2.ics'}
    """
    names: dict[str, str] = {}
    for crew in crews:
        stem = re.sub(r"[^a-z0-9]+", "-", crew.casefold()).strip("-") or "crew"
        tried, number = stem, 1
        while f"{tried}.ics" in names.values():
            number += 1
            tried = f"{stem}-{number}"
        names[crew] = f"{tried}.ics"
    return names


def uid_of(forecast: RouteForecast, site_id: str) -> str:
    """Identifier of the closing of one site in one fall: the same in every plan of the season."""
    return f"{uuid5(NAMESPACE_URL, f'{IDENTITY}:{forecast.season_name}:{forecast.fall}:{site_id}')}"


def _coming(forecast: RouteForecast) -> dict[str, tuple[date, str]]:
    """Visits of the plan in force that were still to come."""
    return {
        site_id: place for site_id, place in sorted(forecast.in_force.items()) if place[0] >= forecast.as_of
    }


def _left(forecast: RouteForecast, crew: str) -> dict[str, tuple[date, str]]:
    """Visits that the plan in force gave to this crew and that it has no more."""
    stays = {site.site.site_id for site in forecast.sites if clean(site.planned_crew or "") == crew}
    return {
        site_id: place
        for site_id, place in _coming(forecast).items()
        if clean(place[1]) == crew and site_id not in stays
    }


def _calendar(
    forecast: RouteForecast, crew: str, rows: list[VisitRow], gone: Mapping[str, tuple[date, str]]
) -> bytes:
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"{clean(forecast.season_name)}{f': {crew}' if crew else ''}")
    zone = ZoneInfo(forecast.timezone)
    for row in rows:
        calendar.add_component(_visit(forecast, row, zone, name_crew=not crew))
    for site_id, (day, _) in gone.items():
        calendar.add_component(_cancelled(forecast, site_id, day, zone))
    _add_zone(calendar, forecast)
    return bytes(calendar.to_ical())


def _add_zone(calendar: Calendar, forecast: RouteForecast) -> None:
    """The rules of the time zone over the fall, for programs that do not know it by name."""
    first, last = fall_start(forecast.fall), fall_end(forecast.fall) + timedelta(days=1)
    calendar.add_missing_timezones(first_date=first, last_date=last)


def _event(forecast: RouteForecast, site_id: str) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", uid_of(forecast, site_id))
    event.add("dtstamp", datetime.combine(forecast.as_of, time(0), tzinfo=UTC))
    # rises with each morning and with each event of the ledger: a visit moved twice a day still moves
    event.add("sequence", max(0, (forecast.as_of - fall_start(forecast.fall)).days) + forecast.last_event_id)
    return event


def _visit(forecast: RouteForecast, row: VisitRow, zone: ZoneInfo, *, name_crew: bool) -> Event:
    site = row.forecast.site
    event = _event(forecast, site.site_id)
    crew = f" ({row.crew})" if name_crew else ""
    event.add("summary", f"Close {clean(site.site_id)} {clean(site.customer)}{crew}".strip())
    event.add("dtstart", datetime.combine(row.day, row.arrive, tzinfo=zone))
    event.add("dtend", datetime.combine(row.day, row.leave, tzinfo=zone))
    event.add("location", clean(site.address) or f"{site.latitude:.5f}, {site.longitude:.5f}")
    event.add("geo", (site.latitude, site.longitude))
    lines = [f"Stop {row.stop} of {row.crew} on {weekday_date(row.day)}.", clean(row.forecast.reason)]
    event.add("description", "\n".join([*lines, *([f"Access: {row.access}"] if row.access else [])]))
    event.add("categories", [row.crew])
    event.add("status", "CONFIRMED")
    return event


def _cancelled(forecast: RouteForecast, site_id: str, day: date, zone: ZoneInfo) -> Event:
    event = _event(forecast, site_id)
    event.add("summary", f"Cancelled: close {clean(site_id)}")
    event.add("dtstart", datetime.combine(day, time(8), tzinfo=zone))
    event.add("dtend", datetime.combine(day, time(9), tzinfo=zone))
    event.add("status", "CANCELLED")
    return event
