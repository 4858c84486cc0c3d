"""Each day's water against Kalman filters that share no code with ours, and against arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_ponds import (
    FALL,
    SERIES,
    Floats,
    columns_of,
    fixed_fit,
    invented_pond,
    invented_rows,
)
from scipy.linalg import solve_discrete_are
from statsmodels.tsa.statespace.sarimax import SARIMAX

from forecaster.water.evidence import Rows
from forecaster.water.lagged import COLUMNS, SiteSeries, linearised_columns, season_terms
from forecaster.water.pooling import Pond, PondFit, Residual
from forecaster.water.state import BAND_Z, WaterPath, shares, water_path

DAY_COUNT = 90
GAPPY = invented_rows(
    [12, 13, 30, 44, 45, 46, 71, 80], [23.0, 22.0, 21.5, 17.0, 16.5, 17.5, 11.0, 9.5], [0.3, 0.6] * 4
)


def all_columns(pond: Pond) -> Floats:
    """The eight columns of the first DAY_COUNT days."""
    days = np.arange(DAY_COUNT)
    return columns_of(pond, Rows(FALL, days, np.zeros(DAY_COUNT), np.ones(DAY_COUNT)))


def certain(pond: Pond) -> Pond:
    """The same pond with its coefficients and lag known."""
    return replace(pond, prior=replace(pond.prior, cov=np.zeros((6, 6)), log_lag_sd=0.0))


def up_to(fit: PondFit, day: int) -> PondFit:
    """The fit with the present rows up to `day` only."""
    assert fit.rows is not None
    keep = fit.rows.day <= day
    if not keep.any():
        return replace(fit, rows=None)
    rows = Rows(FALL, fit.rows.day[keep], fit.rows.water_c[keep], fit.rows.error_sd_c[keep])
    return replace(fit, rows=rows)


class TextbookKalman:
    """Filter and smoother (Rauch, Tung & Striebel 1965) with coefficients and AR(1) residual as state."""

    def __init__(self, fit: PondFit, columns: Floats, rows: Rows) -> None:
        rho, variance = fit.residual.rho, fit.residual.scale * fit.residual.sd_c**2
        size = COLUMNS + 1
        move = np.eye(size)
        move[-1, -1] = rho
        shock = np.zeros((size, size))
        shock[-1, -1] = variance * (1 - rho**2)
        mean = np.append(fit.mean, 0.0)
        cov = np.zeros((size, size))
        cov[:COLUMNS, :COLUMNS], cov[-1, -1] = fit.cov, variance
        seen_by_day = {
            int(d): (y, e) for d, y, e in zip(rows.day, rows.water_c, rows.error_sd_c, strict=True)
        }
        predicted, filtered = [], []
        for day in range(len(columns)):
            if day:
                mean, cov = move @ mean, move @ cov @ move.T + shock
            predicted.append((mean, cov))
            if day in seen_by_day:
                value, error = seen_by_day[day]
                sight = np.append(columns[day], 1.0)
                gain = cov @ sight / (sight @ cov @ sight + error**2)
                mean, cov = mean + gain * (value - sight @ mean), cov - np.outer(gain, sight @ cov)
            filtered.append((mean, cov))
        self.filtered = self._water(filtered, columns)
        smoothed = [filtered[-1]]
        for day in range(len(columns) - 2, -1, -1):
            back = np.linalg.solve(predicted[day + 1][1], move @ filtered[day][1]).T
            mean = filtered[day][0] + back @ (smoothed[0][0] - predicted[day + 1][0])
            cov = filtered[day][1] + back @ (smoothed[0][1] - predicted[day + 1][1]) @ back.T
            smoothed.insert(0, (mean, cov))
        self.smoothed = self._water(smoothed, columns)

    @staticmethod
    def _water(states: list[tuple[Floats, Floats]], columns: Floats) -> tuple[Floats, Floats]:
        sight = np.column_stack([columns, np.ones(len(columns))])
        mean = [row @ state[0] for row, state in zip(sight, states, strict=True)]
        variance = [row @ state[1] @ row for row, state in zip(sight, states, strict=True)]
        return np.array(mean), np.sqrt(variance)


FITS = {
    "alone": fixed_fit([invented_pond("A", GAPPY)]).ponds["A"],
    "with earlier falls and a route": fixed_fit(
        [
            invented_pond("A", invented_rows([40, 60, 85], [19.0, 14.0, 8.0], fall=2024), GAPPY),
            invented_pond("B", invented_rows([20, 50], [24.0, 18.0]), depth_m=1.5),
        ],
        residual=Residual(scale=0.6),
    ).ponds["A"],
}


@pytest.mark.parametrize("name", FITS)
def test_smoothed_water_is_that_of_a_kalman_smoother(name: str) -> None:
    fit = FITS[name]
    mean_c, sd_c = TextbookKalman(fit, all_columns(fit.pond), GAPPY).smoothed
    path = water_path(fit, day_count=DAY_COUNT)
    assert path.mean_c == pytest.approx(mean_c, abs=1e-6)
    assert path.sd_c == pytest.approx(sd_c, abs=1e-6)


@pytest.mark.parametrize("name", FITS)
def test_water_of_each_morning_is_that_of_a_kalman_filter(name: str) -> None:
    fit = FITS[name]
    mean_c, sd_c = TextbookKalman(fit, all_columns(fit.pond), GAPPY).filtered
    for day in (5, 12, 13, 29, 46, 60, 71, 80, 89):
        path = water_path(up_to(fit, day), day_count=day + 1)
        assert path.mean_c[-1] == pytest.approx(mean_c[day], abs=1e-8), day
        assert path.sd_c[-1] == pytest.approx(sd_c[day], abs=1e-8), day


def test_last_smoothed_day_is_the_filtered_one() -> None:
    fit = FITS["alone"]
    kalman = TextbookKalman(fit, all_columns(fit.pond), GAPPY)
    assert water_path(fit, day_count=81).mean_c[-1] == pytest.approx(kalman.filtered[0][80], abs=1e-8)


def test_known_coefficients_against_statsmodels_smoother() -> None:
    """SARIMAX with exogenous columns, AR(1) and measurement error, its parameters fixed, NaN as gaps."""
    rows = replace(GAPPY, error_sd_c=np.full(8, 0.5))
    pond = certain(invented_pond("A", rows))
    residual = Residual(level_sd_c=0.0)
    fit = fixed_fit([pond], residual=residual).ponds["A"]
    columns = all_columns(pond)[:, :6]
    daily = np.full(DAY_COUNT, np.nan)
    daily[rows.day] = rows.water_c
    model = SARIMAX(daily, exog=columns, order=(1, 0, 0), trend="n", measurement_error=True)
    shock = residual.sd_c**2 * (1 - residual.rho**2)
    named = dict(zip(model.param_names, model.start_params, strict=True))
    named.update({"ar.L1": residual.rho, "sigma2": shock, "var.measurement_error": 0.25})
    named.update(zip(model.param_names, pond.prior.mean, strict=False))
    result = model.smooth([named[name] for name in model.param_names])
    path = water_path(fit, day_count=DAY_COUNT)
    known = columns @ pond.prior.mean
    assert path.mean_c == pytest.approx(known + result.smoothed_state[0], abs=1e-6)
    assert path.sd_c**2 == pytest.approx(result.smoothed_state_cov[0, 0], abs=1e-6)
    filtered = result.filtered_state[0]
    for day in (12, 29, 46, 80, 89):
        here = water_path(up_to(fit, day), day_count=day + 1).mean_c[-1]
        assert here == pytest.approx(known[day] + filtered[day], abs=1e-6)


# --- AR(1) arithmetic, in units of the daily shock


@pytest.mark.parametrize(
    ("phi", "variances"),
    [
        (0.7, [1, 1.49, 1.7301, 1.9054, 1.9475, 1.9592]),
        (0.8, [1, 1.64, 2.0496, 2.4795, 2.6556, 2.7458]),
    ],
)
def test_variance_after_an_exact_reading_grows_as_ar1_says(phi: float, variances: list[float]) -> None:
    # h = 1, 2, 3, 5, 7, 10 days after: (1 - phi^2h) / (1 - phi²).
    residual = Residual(rho=phi, sd_c=float(1 / np.sqrt(1 - phi**2)), level_sd_c=0.0)
    pond = certain(invented_pond("A", invented_rows([20], [20.0], 1e-9)))
    path = water_path(fixed_fit([pond], residual=residual).ponds["A"], day_count=60)
    assert path.sd_c[20 + np.array([1, 2, 3, 5, 7, 10])] ** 2 == pytest.approx(variances, abs=1e-4)
    assert path.sd_c[20] == pytest.approx(0.0, abs=1e-6)
    assert path.mean_c[20] == pytest.approx(20.0)
    assert path.sd_c[59] ** 2 == pytest.approx(1 / (1 - phi**2), rel=1e-3)


def test_steady_state_of_daily_readings() -> None:
    # phi 0.8, shock variance 1, reading variance 0.25: predicted 1.131036, filtered 0.204744 (scipy's
    # discrete Riccati equation).
    predicted = solve_discrete_are([[0.8]], [[1.0]], [[1.0]], [[0.25]])[0, 0]
    assert predicted == pytest.approx(1.131036, abs=1e-6)
    residual = Residual(rho=0.8, sd_c=float(1 / 0.6), level_sd_c=0.0)
    days = list(range(25))
    pond = certain(invented_pond("A", invented_rows(days, [20.0] * 25, 0.5)))
    path = water_path(fixed_fit([pond], residual=residual).ponds["A"], day_count=26)
    assert path.sd_c[24] ** 2 == pytest.approx(0.204744, abs=1e-6)
    assert path.sd_c[25] ** 2 == pytest.approx(predicted, abs=1e-6)


def test_without_readings_the_state_is_the_regression() -> None:
    fit = fixed_fit([invented_pond("A")]).ponds["A"]
    columns = all_columns(fit.pond)
    path = water_path(fit, day_count=DAY_COUNT)
    assert path.mean_c == pytest.approx(columns @ fit.physics_mean)
    spread = np.sqrt(np.einsum("dp,pq,dq->d", columns, fit.physics_cov, columns) + fit.residual.sd_c**2)
    assert path.sd_c == pytest.approx(spread)


# --- 0 °C and the band


def test_water_is_never_below_freezing() -> None:
    path = WaterPath(FALL, np.array([-2.0, 0.5, 4.0]), np.array([1.0, 1.0, 0.5]))
    assert path.water_c.tolist() == [0.0, 0.5, 4.0]
    assert path.p10_c == pytest.approx([0.0, 0.0, 4.0 - 0.5 * BAND_Z])
    assert (path.p90_c >= path.water_c).all()
    assert path.p90_c[2] == pytest.approx(4.0 + 0.5 * 1.281552)


def test_cold_spell_in_the_air() -> None:
    air_c = SERIES.air_c.copy()
    air_c[-31:] = -15.0
    frozen = SiteSeries(SERIES.first_day, air_c, SERIES.latitude)
    path = water_path(fixed_fit([invented_pond("A", series=frozen)]).ponds["A"], day_count=184)
    assert path.mean_c[-1] < 0.0
    assert path.water_c[-1] == 0.0


# --- what the value rests on


def test_shares_by_variance() -> None:
    silent = fixed_fit([invented_pond("A")]).ponds["A"]
    assert shares(silent, day=80) == {"own": 0.0, "route": 0.0, "prior": 1.0}
    taught = fixed_fit([invented_pond("A"), invented_pond("B", GAPPY)]).ponds["A"]
    found = shares(taught, day=80)
    assert found["own"] == 0.0
    assert 0.0 < found["route"] < 0.6
    read = shares(fixed_fit([invented_pond("A", GAPPY)]).ponds["A"], day=80)
    assert read["own"] > 0.6
    assert sum(read.values()) == pytest.approx(1.0)
    columns = all_columns(silent.pond)[80]
    before = columns @ silent.physics_cov @ columns + silent.residual.sd_c**2
    after = water_path(fixed_fit([invented_pond("A", GAPPY)]).ponds["A"], day_count=81).sd_c[80] ** 2
    assert read["own"] == pytest.approx(1 - after / before)


def test_the_path_needs_no_day_beyond_its_last() -> None:
    # Air after the last day asked for changes nothing.
    air_c = SERIES.air_c.copy()
    fit = FITS["alone"]
    end = (np.datetime64("2025-08-01") - np.datetime64(SERIES.first_day)).astype(int) + DAY_COUNT
    air_c[end:] = 99.0
    other = replace(fit, pond=replace(fit.pond, series=SiteSeries(SERIES.first_day, air_c, SERIES.latitude)))
    ours, theirs = (water_path(each, day_count=DAY_COUNT) for each in (fit, other))
    assert ours.mean_c.tolist() == theirs.mean_c.tolist()


def test_columns_do_not_depend_on_how_many_days_are_asked_for() -> None:
    pond = invented_pond("A")
    terms, warm_up = season_terms(SERIES, FALL, 20)
    short = linearised_columns(terms, warm_up, pond.prior.log_lag, pond.prior.mean)
    assert short == pytest.approx(all_columns(pond)[:20])
