"""Today: the start page, made for a phone in one hand."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.report import view
from forecaster.web.page import render
from forecaster.web.record import desk_of


def today(request: Request) -> Response:
    """What changed, who goes next, who is at risk, how sure we are."""
    snapshot = desk_of(request).current()
    if snapshot is None:
        return render(request, "first.html.j2")
    forecast = snapshot.forecast
    return render(
        request,
        "today.html.j2",
        forecast=forecast,
        urgent=[site for site in forecast.sites if view.act_now(site)],
        most=forecast.sites[:8],
    )


ROUTES = [Route("/", today)]
