"""The season strip: one fall from 1 September to 31 December on one line of text.

Back to front: the chance that the water has settled (shade), hard freezes (marks on the lower edge), the
closing window (bracket), the recommended day, the planned day, the date told or booked. Shape and position
carry it, colour never. The drawn version with the same layers is in `svg.py`.

The limit: a cell holds 122 / 52 = 2.3 days, so a mark says the day only to within two; numbers stand beside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from forecaster.falls import fall_of
from forecaster.forecast import RouteForecast, SeasonCurves, SiteForecast
from forecaster.report.words import MONTHS

STRIP_CELLS = 52
STRIP_DAYS = 122
"""Days from 1 September to 31 December, both counted."""

FROST_LEVELS = (0.1, 0.5, 0.9)
"""Frost marks of the text strip: the first hard freeze has come by then in 1, 5, 9 falls in 10."""

SHADE_LIMITS = (0.1, 0.35, 0.65, 0.9)
"""Chance of settled water (0-1) from which the next darker shade is used; a limit belongs to the darker."""


@dataclass(frozen=True)
class Signs:
    """The characters of a text strip; `shades` from unlikely to nearly certain."""

    shades: str
    frost_ahead: str
    frost_seen: str
    recommended: str
    planned: str
    both: str
    pin: str
    today: str
    tick: str


BLOCKS = Signs(" ░▒▓█", "▵", "▴", "●", "○", "◉", "▾", "│", "·")
ASCII = Signs(" .:=#", "^", "*", "x", "o", "@", "v", "|", "'")


@dataclass(frozen=True)
class StripDates:
    """The dates marked on a strip; None where there is none. `pin` is a date told, else booked."""

    as_of: date
    window_start: date | None = None
    window_end: date | None = None
    recommended: date | None = None
    planned: date | None = None
    pin: date | None = None

    @property
    def fall(self) -> int:
        """The fall that holds the as-of date (the coming one from February to July)."""
        fall = fall_of(self.as_of)
        return self.as_of.year if fall is None else fall


def dates_of(site: SiteForecast, as_of: date) -> StripDates:
    """The dates of one site's strip."""
    return StripDates(
        as_of=as_of,
        window_start=site.window_start,
        window_end=site.window_end,
        recommended=site.recommended_date,
        planned=site.planned_date,
        pin=site.site.told_date or site.site.booked_date,
    )


def route_curves(forecast: RouteForecast) -> SeasonCurves | None:
    """The whole route as one strip: shares of its sites instead of chances; None if no site has curves."""
    curves = [site.curves for site in forecast.sites if site.curves is not None]
    if not curves:
        return None
    first = strip_start(StripDates(forecast.as_of).fall)
    settled = np.stack([on_strip(c.p_settled, c.first_day, first) for c in curves])
    frost = np.stack([on_strip(c.p_first_hard_freeze, c.first_day, first) for c in curves])
    known = np.isfinite(settled)
    return SeasonCurves(
        first_day=first,
        p_settled=np.where(known, settled, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1),
        p_first_hard_freeze=np.nan_to_num(frost).mean(axis=0),
        hard_freezes=tuple(sorted({day for c in curves for day in c.hard_freezes})),
        loss=np.full(STRIP_DAYS, np.nan),
    )


def route_dates(forecast: RouteForecast) -> StripDates:
    """Bracket of the whole route: its crew-days; pin: the latest first day."""
    days = [crew_day.day for crew_day in forecast.crew_days]
    return StripDates(
        as_of=forecast.as_of,
        window_start=min(days, default=None),
        window_end=max(days, default=None),
        pin=forecast.plan.latest_start,
    )


def strip_line(curves: SeasonCurves | None, dates: StripDates, *, unicode: bool) -> str:
    """The strip as 52 characters. `curves` None: the marks alone.

    The window is what lies between "[" and "]". A mark before 1 September or after 31 December stands as
    "<" or ">" at the edge. Where marks meet, the later in this list is seen: today, frost ahead, bracket,
    frost that came, planned, recommended (one sign for both), pin.

    Example:
        >>> dates = StripDates(date(2025, 10, 1), recommended=date(2025, 10, 17), planned=date(2025, 10, 20))
        >>> strip_line(None, dates, unicode=False).rstrip()
        '            |      xo'
    """
    signs = BLOCKS if unicode else ASCII
    first = strip_start(dates.fall)
    cells = _shaded(curves, first, signs)
    today = cell_of(dates.as_of, first)
    if 0 <= today < STRIP_CELLS:
        cells[today] = signs.today
    for cell in _frost_ahead(curves, first):
        cells[cell] = signs.frost_ahead
    if dates.window_start is not None and dates.window_end is not None:
        start, end = cell_of(dates.window_start, first), cell_of(dates.window_end, first)
        _put(cells, start - 1 if start > 0 else start, "[")
        _put(cells, end + 1 if end < STRIP_CELLS - 1 else end, "]")
    for cell in _frost_seen(curves, first):
        cells[cell] = signs.frost_seen
    for day, sign in (
        (dates.planned, signs.planned),
        (dates.recommended, signs.recommended),
        (dates.pin, signs.pin),
    ):
        if day is not None:
            cell = cell_of(day, first)
            both = sign == signs.recommended and dates.planned and cell_of(dates.planned, first) == cell
            _put(cells, cell, signs.both if both else sign)
    return "".join(cells)


