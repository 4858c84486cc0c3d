"""Text in a PDF: an embedded font with most Latin, Greek and Cyrillic letters, and lines that fit.

The font is DejaVu Sans, which matplotlib brings (free licence). Limit: signs that it lacks become "?".
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

SANS, BOLD = "ForecasterSans", "ForecasterBold"
SMALLEST_PT = 6.5
_FILES = {SANS: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


@cache
def register_fonts() -> None:
    """Make both fonts known to the PDF writer; may be called often."""
    found = find_spec("matplotlib")
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def printable(text: str, font: str = SANS) -> str:
    """The text with signs that the font lacks as "?"."""
    register_fonts()
    glyphs = pdfmetrics.getFont(font).face.charToGlyph
    return "".join(sign if ord(sign) in glyphs else "?" for sign in text)


def width_of(text: str, font: str, size_pt: float) -> float:
    """Width of a line [pt]."""
    return _width_at_one(text, font) * size_pt


@lru_cache(maxsize=50_000)
def _width_at_one(text: str, font: str) -> float:
    """Width at 1 pt: a text that is tried at many sizes is measured once."""
    return float(pdfmetrics.stringWidth(text, font, 1.0))


def fitted_line(text: str, font: str, size_pt: float, width_pt: float) -> tuple[str, float]:
    """The line and its size: smaller where it is too long, at last cut with an ellipsis."""
    text = printable(text, font)
    while size_pt > SMALLEST_PT and width_of(text, font, size_pt) > width_pt:
        size_pt -= 0.5
    if width_of(text, font, size_pt) <= width_pt:
        return text, size_pt
    return _cut(text, font, size_pt, width_pt), size_pt


def lines_of(text: str, font: str, size_pt: float, width_pt: float, *, most: int) -> Sequence[str]:
    """The text in at most so many lines of that width; the last one is cut where more is left."""
    words, lines = printable(text, font).split(" "), [""]
    for number, word in enumerate(words):
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, font, size_pt) <= width_pt or not lines[-1]:
            lines[-1] = longer
        elif len(lines) < most:
            lines.append(word)
        else:
            rest = " ".join([lines[-1], *words[number : number + 40]])
            lines[-1] = _cut(rest, font, size_pt, width_pt)
            return [_cut(line, font, size_pt, width_pt) for line in lines]
    return [_cut(line, font, size_pt, width_pt) for line in lines]


def _cut(text: str, font: str, size_pt: float, width_pt: float) -> str:
    if width_of(text, font, size_pt) <= width_pt:
        return text
    room = bisect_right(
        range(1, len(text)), width_pt, key=lambda length: width_of(f"{text[:length]}…", font, size_pt)
    )
    return f"{text[:room]}…"
