"""Which seasons are replayed on which days, and by name which are not and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.backtest.inputs import FEWEST_EARLIER, BacktestInput
from forecaster.backtest.past import PastModel, physics_points
from forecaster.backtest.station_air import known_weather, site_blends
from forecaster.backtest.truth import EVENTS, measured_falls, modelled_crossings
from forecaster.errors import BadInput, Notice, Problem
from forecaster.falls import FALL_DAYS, date_of, fall_of, fall_start
from forecaster.weather.fall_blocks import usable_falls

WEEKS_BEFORE = (7, 6, 5, 4, 3, 2, 1)
"""As-of days by default: so many weeks before the median sustained crossing."""


@dataclass(frozen=True)
class Schedule:
    """`seasons` in order; `as_of_days` as (month, day) in the order of the fall; `skipped` with reasons."""

    seasons: tuple[int, ...]
    as_of_days: tuple[tuple[int, int], ...]
    skipped: tuple[Notice, ...]

    def days_of(self, season: int) -> list[date]:
        """The as-of dates of one season."""
        return [date(season if month >= 8 else season + 1, month, day) for month, day in self.as_of_days]


def make_schedule(given: BacktestInput) -> Schedule:
    """Seasons that can be scored, and the as-of days.

    Raises:
        BadInput: No season is left, or the weather cannot be used at all.
    """
    last = max(
        record.rows.dates["date"].max().item() for record in given.records if len(record.rows.row_numbers)
    )
    weather = known_weather(given, last + timedelta(days=1))
    complete = usable_falls(weather, last.year + 1, margin_days=0)
    sources = usable_falls(weather, last.year + 1)
    if not complete:
        text = "no fall is complete at all stations. Add years, or leave out a station with a short record."
        raise BadInput(Problem(given.settings.weather.folder, text))
    newest = fall_of(last) or last.year - 1
    first, end = given.asked.seasons or (complete[0], max(complete[-1], newest))
    seasons, skipped = [], []
    for season in range(first, end + 1):
        earlier = sum(1 for fall in sources if fall < season)
        if season not in complete:
            reason = "its weather is not complete at all stations, so there is no truth."
        elif earlier < FEWEST_EARLIER:
            reason = f"{earlier} earlier seasons are complete, {FEWEST_EARLIER} are needed."
        else:
            seasons.append(season)
            continue
        skipped.append(Notice(f"season {season}", f"left out: {reason}"))
    if not seasons:
        raise BadInput([Problem(notice.where, notice.text) for notice in skipped])
    as_of_days = given.asked.as_of_days or default_days(given)
    ordered = sorted(set(as_of_days), key=lambda day: (day[0] < 8, day))
    return Schedule(tuple(seasons), tuple(ordered), tuple(skipped))


def last_recorded(given: BacktestInput) -> date:
    """The last day of any station's record."""
    ends = [
        record.rows.dates["date"].max().item() for record in given.records if record.rows.row_numbers.size
    ]
    if not ends:
        raise BadInput(Problem(given.settings.weather.folder, "no station has any row. Add its record."))
    latest: date = max(ends)
    return latest


def default_days(given: BacktestInput) -> tuple[tuple[int, int], ...]:
    """M-49, M-42, ..., M-7 with M the median sustained crossing of all sites and falls (never: 1 February).

    Measured crossings count where a site has any, else those of the physical prior: the days only say when
    to look, no forecast knows them.
    """
    last = max(
        record.rows.dates["date"].max().item() for record in given.records if len(record.rows.row_numbers)
    )
    weather = known_weather(given, last + timedelta(days=1))
    blends = site_blends(given, weather)
    event = EVENTS.index("sustained")
    model = PastModel.of(given)
    found = []
    modelled = []
    for position in model.wet:
        measured = measured_falls(given.readings, given.sites[position], model.limits)
        days = [fall.crossing[event] for fall in measured.values() if not np.isnan(fall.crossing[event])]
        if len(days) >= FEWEST_EARLIER:
            found += days
        else:
            modelled.append(position)
    if modelled:
        points = physics_points([given.sites[position] for position in modelled])
        for fall in usable_falls(weather, last.year + 1, margin_days=0):
            crossing = modelled_crossings(points, weather, blends, modelled, fall, model.limits)
            found += crossing[:, event].tolist()
    middle = round(float(np.median(np.minimum(found, FALL_DAYS))))
    days = [date_of(float(middle - 7 * weeks), 2001) for weeks in WEEKS_BEFORE]
    inside = [day for day in days if day is not None and day >= fall_start(2001)]
    return tuple((day.month, day.day) for day in inside)
