"""A map of the coming crew-days: start places, stops with their order, straight lines between. No map tiles.

North is up, both directions have the same scale (a plane that touches the earth in the middle of the sites:
right to about 1 % over 100 km). Crews are told apart by their dashes and names, days by the number before
the stop: nothing hangs on colour. Sites of later days are small dots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, cos, log10, radians

from forecaster.forecast import CrewDay, RouteForecast
from forecaster.report.drawing import label, picture
from forecaster.report.view import later_working_days, next_working_days
from forecaster.report.words import clean, count, day_month, weekday_date
from forecaster.season.settings import Crew
from forecaster.units import KM_PER_MILE

WIDTH, MAP_HEIGHT, MARGIN, HEAD = 900, 640, 56, 56
LETTER = 5.8
"""Mean width of a small letter [pixels]."""
KM_PER_DEGREE = 111.195
"""Of latitude, on the sphere of radius 6371.0088 km."""
DASHES = ("", "9 4", "2 3", "12 3 2 3", "5 2", "1 5")
DAYS_SHOWN = 5
ROW = 16
STYLE = """
.round { stroke: var(--water); stroke-width: 1.6; fill: none; }
.stop { fill: var(--paper); stroke: var(--ink); }
.start { fill: var(--ink); } .later { fill: var(--muted); } .small { font-size: 10px; }
"""


@dataclass(frozen=True)
class _Plane:
    """From degrees to pixels."""

    west: float
    north: float
    per_km: float
    narrowing: float
    right: float = 0.0
    down: float = 0.0

    def at(self, latitude: float, longitude: float) -> tuple[float, float]:
        x = (longitude - self.west) * KM_PER_DEGREE * self.narrowing * self.per_km
        y = (self.north - latitude) * KM_PER_DEGREE * self.per_km
        return MARGIN + self.right + x, HEAD + MARGIN + self.down + y


def route_map(forecast: RouteForecast, *, days: int = DAYS_SHOWN) -> str:
    """The next `days` working days as an SVG document."""
    coming = next_working_days(forecast, days=days)
    numbers = {day: at for at, day in enumerate(sorted({crew_day.day for crew_day in coming}), start=1)}
    plane = _plane(forecast)
    places = {site.site.site_id: (site.site.latitude, site.site.longitude) for site in forecast.sites}
    dashes = {crew.name: DASHES[at % len(DASHES)] for at, crew in enumerate(forecast.crews)}
    starts = {crew.name: (crew.latitude, crew.longitude) for crew in forecast.crews}
    shown = {stop.site_id for crew_day in coming for stop in crew_day.stops}
    body = [_head(forecast, len(numbers))]
    body += [_dot(plane, *place) for site_id, place in sorted(places.items()) if site_id not in shown]
    body += [_line(plane, day, starts, places, dashes) for day in coming]
    body.append(_stops(plane, coming, numbers, places))
    body += [_start(plane, crew) for crew in forecast.crews]
    body.append(_scale(plane, forecast.units))
    body += _legend(coming, numbers, dashes)
    height = HEAD + MAP_HEIGHT + 24 + ROW * (len(coming) + 2)
    title = f"{clean(forecast.season_name)}: where the crews go next"
    text = f"{count(len(shown), 'stop')} on {count(len(numbers), 'working day')}, {_later(forecast, coming)}."
    return picture(width=WIDTH, height=height, title=title, description=text, body="".join(body), style=STYLE)


def _plane(forecast: RouteForecast) -> _Plane:
    points = [(s.site.latitude, s.site.longitude) for s in forecast.sites]
    points += [(crew.latitude, crew.longitude) for crew in forecast.crews]
    if not points:
        return _Plane(0.0, 0.0, 1.0, 1.0)
    south, north = min(p[0] for p in points), max(p[0] for p in points)
    west, east = min(p[1] for p in points), max(p[1] for p in points)
    narrowing = cos(radians((south + north) / 2))
    wide = max((east - west) * KM_PER_DEGREE * narrowing, 1.0)
    high = max((north - south) * KM_PER_DEGREE, 1.0)
    per_km = min((WIDTH - 2 * MARGIN) / wide, (MAP_HEIGHT - 2 * MARGIN) / high)
    spare_x, spare_y = WIDTH - 2 * MARGIN - wide * per_km, MAP_HEIGHT - 2 * MARGIN - high * per_km
    return _Plane(west, north, per_km, narrowing, spare_x / 2, spare_y / 2)


def _head(forecast: RouteForecast, day_count: int) -> str:
    return label(
        MARGIN, 24, f"{clean(forecast.season_name)}: the next {count(day_count, 'working day')}", css="head"
    ) + label(
        MARGIN,
        44,
        f"As of {weekday_date(forecast.as_of, year=True)}. Lines are straight, roads are not. North is up.",
        css="muted",
    )


def _dot(plane: _Plane, latitude: float, longitude: float) -> str:
    x, y = plane.at(latitude, longitude)
    return f'<circle class="later" cx="{x:.1f}" cy="{y:.1f}" r="2"/>'


def _line(
    plane: _Plane,
    crew_day: CrewDay,
    starts: dict[str, tuple[float, float]],
    places: dict[str, tuple[float, float]],
    dashes: dict[str, str],
) -> str:
    home = [starts[crew_day.crew]] if crew_day.crew in starts else []
    path = [*home, *(places[stop.site_id] for stop in crew_day.stops), *home]
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (plane.at(*place) for place in path))
    dash = dashes.get(crew_day.crew, "")
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline class="round" points="{points}"{dashed}/>'


def _stops(
    plane: _Plane, coming: Sequence[CrewDay], numbers: dict[date, int], places: dict[str, tuple[float, float]]
) -> str:
    """Every stop with "day.order site", written where it covers no other text if there is such a place."""
    marks, texts, taken = "", "", list[tuple[float, float, float]]()
    for crew_day in coming:
        for order, stop in enumerate(crew_day.stops, start=1):
            x, y = plane.at(*places[stop.site_id])
            marks += f'<circle class="stop" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
            text = f"{numbers[crew_day.day]}.{order} {clean(stop.site_id)}"
            left, top = _free_place(x, y, LETTER * len(text), taken)
            taken.append((left, top, LETTER * len(text)))
            texts += label(left, top, text, css="small")
    return marks + texts


def _free_place(
    x: float, y: float, wide: float, taken: list[tuple[float, float, float]]
) -> tuple[float, float]:
    """Left end of the base line of a text of this width near a point [pixels]."""
    tried = [(x + 6, y - 4), (x + 6, y + 10), (x - 6 - wide, y - 4), (x - 6 - wide, y + 10)]
    tried += [(x + 6, y + 20), (x + 6, y - 14), (x - 6 - wide, y + 20), (x - 6 - wide, y - 14)]
    for left, top in tried:
        inside = left >= 2 and left + wide <= WIDTH - 2
        if inside and all(
            abs(top - other) >= 10 or left > start + long or start > left + wide
            for start, other, long in taken
        ):
            return left, top
    return tried[0]


def _start(plane: _Plane, crew: Crew) -> str:
    x, y = plane.at(crew.latitude, crew.longitude)
    box = f'<rect class="start" x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10"/>'
    return box + label(x + 9, y + 12, clean(crew.name))


def _scale(plane: _Plane, units: str) -> str:
    per_unit = plane.per_km * (1.0 if units == "metric" else KM_PER_MILE)
    whole = 10 ** ceil(log10(60 / per_unit)) if per_unit > 0 else 1
    length = next(part * whole for part in (0.1, 0.2, 0.5, 1.0) if part * whole * per_unit >= 60)
    x, y = MARGIN, HEAD + MAP_HEIGHT - 6
    bar = f'<path class="axis" d="M{x} {y - 4}v4h{length * per_unit:.1f}v-4"/>'
    unit = "km" if units == "metric" else "miles"
    return bar + label(x + length * per_unit + 6, y, f"{length:g} {unit}", css="muted")


def _legend(coming: Sequence[CrewDay], numbers: dict[date, int], dashes: dict[str, str]) -> list[str]:
    lines, y = [], HEAD + MAP_HEIGHT + 20
    for at, crew_day in enumerate(coming):
        dash = dashes.get(crew_day.crew, "")
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        top = y + at * ROW
        lines.append(f'<path class="round" d="M{MARGIN} {top - 4}h34"{dashed}/>')
        stops = ", ".join(f"{clean(stop.site_id)} {stop.arrive:%H:%M}" for stop in crew_day.stops)
        text = f"{numbers[crew_day.day]}. {weekday_date(crew_day.day)}, {clean(crew_day.crew)}: {stops}"
        lines.append(label(MARGIN + 44, top, text))
    return lines


def _later(forecast: RouteForecast, coming: tuple[CrewDay, ...]) -> str:
    later = later_working_days(forecast, after=coming)
    return f"then more until {day_month(later[-1])}" if later else "none after"
