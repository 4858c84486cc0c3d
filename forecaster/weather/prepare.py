"""From the records of stations, as read, to the weather that a forecast may use on its as-of date.

First of all the days from the as-of date on are dropped, before any look at their values. What is left is
held against the rules for real records (one row a day in ascending order, °C, no long gap shortly before the
as-of date), cleaned by `quality`, filled by `neighbours`, and everything that was mended is reported.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np

from forecaster.errors import BadInput, Notice, Problem
from forecaster.falls import fall_of, fall_start
from forecaster.weather.calendar_axis import CalendarAxis, Floats
from forecaster.weather.contradictions import without_contradicted
from forecaster.weather.daily_csv import shortened
from forecaster.weather.fall_blocks import MARGIN_DAYS
from forecaster.weather.known_rows import KnownRows, StationRecord, known_before
from forecaster.weather.mending import filled_notices, runs
from forecaster.weather.neighbours import Filled, fill_gaps
from forecaster.weather.quality import Checked, check
from forecaster.weather.stations import Outlook, Weather

LONGEST_GAP_DAYS = 10
GAP_WATCH_DAYS = 60
"""A gap of more than 10 days that ends within 60 days before the as-of date is an error."""
OLDEST_OBSERVATION_DAYS = 10
"""The as-of date may lie this many days [days] after the last observation, not more."""


def prepare_weather(
    records: Sequence[StationRecord],
    *,
    as_of: date,
    outlooks: Sequence[Outlook] = (),
    notices: Iterable[Notice] = (),
    problems: Iterable[Problem] = (),
) -> Weather:
    """All stations on one daily axis up to the day before `as_of`, cleaned and filled.

    Args:
        records: One a station; a station without any usable day before `as_of` is left out with a notice.
        as_of: The day on which the forecast stands; rows from it on are not looked at.
        outlooks, notices: Passed on into the result.
        problems: Found already; they are raised together with those found here.
    Raises:
        BadInput: Rows that cannot be read, days twice or out of order, °F, a gap of more than 10 days that
            ends within 60 days before `as_of`, or no observation in the 10 days before it.
    """
    raised = list(problems)
    told = list(notices)
    known: list[KnownRows] = []
    for record in records:
        station, faults = known_before(record, as_of)
        told.extend(record.rows.notices)
        raised.extend(shortened(faults, record.rows.where))
        if station is not None and station.days.size and np.isfinite(station.tmean_c).any():
            known.append(station)
        elif not faults:
            told.append(Notice(record.rows.where, f"no daily mean before {as_of}: the station is not used."))
    if not known:
        if not raised:
            wheres = ", ".join(record.rows.where for record in records)
            raised.append(Problem(wheres, f"no daily mean before the as-of date {as_of}. Add earlier days."))
        raise BadInput(raised)
    axis, checked = _on_one_axis(known, as_of)
    gaps = [problem for i in range(len(known)) for problem in _gap_problems(known[i].where, checked, i, axis)]
    gaps += [
        Problem(station.where, f"no plausible daily mean before {as_of}. Check its columns and units.")
        for station, row in zip(known, checked.tmean_c, strict=True)
        if not np.isfinite(row).any()
    ]
    if not raised and not gaps:
        gaps = _too_old(known, checked, axis, as_of)
    if raised or gaps:
        raise BadInput([*raised, *gaps])
    checked = without_contradicted(
        checked, axis, [station.station for station in known], [station.where for station in known]
    )
    return _filled_weather(known, checked, axis, as_of, tuple(outlooks), told)


def _on_one_axis(known: Sequence[KnownRows], as_of: date) -> tuple[CalendarAxis, Checked]:
    """All stations on the days from the earliest one to the day before `as_of`, cleaned."""
    first = min(station.days[0] for station in known)
    axis = CalendarAxis.of(first.item(), int((np.datetime64(as_of, "D") - first).astype(np.int64)))
    tmin, tavg, tmax = (np.full((len(known), axis.day_count), np.nan) for _ in range(3))
    for row, station in enumerate(known):
        position = (station.days - first).astype(np.int64)
        tmin[row, position] = station.tmin_c
        tavg[row, position] = station.tavg_c
        tmax[row, position] = station.tmax_c
    return axis, check(tmin, tavg, tmax, axis, [station.where for station in known])


def _gap_problems(where: str, checked: Checked, station: int, axis: CalendarAxis) -> list[Problem]:
    """Gaps of more than 10 days between observations that end within 60 days before the as-of date."""
    found: dict[tuple[int, int], list[str]] = {}
    watched_from = axis.day_count - GAP_WATCH_DAYS
    for name, values in (("daily mean", checked.tmean_c), ("minimum", checked.tmin_c)):
        for start, stop in runs(~np.isfinite(values[station])):
            inner = start > 0 and stop < axis.day_count and np.isfinite(values[station, :start]).any()
            if inner and stop - start > LONGEST_GAP_DAYS and stop - 1 >= watched_from:
                found.setdefault((start, stop), []).append(name)
    allowed = f"at most {LONGEST_GAP_DAYS} within {GAP_WATCH_DAYS} days before the as-of date"
    cure = "Add these days, or take the station out of stations.csv."
    return [
        Problem(
            where,
            f"no {' and no '.join(names)} from {axis.days[start]} to {axis.days[stop - 1]} "
            f"({stop - start} days; {allowed}). {cure}",
        )
        for (start, stop), names in found.items()
    ]


def _too_old(known: Sequence[KnownRows], checked: Checked, axis: CalendarAxis, as_of: date) -> list[Problem]:
    """No station has a daily mean in the 10 days before the as-of date."""
    last = int(np.nonzero(np.isfinite(checked.tmean_c).any(axis=0))[0][-1])
    age_days = axis.day_count - last
    if age_days <= OLDEST_OBSERVATION_DAYS:
        return []
    text = (
        f"the last observation is of {axis.days[last]}, {age_days} days before the as-of date {as_of} "
        f"(at most {OLDEST_OBSERVATION_DAYS}). Add the days since, or choose an earlier as-of date."
    )
    return [Problem(", ".join(station.where for station in known), text)]


def _filled_weather(
    known: Sequence[KnownRows],
    checked: Checked,
    axis: CalendarAxis,
    as_of: date,
    outlooks: tuple[Outlook, ...],
    notices: list[Notice],
) -> Weather:
    fall = fall_of(as_of)
    current = (
        axis.day_count if fall is None else max(0, (fall_start(fall) - axis.first_day).days - MARGIN_DAYS)
    )
    kinds = np.stack([checked.tmin_c, checked.tmax_c])
    low, high, mean = (
        fill_gaps(values, axis, bridge_all_from=current, kinds_c=kinds)
        for values in (checked.tmin_c, checked.tmax_c, checked.tmean_c)
    )
    tmin_c, tmax_c, tmean_c = _in_order(checked, low, high, mean)
    filled = (np.isfinite(tmin_c) & ~np.isfinite(checked.tmin_c)) | (
        np.isfinite(tmean_c) & ~np.isfinite(checked.tmean_c)
    )
    last = [int(np.nonzero(np.isfinite(row))[0][-1]) for row in checked.tmean_c]
    notices = [*notices, *checked.notices]
    for row, station in enumerate(known):
        names = [other.station.station_id for other in known]
        notices += filled_notices(station.where, row, names, checked, low, mean, axis, current)
    return Weather(
        stations=tuple(station.station for station in known),
        first_day=axis.first_day,
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        tmean_c=tmean_c,
        filled=filled,
        last_observed=tuple(axis.first_day + timedelta(days=day) for day in last),
        outlooks=outlooks,
        notices=tuple(notices),
        fill_error_c=tuple(np.nan if e is None else e.error_c for e in mean.estimates),
        fill_error_min_c=tuple(np.nan if e is None else e.error_c for e in low.estimates),
    )


def _in_order(checked: Checked, low: Filled, high: Filled, mean: Filled) -> tuple[Floats, Floats, Floats]:
    """Minimum, maximum and mean [°C] with filled values moved so that minimum <= mean <= maximum."""
    mean_filled = ~np.isfinite(checked.tmean_c)
    tmean = mean.values_c.copy()
    tmean = np.where(mean_filled, np.fmax(tmean, np.where(np.isfinite(tmean), checked.tmin_c, np.nan)), tmean)
    tmean = np.where(mean_filled, np.fmin(tmean, np.where(np.isfinite(tmean), checked.tmax_c, np.nan)), tmean)
    tmin = np.where(np.isfinite(checked.tmin_c), checked.tmin_c, np.minimum(low.values_c, _or(tmean, np.inf)))
    tmax = np.where(
        np.isfinite(checked.tmax_c), checked.tmax_c, np.maximum(high.values_c, _or(tmean, -np.inf))
    )
    return tmin, tmax, tmean


def _or(values_c: Floats, instead: float) -> Floats:
    return np.where(np.isfinite(values_c), values_c, instead)
