"""The whole season on one sheet: a line a site in order of work, with window, best day, plan and frost.

The signs are those of the season strip: bracket, filled mark, ring, pin. Over all lines lies how the chance
of the first hard freeze grows, at the top how many visits each week has and what they are expected to lose.
Read down the rings: the plan. A ring right of its bracket is a visit that comes late. At the right the chance
of a hard freeze before the planned visit.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report.drawing import label, picture
from forecaster.report.strip import STRIP_DAYS, day_at_level, on_strip, route_curves, strip_start
from forecaster.report.words import MONTHS, clean, count, day_month, dollars, percent, weekday_date

LEFT, DAY, ROW, TOP = 190, 6, 14, 118
RIGHT = 64
FROST_LEVELS = (0.1, 0.5, 0.9)
STYLE = """
.bracket { stroke: var(--ink); fill: none; stroke-width: 1.4; } .best { fill: var(--ink); }
.ring { fill: var(--paper); stroke: var(--ink); stroke-width: 1.5; } .pin { fill: var(--ink); }
.frost { fill: var(--frost); } .cold { stroke: var(--frost); stroke-width: 1.2; stroke-dasharray: 3 3; }
.freeze { fill: var(--frost); } .today { stroke: var(--ink); stroke-width: 1.5; } .small { font-size: 10px; }
"""


def season_picture(forecast: RouteForecast) -> str:
    """The picture as an SVG document."""
    first = strip_start(forecast.fall)
    last = date(forecast.fall + 1, 1, 31)
    sites = sorted(forecast.sites, key=lambda s: (s.planned_date or last, s.planned_crew or "", s.rank))
    width = LEFT + STRIP_DAYS * DAY + RIGHT
    bottom = TOP + ROW * max(1, len(sites))
    body = [
        label(12, 24, f"{clean(forecast.season_name)}: windows, plan and frost", css="head"),
        label(12, 44, f"As of {weekday_date(forecast.as_of, year=True)}. {_legend()}", css="muted"),
        _calendar(first, bottom),
        _weeks(forecast, first),
        _frost(forecast, first, bottom),
        *(_site(site, first, TOP + ROW * at) for at, site in enumerate(sites)),
        _today(forecast.as_of, first, bottom),
    ]
    text = (
        f"{count(len(sites), 'site')} in order of their planned day; numbers stand in the table of the route."
    )
    title = f"{clean(forecast.season_name)}: the season on one sheet"
    return picture(
        width=width, height=bottom + 40, title=title, description=text, body="".join(body), style=STYLE
    )


def _legend() -> str:
    return "Bracket: closing window. Filled: best day. Ring: plan. Wedge: told, booked. Violet: hard freeze."


def _x(day: date, first: date) -> float:
    """Middle of a day, held at the edges of the sheet."""
    return LEFT + DAY * (min(max((day - first).days, 0), STRIP_DAYS - 1) + 0.5)


def _calendar(first: date, bottom: int) -> str:
    drawn = []
    for offset in range((7 - first.weekday()) % 7, STRIP_DAYS, 7):
        x = LEFT + DAY * offset
        drawn.append(f'<path class="line" d="M{x} {TOP - 4}V{bottom}"/>')
    right = LEFT + STRIP_DAYS * DAY + RIGHT - 8
    drawn.append(label(right, TOP - 20, "frost", css="small", anchor="end"))
    drawn.append(label(right, TOP - 8, "before", css="small", anchor="end"))
    for month in (9, 10, 11, 12):
        x = LEFT + DAY * (date(first.year, month, 1) - first).days
        drawn.append(f'<path class="axis" d="M{x} {TOP - 16}V{bottom}"/>')
        drawn.append(label(x + 4, TOP - 8, MONTHS[month - 1]))
    return "".join(drawn)


def _weeks(forecast: RouteForecast, first: date) -> str:
    """Visits of each week and their expected loss, over its Monday."""
    drawn = [
        label(LEFT - 8, TOP - 40, "visits", anchor="end"),
        label(LEFT - 8, TOP - 26, "loss", anchor="end"),
    ]
    for week in forecast.plan.weeks:
        x = _x(week.monday, first)
        drawn.append(label(x, TOP - 40, f"{week.visits}", css="small"))
        drawn.append(label(x, TOP - 26, dollars(week.expected_loss), css="small"))
    return "".join(drawn)


def _frost(forecast: RouteForecast, first: date, bottom: int) -> str:
    """Days by which the first hard freeze has come in 1, 5 and 9 falls of 10, over the mean of the sites."""
    curves = route_curves(forecast)
    if curves is None:
        return ""
    ahead = np.nan_to_num(on_strip(curves.p_first_hard_freeze, curves.first_day, first))
    drawn = []
    for level in FROST_LEVELS:
        day = day_at_level(ahead, level)
        if day is None:
            continue
        x = LEFT + DAY * (day + 0.5)
        when = first + timedelta(days=day)
        drawn.append(f'<path class="cold" d="M{x} {TOP - 4}V{bottom + 6}"/>')
        words = f"{level * 10:.0f} in 10 by {day_month(when)}"
        drawn.append(
            label(x, bottom + 18 + 10 * FROST_LEVELS.index(level), words, css="small", anchor="middle")
        )
    return "".join(drawn)


def _site(site: SiteForecast, first: date, top: int) -> str:
    middle = top + ROW / 2
    name = f"{clean(site.site.site_id)} {clean(site.site.customer)}"
    drawn = [label(12, middle + 4, name if len(name) <= 26 else f"{name[:25]}…", css="small")]
    drawn.append(f'<path class="line" d="M{LEFT} {top + ROW}h{STRIP_DAYS * DAY}"/>')
    if site.curves is not None:
        for day in site.curves.hard_freezes:
            x = _x(day, first)
            drawn.append(f'<path class="freeze" d="M{x - 3} {top + ROW}l3 -6 3 6z"/>')
    if site.window_start is not None and site.window_end is not None:
        a, b = _x(site.window_start, first) - DAY / 2, _x(site.window_end, first) + DAY / 2
        drawn.append(f'<path class="bracket" d="M{a} {top + 9}V{top + 3}H{b}V{top + 9}"/>')
    if site.planned_date is not None:
        x = _x(site.planned_date, first)
        drawn.append(f'<circle class="ring" cx="{x}" cy="{middle}" r="4.5"/>')
    if site.recommended_date is not None:
        x = _x(site.recommended_date, first)
        drawn.append(f'<circle class="best" cx="{x}" cy="{middle}" r="2.4"/>')
    pin = site.site.told_date or site.site.booked_date
    if pin is not None:
        x = _x(pin, first)
        drawn.append(f'<path class="pin" d="M{x - 3} {top}h6l-3 5z"/>')
    chance = percent(site.p_hard_freeze_before_planned)
    drawn.append(label(LEFT + STRIP_DAYS * DAY + RIGHT - 8, middle + 4, chance, css="small", anchor="end"))
    return "".join(drawn)


def _today(as_of: date, first: date, bottom: int) -> str:
    if not 0 <= (as_of - first).days < STRIP_DAYS:
        return ""
    x = LEFT + DAY * (as_of - first).days
    return f'<path class="today" d="M{x} {TOP - 20}V{bottom}"/>' + label(
        x + 3, TOP - 54, "today", css="small"
    )
