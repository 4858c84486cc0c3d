"""Partial pooling: what readings teach about their own pond and about the whole route.

Coefficients of pond s are `prior mean + root (route + own)` with `root` the square root of its prior's
covariance: `route ~ N(0, share)` is shared by all ponds, `own ~ N(0, 1 - share)` is the pond's, in units of
the prior's spread, so that together they make up the prior of each pond, whatever its kind. Given the
linearisation and the residual's size everything is Gaussian and closed-form, so a pond without readings
changes no other.
Reference: Theil & Goldberger 1961 (mixed estimation); the same numbers as statsmodels GLS with the prior
as pseudo-observations.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from forecaster.water.evidence import HALF_LIFE_YEARS, Rows
from forecaster.water.lagged import (
    COLUMNS,
    LAG,
    LAG_RANGE_DAYS,
    LEVEL_OF_FALL,
    SiteSeries,
    linearised_columns,
    season_terms,
)
from forecaster.water.physics import Prior

ROUNDS = 4
"""Linearisations in the lag time; the fourth moves it by less than 1 % on the records tried."""
ROUTE_SHARE = 0.4
"""Share of the prior variance that all ponds of a route have in common; an assumption, no source."""
SCALE_GRID = np.exp(np.linspace(np.log(0.3), np.log(3.0), 25))
"""Factors of the residual variance that are tried."""
SCALE_LOG_SD = 0.35
"""Prior spread of the logarithm of that factor."""
DOUBT_Z = 3.5
"""A row further than so many standard deviations from what the others say is doubted."""
SCALE_ROWS = 8
"""Fewer rows than this say nothing of the residual's size."""


@dataclass(frozen=True)
class Residual:
    """What the regression leaves over: AR(1) in days around a level of its own each fall.

    `rho` between neighbouring days (measured 0.84-0.86 on two lakes), `sd_c` its stationary standard
    deviation [°C]; `level_sd_c` that of the fall's level [°C], which persists from one fall to the next
    with `level_memory`. `scale` multiplies the AR(1) variance.
    """

    rho: float = 0.85
    sd_c: float = 0.95
    level_sd_c: float = 0.45
    level_memory: float = 0.6
    scale: float = 1.0

    def covariance(self, kernel: np.ndarray) -> np.ndarray:
        """Covariance of the AR(1) part [°C²] from its correlations."""
        return self.scale * self.sd_c**2 * kernel


@dataclass(frozen=True, eq=False)
class Pond:
    """One pond to fit: its prior, its air and its rows by fall."""

    site_id: str
    prior: Prior
    series: SiteSeries
    rows: tuple[Rows, ...] = ()


@dataclass(frozen=True, eq=False)
class PondFit:
    """What is known of one pond when the present fall's own rows are left out, and those rows.

    `mean`, `cov`: coefficients (8,) and (8, 8) given the route and the pond's earlier falls; the seventh
    is the shift of log lag from `log_lag`, the eighth the present fall's level.
    `own_mean`, `own_cov`, `to_route`: the same given the route's
    shift g: N(own_mean + to_route @ g, own_cov). `all_mean`, `all_cov`: given every row of the route.
    `physics_*` is the prior alone, `others_cov` the spread given only the other ponds' rows.
    """

    pond: Pond
    fall: int
    log_lag: float
    coefficients: np.ndarray
    residual: Residual
    mean: np.ndarray
    cov: np.ndarray
    own_mean: np.ndarray
    own_cov: np.ndarray
    to_route: np.ndarray
    all_mean: np.ndarray
    all_cov: np.ndarray
    physics_mean: np.ndarray
    physics_cov: np.ndarray
    others_cov: np.ndarray
    rows: Rows | None
    lag_at_limit: bool

    @property
    def lag_days(self) -> float:
        """Lag time given all rows [days], within LAG_RANGE_DAYS."""
        return float(np.clip(np.exp(self.log_lag + self.all_mean[LAG]), *LAG_RANGE_DAYS))


@dataclass(frozen=True, eq=False)
class RouteFit:
    """All ponds of a route, and the route's shared shift N(route_mean, route_cov) given every row.

    The shift is in units of each pond's prior spread.
    """

    fall: int
    ponds: dict[str, PondFit]
    route_mean: np.ndarray
    route_cov: np.ndarray


@dataclass
class _Work:
    """A pond between two linearisations."""

    pond: Pond
    log_lag: float
    coefficients: np.ndarray
    residual: Residual
    limit: bool = False
    earlier: tuple[np.ndarray, np.ndarray] | None = None
    present: tuple[np.ndarray, np.ndarray] | None = None


