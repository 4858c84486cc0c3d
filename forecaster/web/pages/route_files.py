"""The plan for the office's own tools: workbook, calendars, CSV, map and picture, as the desk shows it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.forecast import RouteForecast
from forecaster.web.forms import require
from forecaster.web.page import render
from forecaster.web.pages.route import common
from forecaster.web.pages.site import shown_plan

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CALENDAR, CSV, SVG = "text/calendar; charset=utf-8", "text/csv; charset=utf-8", "image/svg+xml"


def files(request: Request) -> Response:
    """What can be downloaded."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    return render(
        request,
        "route_files.html.j2",
        view="files",
        calendars=[(crew.name, quote(crew.name, safe="")) for crew in state[1].desk.crews],
        **common(request, *state),
    )


def route_map(request: Request) -> Response:
    """The map of the next crew-days, as a page with the list for those who cannot see it."""
    from forecaster.report.view import next_working_days

    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    coming = next_working_days(state[1].forecast)
    return render(request, "route_map.html.j2", view="map", coming=coming, **common(request, *state))


def workbook(request: Request) -> Response:
    """The plan as a workbook."""
    from forecaster.report.workbook import route_workbook

    forecast, access = _plan(request)
    return _file(route_workbook(forecast, with_access=access), "plan.xlsx", XLSX)


def table_csv(request: Request) -> Response:
    """One visit a row."""
    from forecaster.report.handover import visits_csv

    forecast, access = _plan(request)
    return _file(visits_csv(forecast, with_access=access), "plan.csv", CSV)


def calendar(request: Request) -> Response:
    """The calendar of all crews, or of the one that `?crew=` names."""
    from forecaster.report.calendar_file import crew_calendars, file_names, whole_calendar

    forecast, access = _plan(request)
    crew = request.query_params.get("crew")
    if crew is None:
        return _file(whole_calendar(forecast, with_access=access), "plan.ics", CALENDAR)
    calendars = _by_name(crew_calendars(forecast, with_access=access), forecast)
    if crew not in calendars:
        raise HTTPException(404)
    name = file_names({crew: b""})[crew]
    return _file(calendars[crew], name, CALENDAR)


def map_picture(request: Request) -> Response:
    """The map as a picture."""
    from forecaster.report.map import route_map as drawn

    return _picture(request, drawn, "map.svg")


def season_picture(request: Request) -> Response:
    """The season on one sheet."""
    from forecaster.report.season_picture import season_picture as drawn

    return _picture(request, drawn, "season.svg")


def _plan(request: Request) -> tuple[RouteForecast, bool]:
    """The plan as shown, and whether access notes are wanted and may be had."""
    access = request.query_params.get("access") == "yes"
    require(request, "enter" if access else "look")
    state = shown_plan(request)
    if state is None:
        raise HTTPException(503, "The first estimate is being made. Ask again in a few seconds.")
    return state[1].forecast, access


def _by_name(calendars: Mapping[str, bytes], forecast: RouteForecast) -> dict[str, bytes]:
    """Calendars by the crews' names as the settings write them."""
    from forecaster.report.words import clean

    return {
        crew.name: calendars[clean(crew.name)] for crew in forecast.crews if clean(crew.name) in calendars
    }


def _file(content: bytes, name: str, kind: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "private, no-cache"}
    return Response(content, headers=headers, media_type=kind)


def _picture(request: Request, drawn: Callable[[RouteForecast], str], name: str) -> Response:
    forecast, _ = _plan(request)
    kept = {"cache-control": "private, no-cache"}
    if request.query_params.get("save"):
        kept["content-disposition"] = f'attachment; filename="{name}"'
    return Response(drawn(forecast).encode(), headers=kept, media_type=SVG)


ROUTES = [
    Route("/route/files", files),
    Route("/route/map", route_map),
    Route("/route/plan.xlsx", workbook),
    Route("/route/plan.csv", table_csv),
    Route("/route/plan.ics", calendar),
    Route("/route/map.svg", map_picture),
    Route("/route/season.svg", season_picture),
]
