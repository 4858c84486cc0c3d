"""Crew-day sheets in the browser: which days and crews there are, the sheets of one, and their PDF."""

from __future__ import annotations

from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.forecast import CrewDay
from forecaster.report.sheet_pdf import Paper
from forecaster.report.sheet_stop import DaySheets, day_sheets
from forecaster.report.words import clean
from forecaster.visit.kit import kit_of
from forecaster.web.forms import require
from forecaster.web.page import render
from forecaster.web.pages.site import shown_plan
from forecaster.web.shown_plan import ShownPlan
from forecaster.web.snapshot import Snapshot


def days(request: Request) -> Response:
    """The coming crew-days, each with the way to its sheets."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    coming = sorted(state[1].forecast.crew_days, key=lambda day: (day.day, day.crew))
    listed = [(day, address(day)) for day in coming if day.stops]
    return render(request, "sheets.html.j2", listed=listed, sheets=None)


def one_day(request: Request) -> Response:
    """The sheets of one crew-day."""
    from forecaster.report.sheet_page import stops_html

    require(request, "enter")
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    crew_day = _crew_day(request, state[1])
    made = _sheets(crew_day, *state)
    return render(
        request,
        "sheets.html.j2",
        reload_when_new=False,
        listed=(),
        sheets=made,
        stops=stops_html(made),
        here=address(crew_day),
    )


def one_day_pdf(request: Request) -> Response:
    """The same as a PDF on Letter, or with `?paper=a4` on A4."""
    from forecaster.report.sheet_pdf import sheets_pdf

    require(request, "enter")
    state = shown_plan(request)
    if state is None:
        raise HTTPException(503, "The first estimate is being made. Ask again in a few seconds.")
    crew_day = _crew_day(request, state[1])
    paper: Paper = "a4" if request.query_params.get("paper") == "a4" else "letter"
    content = sheets_pdf(_sheets(crew_day, *state), paper=paper)
    headers = {
        "content-disposition": f'inline; filename="sheets-{crew_day.day.isoformat()}.pdf"',
        "cache-control": "private, no-cache",
    }
    return Response(content, headers=headers, media_type="application/pdf")


def css(request: Request) -> Response:
    """How sheets look; the same file as in the page that the command writes."""
    from forecaster.report.sheet_page import sheet_css

    return Response(sheet_css(), media_type="text/css", headers={"cache-control": "private, no-cache"})


def address(crew_day: CrewDay) -> str:
    """Where the sheets of a crew-day are.

    >>> from datetime import date
    >>> address(CrewDay(date(2025, 10, 8), "Heron & Co/2", ()))
    '/sheets/2025-10-08/Heron%20%26%20Co%2F2'
    """
    return f"/sheets/{crew_day.day.isoformat()}/{quote(crew_day.crew, safe='')}"


def _crew_day(request: Request, shown: ShownPlan) -> CrewDay:
    day, crew = request.path_params["day"], request.path_params["crew"]
    for crew_day in shown.forecast.crew_days:
        if crew_day.day.isoformat() == day and crew_day.crew == crew and crew_day.stops:
            return crew_day
    raise HTTPException(404)


def _sheets(crew_day: CrewDay, snapshot: Snapshot, shown: ShownPlan) -> DaySheets:
    """Bad cells of the kit count as not known here; `forecaster check` and the page of today name them."""
    sites = {site.site_id: site for site in snapshot.known.sites}
    sites |= {found.site.site_id: found.site for found in shown.forecast.sites}
    kits = {stop.site_id: kit_of(sites[stop.site_id])[0] for stop in crew_day.stops if stop.site_id in sites}
    return day_sheets(
        crew_day,
        sites,
        kits,
        season_name=clean(shown.forecast.season_name),
        units=shown.forecast.units,
        crews=snapshot.known.crews,
        closed={site_id: event.day for site_id, event in shown.state.closed.items()},
        source="By the plan as the route page shows it",
    )


ROUTES = [
    Route("/sheets", days),
    Route("/sheets.css", css),
    Route("/sheets/{day}/{crew:path}.pdf", one_day_pdf),
    Route("/sheets/{day}/{crew:path}", one_day),
]
