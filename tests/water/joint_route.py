"""A whole route as one Gaussian written out in full: the long way round to the pooled fit."""

from __future__ import annotations

import numpy as np
from invented_ponds import FALL, Floats, ar1_covariance, columns_of, given, invented_pond, invented_rows
from scipy.linalg import sqrtm

from forecaster.water.evidence import HALF_LIFE_YEARS, Rows
from forecaster.water.lagged import COLUMNS, LEVEL_OF_FALL
from forecaster.water.pooling import ROUTE_SHARE, Pond, Residual, prior_moments

RESIDUAL = Residual()
LEVEL_SD, MEMORY = RESIDUAL.level_sd_c, RESIDUAL.level_memory

PRESENT_A = invented_rows([30, 45, 60], [22.0, 18.0, 13.0], [0.4, 0.7, 0.5])
EARLIER_A = invented_rows([40, 55, 80], [20.0, 16.0, 9.0], fall=2023)
PRESENT_B = invented_rows([50], [17.5], [0.3])
EARLIER_C = invented_rows([35, 70], [23.0, 14.0], fall=2024)
ROUTE = (
    invented_pond("A", EARLIER_A, PRESENT_A, depth_m=0.6),
    invented_pond("B", PRESENT_B, depth_m=1.0),
    invented_pond("C", EARLIER_C, depth_m=1.6, exposure="open"),
    invented_pond("D", depth_m=0.3, exposure="sheltered"),
)


def kernel_of(rows: Rows, fall: int = FALL) -> Floats:
    """Covariance of rows around the regression: AR(1), reading errors, age."""
    older = 2.0 ** ((fall - rows.fall) / HALF_LIFE_YEARS)
    return older * (ar1_covariance(rows.day, RESIDUAL.rho, RESIDUAL.sd_c) + np.diag(rows.error_sd_c**2))


class Joint:
    """All unknowns of a route in one vector: route shift, each pond's own shift, levels of earlier falls.

    Shifts are in units of each pond's prior spread: coefficients = prior mean + root (route + own).
    An earlier fall's level is `memory ** years` times the present one plus a part of its own.
    """

    def __init__(self, ponds: tuple[Pond, ...], without: tuple[Rows, ...] = ()) -> None:
        self.ponds = ponds
        falls = [(n, r) for n, pond in enumerate(ponds) for r in pond.rows if r.fall != FALL]
        size = COLUMNS * (1 + len(ponds)) + len(falls)
        cov = np.zeros((size, size))
        moments = [prior_moments(p.prior, p.prior.log_lag, LEVEL_SD) for p in ponds]
        for block in range(1 + len(ponds)):
            share = ROUTE_SHARE if block == 0 else 1 - ROUTE_SHARE
            at = slice(COLUMNS * block, COLUMNS * block + COLUMNS)
            cov[at, at] = share * np.eye(COLUMNS)
        self.prior_means = [mean for mean, _ in moments]
        self.roots = [np.real(sqrtm(spread)) for _, spread in moments]
        seen, value, noise = [], [], []
        extra = COLUMNS * (1 + len(ponds))
        for n, pond in enumerate(ponds):
            for rows in pond.rows:
                sight = np.zeros((len(rows.day), size))
                columns = columns_of(pond, rows)
                follow = MEMORY ** (FALL - rows.fall)
                if rows.fall != FALL:
                    cov[extra, extra] = LEVEL_SD**2 * (1 - follow**2)
                    sight[:, extra] = 1.0
                    extra += 1
                columns = np.column_stack([columns[:, :LEVEL_OF_FALL], follow * np.ones(len(rows.day))])
                shifted = columns @ self.roots[n]
                sight[:, :COLUMNS] = sight[:, COLUMNS * (n + 1) : COLUMNS * (n + 2)] = shifted
                if not any(rows is left for left in without):
                    seen.append(sight)
                    value.append(rows.water_c - columns @ self.prior_means[n])
                    noise.append(kernel_of(rows))
        spread = np.zeros((sum(map(len, seen)),) * 2)
        start = 0
        for part in noise:
            spread[start : start + len(part), start : start + len(part)] = part
            start += len(part)
        self.mean, self.cov = given(np.zeros(size), cov, np.concatenate(seen), np.concatenate(value), spread)

    def coefficients(self, pond: int) -> tuple[Floats, Floats]:
        """Mean and covariance of a pond's coefficients."""
        pick = self._pick(pond)
        return self.prior_means[pond] + pick @ self.mean, pick @ self.cov @ pick.T

    def between(self, first: int, second: int) -> Floats:
        """Covariance of two ponds' coefficients."""
        return self._pick(first) @ self.cov @ self._pick(second).T

    def _pick(self, pond: int) -> Floats:
        pick = np.zeros((COLUMNS, len(self.mean)))
        pick[:, :COLUMNS] = self.roots[pond]
        pick[:, COLUMNS * (pond + 1) : COLUMNS * (pond + 2)] = self.roots[pond]
        return pick
