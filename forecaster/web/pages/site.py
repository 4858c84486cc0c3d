"""One site: what the estimate says and why, the plan, what was said and done, and the forms to add to it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.errors import BadInput, did_you_mean
from forecaster.forecast import SeasonCurves, SiteForecast
from forecaster.report import sentences
from forecaster.report.site_page import why_planned
from forecaster.report.strip import dates_of
from forecaster.report.svg import strip_svg
from forecaster.report.words import clean
from forecaster.season.sites import Site
from forecaster.web import site_view
from forecaster.web.contact import contact_of
from forecaster.web.forms import Form
from forecaster.web.page import render
from forecaster.web.record import basics_of, desk_of
from forecaster.web.shown_plan import PlanShelf, ShownPlan
from forecaster.web.site_charts import loss_chart, water_chart
from forecaster.web.snapshot import Snapshot
from forecaster.web.winter_due import lines_of

SHELF = PlanShelf()
"""The plan as shown, for all pages of the desk."""


def shown_plan(request: Request) -> tuple[Snapshot, ShownPlan] | None:
    """The present state and the plan to show for it; None before there is any."""
    desk = desk_of(request)
    snapshot = desk.current()
    return None if snapshot is None else (snapshot, SHELF.shown(desk.folder, snapshot))


def site(request: Request) -> Response:
    """The page of one site."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    snapshot, shown = state
    site_id = request.path_params["site_id"]
    found = shown.site(site_id)
    if found is None:
        return _elsewhere(request, snapshot, shown, site_id)
    return render(request, "site.html.j2", **site_context(request, snapshot, shown, found))


def show_again(request: Request, site_id: str, form: Form, *, status: int = 422) -> Response:
    """The page of a site with a form as it was sent, and what is wrong with it; nothing was recorded."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2", status=503)
    snapshot, shown = state
    found = shown.site(site_id)
    if found is None:
        return _elsewhere(request, snapshot, shown, site_id, form=form, status=status)
    context = site_context(request, snapshot, shown, found)
    return render(request, "site.html.j2", status=status, reload_when_new=False, form=form, **context)


def site_context(
    request: Request, snapshot: Snapshot, shown: ShownPlan, found: SiteForecast
) -> dict[str, Any]:
    """Everything that the page of an open site shows."""
    forecast, known = shown.forecast, snapshot.known
    site_id = found.site.site_id
    days = snapshot.days.get(site_id)
    readings = site_view.readings_of(known, site_id)
    return {
        "found": found,
        "forecast": forecast,
        "facts": site_view.facts_of(forecast, found, known, days),
        "strip": _strip(forecast.as_of, found),
        "customer_strip": _customer_strip(forecast.as_of, found),
        "customer_words": site_view.customer_words(found),
        "planned_facts": why_planned(forecast, found),
        "hand_placed": shown.hand_placed.get(site_id),
        "just_moved": site_id in shown.moved,
        "loss": _loss(shown, found),
        "loss_rows": site_view.loss_rows(forecast, found),
        "part_names": tuple(site_view.PART_NAMES.values()),
        "water": None
        if days is None
        else water_chart(
            days, readings, as_of=forecast.as_of, limits_c=_limits(snapshot, found), units=forecast.units
        ),
        "days": days,
        "outlook_rows": site_view.outlook_rows(days, forecast.units, from_day=forecast.as_of),
        "readings": readings,
        "readings_shown": site_view.READINGS_SHOWN,
        "state_words": site_view.state_words(found),
        **about_site(request, shown, found.site),
    }


def about_site(request: Request, shown: ShownPlan, about: Site) -> dict[str, Any]:
    """What is shown of any site, open or not: contacts, kit, history."""
    events, undone = shown.state.events, shown.state.undone
    try:
        history = site_view.history_of(events, undone, about.site_id, basics_of(request))
    except BadInput:  # settings or sheet are broken just now: the last good state is shown, without history
        history = []
    return {
        "site": about,
        "pages_there": request.app.state.pages,
        "depth_words": lambda depth_m: site_view.depth_words(depth_m, shown.forecast.units),
        "contact": contact_of(about),
        "kit": [(name, value) for name, value in about.extra.items() if not site_view.is_contact(name)],
        "history": history,
        "seen": shown.last_event_id,
        "closing": shown.state.closed.get(about.site_id),
        "moves": frozenset(e.event_id for e in events if e.kind == "placed"),
    }


def _elsewhere(
    request: Request,
    snapshot: Snapshot,
    shown: ShownPlan,
    site_id: str,
    *,
    form: Form | None = None,
    status: int = 200,
) -> Response:
    """The page of a site that is not open, or 404 with the names that may be meant."""
    about = next((one for one in snapshot.known.sites if one.site_id == site_id), None)
    if about is None:
        near = _near(snapshot, site_id)
        return render(request, "site_unknown.html.j2", status=404, asked=clean(site_id), near=near)
    runs = about.winter == "runs"
    return render(
        request,
        "site_closed.html.j2",
        status=status,
        reload_when_new=form is None,
        form=form or Form({}),
        runs=runs,
        winter_lines=lines_of(snapshot, site_id),
        forecast=shown.forecast,
        **about_site(request, shown, about),
    )


def _near(snapshot: Snapshot, site_id: str) -> list[Site]:
    """Sites that may be meant by a mistyped id or a customer's name."""
    ids = {one.site_id: one for one in snapshot.known.sites}
    key = site_id.casefold().strip()
    exact = [one for one in ids.values() if key and key in (one.site_id.casefold(), one.customer.casefold())]
    part = [one for one in ids.values() if len(key) > 2 and key in f"{one.site_id} {one.customer}".casefold()]
    hint = did_you_mean(site_id, ids) or did_you_mean(site_id.upper(), ids)
    named = [one for name, one in ids.items() if hint == f" Did you mean {name}?"]
    return list({one.site_id: one for one in [*exact, *named, *part]}.values())[:8]


