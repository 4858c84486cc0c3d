"""The winter: which ponds to look at and when, and what de-icers and aerators will use."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.report.energy_text import spread_of
from forecaster.report.winter_cautions import BACTERIA, ELECTRICITY, FEEDING, ICE
from forecaster.report.winter_text import snow_words, watch_facts, why
from forecaster.visit.winter_watch import SiteWatch, WinterWatch
from forecaster.web.page import render
from forecaster.web.pages.site import shown_plan
from forecaster.web.winter_due import watched

CAUTIONS = (ICE, FEEDING, BACTERIA, ELECTRICITY)


def winter(request: Request) -> Response:
    """The watch over closed ponds, or with `?all=yes` over every pond, and the winter's energy."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    snapshot, shown = state
    every = request.query_params.get("all") == "yes"
    watch = watched(snapshot, shown.state.closed) if not every else snapshot.winter
    return render(
        request,
        "winter.html.j2",
        watch=watch,
        every=every,
        sites=[]
        if watch is None
        else [(site, reason(site, watch), lines(site, watch)) for site in watch.sites],
        energy=snapshot.energy,
        spread_of=spread_of,
        cautions=CAUTIONS,
        snow="" if watch is None else snow_words(watch),
    )


def reason(site: SiteWatch, watch: WinterWatch) -> str:
    """Why to look at a pond again, as a sentence of its own."""
    text = why(site.look_kind, watch)
    return f"{text[0].upper()}{text[1:]}"


def lines(site: SiteWatch, watch: WinterWatch) -> tuple[str, ...]:
    """The dates of one pond, without what the page says once for all."""
    return watch_facts(site, watch)[1:]


ROUTES = [Route("/winter", winter)]
