"""Labels for gear in the store: one a thing, ten a sheet, each with a code that leads to the site's page.

Two columns of five on Letter (4 x 2 in each) and A4 (99 x 57 mm), with thin lines to cut plain paper. The
code holds the address of the site's page, or the site_id where no address is set. Same input, same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote

import segno
from reportlab.lib.units import inch, mm
from reportlab.pdfgen.canvas import Canvas

from forecaster.report.pdf_text import BOLD, SANS, fitted_line, lines_of, register_fonts
from forecaster.report.words import clean, day_month
from forecaster.visit.store import StoredItem

Paper = Literal["letter", "a4"]

PADDING_PT = 4 * mm
CODE_PT = 34 * mm
LINK_PT = 6.5
QUIET_MODULES = 4
"""White around a code (ISO/IEC 18004) [modules]."""
POWER = "Off at breaker or plug before it goes back."
LIFT = "Drain first. Two to lift."


@dataclass(frozen=True)
class Sheet:
    """A sheet of labels [pt]: page, size of one label, left and top margin; two columns of five."""

    page: tuple[float, float]
    label: tuple[float, float]
    left: float
    top: float

    columns = 2
    rows = 5

    @property
    def count(self) -> int:
        """Labels on it."""
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Lower left corner of label `place` (0 is the first, along the rows) [pt]."""
        row, column = divmod(place, self.columns)
        x = self.left + column * self.label[0]
        return x, self.page[1] - self.top - (row + 1) * self.label[1]


SHEETS: dict[Paper, Sheet] = {
    "letter": Sheet((8.5 * inch, 11 * inch), (4 * inch, 2 * inch), 0.25 * inch, 0.5 * inch),
    "a4": Sheet((210 * mm, 297 * mm), (99 * mm, 57 * mm), 6 * mm, 6 * mm),
}


def site_link(address: str, site_id: str) -> str:
    """What a code leads to.

    >>> site_link("http://office:8050", "V/03"), site_link("", "V-03")
    ('http://office:8050/site/V%2F03', 'V-03')
    """
    return f"{address}/site/{quote(site_id, safe='')}" if address else site_id


def labels_pdf(
    items: Sequence[StoredItem], *, address: str, year: int, paper: Paper = "letter", skip: int = 0
) -> bytes:
    """The label sheets as a PDF.

    Args:
        items: One label each, in this order.
        address: Where the office's pages are served, "" for none.
        year: Of the fall, printed where the day is to be written in.
        paper: Size of the sheet.
        skip: Labels of the first sheet that are used already.
    """
    register_fonts()
    sheet = SHEETS[paper]
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=sheet.page, invariant=1)
    canvas.setTitle("Labels for the winter store")
    canvas.setAuthor("forecaster")
    for number, item in enumerate(items):
        place = (skip + number) % sheet.count
        if place == 0 and number:
            canvas.showPage()
        _label(canvas, sheet, sheet.corner(place), item, address, year)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _label(
    canvas: Canvas, sheet: Sheet, corner: tuple[float, float], item: StoredItem, address: str, year: int
) -> None:
    x, y = corner
    width, height = sheet.label
    canvas.setStrokeGray(0.75)
    canvas.setLineWidth(0.3)
    canvas.rect(x, y, width, height)
    link = site_link(address, item.site.site_id)
    code_y = y + height - PADDING_PT - CODE_PT
    draw_code(canvas, link, x + width - PADDING_PT - CODE_PT, code_y, CODE_PT)
    canvas.setFillGray(0.0)
    _lines(canvas, x + PADDING_PT, y + height - PADDING_PT, width - CODE_PT - 3 * PADDING_PT, item, year)
    canvas.setFont(SANS, LINK_PT)
    for row, part in enumerate(_link_lines(link)):
        middle = x + width - PADDING_PT - CODE_PT / 2
        canvas.drawCentredString(middle, code_y - 1 - row * (LINK_PT + 1), part)
    cautions = " ".join([*([LIFT] if item.heavy else []), *([POWER] if _electric(item) else [])])
    text, size = fitted_line(cautions, BOLD, 7.5, width - 2 * PADDING_PT)
    canvas.setFont(BOLD, size)
    canvas.drawString(x + PADDING_PT, y + PADDING_PT * 0.7, text)


def _link_lines(link: str) -> list[str]:
    """The address under a code in at most two lines, broken before the site."""
    shown = link.split("://", 1)[-1]
    front, slash, site = shown.rpartition("/site/")
    parts = [front, f"{slash}{site}"] if slash else [shown]
    return [fitted_line(part, SANS, LINK_PT, CODE_PT)[0] for part in parts]


def _electric(item: StoredItem) -> bool:
    """True for all that has a plug or may have one: only plain fittings have none."""
    return item.item.casefold() not in ("check valve", "leaf net", "net")


def _lines(canvas: Canvas, x: float, top: float, width: float, item: StoredItem, year: int) -> None:
    watts = "" if item.watts is None else f" {item.watts:g} W"
    keep = f"keep {item.keep}, frost-free" if item.keep else "frost-free"
    where = f"{clean(item.store)}, {keep}" if item.store else f"store ______________, {keep}"
    taken = f"taken {day_month(item.day)} {item.day.year}" if item.day else f"taken ________ {year}"
    rows: list[tuple[str, str, float, int]] = [
        (clean(item.site.site_id), BOLD, 20.0, 1),
        (f"{clean(item.item)[:1].upper()}{clean(item.item)[1:]}{watts}", BOLD, 12.0, 1),
        (clean(item.site.customer), SANS, 10.0, 2),
        (where, SANS, 8.5, 2),
        (taken, SANS, 8.5, 1),
    ]
    y = top
    for text, font, size, most in rows:
        if most == 1:
            line, size = fitted_line(text, font, size, width)
            shown: Sequence[str] = [line]
        else:
            shown = lines_of(text, font, size, width, most=most)
        for line in shown:
            y -= size * 1.15
            canvas.setFont(font, size)
            canvas.drawString(x, y, line)
        y -= size * (0.7 if "____" in text else 0.2)  # room to write


def draw_code(canvas: Canvas, text: str, x: float, y: float, size_pt: float) -> None:
    """A QR code with its quiet zone in a square of `size_pt`, black modules joined along each row."""
    code = segno.make(text, error="m", micro=False, boost_error=False)
    modules = [list(row) for row in code.matrix]
    side = size_pt / (len(modules) + 2 * QUIET_MODULES)
    canvas.setFillGray(0.0)
    path = canvas.beginPath()
    for down, row in enumerate(modules):
        bottom = y + size_pt - (QUIET_MODULES + down + 1) * side
        start = None
        for across in range(len(row) + 1):
            dark = across < len(row) and row[across] == 1
            if dark and start is None:
                start = across
            elif not dark and start is not None:
                path.rect(x + (QUIET_MODULES + start) * side, bottom, (across - start) * side, side)
                start = None
    canvas.drawPath(path, stroke=0, fill=1)
