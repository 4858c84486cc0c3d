"""Invented ponds, their air and their readings, and Gaussian algebra written out the long way."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.season.sites import Exposure, Site
from forecaster.water.evidence import Rows
from forecaster.water.lagged import SiteSeries, linearised_columns, season_terms
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond, Residual, RouteFit, fit_route

Floats = NDArray[np.float64]

FALL = 2025
RECORD_FROM = date(2022, 1, 1)
RECORD_TO = date(2026, 1, 31)


def invented_series(seed: int = 3, latitude: float = 43.0) -> SiteSeries:
    """Four years of daily mean air [°C]: a sine of the year and AR(1) weather."""
    random = np.random.default_rng(seed)
    days = np.arange((RECORD_TO - RECORD_FROM).days + 1)
    weather = np.zeros(len(days))
    shocks = random.normal(0.0, 4.0 * np.sqrt(1 - 0.7**2), len(days))
    for day in range(1, len(days)):
        weather[day] = 0.7 * weather[day - 1] + shocks[day]
    air_c = 9.0 - 14.0 * np.cos(2 * np.pi * (days - 17) / 365.25) + weather
    return SiteSeries(RECORD_FROM, air_c, latitude)


SERIES = invented_series()


def invented_site(site_id: str = "A", depth_m: float = 0.9, exposure: Exposure = "average") -> Site:
    """A pond of this depth [m]."""
    return Site(site_id, "Invented", 43.0, -88.0, depth_m, exposure=exposure)


def invented_rows(
    days: Sequence[int], water_c: Sequence[float], error_sd_c: Sequence[float] | float = 0.5, fall: int = FALL
) -> Rows:
    """Rows in order of their days."""
    order = np.argsort(np.array(days), kind="stable")
    errors = np.broadcast_to(np.asarray(error_sd_c, dtype=float), (len(days),))
    return Rows(fall, np.array(days, dtype=int)[order], np.array(water_c, dtype=float)[order], errors[order])


def invented_pond(
    site_id: str = "A",
    *rows: Rows,
    depth_m: float = 0.9,
    exposure: Exposure = "average",
    series: SiteSeries = SERIES,
) -> Pond:
    """A pond with the rows given."""
    return Pond(site_id, pond_prior(invented_site(site_id, depth_m, exposure)), series, tuple(rows))


def columns_of(pond: Pond, rows: Rows) -> Floats:
    """The eight columns of `rows`, linearised at the prior's lag and coefficients."""
    terms, warm_up = season_terms(pond.series, rows.fall, rows.last_day + 1)
    return linearised_columns(terms, warm_up, pond.prior.log_lag, pond.prior.mean)[rows.day]


def fixed_fit(ponds: Sequence[Pond], residual: Residual | None = None) -> RouteFit:
    """The route's fit with residual size, linearisation and reading errors held fixed: one Gaussian."""
    return fit_route(
        ponds,
        fall=FALL,
        residuals={pond.site_id: residual or Residual() for pond in ponds},
        log_lags={pond.site_id: pond.prior.log_lag for pond in ponds},
        doubt_outliers=False,
    )


def given(mean: Floats, cov: Floats, seen: Floats, value: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """N(mean, cov) after `value = seen @ x + N(0, noise)`: the textbook form with the inverse written out."""
    gain = cov @ seen.T @ np.linalg.inv(seen @ cov @ seen.T + noise)
    return mean + gain @ (value - seen @ mean), cov - gain @ seen @ cov


def ar1_covariance(days: Floats | NDArray[np.int64], rho: float, sd: float) -> Floats:
    """Covariance of an AR(1) process on these days, entry by entry."""
    return np.array([[sd * sd * rho ** abs(int(a) - int(b)) for b in days] for a in days])
