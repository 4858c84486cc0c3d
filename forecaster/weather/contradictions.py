"""Values that all neighbours contradict are set aside, and months that are a day off against all of them.

Strong evidence only: at least two neighbours, each of them, by far more than they usually differ, and on the
days before and after as well, so that a front that reaches one station hours earlier, a reading hour or a
cold hollow is no contradiction. What is set aside is missing then, filled like any gap, and told. Weaker
doubts are only named (`neighbour_check`). Limits: a fault that two stations of three share is not seen; nor
one of the newest day, since its neighbours' next day is not known yet: an early frost must not vanish there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from forecaster.distance import haversine_km
from forecaster.errors import Notice
from forecaster.weather.calendar_axis import CalendarAxis, Floats
from forecaster.weather.neighbours import seasonal_lines
from forecaster.weather.quality import MEAN_OF_BOTH_C, Checked
from forecaster.weather.stations import Station

ASKED_NEIGHBOURS = 4
"""Neighbours that are asked, the nearest that resemble the station."""
FEWEST_AGAINST = 2
CONTRADICT_ERRORS, CONTRADICT_LEAST_C = 4.0, 7.0
"""A neighbour contradicts a value that lies 4 of the pair's usual errors, and 7 °C, outside all that its days
before, at and after suggest. On four stations in New Hampshire (a valley floor and slopes, 94,000 days) this
takes out eight minima of 0.0 °C in June to August and no cold night, and so it would at 3 errors and 6 °C."""
LEVEL_HALF_DAYS, LEVEL_FEWEST = 15, 10
"""What a pair is off at that time: the median of 15 days either side, if 10 are known."""
SHIFT_FEWEST_DAYS = 20
SHIFT_SHARE = 0.5
"""A month is a day off if its variance about the neighbour's day before (or after) is less than half of that
about the same day, on 20 days or more, against every neighbour. Sound months have several times more."""
_NAMES = ("minimum", "maximum", "daily mean")
_SEVERAL = ("minima", "maxima", "daily means")


@dataclass(frozen=True, eq=False)
class Pair:
    """What one neighbour suggests for a station [°C], shape (day,), and how far that usually is off."""

    guess_c: Floats
    error_c: Floats


def without_contradicted(
    checked: Checked, axis: CalendarAxis, stations: Sequence[Station], wheres: Sequence[str]
) -> Checked:
    """The values less those that all neighbours contradict, with a notice for each station and kind.

    Args:
        checked: After the checks of each record by itself.
        axis: The days.
        stations: Where they are; fewer than three leave all as it is.
        wheres: The file of each station, for the notices.
    """
    if len(stations) < FEWEST_AGAINST + 1:
        return checked
    values = [checked.tmin_c.copy(), checked.tmax_c.copy(), checked.tmean_c.copy()]
    middle = (checked.tmin_c + checked.tmax_c) / 2.0
    from_both = np.abs(checked.tmean_c - middle) <= MEAN_OF_BOTH_C
    notices: list[Notice] = []
    for kind, before in enumerate((checked.tmin_c, checked.tmax_c, checked.tmean_c)):
        for station, where in enumerate(wheres):
            pairs = pairs_of(before, station, axis, stations)
            if len(pairs) < FEWEST_AGAINST:
                continue
            strange = contradicted(before[station], pairs)
            shift = shifted_months(before[station], pairs, axis) if kind < 2 else np.zeros(0, dtype=np.int64)
            off = shift != 0 if shift.size else np.zeros(axis.day_count, dtype=np.bool_)
            values[kind][station, strange | off] = np.nan
            notices += _said(where, kind, before[station], strange & ~off, shift, axis)
    lost = (np.isfinite(checked.tmin_c) & ~np.isfinite(values[0])) | (
        np.isfinite(checked.tmax_c) & ~np.isfinite(values[1])
    )
    values[2][lost & from_both] = np.nan
    return replace(
        checked, tmin_c=values[0], tmax_c=values[1], tmean_c=values[2],
        notices=(*checked.notices, *_once(notices)),
    )  # fmt: skip


def contradicted(own_c: Floats, pairs: Sequence[Pair]) -> NDArray[np.bool_]:
    """True on days whose value every neighbour with a day before and after contradicts, on one side.

    One of four or more may dissent. At least two must be known.
    """
    sides = np.stack([_side(own_c, pair) for pair in pairs])
    known = np.stack([_known_around(pair.guess_c) for pair in pairs]).sum(axis=0)
    needed = np.maximum(FEWEST_AGAINST, known - (known >= 4))
    return np.asarray(((sides > 0).sum(axis=0) >= needed) | ((sides < 0).sum(axis=0) >= needed))


def shifted_months(own_c: Floats, pairs: Sequence[Pair], axis: CalendarAxis) -> NDArray[np.int64]:
    """By how many days each day's month comes late (1) or early (-1) against all neighbours, 0 for sound.

    Returns:
        Shape (day,).
    """
    months = axis.days.astype("datetime64[M]").astype(np.int64)
    month = months - months[0]
    found, known = np.zeros((len(pairs), int(month[-1]) + 1), dtype=np.int64), []
    for row, pair in enumerate(pairs):
        aside = {by: own_c - _later(pair.guess_c, by) for by in (-1, 0, 1)}
        both = np.isfinite(np.stack(list(aside.values()))).all(axis=0)
        count = np.bincount(month[both], minlength=found.shape[1])
        spread = {by: _variance(off[both], month[both], count) for by, off in aside.items()}
        for by in (-1, 1):
            found[row, (spread[by] < SHIFT_SHARE * spread[0]) & (spread[by] < spread[-by])] = by
        known.append(count >= SHIFT_FEWEST_DAYS)
    asked = np.stack(known)
    enough = asked.sum(axis=0) >= FEWEST_AGAINST
    shift = np.zeros(found.shape[1], dtype=np.int64)
    for by in (-1, 1):
        shift[enough & ((found == by) | ~asked).all(axis=0)] = by
    return shift[month]


def pairs_of(values_c: Floats, station: int, axis: CalendarAxis, stations: Sequence[Station]) -> list[Pair]:
    """What the nearest neighbours that resemble the station suggest for it."""
    own = values_c[station]
    if not np.isfinite(own).any():
        return []
    here = stations[station]
    far_km = haversine_km(
        here.latitude, here.longitude, [s.latitude for s in stations], [s.longitude for s in stations]
    )
    pairs: list[Pair] = []
    for at in np.argsort(far_km, kind="stable").tolist():
        if at == station or len(pairs) == ASKED_NEIGHBOURS:
            continue
        slope, intercept, error_c = seasonal_lines(values_c[at], own, axis)
        guess = intercept[axis.month] + slope[axis.month] * values_c[at]
        if np.isfinite(guess).any():
            pairs.append(Pair(guess, error_c[axis.month]))
    return pairs


def _side(own_c: Floats, pair: Pair) -> NDArray[np.int64]:
    """1 where the value lies far above what a neighbour suggests, -1 far below, 0 else."""
    with_next = np.stack([_later(pair.guess_c, by) for by in (-1, 0, 1)])
    limit = np.maximum(CONTRADICT_LEAST_C, CONTRADICT_ERRORS * pair.error_c)
    above, below = own_c - with_next.max(axis=0), with_next.min(axis=0) - own_c  # NaN where a day lacks
    side = (above > limit).astype(np.int64) - (below > limit)
    off = own_c - pair.guess_c
    for day in np.nonzero(side)[0]:
        around = np.r_[off[max(0, day - LEVEL_HALF_DAYS) : day], off[day + 1 : day + 1 + LEVEL_HALF_DAYS]]
        around = around[np.isfinite(around)]
        level = float(np.median(around)) if around.size >= LEVEL_FEWEST else 0.0
        if max(above[day] - level, below[day] + level) <= limit[day]:
            side[day] = 0
    return side


def _known_around(guess_c: Floats) -> NDArray[np.bool_]:
    return np.asarray(np.isfinite(np.stack([_later(guess_c, by) for by in (-1, 0, 1)])).all(axis=0))


def _later(values_c: Floats, by: int) -> Floats:
    """What stood `by` days before, NaN beyond the ends."""
    moved = np.roll(values_c, by)
    if by > 0:
        moved[:by] = np.nan
    elif by < 0:
        moved[by:] = np.nan
    return moved


def _variance(off_c: Floats, month: NDArray[np.int64], count: NDArray[np.int64]) -> Floats:
    """Variance of each month's differences [°C²]; infinite where days are too few to tell."""
    n = np.maximum(count, 1)
    total = np.bincount(month, weights=off_c, minlength=count.size)
    squares = np.bincount(month, weights=off_c**2, minlength=count.size)
    return np.where(count >= SHIFT_FEWEST_DAYS, squares / n - (total / n) ** 2, np.inf)


