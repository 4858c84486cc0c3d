"""Today: the start page, made for a phone in one hand. Its content is made once a state, then kept."""

from __future__ import annotations

from functools import lru_cache
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.report import view
from forecaster.report.page import route_strip, site_strip
from forecaster.report.strip import StripDates
from forecaster.report.svg import axis_symbol
from forecaster.season.events import Event
from forecaster.season.known_sites import Basics, KnownSite
from forecaster.season.ledger import open_ledger
from forecaster.web.contact import contact_of
from forecaster.web.desk import Desk
from forecaster.web.digest import Digest
from forecaster.web.forms import session_of
from forecaster.web.moved import Line, since_yesterday
from forecaster.web.page import environment, render
from forecaster.web.record import desk_of
from forecaster.web.snapshot import Snapshot
from forecaster.web.winter_due import due_today

AT_RISK_SHOWN, URGENT_SHOWN, CHANGES_SHOWN, MEASURE_SHOWN = 5, 4, 6, 3
CHANGES_MORE = 40
CREW_DAYS_AHEAD = 2
"""Working days whose crew-days are shown."""


def today(request: Request) -> Response:
    """What changed, who goes next, who is at risk, how sure we are, how old it all is."""
    desk = desk_of(request)
    snapshot = desk.current()
    if snapshot is None:
        return render(request, "first.html.j2")
    content = today_content(snapshot, desk.yesterday(), desk, session_of(request).may("enter"))
    return render(request, "today.html.j2", content=content, forecast=snapshot.forecast)


@lru_cache(maxsize=8)
def today_content(snapshot: Snapshot, yesterday: Digest | None, desk: Desk, may_enter: bool) -> Markup:
    """Everything between head and foot; changes only with the state, so it is kept."""
    forecast = snapshot.forecast
    coming = view.next_working_days(forecast, days=CREW_DAYS_AHEAD)
    changes = _changes(snapshot, yesterday, desk)
    urgent = [site for site in forecast.sites if view.act_now(site)]
    rows = {site.site.site_id: site for site in forecast.sites}
    html = (
        environment()
        .get_template("today_content.html.j2")
        .render(
            forecast=forecast,
            urgent=urgent[:URGENT_SHOWN],
            urgent_more=max(0, len(urgent) - URGENT_SHOWN),
            changes=changes[:CHANGES_SHOWN],
            changes_more=changes[CHANGES_SHOWN:][:CHANGES_MORE],
            compared=yesterday,
            coming=coming,
            later=view.later_working_days(forecast, after=coming),
            rows=rows,
            at_risk=[site for site in forecast.sites if site not in urgent[:URGENT_SHOWN]][:AT_RISK_SHOWN],
            measure=[(rows[name], value) for name, value in forecast.measure_next if name in rows][
                :MEASURE_SHOWN
            ],
            group_of={s.site.site_id: group for group in view.groups(forecast) for s in group.sites},
            winter_due=due_today(snapshot),
            contact_of=contact_of,
            may_enter=may_enter,
            axis=Markup(axis_symbol(StripDates(forecast.as_of), axis_id="axis")),
            strip=lambda site: Markup(site_strip(site, forecast)),
            route_strip=Markup(route_strip(forecast)),
        )
    )
    return Markup(html)


def _changes(snapshot: Snapshot, yesterday: Digest | None, desk: Desk) -> list[Line]:
    events: tuple[Event, ...] = ()
    ledger = open_ledger(desk.folder, readonly=True)
    if ledger is not None:
        with ledger:
            events = ledger.events()
    return since_yesterday(yesterday, snapshot, events, _basics(snapshot, desk))


def _basics(snapshot: Snapshot, desk: Desk) -> Basics:
    """Names and units of the state, so that a broken sheet of now does not matter."""
    season = snapshot.known.settings.season
    sites = {site.site_id: KnownSite(site.site_id, site.customer) for site in snapshot.known.sites}
    return Basics(desk.folder, season.units, season.year, ZoneInfo(season.timezone), (), sites)


ROUTES = [Route("/", today)]
