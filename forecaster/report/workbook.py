"""The plan as a workbook for the office: sorted, with filters, printed on one page's width.

Three sheets: every visit in order of work, every open site by rank, and the plan as a whole with moves and
warnings. Dates and times are real ones; text that looks like a formula stays text. Same forecast, same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from typing import Any

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report import sentences, view
from forecaster.report.handover import visit_rows
from forecaster.report.plan_words import move_line, plan_facts
from forecaster.report.words import clean

DATE_FORMAT, TIME_FORMAT = "ddd d mmm yyyy", "hh:mm"
CHANCE_FORMAT, MONEY_FORMAT = "0%", "#,##0.00"
WIDEST = 60
FIXED_MOMENT = (1980, 1, 1, 0, 0, 0)
"""Time of every part of the file: its first year (.ZIP File Format Specification, 4.4.6)."""


def route_workbook(forecast: RouteForecast, *, with_access: bool = False) -> bytes:
    """The workbook as the bytes of an .xlsx file."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    title = f"{clean(forecast.season_name)}, as of {forecast.as_of}"
    _table(book, "Visits", title, *_visits(forecast, with_access=with_access))
    _table(book, "Sites", title, *_sites(forecast))
    _table(book, "Plan", title, *_plan(forecast))
    moment = datetime.combine(forecast.as_of, time(0))
    book.properties.creator, book.properties.created = "forecaster", moment
    out = io.BytesIO()
    book.save(out)
    return _timeless(out.getvalue(), moment)


Rows = list[list[object]]


def _visits(forecast: RouteForecast, *, with_access: bool) -> tuple[list[str], Rows]:
    heads = ["Date", "Crew", "Stop", "Arrive", "Leave", "Site", "Customer", "Address", "Hours on site"]
    heads += ["Best day", "Window from", "Window to", "Told", "Booked", "Hard freeze before", "Reason"]
    rows: Rows = []
    for row in visit_rows(forecast, with_access=with_access):
        site, found = row.forecast.site, row.forecast
        rows.append(
            [
                *(row.day, row.crew, row.stop, row.arrive, row.leave),
                *(clean(site.site_id), clean(site.customer), clean(site.address), row.hours_on_site),
                *(found.recommended_date, found.window_start, found.window_end),
                *(site.told_date, site.booked_date, _chance(found.p_hard_freeze_before_planned)),
                clean(found.reason),
                *([row.access] if with_access else []),
            ]
        )
    return [*heads, *(["Access"] if with_access else [])], rows


def _sites(forecast: RouteForecast) -> tuple[list[str], Rows]:
    heads = ["Rank", "Site", "Customer", "State", "Best day", "Window from", "Window to", "Planned", "Crew"]
    heads += ["Settles (half of falls)", "Hard freeze first", "Hard freeze in 14 days", "Expected loss, $"]
    return heads, [_site(site) for site in sorted(forecast.sites, key=lambda site: site.rank)]


def _site(site: SiteForecast) -> list[object]:
    return [
        *(site.rank, clean(site.site.site_id), clean(site.site.customer), site.state.replace("_", " ")),
        *(site.recommended_date, site.window_start, site.window_end, site.planned_date),
        *(clean(site.planned_crew or ""), site.sustained_p50),
        *(_chance(site.p_hard_freeze_first), _chance(site.p_hard_freeze_14d), _money(site.expected_loss)),
    ]


def _plan(forecast: RouteForecast) -> tuple[list[str], Rows]:
    facts = [("Forecast", sentences.heading(forecast)), ("Forecast", sentences.sources(forecast))]
    facts += [("Plan", fact) for fact in plan_facts(forecast)]
    facts += [("Moved", move_line(move)) for move in forecast.plan.moves]
    acting = [site for site in forecast.sites if view.act_now(site)]
    facts += [("Act now", f"{clean(s.site.site_id)}: {view.act_now(s)}") for s in acting]
    facts += [("Warning", clean(str(notice))) for notice in forecast.warnings]
    facts += [("Weather data", clean(text)) for text in forecast.credits]
    return ["About", "What"], [[about, what] for about, what in facts]


def _chance(value: float | None) -> _Chance | None:
    return None if value is None else _Chance(value)


def _money(value: float | None) -> _Money | None:
    return None if value is None else _Money(value)


class _Chance(float):
    """A number shown as percent."""


class _Money(float):
    """A number shown as dollars and cents."""


def _table(book: Any, name: str, title: str, heads: Sequence[str], rows: Rows) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(name)
    sheet.append(list(heads))
    for number, row in enumerate(rows, start=2):
        for column, value in enumerate(row, start=1):
            _write(sheet.cell(number, column), value)
    for cell in sheet[1]:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    for column in range(1, len(heads) + 1):
        width = max([len(heads[column - 1]), *(_width(row[column - 1]) for row in rows)]) + 2
        sheet.column_dimensions[get_column_letter(column)].width = min(width, WIDEST)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddHeader.left.text = title.replace("&", "&&")
    sheet.oddFooter.right.text = "&P of &N"


def _write(cell: Any, value: object) -> None:
    from openpyxl.styles import Alignment

    cell.alignment = Alignment(wrap_text=isinstance(value, str) and len(value) > WIDEST, vertical="top")
    if isinstance(value, str):
        cell.value = value
        cell.data_type = "s"  # never a formula
        return
    cell.value = float(value) if isinstance(value, _Chance | _Money) else value
    if isinstance(value, date):
        cell.number_format = DATE_FORMAT
    elif isinstance(value, time):
        cell.number_format = TIME_FORMAT
    elif isinstance(value, _Chance):
        cell.number_format = CHANCE_FORMAT
    elif isinstance(value, float):
        cell.number_format = MONEY_FORMAT


def _width(value: object) -> int:
    if isinstance(value, date):
        return len(DATE_FORMAT)
    return 5 if isinstance(value, time | float) else len(str(value or ""))


def _timeless(raw: bytes, moment: datetime) -> bytes:
    """The same file without the clock: each part at a fixed time, "modified" as of `moment`."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in _in_order(old.namelist()):
            content = old.read(name)
            if name == "docProps/core.xml":
                stamp = f"{moment:%Y-%m-%dT%H:%M:%SZ}".encode()
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + stamp, content)
            entry = zipfile.ZipInfo(name, FIXED_MOMENT)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, content)
    return out.getvalue()


def _in_order(names: Iterable[str]) -> list[str]:
    """The list of content types first, as readers expect it."""
    return sorted(names, key=lambda name: (name != "[Content_Types].xml", name))
