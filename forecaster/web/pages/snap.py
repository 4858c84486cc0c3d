"""After a cold snap, on the phone: who goes first, what fits before dark, and that it was done."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from forecaster.errors import BadInput, Problem
from forecaster.season import events as said
from forecaster.season.settings import read_settings
from forecaster.season.state_sheet import PROTECTED
from forecaster.web.forms import read_form
from forecaster.web.page import render
from forecaster.web.record import about_site, basics_of, desk_of, record, who_of
from forecaster.web.snap_shelf import SnapShelf

SHELF = SnapShelf()
"""The parts of the last state, for all who ask."""


def snap(request: Request) -> Response:
    """The page; `?crews=2` shows the day of so many crews."""
    desk = desk_of(request)
    snapshot = desk.current()
    if snapshot is None:
        return render(request, "first.html.j2")
    parts = SHELF.parts(desk.folder, snapshot)
    problem = None if parts is None else parts.get("problem")
    options = {} if parts is None or problem else {int(n): html for n, html in parts["options"].items()}
    asked = request.query_params.get("crews", "")
    crews = int(asked) if asked.isascii() and asked.isdigit() and int(asked) in options else None
    return render(
        request,
        "snap.html.j2",
        reload_when_new=parts is None,
        parts=None if problem else parts,
        snap_problem=problem,
        options=options,
        crews=crews if crews is not None else (parts or {}).get("chosen", 0),
    )


def saved(request: Request) -> Response:
    """The whole page as one file for the phone, which works without a network and says its age."""
    desk = desk_of(request)
    snapshot = desk.current()
    parts = None if snapshot is None else SHELF.parts(desk.folder, snapshot)
    if parts is None or "page" not in parts:
        return RedirectResponse("/snap", status_code=303)
    headers = {"content-disposition": 'attachment; filename="snap.html"', "cache-control": "no-store"}
    return Response(parts["page"], headers=headers, media_type="text/html; charset=utf-8")


def protected(request: Request) -> Response:
    """Record a quick visit: power off, pump out or lines drained."""
    form = read_form(request, right="enter")
    desk, site_id = desk_of(request), form.text("site_id")
    if site_id not in basics_of(request).sites:
        raise BadInput(Problem("site", "is not in the site sheet. Choose one of the list."))
    today = desk.as_of()
    minutes = read_settings(desk.folder).snap.quick_visit_minutes
    entry = said.visit(
        site_id, today, f"{PROTECTED}: power off, pump out or lines drained",
        visit_date=today, crew_hours=minutes / 60.0, by=who_of(request),
    )  # fmt: skip
    made = record(request, entry, things=about_site(site_id))
    return RedirectResponse(f"/entered/{made[0].event.event_id}", status_code=303)


ROUTES = [
    Route("/snap", snap),
    Route("/snap/snap.html", saved),
    Route("/snap/protected", protected, methods=["POST"]),
]
