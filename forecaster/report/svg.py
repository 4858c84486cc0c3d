"""The season strip as a drawing: the layers of `strip.py` as inline SVG, coloured by `strip.css` alone.

No style attribute and no script, so that it can stand on a page with a strict content policy; whole
numbers, so that 160 strips fit in one file. Three units are a day; nothing is scaled to its own site, so
strips can be compared down a page.
"""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from functools import cache
from html import escape
from itertools import pairwise
from pathlib import Path

import numpy as np

from forecaster.forecast import SeasonCurves
from forecaster.report.strip import STRIP_DAYS, StripDates, day_at_level, on_strip, strip_start
from forecaster.report.words import MONTHS

UNITS_A_DAY = 3
WIDTH = STRIP_DAYS * UNITS_A_DAY
MARGIN = 8
HEIGHT = 72
MARKS_Y, BAND_TOP, BAND_END, FROST_END = 13, 20, 38, 55
BAND_MIDDLE = (BAND_TOP + BAND_END) // 2
FROST_STEP_DAYS = 2
FULL_HEIGHT_CHANCE = 0.25
"""Chance of the first hard freeze within the two days of a mark at which the mark has its full height."""

BAND_STEPS = 10
"""The band has a step at each fall in ten, so the edges of its shades are the quantiles themselves."""


TEMPLATES = Path(__file__).parent / "templates"


@cache
def strip_css() -> str:
    """The style sheet of strips (classes only)."""
    return TEMPLATES.joinpath("strip.css").read_text(encoding="utf-8")


def strip_svg(
    curves: SeasonCurves | None,
    dates: StripDates,
    *,
    uid: str,
    title: str,
    desc: str,
    axis_id: str | None = None,
) -> str:
    """One strip as an `<svg>` element.

    Args:
        uid: Identifier of the strip, unique on its page: letters, digits, "-" and "_" only.
        title, desc: What a screen reader says; any text, escaped here.
        axis_id: Identifier of an `axis_symbol` on the same page; None draws the axis into the strip.
    Raises:
        ValueError: `uid` or `axis_id` could leave its attribute.
    """
    _check_identifiers(uid, axis_id or "axis")
    first = strip_start(dates.fall)
    axis = f'<use href="#{axis_id}"/>' if axis_id else _axis(dates)
    layers = [
        _water(curves, first),
        axis,
        _frost(curves, first),
        _bracket(dates, first),
        _marks(dates, first),
    ]
    return (
        f'<svg class="strip" viewBox="{_view_box()}" role="img" aria-labelledby="{uid}t {uid}d">'
        f'<title id="{uid}t">{escape(title)}</title><desc id="{uid}d">{escape(desc)}</desc>'
        f"{''.join(layers)}</svg>"
    )


def axis_symbol(dates: StripDates, *, axis_id: str) -> str:
    """The months, the Mondays and today, once a page; strips refer to it by `axis_id`."""
    _check_identifiers(axis_id)
    group = f'<defs><g id="{axis_id}">{_axis(dates)}</g></defs>'
    return f'<svg class="defs" width="0" height="0" aria-hidden="true">{group}</svg>'


def sign_svg(sign: str) -> str:
    """One sign of the strip alone, for a legend; the names are those of the table below."""
    drawn = {
        "water": "".join(f'<path class="w{step}" d="M{step * 2 - 12} 12h2"/>' for step in range(1, 11)),
        "frost": '<path class="frost" d="M-6 18v-5M0 18v-10M6 18v-6"/>',
        "half": '<path class="frost-half" d="M0 9l-4 6h8z"/>',
        "seen": _triangle(0, 18),
        "window": '<path class="window" d="M-9 17v-6H9v6"/>',
        "best": '<circle class="best" cx="0" cy="12" r="4"/>',
        "planned": '<circle class="planned" cx="0" cy="12" r="6"/>',
        "pin": '<path class="pin" d="M-4 2h8l-4 6zM0 8v14"/>',
        "today": '<path class="today" d="M0 2v20"/>',
    }[sign]
    return f'<svg class="sign" viewBox="-12 0 24 24" aria-hidden="true">{drawn}</svg>'


# --- layers, back to front


def _check_identifiers(*names: str) -> None:
    for name in names:
        if not re.fullmatch(r"[A-Za-z0-9_-]+", name):
            raise ValueError(f"{name!r} is not an identifier: letters, digits, - and _ only")


def _view_box() -> str:
    return f"{-MARGIN} 0 {WIDTH + 2 * MARGIN} {HEIGHT}"


def _x(day: date, first: date) -> int:
    """Middle of a day, held at the edge for a day outside the strip."""
    offset = (day - first).days
    return min(max(offset * UNITS_A_DAY + 1, -MARGIN + 2), WIDTH + MARGIN - 2)


