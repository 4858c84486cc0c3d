"""The air over the sites in one fall, from stations' weather; and the weather as known on a given morning."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.inputs import BacktestInput
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.weather.prepare import prepare_weather
from forecaster.weather.site_air import AirMatrices, SiteAir, air_matrices, site_air
from forecaster.weather.stations import Weather

Floats = NDArray[np.float64]

WARM_UP_DAYS = 90
"""Days before 1 August from which the water is run: its state on 1 August then owes nothing to the start."""


@dataclass(frozen=True, eq=False)
class SiteBlends:
    """How the sites' air follows from the stations'; sites with equal minima share a row of `minimum`.

    `drivers`: distinct rows of (weights, shift) for minima, and `driver_of` (site,) which one a site has.
    """

    airs: tuple[SiteAir, ...]
    matrices: AirMatrices
    mean_rows: AirMatrices
    mean_of: NDArray[np.int64]
    min_rows: AirMatrices
    min_of: NDArray[np.int64]

    @property
    def has_minima(self) -> NDArray[np.bool_]:
        """One a site: False where freeze risk is refused."""
        return np.asarray(self.matrices.minimum.sum(axis=1) > 0.0)


def site_blends(given: BacktestInput, weather: Weather) -> SiteBlends:
    """Weights of the stations for every site.

    Raises:
        BadInput: A site is too far from every station.
    """
    airs = site_air(
        given.sites,
        weather.stations,
        stations_per_site=given.settings.weather.stations_per_site,
        has_tmin=list(weather.has_tmin),
    )
    matrices = air_matrices(airs, len(weather.stations))
    mean_pick, mean_of = _distinct(matrices.mean, matrices.mean_shift_c)
    min_pick, min_of = _distinct(matrices.minimum, matrices.min_shift_c)
    return SiteBlends(
        airs, matrices, matrices.of_rows(mean_pick), mean_of, matrices.of_rows(min_pick), min_of
    )


def _distinct(weights: Floats, shift: Floats) -> tuple[list[int], NDArray[np.int64]]:
    table = np.round(np.column_stack([weights, shift]), 12)
    _, first, inverse = np.unique(table, axis=0, return_index=True, return_inverse=True)
    return [int(i) for i in first], np.asarray(inverse).ravel()


def known_weather(given: BacktestInput, as_of: date) -> Weather:
    """The stations' weather as known on the morning of `as_of`.

    Raises:
        BadInput: What was known then cannot be used (see `prepare_weather`).
    """
    return prepare_weather(given.records, as_of=as_of)


def fall_means(weather: Weather, blends: SiteBlends, fall: int) -> Floats:
    """Daily means by distinct site air from WARM_UP_DAYS before 1 August, shape (row, 90 + 184); NaN gaps."""
    return _rows(weather, weather.tmean_c, fall, blends.mean_rows.mean, blends.mean_rows.mean_shift_c)


def fall_minima(weather: Weather, blends: SiteBlends, fall: int) -> Floats:
    """Daily minima by distinct site minima over the fall, shape (row, 184); NaN where unknown."""
    rows = _rows(weather, weather.tmin_c, fall, blends.min_rows.minimum, blends.min_rows.min_shift_c)
    return rows[:, WARM_UP_DAYS:]


def _rows(weather: Weather, values_c: Floats, fall: int, weights: Floats, shift_c: Floats) -> Floats:
    at = weather.index_of(fall_start(fall)) - WARM_UP_DAYS + np.arange(WARM_UP_DAYS + FALL_DAYS)
    inside = (at >= 0) & (at < weather.day_count)
    station = np.full((values_c.shape[0], at.size), np.nan)
    station[:, inside] = values_c[:, at[inside]]
    blended = np.empty((len(weights), at.size))
    for row, weight in enumerate(weights):
        used = weight > 0.0
        blended[row] = weight[used] @ station[used] + shift_c[row] if used.any() else np.nan
    return blended
