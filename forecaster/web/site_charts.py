"""Two pictures of one site as inline SVG with classes only: its water, and what each closing day costs.

Coloured by `desk.css`; shape and place carry the meaning, colour never alone. Each has a title and a sentence
for who cannot see it, and stands beside a table with its numbers. Widths are those of a phone, so that text
stays legible there; on a desk the picture is scaled up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from math import ceil, floor

import numpy as np
from markupsafe import Markup

from forecaster.falls import fall_day, fall_start
from forecaster.report.words import MONTHS, degrees, dollars, limit, unit_of, weekday_date
from forecaster.season.readings import Reading
from forecaster.units import c_to_f
from forecaster.web.site_days import SiteDays

WIDTH, HEIGHT = 420, 210
LEFT, RIGHT, TOP, BOTTOM = 34, 8, 16, 22
WATER_DAYS = 56
"""Days before the as-of date that the water picture shows."""
OUTLOOK_DAYS = 10
LAYERS = (("warm", "warm water"), ("freeze", "hard freeze"), ("pipes", "pipes"), ("ice", "ice"))
LETTER_HEIGHT = 15
"""A layer with its name in it is at least so high."""


@dataclass(frozen=True)
class Frame:
    """From days and values to the picture: `first` and `last` day, `low` and `high` value."""

    first: date
    last: date
    low: float
    high: float

    def x(self, day: date, part: float = 0.5) -> float:
        """A moment of a day, 0 its start, 1 its end."""
        days = (self.last - self.first).days + 1
        return LEFT + (WIDTH - LEFT - RIGHT) * ((day - self.first).days + part) / days

    def y(self, value: float) -> float:
        """A value; outside the frame it stays at its edge."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * share

    def path(self, points: Sequence[tuple[date, float]]) -> str:
        """A line through the points that are numbers; a gap parts it."""
        made, pen = "", "M"
        for day, value in points:
            if not np.isfinite(value):
                pen = "M"
                continue
            made += f"{pen}{self.x(day):.1f} {self.y(value):.1f}"
            pen = "L"
        return made


def water_chart(
    days: SiteDays, readings: Sequence[Reading], *, as_of: date, limits_c: dict[str, float], units: str
) -> Markup:
    """Water with its band, readings, air, and the outlook; 8 weeks back and 10 days ahead.

    Args:
        days: The site's days.
        readings: Its readings; those outside the picture are left out.
        as_of: The morning on which the forecast stands.
        limits_c: Name -> limit [°C], drawn as lines.
        units: "us" or "metric".
    """
    first = max(days.first_day, as_of - timedelta(days=WATER_DAYS))
    last = as_of + timedelta(days=OUTLOOK_DAYS)
    start = (first - days.first_day).days
    axis = [days.first_day + timedelta(days=n) for n in range(start, len(days.air_c))]
    air = [_shown(value, units) for value in days.air_c[start:]]
    ahead = _ahead(days, last, units)
    seen = [(r.day, r.hour, _shown(r.water_c, units)) for r in readings if first <= r.day <= as_of]
    water = None
    values = [*air, *(v for _, *pair in ahead for v in pair), *(value for *_, value in seen)]
    if days.water_c is not None and days.water_p10_c is not None and days.water_p90_c is not None:
        water = [
            [_shown(value, units) for value in row[start:]]
            for row in (days.water_c, days.water_p10_c, days.water_p90_c)
        ]
        values += [*water[1], *water[2]]
    lines = {name: _shown(value, units) for name, value in limits_c.items()}
    known = [value for value in [*values, *lines.values()] if np.isfinite(value)]
    frame = Frame(first, last, 10.0 * floor(min(known) / 10), 10.0 * ceil(max(known) / 10))
    body = [_grid(frame, 10.0, ""), _months(frame), _today(frame, as_of)]
    body.append(_text(LEFT - 4, TOP - 5, unit_of(units), "tick", "end"))
    if water is not None:
        body.append(_band(frame, axis, water[1], water[2]))
    body.append(f'<path class="air" d="{frame.path(list(zip(axis, air, strict=True)))}"/>')
    for name, value in lines.items():
        body.append(_limit(frame, name, value, limits_c[name], units))
    body += [_night_and_day(frame, *day) for day in ahead]
    if water is not None:
        body.append(f'<path class="water" d="{frame.path(list(zip(axis, water[0], strict=True)))}"/>')
    body += [_reading(frame, *one) for one in seen]
    return _svg("water", "Water and air", _water_words(days, seen, as_of, units), body)


