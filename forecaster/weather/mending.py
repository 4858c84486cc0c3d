"""What was filled and what stays empty, in words for the reader of the forecast."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.weather.calendar_axis import CalendarAxis
from forecaster.weather.fall_blocks import MARGIN_DAYS
from forecaster.weather.neighbours import SHORT_GAP_DAYS, Filled
from forecaster.weather.quality import Checked

LATE_DAYS = 10
"""A station whose last day is older than this before the as-of date is named [days]."""


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First position of each run of True and the one after its last.

    >>> runs(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    edges = np.diff(np.r_[0, flags.astype(np.int8), 0])
    pairs = zip(np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0], strict=True)
    return [(int(start), int(stop)) for start, stop in pairs]


def filled_notices(
    where: str,
    station: int,
    station_ids: Sequence[str],
    checked: Checked,
    low: Filled,
    mean: Filled,
    axis: CalendarAxis,
    current_from: int,
) -> list[Notice]:
    """How the gaps of one station were filled, with what error, and which falls its other gaps cost.

    Args:
        where: The station's file.
        station: Its position; `station_ids` names all.
        checked: The values before filling.
        low, mean: Minima and daily means after filling.
        axis: The days; the current fall begins at position `current_from`.
    """
    notices = []
    has_low = bool(np.isfinite(checked.tmin_c[station]).any())
    neighbours = mean.from_neighbours[station] | low.from_neighbours[station]
    if neighbours.any():
        days = np.nonzero(neighbours)[0]
        used = sorted({i for e in (mean.estimates[station], low.estimates[station]) if e for i in e.used})
        errors = [
            f"{estimate.error_c:.1f} °C for {name}"
            for name, estimate in (("means", mean.estimates[station]), ("minima", low.estimates[station]))
            if estimate is not None and np.isfinite(estimate.error_c)
        ]
        names = ", ".join(station_ids[i] for i in used)
        text = f"{_days(len(days))} from {axis.days[days[0]]} to {axis.days[days[-1]]} estimated from {names}"
        notices.append(Notice(where, f"{text} (typical error {', '.join(errors)})."))
    around = mean.from_days_around[station] | low.from_days_around[station]
    long = [run for run in runs(around) if run[1] - run[0] > SHORT_GAP_DAYS]
    short_days = int(around.sum()) - sum(stop - start for start, stop in long)
    if short_days:
        first = axis.days[np.argmax(around)]
        notices.append(
            Notice(where, f"{_days(short_days)} filled from the days around them (first {first}).")
        )
    for start, stop in long:
        span = f"{axis.days[start]} to {axis.days[stop - 1]}"
        text = f"no observation from {span}: the usual course of the year stands in, and"
        notices.append(Notice(where, f"{text} a freeze in these {stop - start} days would not show."))
    empty = ~np.isfinite(mean.values_c[station])
    if has_low:
        empty |= ~np.isfinite(low.values_c[station])
    observed = np.nonzero(np.isfinite(checked.tmean_c[station]))[0]
    left = [(start, stop) for start, stop in runs(empty) if start > observed[0] and stop <= observed[-1]]
    late: dict[int, list[str]] = {}
    for name, values in (("daily mean", checked.tmean_c), ("minimum", checked.tmin_c)):
        known = np.nonzero(np.isfinite(values[station]))[0]
        if known.size and axis.day_count - known[-1] > LATE_DAYS:
            late.setdefault(int(known[-1]), []).append(name)
    for last, what in late.items():
        verb = "is" if len(what) == 1 else "are"
        text = f"the last {' and the last '.join(what)} {verb} of {axis.days[last]}"
        notices.append(Notice(where, f"{text}, {_days(axis.day_count - last)} before the as-of date."))
    if left:
        notices.append(Notice(where, _left_empty(left, axis, current_from)))
    return notices


def _left_empty(gaps: Sequence[tuple[int, int]], axis: CalendarAxis, current_from: int) -> str:
    """The gaps that stay, and the falls that they take out of the members."""
    start, stop = max(gaps, key=lambda gap: gap[1] - gap[0])
    falls = sorted({fall for gap in gaps if gap[0] < current_from for fall in _falls_hit(*gap, axis)})
    cost = (
        f"the fall of {falls[0]} is" if len(falls) == 1 else f"the falls of {', '.join(map(str, falls))} are"
    )
    lost = f"; {cost} not used as a source of members" if falls else ""
    count = "1 gap stays" if len(gaps) == 1 else f"{len(gaps)} gaps stay"
    return (
        f"{count} empty (longest {axis.days[start]} to {axis.days[stop - 1]}, {_days(stop - start)}){lost}."
    )


def _falls_hit(start: int, stop: int, axis: CalendarAxis) -> list[int]:
    first_year = axis.days[start].item().year - 1
    hit = []
    for fall in range(first_year, axis.days[stop - 1].item().year + 1):
        from_day = (fall_start(fall) - axis.first_day).days - MARGIN_DAYS
        if start < from_day + FALL_DAYS + 2 * MARGIN_DAYS and stop > from_day:
            hit.append(fall)
    return hit


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
