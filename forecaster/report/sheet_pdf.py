"""Crew-day sheets as a PDF: one side a stop, Letter or A4, black on white, letters as large as fits.

Signs that the font lacks become "?" (`pdf_text.py`). The text of a side is set smaller until all of it fits;
only notes and access of unusual length are cut, and then end in an ellipsis. Same input, same bytes.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from typing import Literal

from reportlab.lib.units import inch, mm
from reportlab.pdfgen.canvas import Canvas

from forecaster.report.pdf_text import BOLD, SANS, fitted_line, lines_of, register_fonts, width_of
from forecaster.report.sheet_stop import SIGN, WHO_DECIDES, DayMap, DaySheets, StepWords, StopSheet

Paper = Literal["letter", "a4"]
PAGES: dict[Paper, tuple[float, float]] = {"letter": (8.5 * inch, 11 * inch), "a4": (210 * mm, 297 * mm)}
MARGIN = 13 * mm
MAP_SIDE = 48 * mm
GAP = 5 * mm
SIZES_PT = (11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5)
LEADING = 1.22
SIGN_HEIGHT = 17 * mm
LONGEST_FACT_LINES = 4
LONGEST_END_LINES = 4


def sheets_pdf(sheets: DaySheets, *, paper: Paper = "letter") -> bytes:
    """The sheets of a crew-day, one page a stop; a day without stops is one page that says so."""
    register_fonts()
    out = io.BytesIO()
    page = PAGES[paper]
    canvas = Canvas(out, pagesize=page, invariant=1)
    canvas.setTitle(f"Crew sheets, {sheets.title}")
    canvas.setAuthor("forecaster")
    if not sheets.stops:
        canvas.setFont(BOLD, 14)
        canvas.drawString(MARGIN, page[1] - MARGIN - 14, fitted_line(sheets.title, BOLD, 14, 400)[0])
        canvas.setFont(SANS, 11)
        canvas.drawString(MARGIN, page[1] - MARGIN - 34, "No stops on this day.")
        canvas.showPage()
    for stop in sheets.stops:
        _fitted_side(page, sheets, stop).draw(canvas)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def letters_pt(sheets: DaySheets, stop: StopSheet) -> float:
    """The largest letters with which a stop fits on one side of either paper [pt]."""
    register_fonts()
    return min(_fitted_side(page, sheets, stop).size for page in PAGES.values())


def _fitted_side(page: tuple[float, float], sheets: DaySheets, stop: StopSheet) -> _Side:
    for size in SIZES_PT:
        side = _Side(page, size, sheets, stop)
        if side.bottom_of_text() >= MARGIN + SIGN_HEIGHT:
            break
    return side


@dataclass(frozen=True)
class _Line:
    """One line: parts (x, text, font, size) and how far below the one before [pt]."""

    down: float
    parts: tuple[tuple[float, str, str, float], ...]
    box: bool = False
    bar: bool = False


@dataclass
class _Side:
    """Sets one side at one size of letters."""

    page: tuple[float, float]
    size: float
    sheets: DaySheets
    stop: StopSheet
    lines: list[_Line] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.left, self.right = MARGIN, self.page[0] - MARGIN
        self.step = self.size * LEADING
        self._head()
        self._facts()
        for words in self.stop.steps:
            self._one_step(words)
        self._rest()

    def bottom_of_text(self) -> float:
        """Height of the lowest line above the lower edge of the page [pt]."""
        return self.page[1] - MARGIN - sum(line.down for line in self.lines)

    def draw(self, canvas: Canvas) -> None:
        y = self.page[1] - MARGIN
        for line in self.lines:
            y -= line.down
            for x, text, font, size in line.parts:
                canvas.setFont(font, size)
                canvas.drawString(x, y, text)
            if line.box:
                side = self.size * 0.8
                canvas.setLineWidth(0.8)
                canvas.rect(self.left, y - side * 0.1, side, side)
            if line.bar:
                canvas.setLineWidth(1.6)
                x = self.left + self.size * 2.4
                canvas.line(x, y - self.size * 0.25, x, y + self.size * 0.85)
        if self.stop.map:
            top = self.page[1] - MARGIN - 3.2 * self.step - 8
            _draw_map(canvas, self.stop.map, self.right - MAP_SIDE, top - MAP_SIDE)
        self._sign(canvas)

    def _head(self) -> None:
        stop = self.stop
        order = f"Stop {stop.number} of {stop.count}" if stop.count else "One site"
        name_width = self.right - self.left - width_of(order, BOLD, 15) - 10
        name, size = fitted_line(f"{stop.head}  {stop.site.site_id}", BOLD, 15, name_width)
        at = self.right - width_of(order, BOLD, 15)
        self.lines.append(_Line(15, ((self.left, name, BOLD, size), (at, order, BOLD, 15))))
        when, size = fitted_line(f"{stop.when}. {self.sheets.season_name}", SANS, 10, self.right - self.left)
        self.lines.append(_Line(14, ((self.left, when, SANS, size),)))
        if self.sheets.source:
            source, size = fitted_line(self.sheets.source, SANS, 8, self.right - self.left)
            self.lines.append(_Line(11, ((self.left, source, SANS, size),)))
        if stop.closed:
            text = (
                f"Closed already on {stop.closed.day} {stop.closed:%b} by the ledger: ask before work starts."
            )
            self.lines.append(_Line(14, ((self.left, text, BOLD, 10),)))

    def _facts(self) -> None:
        before = sum(line.down for line in self.lines)
        right = self.right - MAP_SIDE - GAP if self.stop.map else self.right
        indent = self.size * 5.2
        gap = 6.0
        for name, text in self.stop.facts:
            most = LONGEST_FACT_LINES
            for at, line in enumerate(lines_of(text, SANS, self.size, right - self.left - indent, most=most)):
                label = ((self.left, name, BOLD, self.size),) if at == 0 else ()
                parts = (*label, (self.left + indent, line, SANS, self.size))
                self.lines.append(_Line(self.step + (gap if at == 0 else 0), parts))
                gap = 2.0 if at == 0 else gap
        if self.stop.map:
            used = sum(line.down for line in self.lines) - before
            lack = 3.2 * self.step + 8 + MAP_SIDE - before - used
            if lack > 0:
                self.lines.append(_Line(lack, ()))
        self.lines.append(_Line(4, ()))

    def _one_step(self, words: StepWords) -> None:
        indent = self.left + self.size * 2.9
        width = self.right - indent
        step = words.step
        title = f"{step.title}. "
        text = step.text + "".join(f" {blank(name)}" for name in step.write)
        lead = width_of(title, BOLD, self.size)
        first = lines_of(text, SANS, self.size, width - lead, most=40)
        rest = text[len(first[0]) :].strip() if len(first) > 1 else ""
        number = (self.left + self.size * 1.1, f"{words.number}", BOLD, self.size)
        parts = (number, (indent, title, BOLD, self.size), (indent + lead, first[0], SANS, self.size))
        self.lines.append(_Line(self.step + 2.4, parts, box=True))
        for line in lines_of(rest, SANS, self.size, width, most=40) if rest else ():
            self.lines.append(_Line(self.step, ((indent, line, SANS, self.size),)))
        self._cautions(words.cautions, indent, width)

    def _cautions(self, cautions: tuple[tuple[str, str], ...], indent: float, width: float) -> None:
        """Cautions behind one another where they fit on a line, else each on its own lines."""
        size = max(self.size - 1, 6.5)
        x, parts = indent, list[tuple[float, str, str, float]]()

        def end_line() -> None:
            if parts:
                self.lines.append(_Line(size * LEADING, tuple(parts), bar=True))
                parts.clear()

        for name, text in cautions:
            lead = width_of(f"{name}: ", BOLD, size)
            if parts and x + lead + width_of(text, SANS, size) > indent + width:
                end_line()
                x = indent
            for at, line in enumerate(lines_of(text, SANS, size, indent + width - x - lead, most=6)):
                if at:
                    end_line()
                else:
                    parts.append((x, f"{name}:", BOLD, size))
                parts.append((x + lead, line, SANS, size))
            x += lead + width_of(f"{parts[-1][1]}   ", SANS, size)
        end_line()

    def _rest(self) -> None:
        size = max(self.size - 1.5, 6.5)
        width = self.right - self.left
        texts = [f"Left out here: {self.stop.left_out}."] if self.stop.left_out else []
        texts.append(WHO_DECIDES)
        for at, text in enumerate(texts):
            for row, line in enumerate(lines_of(text, SANS, size, width, most=LONGEST_END_LINES)):
                gap = 5 if at == 0 and row == 0 else 0
                self.lines.append(_Line(size * LEADING + gap, ((self.left, line, SANS, size),)))

    def _sign(self, canvas: Canvas) -> None:
        y = MARGIN + 4 * mm
        width = self.right - self.left
        canvas.setLineWidth(0.6)
        for name, start, end in zip(SIGN, (0.0, 0.3, 0.5), (0.27, 0.47, 1.0), strict=True):
            canvas.line(self.left + start * width, y, self.left + end * width, y)
            canvas.setFont(SANS, 7.5)
            canvas.drawString(self.left + start * width, y - 9, name)


def blank(name: str) -> str:
    """A blank to fill in, which no line break parts from its name.

    >>> blank("depth, in").isspace() or " " in blank("depth, in")
    False
    """
    return f"{name} ________".replace(" ", "\u00a0")


def _draw_map(canvas: Canvas, shown: DayMap, left: float, bottom: float) -> None:
    """The map in a square of MAP_SIDE."""
    canvas.setLineWidth(0.6)
    canvas.rect(left, bottom, MAP_SIDE, MAP_SIDE)
    pad = 14.0
    scale = MAP_SIDE - 2 * pad - 8  # room for the words below
    off_x, off_y = (1 - shown.width) / 2 * scale + 4, (1 - shown.height) / 2 * scale
    spots = [
        (left + pad + off_x + p.x * scale, bottom + MAP_SIDE - pad - off_y - p.y * scale)
        for p in shown.points
    ]
    path = canvas.beginPath()
    path.moveTo(*spots[0])
    for spot in spots[1:]:
        path.lineTo(*spot)
    canvas.drawPath(path)
    for point, (x, y) in sorted(zip(shown.points, spots, strict=True), key=lambda pair: pair[0].is_here):
        if point.is_start:
            canvas.rect(x - 3, y - 3, 6, 6, fill=1)
            continue
        canvas.setFillGray(0 if point.is_here else 1)
        canvas.circle(x, y, 7 if point.is_here else 5.5, fill=1)
        canvas.setFillGray(1 if point.is_here else 0)
        canvas.setFont(BOLD if point.is_here else SANS, 8 if point.is_here else 7)
        canvas.drawCentredString(x, y - 2.6, point.label)
        canvas.setFillGray(0)
    canvas.setFont(SANS, 6.5)
    canvas.drawRightString(left + MAP_SIDE - 3, bottom + 3, "north is up; straight lines")
