"""Entering a reading or a closing, the confirmation with its way back, and taking something back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from forecaster.errors import BadInput
from forecaster.forecast import SiteForecast
from forecaster.report.words import Z_80, about, weekday_date
from forecaster.season import events
from forecaster.season.cells import parse_choice
from forecaster.season.event_words import event_words
from forecaster.season.events import Entry, Event
from forecaster.season.known_sites import Basics, KnownSite
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_rules import UNDONE_KINDS, undo_entries
from forecaster.season.moments import parse_clock
from forecaster.season.quantities import LENGTH_UNITS, TEMPERATURE_UNITS, parse_number, parse_quantity
from forecaster.season.readings_file import READING_DEPTH, SKIES, WATER
from forecaster.season.state import undone_events
from forecaster.web.access import Session
from forecaster.web.forms import Form, Stale, read_form, require
from forecaster.web.moved import moved
from forecaster.web.page import render
from forecaster.web.record import about_site, basics_of, desk_of, last_seen, record, who_of
from forecaster.web.security import Refused

CREW_KINDS = frozenset({"reading", "closed", "skipped"})
"""Kinds that the crew enters, and may take back where the same person entered them."""

DOUBT_C, DOUBT_SDS = 5.0, 3.0
"""A reading is questioned when it is farther from the estimate than both [°C, standard deviations]; ours."""

DOUBT_DAYS = 2
"""Only readings of the last days are held against today's estimate."""

_WATER = re.compile(r"([+-]?\d*[.,]?\d+)\s*(?:°|deg)?\s*([FfCc])")


# --- reading


def reading_form(request: Request) -> Response:
    """The form for a water temperature."""
    require(request, "enter")
    return _shown(request, "reading.html.j2", _site(request), Form(_first_fields(request)))


def reading(request: Request) -> Response:
    """Record a water temperature."""
    form, site, basics = read_form(request, right="enter"), _site(request), basics_of(request)
    water_c = form.needed(
        "water", form.parsed("water", lambda said: water_of(said, basics)), "Write it like 52.3."
    )
    day = form.needed("day", form.day("day"), "Choose the day.")
    depth_unit = LENGTH_UNITS[0 if basics.units == "us" else 1]
    hour = form.parsed("at", parse_clock)
    depth_m = form.parsed(
        "depth", lambda said: parse_quantity(said, READING_DEPTH, depth_unit, decimal_comma="," in said)
    )
    sky = form.parsed("sky", lambda said: parse_choice(said, SKIES)) or ""
    by, thermometer = form.cleaned("by"), form.cleaned("thermometer")
    doubt = (
        ""
        if water_c is None or day is None
        else _doubt(request, site, water_c, (desk_of(request).as_of() - day).days)
    )
    if doubt and not form.text("sure"):
        form.problem("water", doubt)
    if form.problems or water_c is None or day is None:
        return _shown(request, "reading.html.j2", site, form, status=422, doubt=bool(doubt))
    entry = events.reading(
        site.site_id, day, water_c, hour=hour, depth_m=depth_m, by=by, sky=sky, thermometer=thermometer
    )
    return _recorded(request, "reading.html.j2", site, form, entry)


def water_of(said: str, basics: Basics) -> float:
    """A water temperature [°C], said in the season's unit, or with F or C behind it."""
    unit, number = basics.temperature_unit, said
    found = _WATER.fullmatch(said)
    if found:
        unit, number = TEMPERATURE_UNITS[0 if found[2].casefold() == "f" else 1], found[1]
    return parse_quantity(number, WATER, unit, decimal_comma="," in number)


def _doubt(request: Request, site: KnownSite, water_c: float, days_ago: int) -> str:
    """A question where a reading is far from what the water can be now, "" where it is not."""
    snapshot = desk_of(request).current()
    found = _forecast_of(request, site.site_id)
    if snapshot is None or found is None or found.water_now_c is None or not 0 <= days_ago <= DOUBT_DAYS:
        return ""
    off_c = abs(water_c - found.water_now_c)
    if off_c <= max(DOUBT_C, DOUBT_SDS * (found.water_now_sd_c or 0.0) * Z_80):
        return ""
    estimate = about(found.water_now_c, found.water_now_sd_c, snapshot.forecast.units)
    return (
        f"is far from the estimate, {estimate}. Look at the unit and the probe; if it is right, say so below."
    )


# --- closing


def closing_form(request: Request) -> Response:
    """The form for a closing that was done."""
    require(request, "enter")
    return _shown(request, "closing.html.j2", _site(request), Form(_first_fields(request)))


def closing(request: Request) -> Response:
    """Record that a site was closed, or that the crew left without closing it."""
    form, site = read_form(request, right="enter"), _site(request)
    day = form.needed("day", form.day("day"), "Choose the day.")
    by, done = form.cleaned("by"), form.cleaned("done")
    crew_hours = form.parsed(
        "hours", lambda said: parse_number(said, low=0, high=200, decimal_comma="," in said)
    )
    skipped = form.text("what") == "skipped"
    if skipped and not done:
        form.problem("done", "is needed: why the crew left without closing.")
    if form.problems or day is None:
        return _shown(request, "closing.html.j2", site, form, status=422)
    if skipped:
        entry = events.skipped(site.site_id, day, reason=done, by=by)
    else:
        entry = events.closed(site.site_id, day, by=by, done=done, crew_hours=crew_hours)
    return _recorded(request, "closing.html.j2", site, form, entry)


