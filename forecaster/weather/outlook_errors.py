"""How wrong outlooks are: by lead day, station and source, learnt from those that were kept.

Pure. Error = outlook less observed. Lead 1 is the day of issue. Few outlooks say little, so what they say is
drawn toward what is usual: first all stations of a source toward typical errors, then each station toward
its source, each with the weight of 30 outlooks. Outlooks of days in a row share their errors and count less.
Limits: one pair of numbers a lead for the whole year; filled days are no truth and are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.weather.calendar_axis import CalendarAxis, usual_range
from forecaster.weather.stations import Outlook, Weather

Floats = NDArray[np.float64]

TYPICAL_MEAN_SD_C = (1.2, 1.5, 1.8, 2.1, 2.5, 2.9, 3.2, 3.5, 3.7, 3.9)
"""Standard deviation of the error of the daily mean, lead days 1-10 [°C]; common practice, no source."""
TYPICAL_MIN_SD_C = (1.9, 2.2, 2.5, 2.9, 3.2, 3.6, 3.8, 4.0, 4.2, 4.2)
"""The same for the daily minimum: 1.2533 times mean absolute errors of 2.8 to 6.1 °F, from memory, +-25 %."""
TYPICAL_MEMORY, TYPICAL_SHARED = 0.6, 0.85
"""Correlation of the errors of neighbouring lead days, and of minimum and mean; 0.5-0.7 is usual for the
first (from memory), the second is an assumption."""
PRIOR_OUTLOOKS = 30.0
"""Weight of what is usual, in independent outlooks."""
LONGEST_LEAD = 16


@dataclass(frozen=True, eq=False)
class LeadErrors:
    """Errors of one station's outlooks from one source, shape (lead,) from lead 1 on.

    `count`: outlooks that were compared. `bias_*_c`: mean of outlook less observed [°C]; subtract it.
    `sd_*_c`: standard deviation of what remains [°C]. `memory`: correlation of the errors of neighbouring
    leads; `shared`: of minimum and mean. `mae_min_c`, `mae_usual_c`: mean absolute error [°C] of the
    outlook's minima and of the usual minimum of the date on the same days, NaN where none was compared.
    """

    station_id: str
    source: str
    count: NDArray[np.int64]
    bias_min_c: Floats
    sd_min_c: Floats
    bias_mean_c: Floats
    sd_mean_c: Floats
    memory: float
    shared: float
    mae_min_c: Floats
    mae_usual_c: Floats


def typical_sd_c(typical: Sequence[float], leads: int) -> Floats:
    """Typical errors of leads 1 to `leads` [°C]; constant after the last one known.

    >>> typical_sd_c((1.2, 1.5), 3)
    array([1.2, 1.5, 1.5])
    """
    table = np.array(typical, dtype=np.float64)
    return np.asarray(table[np.minimum(np.arange(leads), table.size - 1)])


def learn_errors(
    outlooks: Sequence[Outlook], weather: Weather, *, source: str, leads: int = LONGEST_LEAD
) -> dict[str, LeadErrors]:
    """Errors by station of the weather.

    Args:
        outlooks: One a station and day of issue at most; those of other sources are ignored.
        weather: As known on the as-of date: its days are the truth, so nothing later can enter.
        source: Whose outlooks.
        leads: Lead days to describe.
    Returns:
        One entry a station, typical errors where nothing was kept.
    """
    ours = [outlook for outlook in outlooks if outlook.source == source and outlook.days]
    issues = sorted({outlook.issued for outlook in ours})
    stations = [station.station_id for station in weather.stations]
    low, mean, usual = _errors(ours, weather, issues, stations, leads)
    typical_low, typical_mean = (typical_sd_c(t, leads) for t in (TYPICAL_MIN_SD_C, TYPICAL_MEAN_SD_C))
    zero = np.zeros(leads)
    of_source = [_drawn(e, zero, sd) for e, sd in ((low, typical_low), (mean, typical_mean))]
    drawn = [
        [_drawn(errors[:, at : at + 1], *prior) for at in range(len(stations))]
        for errors, prior in zip((low, mean), of_source, strict=True)
    ]
    rest = [
        errors - np.array([bias for bias, _ in of]).reshape(1, len(stations), leads)
        for errors, of in zip((low, mean), drawn, strict=True)
    ]
    memory = _drawn_correlation(_neighbours(rest[1]), TYPICAL_MEMORY, len(issues))
    shared = _drawn_correlation((rest[0], rest[1]), TYPICAL_SHARED, len(issues))
    found = {}
    for at, station_id in enumerate(stations):
        (bias_low, sd_low), (bias_mean, sd_mean) = drawn[0][at], drawn[1][at]
        both = np.isfinite(low[:, at]) & np.isfinite(usual[:, at])
        found[station_id] = LeadErrors(
            station_id, source,
            count=(np.isfinite(low[:, at]) | np.isfinite(mean[:, at])).sum(axis=0),
            bias_min_c=bias_low, sd_min_c=sd_low, bias_mean_c=bias_mean, sd_mean_c=sd_mean,
            memory=memory, shared=shared,
            mae_min_c=_mean_absolute(low[:, at], both), mae_usual_c=_mean_absolute(usual[:, at], both),
        )  # fmt: skip
    return found


def _errors(
    outlooks: Sequence[Outlook], weather: Weather, issues: Sequence[date], stations: Sequence[str], leads: int
) -> tuple[Floats, Floats, Floats]:
    """Errors of minima and means, and of the usual minimum, shape (issue, station, lead); NaN unknown."""
    shape = (len(issues), len(stations), leads)
    low, mean, usual = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    axis = CalendarAxis.of(weather.first_day, weather.day_count)
    seen_low = np.where(weather.filled, np.nan, weather.tmin_c)
    seen_mean = np.where(weather.filled, np.nan, weather.tmean_c)
    usual_low = np.stack([usual_range(row, axis)[0] for row in seen_low]) if stations else seen_low
    position = {issue: at for at, issue in enumerate(issues)}
    row_of = {station_id: at for at, station_id in enumerate(stations)}
    for outlook in outlooks:
        if outlook.station_id not in row_of:
            continue
        row, issue = row_of[outlook.station_id], position[outlook.issued]
        means = outlook_mean_c(outlook)
        for at, day in enumerate(outlook.days):
            lead, index = (day - outlook.issued).days, weather.index_of(day)
            if 0 <= lead < leads and 0 <= index < weather.day_count:
                low[issue, row, lead] = outlook.tmin_c[at] - seen_low[row, index]
                mean[issue, row, lead] = means[at] - seen_mean[row, index]
                usual[issue, row, lead] = usual_low[row, index] - seen_low[row, index]
    return low, mean, usual


def outlook_mean_c(outlook: Outlook) -> Floats:
    """Daily means of an outlook [°C]: its own, else the middle of minimum and maximum; NaN where neither."""
    middle = (outlook.tmin_c + outlook.tmax_c) / 2.0
    if outlook.tmean_c is None:
        return np.asarray(middle)
    return np.where(np.isfinite(outlook.tmean_c), outlook.tmean_c, middle)


def _drawn(errors_c: Floats, prior_bias_c: Floats, prior_sd_c: Floats) -> tuple[Floats, Floats]:
    """Bias and standard deviation by lead [°C], drawn toward the prior.

    Args:
        errors_c: Shape (issue, station, lead). The stations of an issue share the weather, so an issue
            counts once, by the mean of its stations' errors and of their squares.
    """
    bias, sd = prior_bias_c.copy(), prior_sd_c.copy()
    for lead in range(errors_c.shape[2]):
        known = np.isfinite(errors_c[:, :, lead])
        issues = known.any(axis=1)
        if not issues.any():
            continue
        values = np.where(known, errors_c[:, :, lead], 0.0)[issues]
        per_issue = known[issues].sum(axis=1)
        issue_mean = values.sum(axis=1) / per_issue
        weight = _independent(issue_mean)
        share = weight / (weight + PRIOR_OUTLOOKS)
        bias[lead] = prior_bias_c[lead] + share * (issue_mean.mean() - prior_bias_c[lead])
        off = np.where(known[issues], values - bias[lead], 0.0)
        square = ((off**2).sum(axis=1) / per_issue).mean()
        sd[lead] = np.sqrt((1.0 - share) * prior_sd_c[lead] ** 2 + share * square)
    return bias, sd


def _independent(series: Floats) -> float:
    """How many independent values a series with first-order memory is worth."""
    count = series.size
    if count < 3 or not series.std() > 0.0:
        return float(count)
    off = series - series.mean()
    memory = float(np.clip((off[1:] * off[:-1]).sum() / (off**2).sum(), 0.0, 0.8))
    return count * (1.0 - memory) / (1.0 + memory)


def _neighbours(errors_c: Floats) -> tuple[Floats, Floats]:
    """Errors of each lead and of the next one in the same outlook."""
    return errors_c[:, :, :-1], errors_c[:, :, 1:]


def _drawn_correlation(pair: tuple[Floats, Floats], usual: float, issues: int) -> float:
    """Correlation of two arrays (issue, station, lead), each lead in its own unit, drawn toward the usual."""
    a, b = (_in_own_units(values) for values in pair)
    both = np.isfinite(a) & np.isfinite(b)
    if both.sum() < 3:
        return usual
    top = float((a[both] * b[both]).sum())
    found = top / float(np.sqrt((a[both] ** 2).sum() * (b[both] ** 2).sum()))
    share = issues / (issues + PRIOR_OUTLOOKS)
    return float(np.clip(usual + share * (found - usual), 0.0, 0.98))


def _in_own_units(errors_c: Floats) -> Floats:
    """Errors of each lead divided by their own root mean square; NaN stays."""
    known = np.isfinite(errors_c)
    count = np.maximum(known.sum(axis=(0, 1)), 1)
    size = np.sqrt((np.where(known, errors_c, 0.0) ** 2).sum(axis=(0, 1)) / count)
    return np.asarray(errors_c / np.where(size > 0.0, size, 1.0))


def _mean_absolute(errors_c: Floats, counted: NDArray[np.bool_]) -> Floats:
    count = counted.sum(axis=0)
    total = np.where(counted, np.abs(errors_c), 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
