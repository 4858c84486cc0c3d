"""A standalone SVG picture: its frame, its style sheet for light, dark and print, its escaped texts."""

from __future__ import annotations

from html import escape

STYLE = """
svg { --ink: #1b1b1a; --paper: #fcfcfa; --muted: #63635e; --line: #d9d9d3; --water: #0f6b68; --frost: #5b3a8c;
  background: var(--paper); font-family: system-ui, sans-serif; font-size: 12px; }
@media (prefers-color-scheme: dark) {
  svg { --ink: #eeeeea; --paper: #171716; --muted: #a8a8a1; --line: #3a3a37; --water: #5cc4bf;
    --frost: #b79be8; }
}
@media print { svg { --ink: #000; --paper: #fff; --muted: #444; --line: #ccc; } }
text { fill: var(--ink); } .muted { fill: var(--muted); } .head { font-size: 15px; font-weight: 600; }
.line { stroke: var(--line); fill: none; } .axis { stroke: var(--muted); fill: none; }
"""


def picture(*, width: int, height: int, title: str, description: str, body: str, style: str = "") -> str:
    """One SVG document of `width` x `height` pixels, with a title and a sentence for who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-labelledby="t d">'
        f'<title id="t">{escape(title)}</title><desc id="d">{escape(description)}</desc>'
        f"<style>{STYLE}{style}</style>{body}</svg>\n"
    )


def label(x: float, y: float, text: str, *, css: str = "", anchor: str = "start") -> str:
    """A line of text at a point [pixels]."""
    named = f' class="{css}"' if css else ""
    held = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}{held}>{escape(text)}</text>'