def _water(curves: SeasonCurves | None, first: date) -> str:
    bed = f'<path class="bed" d="M0 {BAND_MIDDLE}h{WIDTH}"/>'
    if curves is None:
        return bed
    settled = np.nan_to_num(on_strip(curves.p_settled, curves.first_day, first))
    steps = np.clip(np.round(settled * BAND_STEPS), 0, BAND_STEPS).astype(int)
    edges = [0, *(np.flatnonzero(np.diff(steps)) + 1).tolist(), STRIP_DAYS]
    shades = [
        f'<path class="w{steps[start]}" d="M{start * UNITS_A_DAY} {BAND_MIDDLE}h{width}"/>'
        for start, width in ((start, (stop - start) * UNITS_A_DAY) for start, stop in pairwise(edges))
        if steps[start] > 0
    ]
    half = np.flatnonzero(settled >= 0.5)
    if half.size and half[0] > 0:
        shades.append(f'<path class="median" d="M{half[0] * UNITS_A_DAY} {BAND_TOP}V{BAND_END}"/>')
    return bed + "".join(shades)


def _axis(dates: StripDates) -> str:
    first = strip_start(dates.fall)
    mondays = range((7 - first.weekday()) % 7, STRIP_DAYS, 7)
    ticks = "".join(f"M{offset * UNITS_A_DAY} {FROST_END}v3" for offset in mondays)
    starts = [(date(dates.fall, month, 1) - first).days * UNITS_A_DAY for month in (9, 10, 11, 12)]
    months = "".join(f"M{x} {BAND_TOP}V{FROST_END + 6}" for x in starts[1:])
    labels = "".join(
        f'<text x="{x + 3}" y="{HEIGHT - 3}">{MONTHS[8 + index]}</text>' for index, x in enumerate(starts)
    )
    today = min(max((dates.as_of - first).days, 0), STRIP_DAYS) * UNITS_A_DAY
    past = (
        f'<rect class="past" x="0" y="{BAND_TOP}" width="{today}" height="{FROST_END - BAND_TOP}"/>'
        if today
        else ""
    )
    line = f'<path class="today" d="M{today} {BAND_TOP - 4}V{FROST_END + 6}"/>' if 0 < today < WIDTH else ""
    return (
        f'{past}<path class="month" d="{months}"/><path class="axis" d="M0 {FROST_END}H{WIDTH}{ticks}"/>'
        f'<g class="label">{labels}</g>{line}'
    )


def _frost(curves: SeasonCurves | None, first: date) -> str:
    """Marks whose height grows with the root of the chance, so that a likely day does not hide the others."""
    if curves is None:
        return ""
    ahead = np.nan_to_num(on_strip(curves.p_first_hard_freeze, curves.first_day, first))
    path, x, y = "", 0, 0
    for start in range(0, STRIP_DAYS, FROST_STEP_DAYS):
        share = min(1.0, float(ahead[start : start + FROST_STEP_DAYS].sum()) / FULL_HEIGHT_CHANCE)
        height = round((FROST_END - BAND_END) * math.sqrt(share))
        if height >= 2:
            middle = start * UNITS_A_DAY + FROST_STEP_DAYS * UNITS_A_DAY // 2
            path += f"m{middle - x} {FROST_END - y}v-{height}"
            x, y = middle, FROST_END - height
    drawn = f'<path class="frost" d="{path}"/>' if path else ""
    half = day_at_level(ahead, 0.5)
    if half is not None:
        x = _x(first + timedelta(days=half), first)
        drawn += f'<path class="frost-half" d="M{x} {FROST_END + 1}l-3 6h6z"/>'
    return drawn + "".join(
        _triangle(_x(day, first), FROST_END)
        for day in curves.hard_freezes
        if 0 <= (day - first).days < STRIP_DAYS
    )


def _triangle(x: int, y: int) -> str:
    return f'<path class="seen" d="M{x - 4} {y}l4 -9 4 9z"/>'


def _bracket(dates: StripDates, first: date) -> str:
    if dates.window_start is None or dates.window_end is None:
        return ""
    start = min(max((dates.window_start - first).days, 0), STRIP_DAYS) * UNITS_A_DAY
    end = min(max((dates.window_end - first).days + 1, 0), STRIP_DAYS) * UNITS_A_DAY
    left = f"M{start} {BAND_TOP - 1}V{MARKS_Y}" if dates.window_start >= first else f"M{start} {MARKS_Y}"
    right = f"H{end}V{BAND_TOP - 1}" if (dates.window_end - first).days < STRIP_DAYS else f"H{end}"
    return f'<path class="window" d="{left}{right}"/>'


def _marks(dates: StripDates, first: date) -> str:
    drawn = ""
    if dates.planned is not None:
        drawn += f'<circle class="planned" cx="{_x(dates.planned, first)}" cy="{MARKS_Y}" r="6"/>'
    if dates.recommended is not None:
        drawn += f'<circle class="best" cx="{_x(dates.recommended, first)}" cy="{MARKS_Y}" r="4"/>'
    if dates.pin is not None:
        x = _x(dates.pin, first)
        drawn += f'<path class="pin" d="M{x - 4} 0h8l-4 6zM{x} 6V{FROST_END}"/>'
    return drawn
