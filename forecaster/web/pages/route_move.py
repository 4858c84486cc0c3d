"""Moving one visit: what each crew-day would cost, one of them before it is done, doing it, undoing it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, cast, get_args
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from forecaster.errors import BadInput, Problem
from forecaster.forecast import SiteForecast
from forecaster.report.words import percent
from forecaster.route.assign import Slot
from forecaster.route.move_cost import MoveCost, place_of
from forecaster.season.event_words import event_words
from forecaster.season.events import Entry, Event
from forecaster.season.ledger_rules import undo_entries
from forecaster.web import route_view
from forecaster.web.forms import Form, Stale, read_form, require
from forecaster.web.page import render
from forecaster.web.pages.site import shown_plan
from forecaster.web.record import basics_of, desk_of, record, who_of
from forecaster.web.route_write import (
    AskedMove,
    Customer,
    decide_accept,
    decide_move,
    decide_release,
    group_of,
)
from forecaster.web.shown_plan import ShownPlan
from forecaster.web.site_view import PART_NAMES

CHEAPEST = 10
"""Crew-days that are shown first, cheapest first."""


def move_page(request: Request) -> Response:
    """What moving a visit would cost, to every crew-day and to the one that the address names."""
    require(request, "change")
    shown, found = _asked_site(request)
    to = _slot(request.query_params.get("to", ""), request.query_params.get("crew", ""), shown)
    if request.query_params.get("part") == "cost":
        if to is None:
            raise HTTPException(404)
        return render(request, "route_move_cost.html.j2", **move_context(shown, found, to))
    return _shown(request, shown, found, to)


def costs(request: Request) -> Response:
    """What moving a visit to each crew-day would cost, for the page's script."""
    require(request, "change")
    shown, found = _asked_site(request)
    site_id = found.site.site_id
    here = place_of(shown.plan, site_id)
    listed = [
        {
            "day": slot.day.isoformat(),
            "crew": slot.crew,
            "words": _short(shown.desk.price(shown.plan, site_id, slot), is_here=slot == here),
        }
        for slot in shown.desk.task.slots
    ]
    return JSONResponse({"site": site_id, "costs": listed})


def move(request: Request) -> Response:
    """Do the move that the form names, unless somebody was faster or it is not allowed."""
    form = read_form(request, right="change")
    desk = desk_of(request)
    state = shown_plan(request)
    if state is None:
        raise HTTPException(404)
    snapshot, shown = state
    asked = _asked_move(form, shown)
    try:
        made = record(
            request,
            decide=decide_move(snapshot, asked, today=desk.as_of(), year=basics_of(request).year),
            once="no",
        )
    except (BadInput, Stale) as error:
        return _again(request, asked, form, error)
    return RedirectResponse(f"/route?done={made[0].event.event_id}#d{asked.after.day}", status_code=303)


def release(request: Request) -> Response:
    """Let the plan choose again where a visit goes."""
    form = read_form(request, right="change")
    site_id, desk = form.text("site"), desk_of(request)
    if site_id not in basics_of(request).sites:
        raise HTTPException(404)
    decide = decide_release(site_id, seen=_seen(form), today=desk.as_of(), year=basics_of(request).year)
    made = record(request, decide=decide, once="no")
    return RedirectResponse(f"/route?done={made[0].event.event_id}", status_code=303)


def accept(request: Request) -> Response:
    """Put the plan as shown in force."""
    form = read_form(request, right="change")
    state = shown_plan(request)
    if state is None:
        raise HTTPException(404)
    snapshot, _ = state
    decide = decide_accept(
        snapshot,
        seen=_seen(form),
        sites=snapshot.known.sites,
        confirmed=bool(form.text("confirm")),
        today=desk_of(request).as_of(),
        year=basics_of(request).year,
    )
    made = record(request, decide=decide, once="no")
    return RedirectResponse(f"/route?done={made[0].event.event_id}", status_code=303)


def undo(request: Request) -> Response:
    """Take a move or an accepted plan back, with everything that was written with it."""
    form = read_form(request, right="change")
    number, basics, who = form.text("event"), basics_of(request), who_of(request)
    if not (number.isascii() and number.isdecimal() and len(number) < 10):
        raise BadInput(Problem("event", "is not the number of an event. Open the page again."))

    def describe(event: Event) -> str:
        return (
            f"{basics.name_of(event.site_id)}: {event_words(event, basics)}" if event.site_id else event.kind
        )

    def decide(events: tuple[Event, ...]) -> Sequence[Entry]:
        first, last = group_of(events, int(number))
        said = number if first == last else f"{first}-{last}"
        return undo_entries(events, said, who=who, reason="", describe=describe)

    made = record(request, decide=decide, once="no")
    return RedirectResponse(f"/route?done={made[0].event.event_id}", status_code=303)


# --- shared


def _asked_site(request: Request) -> tuple[ShownPlan, SiteForecast]:
    state = shown_plan(request)
    if state is None:
        raise HTTPException(503, "The first estimate is being made. Ask again in a few seconds.")
    found = state[1].site(request.path_params["site_id"])
    if found is None:
        raise HTTPException(404)
    return state[1], found


