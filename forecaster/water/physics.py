"""What physics says of a pond before anybody has measured it: lag time, equilibrium temperature, spreads.

A well-mixed pond relaxes towards its equilibrium temperature with a lag of rho c D / K. Both numbers of a
garden pond are known only roughly, so each constant stands here with its spread and its source. Limits:
daily means of open water; no groundwater, no heater, no ice (see `ice.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from forecaster.season.sites import Exposure, Site
from forecaster.units import c_to_f, f_to_c

WATER_HEAT_J_M3_K = 4.194e6
"""Density times heat capacity of water at 10 °C [J m-3 K-1] (IAPWS-95: 999.70 kg/m3 x 4195.2 J/kg/K)."""
SECONDS_PER_DAY = 86_400.0
SUMMER_SOLSTICE = 172.0
"""Day of the year with the highest sun (21 June)."""
BTU_FT2_DAY_PER_W_M2 = 7.60796
W_M2_K_PER_BTU_FT2_DAY_F = 0.236594

EXCHANGE_RANGE_W_M2_K: dict[Exposure, tuple[float, float]] = {
    "sheltered": (12.0, 20.0),
    "average": (15.0, 30.0),
    "open": (20.0, 40.0),
}
"""Bulk surface exchange coefficient [W m-2 K-1] in fall. The wind function of Sweers 1976 in the form of
McJannet 2008 gives 16.6-18.8 at 0.5 m/s and 26.6-30.5 at 3 m/s over 100 m2 at 5-10 °C; Edinger et al. 1968
give 13-17 at 0-3 m/s. Which wind belongs to which word of exposure is an assumption, no source."""
WATERFALL_FACTOR = 1.2
"""A running waterfall adds surface and moves the water; an assumption, no source."""
DEPTH_LOG_SD = 0.2
"""Spread of a contractor's mean depth, as a logarithm; an assumption, no source."""

REFERENCE_AIR_C = 10.0
REFERENCE_SUN_W_M2 = 150.0
"""Where the equilibrium line is pinned: a mid-October day at 45 degrees north."""
CLEAR_SKY_SHARE = 0.75
"""Share of extraterrestrial sun that reaches the ground under a clear sky at sea level (FAO-56, eq. 37)."""
CLOUD_SHARE = 0.60
"""Mean sun as a share of clear-sky sun in fall; about 0.5-0.7 in the middle latitudes [from memory]."""
WATER_ABSORBS = 0.94
"""1 - albedo of water for global radiation; 0.06 is the usual value [from memory]."""
OPEN_SKY_SHARE: dict[Exposure, float] = {"sheltered": 0.75, "average": 0.9, "open": 1.0}
"""Share of the sun that trees and houses leave; an assumption, no source."""

LEVEL_C, LEVEL_SD_C = 9.8, 1.0
"""Equilibrium temperature at 10 °C air and 150 W/m2 clear-sky sun. Edinger et al. 1968 with a dew point
4-5 °C below the air and 85 W/m2 absorbed: 9.4-10.5 at 1-3 m/s wind."""
AIR_SLOPE, AIR_SLOPE_SD = 0.84, 0.08
"""Degrees of equilibrium temperature per degree of air at equal sun: between 0.92 (Edinger et al. 1968, dew
point always 4 °C below the air) and 0.75 (Stefan & Preud'homme 1993, daily, streams [from memory])."""
SUN_LOG_SD = 0.4
"""Spread of the sun's effect (cloud, shade, exchange coefficient) as a share of it."""
PHASE_SD_C = 0.5
SLOPE_SEASON_SD = 0.06
"""What the sun's curve misses: humidity, wind and long-wave sky have seasons of their own."""

COEFFICIENTS = ("level", "air", "sun", "phase", "air_summer", "air_fall")
"""Columns of the regression, in order; each is lagged like the air."""


@dataclass(frozen=True, eq=False)
class Prior:
    """What is believed of one pond before any reading.

    `mean` and `cov` of the coefficients (see COEFFICIENTS), °C per unit of each column; the natural
    logarithm of the lag time [days] is normal with `log_lag` and `log_lag_sd`.
    """

    mean: np.ndarray
    cov: np.ndarray
    log_lag: float
    log_lag_sd: float

    @property
    def lag_days(self) -> float:
        """Median lag time [days]."""
        return float(np.exp(self.log_lag))


def lag_days(depth_m: float | np.ndarray, exchange_w_m2_k: float | np.ndarray) -> float | np.ndarray:
    """E-folding time of the approach to equilibrium [days] of `depth_m` [m] of mixed water.

    >>> round(float(lag_days(1.0, 20.0)), 3)
    2.427
    """
    return WATER_HEAT_J_M3_K * depth_m / exchange_w_m2_k / SECONDS_PER_DAY


def relaxation_step(lag: float | np.ndarray) -> float | np.ndarray:
    """Share of the distance to equilibrium gone in one day; `lag` [days], above 0.

    >>> round(float(relaxation_step(2.0)), 6)
    0.393469
    """
    return -np.expm1(-1.0 / np.asarray(lag))