def _strip(as_of: Any, found: SiteForecast) -> Markup:
    return Markup(
        strip_svg(
            found.curves,
            dates_of(found, as_of),
            uid="strip",
            title=f"The fall at {clean(found.site.site_id)}",
            desc=f"{sentences.closing(found)} {sentences.freezing(found)}",
        )
    )


def _customer_strip(as_of: Any, found: SiteForecast) -> Markup:
    """The strip without frost, for a customer: window, day, nothing else."""
    curves = found.curves
    if curves is not None:
        curves = SeasonCurves(
            curves.first_day, curves.p_settled, curves.p_first_hard_freeze * 0.0, (), curves.loss
        )
    dates = replace(dates_of(found, as_of), planned=None)
    if dates.pin is not None:
        dates = replace(dates, recommended=None)
    return Markup(
        strip_svg(
            curves,
            dates,
            uid="customer",
            title="Your pond this fall",
            desc=site_view.customer_words(found),
        )
    )


def _loss(shown: ShownPlan, found: SiteForecast) -> Markup | None:
    if found.loss_parts_by_day is None:
        return None
    first, last = site_view.loss_span(shown.forecast, found)
    return loss_chart(
        found.loss_parts_by_day,
        fall=shown.forecast.fall,
        first=first,
        last=last,
        best=found.recommended_date,
        planned=found.planned_date,
    )


def _limits(snapshot: Snapshot, found: SiteForecast) -> dict[str, float]:
    """The limits that matter here, by name [°C]."""
    limits = snapshot.known.limits
    water = {"start": limits.start_c, "settled": limits.sustained_c} if found.site.forecast_water else {}
    return {**water, "hard freeze": limits.hard_freeze_c}


def lookup(request: Request) -> Response:
    """`/site?name=...`: to the page of the site that is meant, by its id or a part of a name."""
    from starlette.responses import RedirectResponse

    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    said = request.query_params.get("name", "").strip()
    near = _near(state[0], said)
    if not said or len(said) > 200:
        raise HTTPException(404)
    if len(near) == 1 or (near and said.casefold() == near[0].site_id.casefold()):
        from urllib.parse import quote

        return RedirectResponse(f"/site/{quote(near[0].site_id, safe='')}", status_code=303)
    return render(request, "site_unknown.html.j2", status=404, asked=clean(said), near=near)


ROUTES = [
    Route("/site", lookup),
    Route("/site/{site_id:path}", site),
]
