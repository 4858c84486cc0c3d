"""Readings that the others contradict, each with its likely cause. Questioned, never dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecaster.falls import fall_day
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.units import c_to_f, f_to_c
from forecaster.water.evidence import daily_mean_of
from forecaster.water.lagged import linearised_columns, season_terms
from forecaster.water.pooling import PondFit, leave_one_out

ASK_Z = 3.0
"""A reading this many standard deviations from what all else says is asked about."""
NEAR_C = 1.5
"""Within so much of an explanation it is named as the likely cause [°C]."""


@dataclass(frozen=True)
class Question:
    """A doubtful reading: what was read, what was expected (± sd) [°C], and the likely cause."""

    reading: Reading
    expected_c: float
    sd_c: float
    cause: str


@dataclass(frozen=True, eq=False)
class _Look:
    site: Site
    reading: Reading
    day: int
    value_c: float
    expected_c: float
    sd_c: float
    air_c: float


def questions(
    ponds: Sequence[tuple[Site, PondFit, np.ndarray, Sequence[Reading]]], *, fall: int
) -> list[Question]:
    """Doubtful readings of the present fall, in order of site and day.

    Args:
        ponds: Site, its fit, its daily mean air of the fall until the as-of date [°C], its readings.
        fall: The present fall.
    """
    looks = [look for site, fit, air_c, own in ponds for look in _looks(site, fit, air_c, own, fall)]
    doubtful = [look for look in looks if abs(look.value_c - look.expected_c) > ASK_Z * look.sd_c]
    return [Question(look.reading, look.expected_c, look.sd_c, _cause(look, doubtful)) for look in doubtful]


def _looks(
    site: Site, fit: PondFit, air_c: np.ndarray, readings: Sequence[Reading], fall: int
) -> list[_Look]:
    present = [r for r in readings if 0 <= fall_day(r.day, fall) <= len(air_c) and not r.daily_mean]
    if not present:
        return []
    day = np.array([min(fall_day(r.day, fall), len(air_c) - 1) for r in present])
    value, error = np.array([daily_mean_of(r, site) for r in present]).T
    terms, warm_up = season_terms(fit.pond.series, fall, int(day.max()) + 1)
    columns = linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)[day]
    gap = np.abs(day[:, None] - day[None, :])
    noise = fit.residual.covariance(fit.residual.rho**gap) + np.diag(error**2)
    miss, sd = leave_one_out(columns, value, fit.mean, fit.cov, noise)
    return [
        _Look(site, r, int(d), float(v), float(v - m), float(s), float(air_c[d]))
        for r, d, v, m, s in zip(present, day, value, miss, sd, strict=True)
    ]


def _cause(look: _Look, doubtful: Sequence[_Look]) -> str:
    read, expected = look.reading.water_c, look.expected_c
    near = max(NEAR_C, look.sd_c)
    if abs(c_to_f(read) - expected) < near:
        return "it looks like a number of °C in a column of °F"
    if abs(f_to_c(read) - expected) < near:
        return "it looks like a number of °F in a column of °C"
    for other in doubtful:
        same_day = other.reading.day == look.reading.day and other.site.site_id != look.site.site_id
        fits = abs(other.value_c - expected) < near and abs(look.value_c - other.expected_c) < near
        if same_day and fits:
            return f"it may be swapped with the reading at {other.site.site_id}"
    if abs(read - look.air_c) < NEAR_C:
        return "it is close to that day's air: was the probe in the water?"
    return "please look again at the number, the date and the site"