def prior_moments(prior: Prior, log_lag: float, level_sd_c: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean (8,) and covariance (8, 8) of a prior, with the lag counted from `log_lag`."""
    mean = np.concatenate([prior.mean, [prior.log_lag - log_lag, 0.0]])
    cov = np.zeros((COLUMNS, COLUMNS))
    cov[:LAG, :LAG] = prior.cov
    cov[LAG, LAG] = prior.log_lag_sd**2
    cov[LEVEL_OF_FALL, LEVEL_OF_FALL] = level_sd_c**2
    return mean, cov


def information(
    columns: np.ndarray, water_c: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Information of rows about the coefficients, by generalised least squares.

    Returns X' V^-1 X (p, p) and X' V^-1 y (p,), from the whitened rows of statsmodels' GLS.

    Args:
        columns: X, shape (n, p).
        water_c: y [°C], shape (n,).
        covariance: V [°C²], shape (n, n), positive definite.
    """
    from statsmodels.regression.linear_model import GLS  # slow to import, not needed without readings

    model = GLS(water_c, columns, sigma=covariance, hasconst=False)
    return model.wexog.T @ model.wexog, model.wexog.T @ model.wendog


def condition(
    mean: np.ndarray, cov: np.ndarray, info: np.ndarray, pull: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Posterior of N(mean, cov) after information (info, pull): mean and covariance.

    Written so that a prior variance of 0 is allowed: C - C J (I + C J)^-1 C.
    """
    gain = np.linalg.solve(np.eye(len(mean)) + cov @ info, cov)
    return mean + gain @ (pull - info @ mean), 0.5 * (gain + gain.T)


def fit_route(
    ponds: Sequence[Pond],
    *,
    fall: int,
    route_share: float = ROUTE_SHARE,
    residuals: Mapping[str, Residual] | None = None,
    log_lags: Mapping[str, float] | None = None,
    doubt_outliers: bool = True,
) -> RouteFit:
    """Fit all ponds together for the fall that is forecast.

    Args:
        ponds: Ponds whose water follows the weather, each with all rows up to the as-of date.
        fall: The present fall; its rows are kept apart so that `state` can follow them day by day.
        route_share: Share of prior variance common to the route, 0-1.
        residuals: Residual of each pond, held fixed; without it sizes are estimated.
        log_lags: Linearisation points held fixed; without it they are iterated.
        doubt_outliers: Widen the error of rows that the other rows contradict (never drop one).
    """
    work = [_Work(p, p.prior.log_lag, p.prior.mean, Residual()) for p in ponds]
    for item in work:
        if residuals is not None:
            item.residual = residuals[item.pond.site_id]
        if log_lags is not None:
            item.log_lag = log_lags[item.pond.site_id]
    with_rows = [item for item in work if item.pond.rows]
    fits, route = _fit(work, with_rows, fall, route_share, residuals is None, log_lags is None)
    doubted = [item for item in with_rows if _doubt(item, fits[item.pond.site_id], fall)]
    if doubted and doubt_outliers:
        fits, route = _fit(work, with_rows, fall, route_share, residuals is None, log_lags is None)
    return RouteFit(fall=fall, ponds=fits, route_mean=route[0], route_cov=route[1])


def _fit(
    work: Sequence[_Work],
    with_rows: Sequence[_Work],
    fall: int,
    route_share: float,
    size_residuals: bool,
    move_lags: bool,
) -> tuple[dict[str, PondFit], tuple[np.ndarray, np.ndarray]]:
    for step in range(ROUNDS if with_rows and move_lags else 1):
        for item in with_rows:
            _linearise(item, fall)
        fits, route = _pool(work, fall=fall, route_share=route_share)
        if size_residuals and step < 2:
            for item in with_rows:
                item.residual = _sized_residual(item, fits[item.pond.site_id], fall)
            for item in with_rows:
                _linearise(item, fall)
            fits, route = _pool(work, fall=fall, route_share=route_share)
        if move_lags and step < ROUNDS - 1 and with_rows:
            for item in work:
                _move(item, fits[item.pond.site_id])
    return fits, route


def leave_one_out(
    columns: np.ndarray, water_c: np.ndarray, mean: np.ndarray, cov: np.ndarray, noise: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What each row should have been by the others: miss (row - expectation) and sd [°C], shape (n,).

    Args:
        columns: X, shape (n, p).
        water_c: y [°C], shape (n,).
        mean: Coefficients before these rows, (p,).
        cov: Their covariance, (p, p).
        noise: Covariance of y around X b, (n, n).
    """
    inverse = np.linalg.inv(columns @ cov @ columns.T + noise)
    spread = 1.0 / np.diag(inverse)
    return (inverse @ (water_c - columns @ mean)) * spread, np.sqrt(spread)


def _doubt(item: _Work, fit: PondFit, fall: int) -> bool:
    """Widen the error of rows that the others contradict; True where there was one."""
    widened = []
    for rows, columns in zip(item.pond.rows, row_columns(item), strict=True):
        cov = fit.cov if rows.fall == fall else fit.physics_cov
        mean = fit.mean if rows.fall == fall else fit.physics_mean
        noise = row_covariance(rows, item.residual, fall) / rows.repeats
        widened.append(replace(rows, error_sd_c=_doubted_errors(rows, columns, mean, cov, noise)))
    found = any(
        (new.error_sd_c > old.error_sd_c).any() for new, old in zip(widened, item.pond.rows, strict=True)
    )
    if found:
        item.pond = replace(item.pond, rows=tuple(widened))
    return found


def _doubted_errors(
    rows: Rows, columns: np.ndarray, mean: np.ndarray, cov: np.ndarray, noise: np.ndarray
) -> np.ndarray:
    """Reading errors with the worst row widened first, then looked at again: good neighbours stay good."""
    variance, noise = rows.error_sd_c**2, noise.copy()
    for _ in range(len(variance)):
        miss, sd = leave_one_out(columns, rows.water_c, mean, cov, noise)
        z = np.abs(miss) / sd
        worst = int(np.argmax(z))
        if z[worst] <= DOUBT_Z * (1.0 + 1e-9):
            break
        excess = ((z[worst] / DOUBT_Z) ** 2 - 1.0) * sd[worst] ** 2
        variance[worst] += excess
        noise[worst, worst] += excess
    return np.sqrt(variance)


def row_columns(item: _Work) -> list[np.ndarray]:
    """The eight columns of each of a pond's rows, shapes (n, 8)."""
    last: dict[int, int] = {}
    for rows in item.pond.rows:
        last[rows.fall] = max(last.get(rows.fall, 0), rows.last_day)
    by_fall = {}
    for fall, day in last.items():
        terms, warm_up = season_terms(item.pond.series, fall, day + 1)
        by_fall[fall] = linearised_columns(terms, warm_up, item.log_lag, item.coefficients)
    return [by_fall[rows.fall][rows.day] for rows in item.pond.rows]


def row_covariance(rows: Rows, residual: Residual, fall: int) -> np.ndarray:
    """Covariance of the rows around the regression [°C²], wider the older the fall."""
    covariance = residual.covariance(rows.kernel(residual.rho)) + np.diag(rows.error_sd_c**2)
    return covariance * rows.repeats * 2.0 ** (abs(fall - rows.fall) / HALF_LIFE_YEARS)


def earlier_information(
    falls: Mapping[int, tuple[np.ndarray, np.ndarray]], *, fall: int, residual: Residual
) -> tuple[np.ndarray, np.ndarray]:
    """Information of earlier falls about the coefficients and the level of `fall`: (8, 8) and (8,).

    `falls` holds each fall's information about the coefficients and its own level. The levels are AR(1)
    from fall to fall; all but the present one are integrated out.
    """
    years = np.array(sorted(falls))
    info = np.stack([falls[int(year)][0] for year in years])
    pull = np.stack([falls[int(year)][1] for year in years])
    level = LEVEL_OF_FALL
    follow = residual.level_memory ** np.abs(years - fall)
    between = residual.level_memory ** np.abs(years[:, None] - years[None, :])
    spare = residual.level_sd_c**2 * (between - follow[:, None] * follow[None, :])
    own = info[:, level, level]
    cross = info[:, :level, level].T  # (7, falls)
    base = np.zeros((COLUMNS, COLUMNS))
    base[:level, :level] = info[:, :level, :level].sum(axis=0)
    base[:level, level] = base[level, :level] = cross @ follow
    base[level, level] = float(own @ follow**2)
    sight = np.column_stack([cross.T, own * follow])
    lean = np.append(pull[:, :level].sum(axis=0), pull[:, level] @ follow)
    middle = np.linalg.solve(np.eye(len(years)) + spare * own[None, :], spare)
    return base - sight.T @ middle @ sight, lean - sight.T @ middle @ pull[:, level]


def _linearise(item: _Work, fall: int) -> None:
    parts: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    for rows, columns in zip(item.pond.rows, row_columns(item), strict=True):
        part = information(columns, rows.water_c, row_covariance(rows, item.residual, fall))
        if rows.fall in parts:
            part = (parts[rows.fall][0] + part[0], parts[rows.fall][1] + part[1])
        parts[rows.fall] = part
    item.present = parts.pop(fall, None)
    item.earlier = earlier_information(parts, fall=fall, residual=item.residual) if parts else None


def _pool(
    work: Sequence[_Work], *, fall: int, route_share: float
) -> tuple[dict[str, PondFit], tuple[np.ndarray, np.ndarray]]:
    eye, zero = np.eye(COLUMNS), np.zeros(COLUMNS)
    none = (np.zeros((COLUMNS, COLUMNS)), zero)
    shared, own = route_share * eye, (1.0 - route_share) * eye
    priors = [prior_moments(item.pond.prior, item.log_lag, item.residual.level_sd_c) for item in work]
    roots = [square_root(cov) for _, cov in priors]
    messages = []
    for item, (mean, _), root in zip(work, priors, roots, strict=True):
        if item.earlier is None and item.present is None:
            messages.append(none)
            continue
        info, pull = (a + b for a, b in zip(item.earlier or none, item.present or none, strict=True))
        info, pull = root @ info @ root, root @ (pull - info @ mean)
        shrink = np.linalg.solve(eye + info @ own, np.column_stack([info, pull]))
        messages.append((shrink[:, :-1], shrink[:, -1]))
    total_info = np.sum([info for info, _ in messages], axis=0) if work else none[0]
    total_pull = np.sum([pull for _, pull in messages], axis=0) if work else zero
    route = condition(zero, shared, total_info, total_pull)
    fits = {}
    for item, prior, root, message in zip(work, priors, roots, messages, strict=True):
        silent = item.earlier is None and item.present is None
        others = (
            route if silent else condition(zero, shared, total_info - message[0], total_pull - message[1])
        )
        fits[item.pond.site_id] = _pond_fit(item, fall, prior, root, 1.0 - route_share, others)
    return fits, route


def square_root(cov: np.ndarray) -> np.ndarray:
    """Symmetric square root of a covariance that may be singular; of a diagonal one it is diagonal."""
    values, vectors = np.linalg.eigh(0.5 * (cov + cov.T))
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


def _pond_fit(
    item: _Work,
    fall: int,
    physics: tuple[np.ndarray, np.ndarray],
    root: np.ndarray,
    own_share: float,
    others: tuple[np.ndarray, np.ndarray],
) -> PondFit:
    own = own_share * physics[1]
    given_others = root @ others[1] @ root + own
    mean, cov = physics[0] + root @ others[0], given_others
    own_mean, own_cov, to_route = physics[0], own, root
    if item.earlier is not None:
        info, pull = item.earlier
        mean, cov = condition(mean, cov, info, pull)
        own_mean, own_cov = condition(physics[0], own, info, pull)
        to_route = (np.eye(COLUMNS) - own_cov @ info) @ root
    all_mean, all_cov = condition(mean, cov, *item.present) if item.present else (mean, cov)
    return PondFit(
        pond=item.pond,
        fall=fall,
        log_lag=item.log_lag,
        coefficients=item.coefficients,
        residual=item.residual,
        mean=mean,
        cov=cov,
        own_mean=own_mean,
        own_cov=own_cov,
        to_route=to_route,
        all_mean=all_mean,
        all_cov=all_cov,
        physics_mean=physics[0],
        physics_cov=physics[1],
        others_cov=given_others,
        rows=next((rows for rows in item.pond.rows if rows.fall == fall), None),
        lag_at_limit=item.limit,
    )


def _move(item: _Work, fit: PondFit) -> None:
    """Linearise next at the present best lag and coefficients."""
    low, high = np.log(LAG_RANGE_DAYS)
    target = item.log_lag + float(np.clip(fit.all_mean[LAG], -0.7, 0.7))
    item.log_lag = float(np.clip(target, low, high))
    item.limit = item.log_lag != target
    item.coefficients = fit.all_mean[:LAG]


def _sized_residual(item: _Work, fit: PondFit, fall: int) -> Residual:
    """Residual variance by its marginal likelihood over SCALE_GRID, with a log-normal prior around 1.

    Falls are taken one by one against the pooled fit of all rows, so that no large matrix arises.
    """
    if sum(len(rows.water_c) for rows in item.pond.rows) < SCALE_ROWS:
        return item.residual
    base = replace(item.residual, scale=1.0)
    log_posterior = -0.5 * (np.log(SCALE_GRID) / SCALE_LOG_SD) ** 2
    for rows, columns in zip(item.pond.rows, row_columns(item), strict=True):
        miss = rows.water_c - columns @ fit.all_mean
        kernel = base.covariance(rows.kernel(base.rho))
        weight = 0.5 ** (abs(fall - rows.fall) / HALF_LIFE_YEARS) / rows.repeats
        for position, scale in enumerate(SCALE_GRID):
            factor = np.linalg.cholesky(scale * kernel + base.level_sd_c**2 + np.diag(rows.error_sd_c**2))
            z = np.linalg.solve(factor, miss)
            log_posterior[position] -= weight * (np.log(np.diag(factor)).sum() + 0.5 * z @ z)
    return replace(base, scale=float(SCALE_GRID[int(np.argmax(log_posterior))]))
