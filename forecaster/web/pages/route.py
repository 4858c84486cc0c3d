"""The scheduler's desk: the plan as a calendar of crew-days or as a table, and the whole plan's figures."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.errors import BadInput, Notice
from forecaster.report.plan_words import plan_facts
from forecaster.report.words import clean
from forecaster.season.event_words import event_words
from forecaster.season.events import Event
from forecaster.web import route_view
from forecaster.web.page import render
from forecaster.web.pages.site import shown_plan
from forecaster.web.record import basics_of
from forecaster.web.route_view import SORTS, TableAsked
from forecaster.web.route_write import accept_doubts, group_of
from forecaster.web.shown_plan import ShownPlan
from forecaster.web.snapshot import Snapshot

STATES = {"ready": "ready", "waiting": "waiting", "no_forecast": "no water forecast"}
FACTS_OPEN = 2
"""Facts of the plan as a whole that are always shown."""


def days(request: Request) -> Response:
    """The calendar of crew-days."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    snapshot, shown = state
    weeks = route_view.weeks_of(shown)
    return render(
        request,
        "route_days.html.j2",
        view="days",
        weeks=weeks,
        columns=route_view.shown_weekdays(weeks),
        hours_words=route_view.hours_words,
        **common(request, snapshot, shown),
    )


def table(request: Request) -> Response:
    """The table of all open sites, sorted and filtered."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    snapshot, shown = state
    asked = table_asked(request, shown)
    chosen = route_view.chosen_rows(route_view.rows_of(shown), asked)
    rows, page, pages = route_view.pages_of(chosen, asked.page)
    return render(
        request,
        "route_table.html.j2",
        view="table",
        asked=asked,
        sorts=SORTS,
        rows=rows,
        found=len(chosen),
        page=page,
        pages=pages,
        states=STATES,
        address=lambda **change: table_address(asked, **change),
        **common(request, snapshot, shown),
    )


def table_asked(request: Request, shown: ShownPlan) -> TableAsked:
    """What the address asks for; what it does not know is left as usual."""
    said = request.query_params
    sort, crew, state = said.get("sort", "day"), said.get("crew", ""), said.get("state", "")
    page = said.get("page", "1")
    names = {crew.name for crew in shown.desk.crews}
    return TableAsked(
        sort=sort if sort in SORTS else "day",
        crew=crew if crew in names or crew == "-" else "",
        state=state if state in STATES else "",
        page=int(page) if page.isascii() and page.isdecimal() and len(page) < 6 else 1,
    )


def table_address(asked: TableAsked, **change: Any) -> str:
    """The address of the table with something changed; another order begins at the first page.

    >>> table_address(TableAsked(crew="North"), sort="risk")
    '/route/table?sort=risk&crew=North'
    """
    from urllib.parse import urlencode

    fields = {"sort": asked.sort, "crew": asked.crew, "state": asked.state, **change}
    given = {name: value for name, value in fields.items() if value and (name, value) != ("sort", "day")}
    return "/route/table" + (f"?{urlencode(given)}" if given else "")


def common(request: Request, snapshot: Snapshot, shown: ShownPlan) -> dict[str, Any]:
    """What each view of the route shows around it."""
    facts = plan_facts(shown.forecast)
    in_force, differing = route_view.in_force_words(shown)
    open_sites = [site for site in shown.forecast.sites if site.site.site_id not in shown.closed]
    return {
        "forecast": shown.forecast,
        "shown": shown,
        "seen": shown.last_event_id,
        "pages_there": request.app.state.pages,
        "crews": [crew.name for crew in shown.desk.crews],
        "facts": facts[:FACTS_OPEN],
        "more_facts": facts[FACTS_OPEN:],
        "in_force": in_force,
        "differing": differing,
        "doubts": _doubts(snapshot, shown),
        "unplaced": [site for site in open_sites if site.planned_date is None],
        "said": _said(request, shown),
        "sheet_notices": [n for n in snapshot.forecast.warnings if _about_plan(n)][:8],
    }


def _doubts(snapshot: Snapshot, shown: ShownPlan) -> tuple[Notice, ...]:
    return accept_doubts(shown.state, snapshot.known.sites, units=snapshot.forecast.units)


def _about_plan(notice: Notice) -> bool:
    return "moved by hand" in notice.text or "booked" in notice.text


def _said(request: Request, shown: ShownPlan) -> dict[str, Any] | None:
    """What was just done, named by `?done=EVENT`, with its way back; None for nothing or for nonsense."""
    text = request.query_params.get("done", "")
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        return None
    number = int(text)
    event = next((event for event in shown.state.events if event.event_id == number), None)
    if event is None or event.kind not in ("placed", "plan", "undo", "booked", "told"):
        return None
    try:
        basics = basics_of(request)
    except BadInput:  # settings or sheet are broken just now; the banner says so
        return None
    return {
        "event": number,
        "words": _done_words(shown, event, lambda one: clean(event_words(one, basics))),
        "undone": number in shown.state.undone,
        "is_undo": event.kind == "undo",
    }


def _done_words(shown: ShownPlan, event: Event, words: Any) -> str:
    """The whole group of an event in words: who was moved where, and what the customer was told."""
    first, last = group_of(shown.state.events, event.event_id)
    group = [one for one in shown.state.events if first <= one.event_id <= last]
    if event.kind == "undo":
        targets = {one.undoes for one in group}
        undone = [one for one in shown.state.events if one.event_id in targets]
        said = "; ".join(f"{clean(one.site_id)} {words(one)}".strip() for one in undone if one.kind != "plan")
        return f"Taken back: {said or 'the plan put in force'}."
    said = "; ".join(
        f"{clean(one.site_id)} {words(one)}" for one in group if one.kind not in ("plan", "sheet")
    )
    return f"Done: {said}." if said else "Done: the plan as shown is in force."


ROUTES = [
    Route("/route", days),
    Route("/route/table", table),
]