def extraterrestrial_sun(latitude: float, day_of_year: np.ndarray) -> np.ndarray:
    """Daily mean sun above the atmosphere [W m-2], FAO-56 equations 21-25.

    FAO-56 puts the sun 1° too far south in fall; the result is up to 3 % low on 1 November.
    """
    phi = np.radians(latitude)
    turn = 2.0 * np.pi * np.asarray(day_of_year, dtype=float) / 365.0
    declination = 0.409 * np.sin(turn - 1.39)
    distance = 1.0 + 0.033 * np.cos(turn)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1.0, 1.0))
    mj_per_day = (
        (24.0 * 60.0 / np.pi)
        * 0.0820
        * distance
        * (sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset))
    )
    return mj_per_day / 0.0864


def clear_sky_sun(latitude: float, day_of_year: np.ndarray) -> np.ndarray:
    """Daily mean clear-sky sun at the ground [W m-2]; see `extraterrestrial_sun`."""
    return CLEAR_SKY_SHARE * extraterrestrial_sun(latitude, day_of_year)


def edinger_equilibrium(air_c: float, dew_c: float, wind_m_s: float, sun_w_m2: float) -> tuple[float, float]:
    """Equilibrium temperature [°C] and exchange coefficient [W m-2 K-1] of open water.

    Edinger, Duttweiler & Geyer 1968 (Water Resources Research 4:1137), British-unit form, iterated to
    1e-9 °F. Used to place the prior and to check it, not in the forecast itself.

    Args:
        air_c: Air temperature [°C].
        dew_c: Dew point [°C].
        wind_m_s: Wind speed [m/s].
        sun_w_m2: Absorbed sun [W m-2].
    """
    air_f, dew_f = c_to_f(air_c), c_to_f(dew_c)
    wind_btu = (9.2 + 0.46 * wind_m_s**2) * BTU_FT2_DAY_PER_W_M2
    gain_btu = sun_w_m2 * BTU_FT2_DAY_PER_W_M2 + 3.1872e-8 * (air_f + 459.67) ** 4 - 1801.0
    equilibrium_f, exchange_btu = dew_f, 0.0
    for _ in range(500):
        mean_f = 0.5 * (equilibrium_f + dew_f)
        beta = 0.255 - 0.0085 * mean_f + 0.000204 * mean_f**2
        exchange_btu = 15.7 + (0.26 + beta) * wind_btu
        pull_f = (beta * dew_f + 0.26 * air_f) / (0.26 + beta)
        update_f = (gain_btu + (exchange_btu - 15.7) * pull_f) / exchange_btu
        done = abs(update_f - equilibrium_f) < 1e-9
        equilibrium_f = update_f
        if done:
            break
    return f_to_c(equilibrium_f), exchange_btu * W_M2_K_PER_BTU_FT2_DAY_F


def exchange_prior(site: Site) -> tuple[float, float]:
    """Median exchange coefficient of a pond [W m-2 K-1] and its spread as a logarithm.

    The range of its exposure is read as the middle 80 %; running water raises both ends.
    """
    low, high = EXCHANGE_RANGE_W_M2_K[site.exposure]
    factor = WATERFALL_FACTOR if site.waterfall else 1.0
    return factor * math.sqrt(low * high), math.log(high / low) / (2 * 1.2816)


def pond_prior(site: Site) -> Prior:
    """What is believed of `site` before any reading; the site must have a depth [m].

    Raises:
        ValueError: The site has no depth.
    """
    if site.mean_depth_m is None:
        raise ValueError(f"site {site.site_id} has no depth: no lag time")
    exchange, exchange_log_sd = exchange_prior(site)
    sun_effect = 100.0 * WATER_ABSORBS * CLOUD_SHARE * OPEN_SKY_SHARE[site.exposure] / exchange
    sd = np.array(
        [LEVEL_SD_C, AIR_SLOPE_SD, SUN_LOG_SD * sun_effect, PHASE_SD_C, SLOPE_SEASON_SD, SLOPE_SEASON_SD]
    )
    return Prior(
        mean=np.array([LEVEL_C, AIR_SLOPE, sun_effect, 0.0, 0.0, 0.0]),
        cov=np.diag(sd**2),
        log_lag=math.log(float(lag_days(site.mean_depth_m, exchange))),
        log_lag_sd=math.hypot(exchange_log_sd, DEPTH_LOG_SD),
    )


def equilibrium_terms(air_c: np.ndarray, sun_w_m2: np.ndarray, day_of_year: np.ndarray) -> np.ndarray:
    """Columns whose weighted sum is the equilibrium temperature: shape (6, day), see COEFFICIENTS.

    Args:
        air_c: Daily mean air [°C], shape (day,); NaN stays NaN.
        sun_w_m2: Daily mean clear-sky sun [W m-2], shape (day,).
        day_of_year: 1-366, shape (day,).
    """
    turn = 2.0 * np.pi * (np.asarray(day_of_year, dtype=float) - SUMMER_SOLSTICE) / 365.25
    air = air_c - REFERENCE_AIR_C
    sun = (sun_w_m2 - REFERENCE_SUN_W_M2) / 100.0
    return np.stack([np.ones_like(air), air, sun, np.sin(turn), air * np.cos(turn), air * np.sin(turn)])
