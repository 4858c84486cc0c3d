"""The coming nights at each open site, counted over the members. Pure; arrays in, one record a site out.

Limits: lowest air of the day, as everywhere (`events.py`); no hours. At or below counts, within 0.05 °C.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.events import Limits
from forecaster.falls import FALL_DAYS, date_of
from forecaster.known import Known, atmosphere
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.simulate import BLOCK_SITES, site_air_members
from forecaster.units import STORED_TENTH_C

MINIMUM_DAYS = 3
"""Nights that the alarm on a site's minimum looks at."""


@dataclass(frozen=True)
class ComingNights:
    """The coming nights at one site; chances 0-1, temperatures [°C]; None where the site has no minima.

    `p_hard_freeze`, `hard_freeze_day`: within the days of the alarm, and on which day it most often comes
    first. `low_p10_c`, `low_p50_c`, `low_p90_c`: the lowest of the next three nights. `p_below`: chance that
    this is below the alarm's minimum. `p_snap`, `snap_day`: a cold snap that begins within the days of the
    brief.
    """

    p_hard_freeze: float | None = None
    hard_freeze_day: date | None = None
    low_p10_c: float | None = None
    low_p50_c: float | None = None
    low_p90_c: float | None = None
    p_below: float | None = None
    p_snap: float | None = None
    snap_day: date | None = None


def coming_nights(known: Known, site_ids: Sequence[str]) -> dict[str, ComingNights]:
    """The coming nights at the sites named, from the same members as the forecast.

    Raises:
        BadInput: As the forecast itself: a site too far from every station, too few earlier falls.
    """
    wanted = set(site_ids)
    rows = [(row, site) for row, site in enumerate(known.sites) if site.site_id in wanted]
    if not rows:
        return {}
    air = atmosphere(known, known.sites)
    settings = known.settings
    days = range(known.as_of_day, min(FALL_DAYS, known.as_of_day + _days_needed(settings)))
    found: dict[str, ComingNights] = {}
    for first in range(0, len(rows), BLOCK_SITES):
        block = rows[first : first + BLOCK_SITES]
        positions = [row for row, _ in block]
        members = site_air_members(air.members, air.matrices, air.past_mean_c[positions], positions)
        low_c = np.stack([members.minimum_c(day) for day in days], axis=-1)  # (site, m, day)
        has_minima = air.matrices.minimum[positions].sum(axis=1) > 0.0
        found |= _of_block(block, low_c, has_minima, known)
    return found


def _days_needed(settings: Settings) -> int:
    return max(settings.alarms.hard_freeze_days, settings.brief.snap_days + 1, MINIMUM_DAYS)


def _of_block(
    block: Sequence[tuple[int, Site]], low_c: np.ndarray, has_minima: np.ndarray, known: Known
) -> dict[str, ComingNights]:
    return {
        site.site_id: nights_of(low_c[at], known.settings, known.limits, known.as_of_day, known.fall)
        if has_minima[at]
        else ComingNights()
        for at, (_, site) in enumerate(block)
    }


def nights_of(
    low_c: np.ndarray, settings: Settings, limits: Limits, as_of_day: int, fall: int
) -> ComingNights:
    """What the members say of one site's nights.

    Args:
        low_c: Daily minima of the members from the as-of date on [°C], shape (m, day), no NaN.
        settings: Alarms' and brief's days and limits.
        limits: Thresholds.
        as_of_day: Day of the fall of the as-of date.
        fall: The year of the fall.
    """
    freeze = _first(low_c[:, : settings.alarms.hard_freeze_days] <= limits.hard_freeze_c + STORED_TENTH_C)
    lowest = low_c[:, :MINIMUM_DAYS].min(axis=1)
    snap = snap_begins(low_c, limits, within_days=settings.brief.snap_days)
    p10, p50, p90 = (float(np.quantile(lowest, q, method="inverted_cdf")) for q in (0.1, 0.5, 0.9))
    return ComingNights(
        p_hard_freeze=float(np.isfinite(freeze).mean()),
        hard_freeze_day=_usual_day(freeze, as_of_day, fall),
        low_p10_c=p10,
        low_p50_c=p50,
        low_p90_c=p90,
        p_below=float((lowest <= settings.alarms.minimum_c + STORED_TENTH_C).mean()),
        p_snap=float(np.isfinite(snap).mean()),
        snap_day=_usual_day(snap, as_of_day, fall),
    )


def snap_begins(low_c: np.ndarray, limits: Limits, *, within_days: int) -> NDArray[np.float64]:
    """Day on which the first cold snap begins in each member, (m,) from the first day on; inf for none.

    A snap is two days running at or below the hard-freeze limit, or one at or below the plumbing limit.

    Args:
        low_c: Daily minima [°C], shape (m, day); one day more than `within_days`, or the pair is not seen.
        limits: Thresholds.
        within_days: The snap begins on one of so many days.

    >>> limits = Limits(10, 7.2, 5, 0, -20 / 9, -20 / 3)
    >>> snap_begins(np.array([[1, -3, -3, 1], [1, -3, 1, -7], [1, -3, 1, -3]]), limits, within_days=4)
    array([ 1.,  3., inf])
    """
    hard = low_c <= limits.hard_freeze_c + STORED_TENTH_C
    begins = low_c <= limits.plumbing_freeze_c + STORED_TENTH_C
    begins[:, :-1] |= hard[:, :-1] & hard[:, 1:]
    return _first(begins[:, :within_days])


def _first(hits: np.ndarray) -> NDArray[np.float64]:
    """First day that is hit in each member, inf for none."""
    return np.asarray(np.where(hits.any(axis=1), hits.argmax(axis=1), np.inf))


def _usual_day(first: NDArray[np.float64], as_of_day: int, fall: int) -> date | None:
    """The middle day of the members in which it happens, None where it happens in none."""
    happens = first[np.isfinite(first)]
    if not happens.size:
        return None
    return date_of(as_of_day + float(np.quantile(happens, 0.5, method="inverted_cdf")), fall)