def _slot(day: str, crew: str, shown: ShownPlan) -> Slot | None:
    """The crew-day of an address or form, None where it is none of the season."""
    try:
        slot = Slot(date.fromisoformat(day), crew)
    except ValueError:
        return None
    return slot if crew in shown.desk.task.crew_index else None


def _seen(form: Form) -> int:
    seen = form.seen()
    if seen is None:
        raise BadInput(Problem("seen", "is missing. Open the page again, then send it."))
    return seen


def _asked_move(form: Form, shown: ShownPlan) -> AskedMove:
    after = _slot(form.text("to"), form.text("crew"), shown)
    customer = form.text("customer") or "no"
    if after is None:
        raise BadInput(Problem("to", "is no crew-day of this season. Open the page again."))
    if customer not in get_args(Customer):
        raise BadInput(Problem("customer", "is none of the choices. Open the page again."))
    return AskedMove(
        site_id=form.text("site"),
        before=_slot(form.text("from"), form.text("from_crew"), shown),
        after=after,
        seen=_seen(form),
        customer=cast(Customer, customer),
    )


def _again(request: Request, asked: AskedMove, form: Form, error: BadInput | Stale) -> Response:
    """The page of the move with what is wrong, priced anew; nothing was written."""
    state = shown_plan(request)
    found = None if state is None else state[1].site(asked.site_id)
    if state is None or found is None:
        raise error
    lines = [str(error)] if isinstance(error, Stale) else [f"{p.where} {p.text}" for p in error.problems]
    status = 409 if isinstance(error, Stale) else 422
    return _shown(request, state[1], found, asked.after, wrong=lines, status=status)


def _shown(
    request: Request,
    shown: ShownPlan,
    found: SiteForecast,
    to: Slot | None,
    *,
    wrong: Sequence[str] = (),
    status: int = 200,
) -> Response:
    options = shown.desk.options(shown.plan, found.site.site_id)
    return render(
        request,
        "route_move.html.j2",
        status=status,
        reload_when_new=False,
        options=options,
        cheapest=sorted(options, key=lambda cost: (cost.total, cost.after.day))[:CHEAPEST],
        chosen=to is not None,
        wrong=wrong,
        address=lambda slot: move_address(found.site.site_id, slot),
        **move_context(shown, found, to),
    )


def move_context(shown: ShownPlan, found: SiteForecast, to: Slot | None) -> dict[str, Any]:
    """What the page of a move and its cost show."""
    site_id = found.site.site_id
    here = place_of(shown.plan, site_id)
    return {
        "found": found,
        "site": found.site,
        "forecast": shown.forecast,
        "here": here,
        "seen": shown.last_event_id,
        "cost": None if to is None else shown.desk.price(shown.plan, site_id, to),
        "lines": [] if to is None else cost_lines(shown.desk.price(shown.plan, site_id, to)),
        "marks": route_view.marks_of(shown, found),
        "place": route_view.place_words,
        "cost_words": route_view.cost_words,
        "hours_words": route_view.hours_words,
        "money": route_view.money,
        "percent_words": percent,
    }


def cost_lines(cost: MoveCost) -> list[tuple[str, str, str]]:
    """The parts of a move's cost: name, money, and what it comes from."""
    parts = [
        f"{PART_NAMES.get(part, part)} {route_view.money(change)}"
        for part, change in cost.parts.items()
        if round(change)
    ]
    loss = cost.losses[1] - cost.losses[0]
    lines = [("Expected loss", route_view.money(loss), ", ".join(parts) or "no part of it changes")]
    minutes = round(cost.drive_hours * 60)
    drive = (
        f"{abs(minutes)} minutes {'more' if minutes > 0 else 'less'} on the road" if minutes else "the same"
    )
    lines.append(("Driving", route_view.money(cost.drive_cost), drive))
    if cost.told_price:
        told = "a call to the customer" if cost.told_price > 0 else "no call is needed any more"
        lines.append(("Told date", route_view.money(cost.told_price), told))
    return lines


def _short(cost: MoveCost, *, is_here: bool) -> str:
    """A move in a few letters for the calendar; "" where it is not possible."""
    if is_here:
        return "here"
    if cost.forbidden:
        return ""
    return route_view.money(cost.total) + (" full" if cost.joined.over > route_view.FULL_H else "")


def move_address(site_id: str, slot: Slot | None = None) -> str:
    """Address of the page of a move.

    >>> move_address("V 3/4", Slot(date(2025, 10, 14), "A & B"))
    '/route/move/V%203%2F4?to=2025-10-14&crew=A%20%26%20B'
    """
    to = f"?to={slot.day}&crew={quote(slot.crew, safe='')}" if slot else ""
    return f"/route/move/{quote(site_id, safe='')}{to}"


ROUTES = [
    Route("/route/move", move, methods=["POST"]),
    Route("/route/release", release, methods=["POST"]),
    Route("/route/accept", accept, methods=["POST"]),
    Route("/route/undo", undo, methods=["POST"]),
    Route("/route/costs/{site_id:path}", costs),
    Route("/route/move/{site_id:path}", move_page),
]