def loss_chart(
    parts: np.ndarray, *, fall: int, first: date, last: date, best: date | None, planned: date | None
) -> Markup:
    """What closing on each day is expected to cost, its four parts on top of each other [$].

    Args:
        parts: Warm water, hard freeze, pipes, ice by day of the fall [$], shape (4, 184).
        fall: The fall.
        first, last: Days shown.
        best, planned: Days that are marked.
    """
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    at = [fall_day(day, fall) for day in days]
    stacked = np.cumsum(parts[:, at], axis=0)
    high = max(20.0, float(stacked[-1].max()))
    step = _money_step(high)
    frame = Frame(first, last, 0.0, step * ceil(high / step))
    body = [_grid(frame, step, "$"), _months(frame)]
    below = np.zeros(len(days))
    names = []
    for (name, words), top in zip(LAYERS, stacked, strict=True):
        body.append(_layer(frame, days, below, top, name))
        names.append(_layer_name(frame, days, below, top, words))
        below = top
    body += names
    body.append(f'<path class="total" d="{frame.path(list(zip(days, stacked[-1], strict=True)))}"/>')
    total = dict(zip(days, stacked[-1].tolist(), strict=True))
    for day, css, radius in ((planned, "planned", 6), (best, "best", 4)):
        if day is not None and day in total:
            body.append(
                f'<circle class="{css}" cx="{frame.x(day):.1f}" cy="{frame.y(total[day]):.1f}" r="{radius}"/>'
            )
    body += [
        _text(LEFT + 4, TOP - 5, "too early: warm water", "hint"),
        _text(WIDTH - RIGHT - 2, TOP - 5, "too late: frost and ice", "hint", "end"),
    ]
    said = " ".join(
        f"{name} {weekday_date(day)}: {dollars(total[day])}."
        for name, day in (("Best day", best), ("Planned", planned))
        if day is not None and day in total
    )
    words = f"Expected cost of closing on each day from {weekday_date(first)} to {weekday_date(last)}. {said}"
    return _svg("loss", "What each closing day is expected to cost", words, body)


# --- parts of the pictures


def _svg(uid: str, title: str, words: str, body: Sequence[str]) -> Markup:
    return Markup(
        f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t {uid}-d">'
        f'<title id="{uid}-t">{escape(title)}</title><desc id="{uid}-d">{escape(words)}</desc>'
        f"{''.join(body)}</svg>"
    )


def _text(x: float, y: float, text: str, css: str, anchor: str = "start") -> str:
    return f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _grid(frame: Frame, step: float, sign: str) -> str:
    made, value = "", frame.low
    while value <= frame.high + 1e-9:
        y = frame.y(value)
        made += f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
        made += _text(LEFT - 4, y + 4, f"{sign}{value:.0f}", "tick", "end")
        value += step
    return made


def _months(frame: Frame) -> str:
    """Ticks on Mondays, a line and a name at each first of a month; the first day at the left."""
    days = [frame.first + timedelta(days=n) for n in range((frame.last - frame.first).days + 1)]
    base = HEIGHT - BOTTOM
    ticks = "".join(f"M{frame.x(day, 0):.1f} {base}v3" for day in days if day.weekday() == 0)
    made = f'<path class="axis" d="M{LEFT} {base}H{WIDTH - RIGHT}{ticks}"/>'
    firsts = [day for day in days if day.day == 1]
    if not firsts or (firsts[0] - frame.first).days > 9:
        made += _text(LEFT, HEIGHT - 5, f"{frame.first.day} {MONTHS[frame.first.month - 1]}", "tick")
    for day in firsts:
        x = frame.x(day, 0)
        made += f'<path class="month" d="M{x:.1f} {TOP}V{base + 6}"/>'
        if x < WIDTH - 34:
            made += _text(x + 3, HEIGHT - 5, MONTHS[day.month - 1], "tick")
    return made