# --- confirmation and undo


def entered(request: Request) -> Response:
    """What was recorded, the way back, and how the estimate moved by it."""
    require(request, "look")
    desk, basics = desk_of(request), basics_of(request)
    event, undone_by = _event(request)
    snapshot, before = desk.current(), desk.before(event.event_id)
    known = snapshot is not None and snapshot.last_event_id >= event.event_id and not desk.pending()
    changes = []
    if known and snapshot is not None and before is not None and event.site_id:
        changes = moved(before, snapshot, event.site_id)
    return render(
        request,
        "entered.html.j2",
        event=event,
        words=event_words(event, basics),
        name=basics.name_of(event.site_id) if event.site_id else "season",
        site_id=event.site_id if event.site_id in basics.sites else "",
        undone_by=undone_by,
        may_undo=undone_by is None and may_undo(request.state.session, who_of(request), event),
        known=known,
        changes=changes,
    )


def undo(request: Request) -> Response:
    """Take an event back, or an undo back."""
    form = read_form(request, right="enter")
    basics, who = basics_of(request), who_of(request)
    event, _ = _event(request)
    if not may_undo(request.state.session, who, event):
        raise Refused(403, "Only the office may take that back.")

    def describe(one: Event) -> str:
        return f"{basics.name_of(one.site_id)}: {event_words(one, basics)}"

    def decide(all_events: tuple[Event, ...]) -> Sequence[Entry]:
        return undo_entries(
            all_events, str(event.event_id), who=who, reason=form.cleaned("reason"), describe=describe
        )

    made = record(request, decide=decide)
    return RedirectResponse(f"/entered/{made[0].event.event_id}", status_code=303)


def may_undo(session: Session, who: str, event: Event) -> bool:
    """Whether somebody may take an event back: the office all, the crew what they entered themselves."""
    if event.kind not in UNDONE_KINDS:
        return False
    if session.may("change"):
        return True
    return session.may("enter") and event.kind in (*CREW_KINDS, "undo") and event.who == who


# --- shared


def _event(request: Request) -> tuple[Event, int | None]:
    """The event of the address, and the one that took it back, None where it stands."""
    number = int(request.path_params["event_id"])
    ledger = open_ledger(desk_of(request).folder, readonly=True)
    if ledger is None or number >= 2**62:
        raise HTTPException(404)
    with ledger:
        all_events = ledger.events()
    event = next((one for one in all_events if one.event_id == number), None)
    if event is None:
        raise HTTPException(404)
    undone = undone_events(all_events)
    takers = [e.event_id for e in all_events if e.undoes == number and e.event_id not in undone]
    return event, takers[-1] if takers else None


def _site(request: Request) -> KnownSite:
    """The site of the address, as the sheet has it now."""
    found = basics_of(request).sites.get(request.path_params["site_id"])
    if found is None:
        raise HTTPException(404)
    return found


def _forecast_of(request: Request, site_id: str) -> SiteForecast | None:
    snapshot = desk_of(request).current()
    if snapshot is None:
        return None
    return next((site for site in snapshot.forecast.sites if site.site.site_id == site_id), None)


def _first_fields(request: Request) -> dict[str, str]:
    """What a new form holds."""
    desk = desk_of(request)
    return {"day": desk.as_of().isoformat(), "what": "closed"}


def _shown(
    request: Request, template: str, site: KnownSite, form: Form, *, status: int = 200, **context: Any
) -> Response:
    desk, basics = desk_of(request), basics_of(request)
    found = _forecast_of(request, site.site_id)
    snapshot = desk.current()
    units = snapshot.forecast.units if snapshot else basics.units
    return render(
        request,
        template,
        status=status,
        reload_when_new=False,
        form=form,
        site=site,
        basics=basics,
        seen=form.text("seen") or last_seen(desk.folder, about_site(site.site_id)),
        estimate=about(found.water_now_c, found.water_now_sd_c, units)
        if found and found.water_now_c is not None
        else "",
        planned=weekday_date(found.planned_date) if found and found.planned_date else "",
        **{"doubt": False, **context},
    )


def _recorded(request: Request, template: str, site: KnownSite, form: Form, entry: Entry) -> Response:
    """Record one entry and go on to its confirmation; or show the form with what is wrong."""
    try:
        made = record(request, entry, seen=_seen_for(entry, form), things=about_site(site.site_id))
    except BadInput as error:
        form.problem("", " ".join(problem.text for problem in error.problems))
        return _shown(request, template, site, form, status=422)
    except Stale as error:
        form.problem("", str(error))
        form.fields = {key: text for key, text in form.fields.items() if key != "seen"}
        return _shown(request, template, site, form, status=409)
    return RedirectResponse(f"/entered/{made[0].event.event_id}", status_code=303)


def _seen_for(entry: Entry, form: Form) -> int | None:
    """Two readings never contradict each other; a closing may contradict what somebody else just said."""
    return None if entry.kind == "reading" else form.seen()


ROUTES = [
    Route("/site/{site_id}/reading", reading_form, methods=["GET"]),
    Route("/site/{site_id}/reading", reading, methods=["POST"]),
    Route("/site/{site_id}/closing", closing_form, methods=["GET"]),
    Route("/site/{site_id}/closing", closing, methods=["POST"]),
    Route("/entered/{event_id:int}", entered, methods=["GET"]),
    Route("/undo/{event_id:int}", undo, methods=["POST"]),
]
