"""Each day's water temperature and its spread: filter and smoother with AR(1) errors and gaps.

Coefficients, the fall's own level, the AR(1) residual and the readings are jointly Gaussian, so the state
given the readings is one closed-form update; the Kalman filter and smoother of the same model give the
same numbers (tested). Water is held at 0 °C and above; under ice the linear model ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.water.evidence import Rows
from forecaster.water.lagged import linearised_columns, season_terms
from forecaster.water.pooling import PondFit, Residual

BAND_Z = 1.2815515655446004
"""Half-width of the middle 80 % of a normal, in standard deviations."""


@dataclass(frozen=True, eq=False)
class WaterPath:
    """Daily mean water of one pond from 1 August of `fall` on: `mean_c`, `sd_c` [°C], shape (day,).

    The mean is of the unbounded model, held at 0; `p10_c` and `p90_c` are the middle 80 %.
    """

    fall: int
    mean_c: np.ndarray
    sd_c: np.ndarray

    @property
    def p10_c(self) -> np.ndarray:
        """Lower end of the middle 80 % [°C], never below 0."""
        return np.maximum(self.mean_c - BAND_Z * self.sd_c, 0.0)

    @property
    def p90_c(self) -> np.ndarray:
        """Upper end of the middle 80 % [°C], never below 0."""
        return np.maximum(self.mean_c + BAND_Z * self.sd_c, 0.0)

    @property
    def water_c(self) -> np.ndarray:
        """Best estimate [°C], never below 0."""
        return np.maximum(self.mean_c, 0.0)


@dataclass(frozen=True, eq=False)
class Update:
    """How the present fall's rows move coefficients and residual: gain matrices for one pond.

    Rows see `y = columns @ coefficients + residual + error`. `solve` is the Cholesky factor of the
    covariance of y around `mean`; the members use the same gains on simulated readings.
    """

    rows: Rows
    columns: np.ndarray
    covariance: np.ndarray
    expected_c: np.ndarray


def update_of(fit: PondFit) -> Update | None:
    """Covariance of the present rows around their expectation; None without rows."""
    rows = fit.rows
    if rows is None:
        return None
    terms, warm_up = season_terms(fit.pond.series, fit.fall, rows.last_day + 1)
    columns = linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)[rows.day]
    noise = fit.residual.covariance(rows.kernel(fit.residual.rho)) + np.diag(rows.error_sd_c**2)
    return Update(
        rows=rows,
        columns=columns,
        covariance=columns @ fit.cov @ columns.T + noise,
        expected_c=columns @ fit.mean,
    )


def residual_to_rows(residual: Residual, rows: Rows, days: np.ndarray) -> np.ndarray:
    """Covariance of the residual on `days` (q,) with the rows [°C²], shape (q, n)."""
    return residual.covariance(rows.kernel_to(residual.rho, days))


def water_path(fit: PondFit, *, day_count: int) -> WaterPath:
    """Water of each of the first `day_count` days of the fall given all of its rows.

    Air must be known on these days (see `lagged.season_terms`).
    """
    terms, warm_up = season_terms(fit.pond.series, fit.fall, day_count)
    columns = linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)
    mean = columns @ fit.mean
    spread = columns @ fit.cov
    variance = (spread * columns).sum(axis=1) + fit.residual.covariance(np.ones(1))[0]
    update = update_of(fit)
    if update is not None:
        across = spread @ update.columns.T + residual_to_rows(fit.residual, update.rows, np.arange(day_count))
        gain = np.linalg.solve(update.covariance, across.T).T
        mean = mean + gain @ (update.rows.water_c - update.expected_c)
        variance = variance - (gain * across).sum(axis=1)
    return WaterPath(fall=fit.fall, mean_c=mean, sd_c=np.sqrt(np.maximum(variance, 0.0)))


def shares(fit: PondFit, *, day: int) -> dict[str, float]:
    """How much of what is known of the water on `day` rests on physics, route and own readings, 0-1.

    By variance: own readings have what they take off the route's variance, the route what the other
    ponds take off the prior's, the prior the rest. They sum to 1.
    """
    terms, warm_up = season_terms(fit.pond.series, fit.fall, day + 1)
    column = linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)[day]
    noise = float(fit.residual.covariance(np.ones(1))[0])
    physics = float(column @ fit.physics_cov @ column) + noise
    route = float(column @ fit.others_cov @ column) + noise
    own = float(water_path(fit, day_count=day + 1).sd_c[day] ** 2)
    by_own = min(max(1.0 - own / route, 0.0), 1.0)
    by_route = min(max(1.0 - route / physics, 0.0), 1.0) * (1.0 - by_own)
    return {"own": by_own, "route": by_route, "prior": 1.0 - by_own - by_route}
