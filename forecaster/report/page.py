"""The route as one HTML file that can be mailed: no script, no other host, no font, phone first.

Everything the reader sees passes autoescape; the strips are drawn by `svg.py`. A content policy inside the
file forbids scripts and requests, whatever a name contains.
"""

from __future__ import annotations

from functools import cache

from jinja2 import Template
from markupsafe import Markup

from forecaster.forecast import RouteForecast, SiteForecast, StationUse
from forecaster.report import sentences, view, words
from forecaster.report.glossary import ICE_CAUTION, TAKE_CARE, glossary
from forecaster.report.plan_words import latest_start, move_line, plan_facts
from forecaster.report.strip import StripDates, dates_of, route_curves, route_dates
from forecaster.report.svg import TEMPLATES, axis_symbol, sign_svg, strip_css, strip_svg
from forecaster.report.templating import page_environment

WARNINGS_OPEN = 5
"""So many warnings or fewer are shown without a tap."""

ICE_CHANCE = 0.1
"""From this chance of ice before the water has settled, the caution about ice stands at the site itself."""

COST_NAMES = {
    "warm_day": "warm day",
    "hard_freeze": "hard freeze",
    "plumbing_freeze": "frozen plumbing",
    "ice": "ice",
}


def route_page(forecast: RouteForecast) -> str:
    """The whole page, from `<!doctype html>` to the end."""
    stations = {station.station_id: station for station in forecast.stations}
    coming = view.next_working_days(forecast)
    return _template().render(
        forecast=forecast,
        groups=view.groups(forecast),
        customers={site.site.site_id: site for site in forecast.sites},
        urgent=[site for site in forecast.sites if view.act_now(site)],
        coming=coming,
        later=view.later_working_days(forecast, after=coming),
        route_strip=Markup(route_strip(forecast)),
        axis=Markup(axis_symbol(StripDates(forecast.as_of), axis_id="axis")),
        site_strip=lambda site: Markup(site_strip(site, forecast)),
        water_reason=lambda site: _water_reason(site, stations.get(site.station_id)),
        strip_css=Markup(strip_css()),
        page_css=Markup(TEMPLATES.joinpath("page.css").read_text(encoding="utf-8")),
    )


@cache
def _template() -> Template:
    environment = page_environment()
    for function in (
        *(
            words.about,
            words.chance,
            words.clean,
            words.count,
            words.crossing,
            words.day_month,
            words.dollars,
        ),
        *(words.hours, words.odds, words.percent, words.weekday_date),
        *(view.act_now, view.risk),
    ):
        environment.filters[function.__name__] = function
    environment.globals.update(
        say=sentences,
        plan_facts=plan_facts,
        move_line=move_line,
        window=words.window,
        crossing=words.crossing,
        about=words.about,
        sign=lambda name: Markup(sign_svg(name)),
        moves=_moves,
        parts=_parts,
        icy=_icy,
        WARNINGS_OPEN=WARNINGS_OPEN,
        ICE_CAUTION=ICE_CAUTION,
        TAKE_CARE=TAKE_CARE,
        glossary=glossary,
    )
    return environment.get_template("page.html.j2")


def site_strip(site: SiteForecast, forecast: RouteForecast) -> str:
    """The season strip of one site as SVG; its axis is that of the page (`axis`)."""
    return strip_svg(
        site.curves,
        dates_of(site, forecast.as_of),
        uid=f"g{site.rank}",
        title=f"The fall at {words.clean(site.site.site_id)}",
        desc=f"{sentences.closing(site)} {sentences.freezing(site)}",
        axis_id="axis",
    )


def route_strip(forecast: RouteForecast) -> str:
    """The season strip of the whole route as SVG."""
    return strip_svg(
        route_curves(forecast),
        route_dates(forecast),
        uid="route",
        title="The fall on the whole route",
        desc=f"{sentences.caught(forecast)} {latest_start(forecast.plan)}",
        axis_id="axis",
    )


def _water_reason(site: SiteForecast, station: StationUse | None) -> str:
    if site.water_now_c is None:
        return "The water of this site does not follow the weather, so it is not forecast."
    air = (
        f"the air at {words.clean(station.name)}, weather to {words.day_month(station.last_day)},"
        if station
        else "the air"
    )
    return f"Computed from {air} and the water readings on the route. 8 times in 10 it lies in the brackets."


def _parts(site: SiteForecast) -> str:
    """The expected loss of the best day, cost by cost."""
    named = [f"{COST_NAMES.get(name, name)} {words.dollars(part)}" for name, part in site.loss_parts.items()]
    return f"Expected loss {words.dollars(site.expected_loss)}: {', '.join(named)}." if named else ""


def _moves(site: SiteForecast) -> str:
    """By how many days the best day moves if a cost is halved or doubled."""
    named = [
        f"{COST_NAMES.get(name, name)} {_days(halved)} or {_days(doubled)}"
        for name, (halved, doubled) in site.date_shifts.items()
    ]
    return f"If a cost is halved or doubled, the best day moves by: {'; '.join(named)}." if named else ""


def _days(shift: int) -> str:
    return "0" if shift == 0 else f"{'+' if shift > 0 else '−'}{words.count(abs(shift), 'day')}"


def _icy(site: SiteForecast) -> bool:
    return (site.p_ice_first or 0.0) >= ICE_CHANCE or site.first_hard_freeze_seen is not None
