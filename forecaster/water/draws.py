"""One draw of every pond's coefficients and error path a member, given all readings (Matheron's rule).

The route's shared shift is drawn once a member for all ponds, then each pond's own coefficients and its
AR(1) path; readings of the present fall pull each draw by the gain that the filter gives the mean, applied
to the draw's own simulated readings. Seeds depend on the pond's name: a pond more or less changes no other.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import FALL_DAYS, fall_start
from forecaster.water.lagged import (
    COLUMNS,
    LAG,
    LAG_RANGE_DAYS,
    LEVEL_OF_FALL,
    day_of_year,
    linearised_columns,
    season_terms,
)
from forecaster.water.physics import (
    REFERENCE_SUN_W_M2,
    SUMMER_SOLSTICE,
    clear_sky_sun,
    relaxation_step,
)
from forecaster.water.pooling import PondFit, RouteFit
from forecaster.water.state import residual_to_rows, update_of

Reals = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class WaterDraws:
    """Everything the water of a block of sites needs, one draw a member; float32.

    `start_c` (site, m): water on 31 July. `step` (site, m): daily approach k. `coefficients` (6, site, m).
    `residual_c` (day, site, m): AR(1) error and the level of the fall. `terms` (day, 3, site): sun, phase
    and the fall's cosine columns as in `physics.equilibrium_terms` (sun, sine, cosine).
    """

    start_c: Reals
    step: Reals
    coefficients: Reals
    residual_c: Reals
    terms: Reals


def draw_route(fit: RouteFit, *, count: int, seed: int) -> np.ndarray:
    """The route's shared shift in each member, shape (count, 8)."""
    rng = np.random.default_rng([seed, fit.fall, 1])
    return fit.route_mean + rng.standard_normal((count, COLUMNS)) @ _root(fit.route_cov).T


def draw_water(fits: Sequence[PondFit], route: np.ndarray, *, seed: int) -> WaterDraws:
    """Draws for a block of ponds of one fall; `route` from `draw_route`, shape (m, 8)."""
    count = len(route)
    coefficients = np.empty((len(fits), count, COLUMNS))
    residual = np.empty((FALL_DAYS, len(fits), count), np.float32)
    start = np.empty((len(fits), count), np.float32)
    terms = np.empty((FALL_DAYS, 3, len(fits)), np.float32)
    for position, fit in enumerate(fits):
        drawn, path = _draw_pond(fit, route, seed=seed)
        coefficients[position] = drawn
        residual[:, position, :] = path
        residual[:, position, :] += drawn[:, LEVEL_OF_FALL]
        start[position] = drawn[:, : LAG + 1] @ _columns_before(fit)[: LAG + 1]
        terms[:, :, position] = _day_terms(fit)
    log_lag = np.array([fit.log_lag for fit in fits])[:, None] + coefficients[:, :, LAG]
    lag = np.exp(np.clip(log_lag, *np.log(LAG_RANGE_DAYS)))
    return WaterDraws(
        start_c=np.maximum(start, 0.0),
        step=np.asarray(relaxation_step(lag), np.float32),
        coefficients=np.ascontiguousarray(np.moveaxis(coefficients[:, :, :LAG], 2, 0), np.float32),
        residual_c=residual,
        terms=terms,
    )


def _draw_pond(fit: PondFit, route: np.ndarray, *, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients (m, 8) and AR(1) path (day, m) of one pond."""
    rng = np.random.default_rng([seed, fit.fall, zlib.crc32(fit.pond.site_id.encode())])
    own = rng.standard_normal((len(route), COLUMNS)) @ _root(fit.own_cov).T
    coefficients = fit.own_mean + route @ fit.to_route.T + own
    path = rng.standard_normal((FALL_DAYS, len(route)), dtype=np.float32)
    residual = fit.residual
    sd = np.float32(np.sqrt(residual.covariance(np.ones(1))[0]))
    keep, fresh = np.float32(residual.rho), np.float32(np.sqrt(1.0 - residual.rho**2))
    for day in range(FALL_DAYS):
        path[day] = path[day] if day == 0 else keep * path[day - 1] + fresh * path[day]
    path *= sd
    update = update_of(fit)
    if update is not None:
        rows = update.rows
        error = rng.standard_normal((len(route), len(rows.day))) * rows.error_sd_c
        seen = coefficients @ update.columns.T + path[rows.day].T + error
        own_noise = residual.covariance(rows.kernel(residual.rho)) + np.diag(rows.error_sd_c**2)
        given_route = update.columns @ fit.own_cov @ update.columns.T + own_noise
        pull = np.linalg.solve(given_route, (rows.water_c - seen).T)
        coefficients = coefficients + (fit.own_cov @ update.columns.T @ pull).T
        path += (residual_to_rows(residual, rows, np.arange(FALL_DAYS)) @ pull).astype(np.float32)
    return coefficients, path


def _columns_before(fit: PondFit) -> np.ndarray:
    """The eight columns on 31 July, from which the members start."""
    terms, warm_up = season_terms(fit.pond.series, fit.fall, 1)
    return linearised_columns(terms, max(warm_up - 1, 0), fit.log_lag, fit.coefficients)[0]


def _day_terms(fit: PondFit) -> np.ndarray:
    """Sun, sine and cosine column of each day of the fall, shape (day, 3)."""
    days = day_of_year(fall_start(fit.fall), FALL_DAYS)
    turn = 2.0 * np.pi * (days - SUMMER_SOLSTICE) / 365.25
    sun = (clear_sky_sun(fit.pond.series.latitude, days) - REFERENCE_SUN_W_M2) / 100.0
    return np.column_stack([sun, np.sin(turn), np.cos(turn)])


def _root(cov: np.ndarray) -> np.ndarray:
    """A square root of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(0.5 * (cov + cov.T))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
