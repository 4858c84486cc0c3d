"""Kept outlooks of a station, `outlook/<station_id>.csv`: `issued, date, tmin, tmax` in °C, and if the source
has one the day's mean as `tmean`, and the standard deviations of its ensemble as `tmin_sd` and `tmean_sd`.

Rows issued after the as-of date are dropped before any look at their values.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import BadInput, Notice, Problem
from forecaster.weather.daily_csv import DailyRows, read_daily_csv, shortened
from forecaster.weather.fahrenheit import fahrenheit_sign
from forecaster.weather.quality import crossed_extremes, mean_outside, out_of_range
from forecaster.weather.stations import Outlook, Station

Floats = NDArray[np.float64]

SPREADS = ("tmin_sd", "tmean_sd")
LARGEST_SPREAD_C = 30.0
"""A spread beyond this, or below 0, is none [°C]."""


def read_outlooks(
    folder: Path, stations: Sequence[Station], *, as_of: date, shown_as: str | None = None
) -> tuple[tuple[Outlook, ...], tuple[Notice, ...]]:
    """Outlooks issued up to `as_of`, by station and then by day of issue, and what was set aside in them.

    Args:
        folder: The weather folder; a station without a file in its `outlook/` has no outlook.
        stations: Whose outlooks to read.
        as_of: Later issues are dropped unseen.
        shown_as: The folder's name in messages; its own name by default.
    Raises:
        BadInput: Rows that cannot be read, a day twice in one issue, a day before its issue, or °F.
    """
    problems: list[Problem] = []
    result = collect_outlooks(
        folder, stations, as_of=as_of, shown_as=shown_as or folder.name, problems=problems
    )
    if problems:
        raise BadInput(problems)
    return result


def collect_outlooks(
    folder: Path, stations: Sequence[Station], *, as_of: date, shown_as: str, problems: list[Problem]
) -> tuple[tuple[Outlook, ...], tuple[Notice, ...]]:
    """As `read_outlooks`, but problems are added to a list."""
    outlooks: list[Outlook] = []
    notices: list[Notice] = []
    for station in stations:
        path = folder / "outlook" / f"{station.station_id}.csv"
        if not path.is_file():
            continue
        where = f"{shown_as}/outlook/{path.name}"
        try:
            rows = read_daily_csv(
                path, where, date_columns=("issued", "date"),
                value_columns=("tmin", "tmax", "tmean", *SPREADS),
            )  # fmt: skip
        except BadInput as error:
            problems.extend(error.problems)
            continue
        kept, told, faults = _outlooks(rows, station, as_of)
        outlooks.extend(kept)
        notices.extend([*rows.notices, *told])
        problems.extend(shortened(faults, where))
    known = {station.station_id for station in stations}
    for path in sorted((folder / "outlook").glob("*.csv")) if (folder / "outlook").is_dir() else []:
        if path.stem not in known:
            where = f"{shown_as}/outlook/{path.name}"
            notices.append(Notice(where, f"no station {path.stem} is in use: the file is not read."))
    return tuple(outlooks), tuple(notices)


def plausible_days(
    tmin_c: Floats, tmax_c: Floats, tmean_c: Floats
) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
    """Days of outlooks without what cannot be: flags of days left out, and minima, maxima and means [°C].

    A mean outside minimum and maximum is left out alone: a source may give the night's minimum.
    """
    bad = out_of_range(tmin_c) | out_of_range(tmax_c) | crossed_extremes(tmin_c, tmax_c)
    stray = bad | out_of_range(tmean_c) | mean_outside(tmin_c, tmean_c, tmax_c)
    low, high = (np.where(bad, np.nan, values) for values in (tmin_c, tmax_c))
    return bad, low, high, np.where(stray, np.nan, tmean_c)


def _outlooks(
    rows: DailyRows, station: Station, as_of: date
) -> tuple[list[Outlook], list[Notice], list[Problem]]:
    keep = rows.dates["issued"] <= np.datetime64(as_of, "D")
    issued, days, numbers = rows.dates["issued"][keep], rows.dates["date"][keep], rows.row_numbers[keep]
    low, high = rows.values["tmin"][keep], rows.values["tmax"][keep]
    problems = [problem for day, problem in rows.problems if day is None or day <= as_of]
    if not rows.present & {"tmin", "tmax"}:
        problems.append(
            Problem(f"{rows.where} row 1", "needs the column tmin or tmax (both for the daily mean).")
        )
    order = np.lexsort((days, issued))
    twice = np.zeros(days.size, dtype=np.bool_)
    twice[order[1:]] = (np.diff(issued[order]).astype(int) == 0) & (np.diff(days[order]).astype(int) == 0)
    for at in np.sort(np.nonzero(twice)[0]):
        text = f"{days[at]} as issued on {issued[at]} stands in another row too. Keep one."
        problems.append(Problem(f"{rows.where} row {numbers[at]}, date", text))
    for at in np.nonzero(days < issued)[0]:
        text = f"{days[at]} lies before the day of issue {issued[at]}. An outlook begins on that day."
        problems.append(Problem(f"{rows.where} row {numbers[at]}, date", text))
    middle = np.where(np.isfinite(low + high), (low + high) / 2.0, np.where(np.isfinite(low), low, high))
    sign = fahrenheit_sign(days, middle, station.latitude, fewest_days=5, allowance_c=5.0)
    if sign:
        problems.append(Problem(rows.where, f"looks like °F: {sign}. Convert to °C: (F - 32) x 5/9."))
    mean = rows.values["tmean"][keep]
    bad, low, high, mean = plausible_days(low, high, mean)
    notices = []
    if bad.any():
        text = f"{bad.sum()} days with implausible values are left out (first issued {issued[bad].min()})."
        notices.append(Notice(rows.where, text))
    has_spread = bool(rows.present & set(SPREADS))
    spreads = [rows.values[name][keep] for name in SPREADS]
    spreads = [np.where((s >= 0.0) & (s <= LARGEST_SPREAD_C), s, np.nan) for s in spreads]
    outlooks = []
    starts = np.nonzero(np.diff(issued[order]).astype(int) != 0)[0] + 1
    for part in np.split(order, starts) if order.size else []:
        outlooks.append(
            Outlook(
                station.station_id,
                issued[part[0]].item(),
                tuple(days[part].tolist()),
                low[part],
                high[part],
                tmean_c=mean[part] if "tmean" in rows.present else None,
                spread_min_c=spreads[0][part] if has_spread else None,
                spread_mean_c=spreads[1][part] if has_spread else None,
            )
        )
    return outlooks, notices, problems
