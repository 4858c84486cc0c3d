"""Whether a pond's fit can be believed: checks from time-series practice, each with a plain verdict.

Ljung & Box 1978 (autocorrelation), Jarque & Bera 1980 (normality), both by statsmodels; parameters at a
bound, lag out of physical range, readings against the band (as in acceptance tables of groundwater models).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.water.evidence import Rows
from forecaster.water.lagged import linearised_columns, season_terms
from forecaster.water.pooling import PondFit, row_covariance

FEWEST_ROWS = 12
"""Fewer rows than this say nothing of autocorrelation or normality."""
SURE = 0.01
"""Chance below which a departure is called so."""


@dataclass(frozen=True)
class FitCheck:
    """One check: its name, what was found, and the verdict: fine, look, or too few readings."""

    name: str
    found: str
    verdict: str


def fit_checks(fit: PondFit) -> list[FitCheck]:
    """The table of checks of one pond, always the same rows in the same order."""
    z = whitened_residuals(fit)
    return [
        _autocorrelation(z),
        _normality(z),
        FitCheck(
            "lag at a limit",
            f"{fit.lag_days:.1f} days",
            "look" if fit.lag_at_limit else "fine",
        ),
        _lag_range(fit),
        _band(z),
    ]


def whitened_residuals(fit: PondFit) -> np.ndarray:
    """Misses of all rows over their spread, decorrelated within each fall, shape (n,)."""
    parts = [_whitened(fit, rows) for rows in fit.pond.rows]
    return np.concatenate(parts) if parts else np.empty(0)


def _whitened(fit: PondFit, rows: Rows) -> np.ndarray:
    terms, warm_up = season_terms(fit.pond.series, rows.fall, rows.last_day + 1)
    columns = linearised_columns(terms, warm_up, fit.log_lag, fit.coefficients)[rows.day]
    covariance = row_covariance(rows, fit.residual, rows.fall) / rows.repeats
    covariance = covariance + fit.residual.level_sd_c**2 + columns @ fit.all_cov @ columns.T
    return np.linalg.solve(np.linalg.cholesky(covariance), rows.water_c - columns @ fit.all_mean)


def _autocorrelation(z: np.ndarray) -> FitCheck:
    name = "errors independent in time"
    if len(z) < FEWEST_ROWS:
        return FitCheck(name, f"{len(z)} rows", "too few readings")
    from statsmodels.stats.diagnostic import acorr_ljungbox

    chance = float(acorr_ljungbox(z, lags=[min(5, len(z) // 3)])["lb_pvalue"].iloc[0])
    return FitCheck(name, f"p = {chance:.3f}", "look" if chance < SURE else "fine")


def _normality(z: np.ndarray) -> FitCheck:
    name = "errors bell-shaped"
    if len(z) < FEWEST_ROWS:
        return FitCheck(name, f"{len(z)} rows", "too few readings")
    from statsmodels.stats.stattools import jarque_bera

    chance = float(jarque_bera(z)[1])
    return FitCheck(name, f"p = {chance:.3f}", "look" if chance < SURE else "fine")


def _lag_range(fit: PondFit) -> FitCheck:
    prior = fit.pond.prior
    off = (np.log(fit.lag_days) - prior.log_lag) / prior.log_lag_sd
    found = f"{fit.lag_days:.1f} days, {prior.lag_days:.1f} from depth and exposure"
    return FitCheck("lag fits the depth", found, "look" if abs(off) > 3 else "fine")


def _band(z: np.ndarray) -> FitCheck:
    name = "readings within the 80 % band"
    if len(z) < 5:
        return FitCheck(name, f"{len(z)} rows", "too few readings")
    inside = int((np.abs(z) <= 1.2816).sum())
    from scipy.stats import binom

    low, high = binom.ppf([SURE / 2, 1 - SURE / 2], len(z), 0.8)
    verdict = "fine" if low <= inside <= high else "look"
    return FitCheck(name, f"{inside} of {len(z)}", verdict)
