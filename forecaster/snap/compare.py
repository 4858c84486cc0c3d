"""What was forecast of the snap and what came, by station; and what the outlooks' errors learnt of it.

The members are made again for the morning some days before the snap, from nothing but what was known then
(weather to the day before, outlooks issued by then). Days that a station did not observe itself are left out.
Limit: gaps of the record stay filled as they are filled now, by lines fitted on later days too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from forecaster.falls import fall_day, fall_of
from forecaster.scenarios import FEWEST_FALLS, Members, make_members
from forecaster.season.settings import Settings
from forecaster.snap.records import Compared, Learned
from forecaster.units import STORED_TENTH_C
from forecaster.weather.fall_blocks import usable_falls
from forecaster.weather.outlook_errors import learn_errors
from forecaster.weather.stations import Outlook, Weather

DAYS_BEFORE = (3, 1)
"""Mornings before the snap's first day on which the forecast is made again; lead 1 is the day of issue."""


def as_known_on(weather: Weather, day: date) -> Weather:
    """The weather as known on an earlier morning: nothing observed or issued later is in it."""
    count = min(max(weather.index_of(day), 0), weather.day_count)
    return replace(
        weather,
        tmin_c=weather.tmin_c[:, :count],
        tmax_c=weather.tmax_c[:, :count],
        tmean_c=weather.tmean_c[:, :count],
        filled=weather.filled[:, :count],
        last_observed=tuple(min(last, day - timedelta(days=1)) for last in weather.last_observed),
        outlooks=tuple(outlook for outlook in weather.outlooks if outlook.issued <= day),
    )


def members_on(weather: Weather, settings: Settings, morning: date) -> Members | None:
    """The ensemble of an earlier morning from what was known on it; None where too little was."""
    fall = fall_of(morning)
    then = as_known_on(weather, morning)
    if fall is None:
        return None
    falls = usable_falls(then, fall)[-settings.weather.seasons :]
    if len(falls) < FEWEST_FALLS:
        return None
    return make_members(
        then,
        falls,
        fall=fall,
        as_of=morning,
        count=settings.season.members,
        seed=settings.season.seed,
        outlooks=then.outlooks if settings.weather.outlook != "none" else (),
    )


def station_lows(members: Members, station: int, day: int) -> np.ndarray:
    """Minima of one station on a day of the fall in each member [°C], (m,)."""
    at = day - members.head_from
    if 0 <= at < members.tmin_head_c.shape[2]:
        return np.asarray(members.tmin_head_c[:, station, at])
    return np.asarray(members.tmin_base_c[members.base, station, day])


def compared(
    weather: Weather, settings: Settings, first: date, last: date, *, hard_c: float
) -> tuple[Compared, ...]:
    """Every observed station and day of a snap beside the forecasts of the mornings before it."""
    rows = []
    fall = fall_of(first)
    for before in DAYS_BEFORE:
        morning = first - timedelta(days=before)
        members = members_on(weather, settings, morning)
        if members is None or fall is None or fall_of(morning) != fall:
            continue
        for station, place in enumerate(weather.stations):
            issued = _issued_on(weather.outlooks, place.station_id, morning)
            for n in range((last - first).days + 1):
                day = first + timedelta(days=n)
                came = _observed(weather, station, day)
                low = station_lows(members, station, fall_day(day, fall))
                if came is None or not np.isfinite(low).all():
                    continue
                p10, p50, p90 = (float(v) for v in np.quantile(low, (0.1, 0.5, 0.9)))
                p_hard = float((low <= hard_c + STORED_TENTH_C).mean())
                rows.append(
                    Compared(place.station_id, day, came, before, p10, p50, p90, p_hard, _low_of(issued, day))
                )
    return tuple(rows)


def learned(weather: Weather, first: date, last: date, *, lead_days: int = 3) -> tuple[Learned, ...]:
    """What the outlooks' errors of minima were before the snap and are with its days, one row a station.

    `learn_errors` counts every kept outlook whose days are observed; here it is asked twice, on the morning
    of the snap's first day and now. Only outlooks issued by now are in `weather`.
    """
    found = []
    for source in sorted({outlook.source for outlook in weather.outlooks}):
        ours = [outlook for outlook in weather.outlooks if outlook.source == source]
        before = learn_errors(ours, as_known_on(weather, first), source=source)
        now = learn_errors(ours, weather, source=source)
        for station, place in enumerate(weather.stations):
            days = {
                day
                for n in range((last - first).days + 1)
                if _observed(weather, station, day := first + timedelta(days=n)) is not None
            }
            pairs = sum(
                day in days and np.isfinite(outlook.tmin_c[at])
                for outlook in ours
                if outlook.station_id == place.station_id
                for at, day in enumerate(outlook.days)
            )
            a, b, at = before[place.station_id], now[place.station_id], lead_days - 1
            found.append(
                Learned(
                    place.station_id, source, int(pairs), lead_days,
                    float(a.bias_min_c[at]), float(b.bias_min_c[at]),
                    float(a.sd_min_c[at]), float(b.sd_min_c[at]),
                )
            )  # fmt: skip
    return tuple(found)


def _observed(weather: Weather, station: int, day: date) -> float | None:
    at = weather.index_of(day)
    if not 0 <= at < weather.day_count or weather.filled[station, at]:
        return None
    value = float(weather.tmin_c[station, at])
    return value if np.isfinite(value) else None


def _issued_on(outlooks: Sequence[Outlook], station_id: str, morning: date) -> Outlook | None:
    """The latest outlook of a station issued by the morning, and not more than two days older."""
    known = [
        o
        for o in outlooks
        if o.station_id == station_id and o.issued <= morning <= o.issued + timedelta(days=2)
    ]
    return max(known, key=lambda outlook: outlook.issued, default=None)


def _low_of(outlook: Outlook | None, day: date) -> float | None:
    if outlook is None or day not in outlook.days:
        return None
    value = float(outlook.tmin_c[outlook.days.index(day)])
    return value if np.isfinite(value) else None