def _said(
    where: str, kind: int, own_c: Floats, strange: NDArray[np.bool_], shift: NDArray[np.int64],
    axis: CalendarAxis,
) -> list[Notice]:  # fmt: skip
    notices = []
    if strange.any():
        days = np.nonzero(strange)[0]
        first = f"{axis.days[days[0]]}: {own_c[days[0]]:.1f} °C"
        what = f"1 {_NAMES[kind]}" if days.size == 1 else f"{days.size} {_SEVERAL[kind]}"
        each, is_are = ("", "is") if days.size == 1 else ("first ", "are")
        text = f"{what} that all neighbours contradict {is_are} treated as missing ({each}{first})."
        notices.append(Notice(where, text))
    for by, word in ((1, "late"), (-1, "early")):
        months = np.unique(axis.days[shift == by].astype("datetime64[M]")) if shift.size else shift
        if months.size:
            span = f"{months[0]}" if months.size == 1 else f"{months.size} months, first {months[0]},"
            text = f"{_SEVERAL[kind]} of {span} come a day {word} against all neighbours"
            notices.append(Notice(where, f"{text} and are treated as missing."))
    return notices


def _once(notices: Sequence[Notice]) -> tuple[Notice, ...]:
    """In the order of the files, each once."""
    return tuple(sorted(dict.fromkeys(notices), key=lambda notice: notice.where))
