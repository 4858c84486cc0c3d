"""What the office says about a site: dates told, agreed and called off, and notes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from forecaster.errors import BadInput, Problem
from forecaster.season import events as said
from forecaster.season.events import Entry, Event
from forecaster.season.known_sites import KnownSite
from forecaster.season.state import derive
from forecaster.season.state_sheet import standing_dates
from forecaster.web.forms import Form, Stale, read_form
from forecaster.web.pages.site import show_again
from forecaster.web.record import basics_of, desk_of, record
from forecaster.web.route_write import MOVING_KINDS

MADE = {"told": said.told, "booked": said.booked}


def dates(request: Request) -> Response:
    """Record a date told to or agreed with the customer, or that it was called off."""
    form, site = read_form(request, right="change"), _site(request)
    what, today = form.text("what"), desk_of(request).as_of()
    day = form.day("day") if what in MADE else None
    if what in MADE:
        form.needed("day", day, "Choose the day.")
    elif what != "off":
        form.problem("", "Choose whether the date was told, agreed or called off.")
    why = form.cleaned("why")
    if form.problems:
        return show_again(request, site.site_id, form)

    def decide(events: tuple[Event, ...]) -> Sequence[Entry]:
        state = derive(events, season=basics_of(request).year)
        if day is None:
            standing = standing_dates(site.site_id, site.sheet_dates, state)
            if not standing:
                raise BadInput(Problem("", "There is no told or booked date to call off."))
            return [said.unbooked(site.site_id, today, dates=standing, reason=why)]
        holds = state.booked if what == "booked" else state.told
        if holds.get(site.site_id) == day:
            raise BadInput(Problem("day", "is recorded already. Nothing was changed."))
        return _allowed(request, MADE[what](site.site_id, today, day), events)

    return _recorded(request, site, form, decide)


def note(request: Request) -> Response:
    """Keep a note about the site."""
    form, site = read_form(request, right="change"), _site(request)
    text = form.cleaned("text")
    if not text and "text" not in form.problems:
        form.problem("text", "is empty. Write the note.")
    if form.problems:
        return show_again(request, site.site_id, form)
    made = record(request, said.note(desk_of(request).as_of(), text, site_id=site.site_id))
    return RedirectResponse(f"/entered/{made[0].event.event_id}", status_code=303)


def _allowed(request: Request, entry: Entry, events: tuple[Event, ...]) -> list[Entry]:
    """The entry, if the season's rules allow it."""
    from forecaster.season.ledger_rules import refusal

    basics = basics_of(request)
    state = derive(events, season=basics.year)
    today: date = desk_of(request).as_of()
    text = refusal(entry, state, today=today, year=basics.year, cure="undo of event")
    if text is not None:
        raise BadInput(Problem("", text))
    return [entry]


def _recorded(request: Request, site: KnownSite, form: Form, decide: object) -> Response:
    def things(event: Event) -> bool:
        return event.site_id == site.site_id and event.kind in MOVING_KINDS

    assert callable(decide)
    try:
        made = record(request, decide=decide, seen=form.seen(), things=things, once="no")
    except BadInput as error:
        for problem in error.problems:
            form.problem(problem.where, problem.text)
        return show_again(request, site.site_id, form)
    except Stale as error:
        form.problem("", str(error))
        form.fields = {name: text for name, text in form.fields.items() if name != "seen"}
        return show_again(request, site.site_id, form, status=409)
    return RedirectResponse(f"/entered/{made[0].event.event_id}", status_code=303)


def _site(request: Request) -> KnownSite:
    found = basics_of(request).sites.get(request.path_params["site_id"])
    if found is None:
        raise HTTPException(404)
    return found


def address_of(site_id: str) -> str:
    """Address of a site's page.

    >>> address_of("V 3/4")
    '/site/V%203%2F4'
    """
    return f"/site/{quote(site_id, safe='')}"


ROUTES = [
    Route("/site/{site_id}/dates", dates, methods=["POST"]),
    Route("/site/{site_id}/note", note, methods=["POST"]),
]
