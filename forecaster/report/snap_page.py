"""After a cold snap as one HTML file for the phone: no other host, no font, readable in sun and with gloves.

The file is whole in itself, so that a saved copy works without a network. Its one script says how old the
copy is and nothing else; a content policy names that script by its hash and forbids all others and every
request. Without scripts the moment of making stands there.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from datetime import date, datetime
from functools import cache
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from forecaster.report import snap_day_words, snap_words, words
from forecaster.report.glossary import ICE_CAUTION, TAKE_CARE
from forecaster.report.svg import TEMPLATES
from forecaster.report.templating import page_environment
from forecaster.season.sites import Site
from forecaster.snap.records import SnapReport, StationNight, better_plan

SITES_SHOWN = 15
"""Sites shown without a tap."""
AGE_SCRIPT = (
    "(function(){var m=document.getElementById('made'),a=document.getElementById('age');"
    "function s(){var h=(Date.now()-new Date(m.getAttribute('datetime')))/36e5;"
    "a.textContent=h<0?'':', '+(h<1?Math.floor(h*60)+' minutes':h<48?Math.floor(h)+' hours':"
    "Math.floor(h/24)+' days')+' old'+(h>=12?'. Look for a newer one.':'');}"
    "s();setInterval(s,60000);})();"
)


def snap_page(report: SnapReport, *, made_at: datetime, call: Callable[[Site], str]) -> str:
    """The whole page, from `<!doctype html>` to the end.

    Args:
        report: Of one morning.
        made_at: When, with its zone.
        call: The `tel:` link of a site's customer, "" for none.
    """
    return (
        _environment()
        .get_template("snap.html.j2")
        .render(
            **page_context(report, call),
            made_at=made_at,
            chosen=chosen_crews(report),
            script=Markup(AGE_SCRIPT),
            script_hash=script_hash(AGE_SCRIPT),
            page_css=Markup(TEMPLATES.joinpath("page.css").read_text(encoding="utf-8")),
            snap_css=Markup(TEMPLATES.joinpath("snap.css").read_text(encoding="utf-8")),
        )
    )


def snap_parts(report: SnapReport, *, call: Callable[[Site], str]) -> dict[str, Any]:
    """The same page in parts, for a page of the server: plain values, and HTML that has passed autoescape.

    `options`: number of crews to today's visits; `sections`: everything below; `sites`: open sites by the
    rule, id and customer; `advice`, `snap`, `ages`: sentences.
    """
    context = page_context(report, call)
    part: Any = _environment().get_template("snap_body.html.j2").make_module(context)
    return {
        "advice": snap_day_words.advice(report),
        "snap": snap_words.snap(report),
        "ages": f"{capitalize_first(context['weather_age'])}; {words.clean(report.outlook_text)}.",
        "options": {number: str(part.plan_part(plans, report)) for number, plans in report.by_crews.items()},
        "chosen": chosen_crews(report),
        "sections": str(part.sections(report)),
        "sites": [(site.site.site_id, words.clean(site.site.customer)) for site in report.sites],
    }


def chosen_crews(report: SnapReport) -> int:
    """Number of crews whose day is shown first; 0 where the settings name no crew."""
    return report.crew_count if report.crew_count in report.by_crews else min(report.by_crews, default=0)


def page_context(report: SnapReport, call: Callable[[Site], str]) -> dict[str, Any]:
    """What the body's macros need, for this page and the server's."""
    return {
        "report": report,
        "site_of": {site.site.site_id: site for site in report.sites},
        "weather_age": words.weather_age((last for _, _, last in report.stations), report.as_of),
        "day": snap_day_words,
        "say": snap_words,
        "better_plan": better_plan,
        "station_rows": station_rows,
        "call": call,
        "map_link": map_link,
        "SHOWN": SITES_SHOWN,
        "PROTECT_CARE": snap_words.PROTECT_CARE,
        "ICE_CARE": snap_words.ICE_CARE,
        "ICE_CAUTION": ICE_CAUTION,
        "TAKE_CARE": TAKE_CARE,
    }


def script_hash(script: str) -> str:
    """The script's hash as a content policy names it (CSP level 2)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def station_rows(report: SnapReport) -> list[tuple[date, list[StationNight]]]:
    """Days with one night a station, in the order of the stations."""
    cells = {(night.station_id, night.day): night for night in report.station_nights}
    days = sorted({night.day for night in report.station_nights})
    return [(day, [cells[station_id, day] for station_id, _, _ in report.stations]) for day in days]


def map_link(site: Site) -> str:
    """The place for the phone's own map (RFC 5870): no map service is named."""
    return f"geo:{site.latitude:.5f},{site.longitude:.5f}"


def capitalize_first(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


FILTERS: tuple[Callable[..., Any], ...] = (
    words.clean,
    words.count,
    words.degrees,
    words.dollars,
    words.limit,
    words.percent,
    words.weekday_date,
    capitalize_first,
)


@cache
def _environment() -> Environment:
    environment = page_environment()
    for function in FILTERS:
        environment.filters[function.__name__] = function
    return environment
