"""A brief or an alarm as one HTML file: mailed, saved or shown; no script, no other host, phone first.

Mail programs drop style sheets in places, so everything reads in order without them. All texts are escaped.
"""

from __future__ import annotations

from functools import cache

from jinja2 import Template

from forecaster.matters import Brief, Matter
from forecaster.report.brief_text import NOTHING, cautions, subject
from forecaster.report.templating import page_environment
from forecaster.report.words import clean, weekday_date


def brief_page(brief: Brief) -> str:
    """The whole page of a brief, from `<!doctype html>` to the end."""
    since = f"since the brief of {weekday_date(brief.since)}" if brief.since else "the first brief"
    return _template().render(
        title=subject(brief),
        heading=f"{clean(brief.season_name)}, morning of {weekday_date(brief.as_of, year=True)}, {since}",
        nothing=NOTHING,
        matters=brief.matters,
        footing=brief.footing,
        cautions=cautions(brief.matters),
    )


def alarm_page(matter: Matter, *, heading: str, footing: tuple[str, ...]) -> str:
    """The page of one alarm."""
    return _template().render(
        title=matter.title,
        heading=clean(heading),
        nothing=NOTHING,
        matters=(matter,),
        footing=footing,
        cautions=cautions([matter]),
    )


@cache
def _template() -> Template:
    environment = page_environment()
    return environment.get_template("brief.html.j2")
