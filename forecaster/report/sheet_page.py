"""Crew-day sheets as HTML: large on a phone in the rain, one side a stop when printed; no script."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment
from markupsafe import Markup

from forecaster.report import words
from forecaster.report.glossary import glossary
from forecaster.report.sheet_pdf import Paper, letters_pt
from forecaster.report.sheet_stop import SIGN, WHO_DECIDES, DaySheets, StopSheet
from forecaster.report.svg import TEMPLATES
from forecaster.report.templating import page_environment


def sheets_page(sheets: DaySheets, *, paper: Paper = "letter") -> str:
    """The whole page, from `<!doctype html>` on; `paper` is what it asks of a printer."""
    template = _environment().get_template("sheet.html.j2")
    return template.render(
        sheets=sheets,
        stops=stops_html(sheets),
        css=Markup(sheet_css()),
        paper="A4" if paper == "a4" else "letter",
        glossary=glossary(sheets.units),
    )


def stops_html(sheets: DaySheets) -> Markup:
    """The stops alone, for a page that has its own frame; needs `sheet_css`."""

    def letters(stop: StopSheet) -> str:
        return f"{letters_pt(sheets, stop) * 10:.0f}"

    template = _environment().get_template("sheet_stops.html.j2")
    return Markup(template.render(sheets=sheets, letters=letters, SIGN=SIGN, WHO_DECIDES=WHO_DECIDES))


@cache
def sheet_css() -> str:
    """How sheets look, on a screen and on paper."""
    return TEMPLATES.joinpath("sheet.css").read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    made = page_environment()
    made.filters.update({function.__name__: function for function in (words.clean, words.day_month)})
    return made