def ruler_line(fall: int, *, unicode: bool) -> str:
    """Months at their first day and a tick each Monday, under or over a strip.

    >>> ruler_line(2025, unicode=False)
    "Sep  '  '  'Oct  '  '  '  Nov'  '  '  Dec'  '  '  ' "
    """
    signs = BLOCKS if unicode else ASCII
    first = strip_start(fall)
    cells = [" "] * STRIP_CELLS
    for offset in range((7 - first.weekday()) % 7, STRIP_DAYS, 7):
        cells[offset * STRIP_CELLS // STRIP_DAYS] = signs.tick
    for month in (9, 10, 11, 12):
        start = cell_of(date(fall, month, 1), first)
        cells[start : start + 3] = MONTHS[month - 1]
    return "".join(cells)


def legend_lines(*, unicode: bool) -> tuple[str, str]:
    """What the signs of a strip mean, in two lines."""
    s = BLOCKS if unicode else ASCII
    return (
        f"{s.shades[1:]} water settled   {s.frost_ahead} hard freeze by then in 1, 5, 9 falls of 10   "
        f"{s.frost_seen} it froze",
        f"[ ] closing window   {s.recommended} best day   {s.planned} planned   {s.both} both   "
        f"{s.pin} told or booked   {s.today} today",
    )


# --- days and cells


def strip_start(fall: int) -> date:
    """1 September of the fall: the first day of every strip."""
    return date(fall, 9, 1)


def cell_of(day: date, first: date) -> int:
    """Cell of a day, 0 to 51; outside that range for days outside the strip."""
    return (day - first).days * STRIP_CELLS // STRIP_DAYS


def on_strip(values: np.ndarray, first_day: date, first: date) -> np.ndarray:
    """Daily values from `first_day` on, moved to the 122 days of a strip; NaN where there are none."""
    placed = np.full(STRIP_DAYS, np.nan)
    shift = (first_day - first).days
    start, stop = max(0, shift), min(STRIP_DAYS, shift + len(values))
    if stop > start:
        placed[start:stop] = values[start - shift : stop - shift]
    return placed


def day_at_level(daily_chance: np.ndarray, level: float) -> int | None:
    """First day by which the daily chances add up to `level`; None if they never do."""
    reached = np.nan_to_num(daily_chance).cumsum() >= level - 1e-9
    return int(reached.argmax()) if reached.any() else None


def _shaded(curves: SeasonCurves | None, first: date, signs: Signs) -> list[str]:
    if curves is None:
        return [" "] * STRIP_CELLS
    settled = np.nan_to_num(on_strip(curves.p_settled, curves.first_day, first))
    edges = [-(-cell * STRIP_DAYS // STRIP_CELLS) for cell in range(STRIP_CELLS + 1)]
    means = [settled[start:stop].mean() for start, stop in pairwise(edges)]
    return [signs.shades[sum(mean >= limit for limit in SHADE_LIMITS)] for mean in means]


def _frost_ahead(curves: SeasonCurves | None, first: date) -> list[int]:
    if curves is None:
        return []
    ahead = on_strip(curves.p_first_hard_freeze, curves.first_day, first)
    days = [day_at_level(ahead, level) for level in FROST_LEVELS]
    return [cell_of(first + timedelta(days=day), first) for day in days if day is not None]


def _frost_seen(curves: SeasonCurves | None, first: date) -> list[int]:
    cells = [cell_of(day, first) for day in curves.hard_freezes] if curves is not None else []
    return [cell for cell in cells if 0 <= cell < STRIP_CELLS]


def _put(cells: list[str], cell: int, sign: str) -> None:
    if cell < 0:
        cells[0] = "<"
    elif cell >= STRIP_CELLS:
        cells[-1] = ">"
    else:
        cells[cell] = sign