def _today(frame: Frame, as_of: date) -> str:
    x = frame.x(as_of, 0)
    return f'<path class="today" d="M{x:.1f} {TOP - 4}V{HEIGHT - BOTTOM + 6}"/>' + _text(
        x - 3, TOP - 5, "today", "tick", "end"
    )


def _limit(frame: Frame, name: str, value: float, value_c: float, units: str) -> str:
    y = frame.y(value)
    words = f"{name} {limit(value_c, units)}"
    return f'<path class="limit" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>' + _text(
        LEFT + 3, y - 3, words, "hint"
    )


def _band(frame: Frame, days: Sequence[date], low: Sequence[float], high: Sequence[float]) -> str:
    there = [f"{frame.x(day):.1f} {frame.y(value):.1f}" for day, value in zip(days, high, strict=True)]
    back = [f"{frame.x(day):.1f} {frame.y(value):.1f}" for day, value in zip(days, low, strict=True)]
    return f'<path class="band" d="M{"L".join([*there, *reversed(back)])}Z"/>'


def _layer(frame: Frame, days: Sequence[date], below: np.ndarray, top: np.ndarray, name: str) -> str:
    if float((top - below).max()) < 0.5:
        return ""
    there = [f"{frame.x(day):.1f} {frame.y(float(v)):.1f}" for day, v in zip(days, top, strict=True)]
    back = [f"{frame.x(day):.1f} {frame.y(float(v)):.1f}" for day, v in zip(days, below, strict=True)]
    return f'<path class="part-{name}" d="M{"L".join([*there, *reversed(back)])}Z"/>'


def _layer_name(frame: Frame, days: Sequence[date], below: np.ndarray, top: np.ndarray, words: str) -> str:
    """The name of a layer where it is thickest, "" where it is too thin for letters."""
    at = int(np.argmax(top - below))
    low, high = frame.y(float(below[at])), frame.y(float(top[at]))
    if low - high < LETTER_HEIGHT:
        return ""
    wide = 7.5 * len(words)
    x = min(max(frame.x(days[at]), LEFT + wide / 2 + 4), WIDTH - RIGHT - wide / 2 - 4)
    return _text(x, (low + high) / 2 + 4, words, "layer", "middle")


def _night_and_day(frame: Frame, day: date, low: float, high: float) -> str:
    """One day of the outlook: a bar from its lowest to its highest air."""
    if not (np.isfinite(low) and np.isfinite(high)):
        return ""
    x = frame.x(day)
    return f'<path class="ahead" d="M{x:.1f} {frame.y(low):.1f}V{frame.y(high):.1f}"/>'


def _reading(frame: Frame, day: date, hour: float | None, value: float) -> str:
    x = frame.x(day, 0.5 if hour is None else hour / 24)
    return f'<circle class="reading" cx="{x:.1f}" cy="{frame.y(value):.1f}" r="3.5"/>'


def _ahead(days: SiteDays, last: date, units: str) -> list[tuple[date, float, float]]:
    if days.outlook is None:
        return []
    given = zip(days.outlook.days, days.outlook.min_c, days.outlook.max_c, strict=True)
    return [
        (day, _shown(float(low), units), _shown(float(high), units))
        for day, low, high in given
        if day <= last
    ]


def _water_words(days: SiteDays, seen: Sequence[object], as_of: date, units: str) -> str:
    if days.water_c is None or days.water_p10_c is None or days.water_p90_c is None:
        return "Daily mean air at the site, and the outlook. There is no water forecast for this site."
    low, high = (degrees(float(values[-1]), units) for values in (days.water_p10_c, days.water_p90_c))
    since = fall_start(as_of.year if as_of.month >= 8 else as_of.year - 1)
    return (
        f"Daily mean water since {weekday_date(max(since, as_of - timedelta(days=WATER_DAYS)))}, yesterday "
        f"{low} to {high} with 8 chances in 10; {len(seen)} readings in the picture; daily mean air; "
        "the outlook's nights and days as bars."
    )


def _shown(value_c: float, units: str) -> float:
    return float(value_c) if units == "metric" else float(c_to_f(float(value_c)))


def _money_step(high: float) -> float:
    """A round step that gives three to six lines."""
    raw = high / 4
    for step in (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2500.0, 5000.0):
        if step >= raw:
            return step
    return 10.0 ** ceil(np.log10(raw))
