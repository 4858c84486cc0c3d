"""Pages from templates: what every page shows beside its own content, and the words it may use.

Everything from people passes autoescape and `clean`; a template that names something unknown fails at once.
"""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from forecaster.report import plan_words, sentences, svg, view, words
from forecaster.report.glossary import ICE_CAUTION, TAKE_CARE, glossary
from forecaster.report.templating import page_environment
from forecaster.web.access import Session, masked
from forecaster.web.forms import Form
from forecaster.web.passwords import ROLE_WORDS
from forecaster.web.record import desk_of
from forecaster.web.snapshot import Snapshot

WEB = Path(__file__).parent
TEMPLATES, STATIC = WEB / "templates", WEB / "static"
NAVIGATION = (
    ("/", "Today", "today"),
    ("/snap", "Cold snap", "snap"),
    ("/route", "Route", "route"),
    ("/sheets", "Sheets", "sheets"),
    ("/words", "Words", "words"),
    ("/winter", "Winter", "winter"),
    ("/evidence", "Evidence", "evidence"),
)
"""Address, words and module of the pages; those whose module is not there are left out."""

FILTERS = (
    *(words.about, words.chance, words.clean, words.count, words.crossing, words.day_month, words.degrees),
    *(words.dollars, words.hours, words.odds, words.percent, words.plus_minus, words.weekday_date),
    *(view.act_now, view.risk),
)


def render(
    request: Request,
    template: str,
    *,
    status: int = 200,
    reload_when_new: bool = True,
    **context: Any,
) -> Response:
    """A page from one of `forecaster/web/templates`.

    Args:
        request: What was asked.
        template: Its file, which extends `base.html.j2`.
        status: HTTP status.
        reload_when_new: Whether the page may load itself again when a new estimate is there: False where
            somebody may be writing.
        context: Names for the template, beside those of `common_context`.
    """
    names = {**common_context(request), "reload_when_new": reload_when_new, **context}
    text = environment().get_template(template).render(names)
    return HTMLResponse(text, status_code=status)


def common_context(request: Request) -> dict[str, Any]:
    """What every page knows: user, role, token, season, ages, banner, navigation."""
    desk, snapshot = desk_of(request), desk_of(request).current()
    session = request.state.session if isinstance(request.state.session, Session) else None
    signed_in = session is not None
    return {
        "path": request.url.path,
        "session": session,
        "user": (session.name or request.app.state.access.local_name) if session else "",
        "role_words": ROLE_WORDS[session.role] if session else "",
        "may": session.may if session else lambda right: False,
        "csrf": masked(session.csrf) if session and session.csrf else "",
        "with_passwords": request.app.state.access.needs_password(),
        "navigation": [
            (href, text, "page" if _is_here(request.url.path, href) else None)
            for href, text, name in NAVIGATION
            if signed_in and name in request.app.state.pages
        ],
        "snapshot": snapshot if signed_in else None,
        "season_name": words.clean(snapshot.forecast.season_name)
        if snapshot and signed_in
        else "Fall closing",
        "as_of": desk.as_of(),
        "ages": ages(snapshot, desk.clock()) if snapshot and signed_in else None,
        "pending": desk.pending() if signed_in else False,
        "problem": problem_words(desk.problem()) if signed_in else None,
        "kept_from": kept_from(snapshot, desk.clock()) if snapshot and signed_in else "",
        "form": Form({}),
    }


def ages(snapshot: Snapshot, now: datetime) -> dict[str, str]:
    """How old the estimate, the weather and the outlook are, each in a few words."""
    forecast = snapshot.forecast
    return {
        "forecast": made_ago(snapshot.made_at, now),
        "weather": words.weather_age((s.last_day for s in forecast.stations), forecast.as_of),
        "outlook": words.clean(forecast.outlook_text),
    }


def kept_from(snapshot: Snapshot, now: datetime) -> str:
    """Of which morning and moment the shown state is, for the banner over an old one."""
    return f"{words.weekday_date(snapshot.forecast.as_of)}, made {made_ago(snapshot.made_at, now)}"


def made_ago(made_at: datetime, now: datetime) -> str:
    """How long ago, in the coarsest words that help.

    >>> from datetime import UTC
    >>> noon = datetime(2025, 10, 6, 12, tzinfo=UTC)
    >>> made_ago(noon, noon), made_ago(noon, noon + timedelta(hours=3))
    ('just now', '3 hours ago')
    """
    minutes = int((now - made_at) / timedelta(minutes=1))
    if minutes < 1:
        return "just now"
    if minutes < 60:
        return f"{words.count(minutes, 'minute')} ago"
    if minutes < 48 * 60:
        return f"{words.count(minutes // 60, 'hour')} ago"
    return f"{words.count(minutes // 1440, 'day')} ago"


def problem_words(problem: str | None) -> list[str]:
    """Why the newest forecast failed, one line a problem, at most six."""
    if not problem:
        return []
    lines = [words.clean(line) for line in problem.splitlines() if line.strip()]
    return lines if len(lines) <= 6 else [*lines[:6], f"and {len(lines) - 6} more. All: forecaster check"]


def static_address(name: str) -> str:
    """Address of a shipped file with a mark of its content, so that browsers may keep it for good."""
    return f"/static/{name}?v={hashlib.sha256(static_bytes(name)).hexdigest()[:12]}"


@cache
def static_bytes(name: str) -> bytes:
    """A file of `static`; the style sheet carries that of the season strip with it."""
    content = (STATIC / name).read_bytes()
    return content + svg.strip_css().encode() if name == "app.css" else content


@cache
def environment() -> Environment:
    """Templates of the pages, with the reports' words as filters."""
    made = page_environment(TEMPLATES)
    made.filters.update({function.__name__: function for function in FILTERS})
    made.globals.update(
        say=sentences,
        plan_facts=plan_words.plan_facts,
        move_line=plan_words.move_line,
        window=words.window,
        about=words.about,
        crossing=words.crossing,
        sign=lambda name: Markup(svg.sign_svg(name)),
        static=cache(static_address),
        glossary=glossary,
        ICE_CAUTION=ICE_CAUTION,
        TAKE_CARE=TAKE_CARE,
    )
    return made


def _is_here(path: str, href: str) -> bool:
    return path == href or (href != "/" and path.startswith(f"{href}/"))
