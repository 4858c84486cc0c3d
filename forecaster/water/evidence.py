"""From readings to rows of evidence: correction for the day's swing, error, thinning, covariance.

Daily water is strongly correlated from day to day. A dense record (a logger, an archive) is therefore
split into ten interleaved sets of every tenth day, each with a tenth of the weight: all readings count,
but day-to-day wiggles, which the regression explains worst, cannot outvote the season.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecaster.falls import fall_day, fall_of
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.water.physics import WATER_HEAT_J_M3_K

DENSE_ROWS = 25
"""More readings than this in one fall are a dense record."""
THIN_DAYS = 10
"""Interleaving of a dense record; AR(1) with 0.85 leaves a correlation of 0.20 between its rows."""
FRESH_DAYS = 5
"""The last days of a dense record of the present fall all count: they carry today's state."""
FIT_FROM, FIT_TO = 14, 121
"""Days of the fall (15 August to 30 November) whose readings of earlier falls teach the coefficients."""
HALF_LIFE_YEARS = 60.0
"""Age at which a reading of an earlier fall counts half; an assumption, no source."""
THERMOMETER_SD_C = 0.3
"""Error of a hand thermometer and of one spot in the pond; an assumption, no source."""
MORNING_SD_C = 0.4
"""Added to a reading of the as-of morning, used for the day before."""
WARMEST_HOUR = 16.5
"""Local hour of the warmest water; common practice, no source."""
SWING_FLUX_W_M2 = 170.0
"""First harmonic of the surface heat flux over an average fall day [W m-2]; sun 60-140, air and long-wave
the rest; an assumption, no source."""
MIXED_DEPTH_M = 1.0
"""The day's swing reaches no deeper than this."""
SKY_FACTOR = {"clear": 1.4, "cloudy": 0.5}


@dataclass(frozen=True, eq=False)
class Rows:
    """Evidence of one site and one fall; n rows in order of their days.

    `day` holds day indices (n,); `water_c` the corrected values [°C], shape (n,); `error_sd_c` the reading
    errors [°C], shape (n,); `repeats` how many interleaved sets share the evidence of this fall.
    """

    fall: int
    day: np.ndarray
    water_c: np.ndarray
    error_sd_c: np.ndarray
    repeats: int = 1

    @property
    def last_day(self) -> int:
        """Day index of the latest reading."""
        return int(self.day[-1])

    def kernel(self, rho: float) -> np.ndarray:
        """Correlation of the AR(1) residual between rows, shape (n, n)."""
        return rho ** np.abs(self.day[:, None] - self.day[None, :])

    def kernel_to(self, rho: float, days: np.ndarray) -> np.ndarray:
        """Correlation between the residual on `days` (q,) and the rows: shape (q, n)."""
        return rho ** np.abs(days[:, None] - self.day[None, :])


def day_swing_c(site: Site) -> float:
    """Half the range of the day's water temperature at mid-depth [°C]: flux / (rho c D omega).

    A 1 m pond swings by about 0.6 °C either way, a 0.5 m pond by 1.1 °C.
    """
    depth = min(site.mean_depth_m or MIXED_DEPTH_M, MIXED_DEPTH_M)
    return SWING_FLUX_W_M2 / (WATER_HEAT_J_M3_K * depth * 2 * np.pi / 86_400.0)


def daily_mean_of(reading: Reading, site: Site) -> tuple[float, float]:
    """Daily mean water that a reading stands for, and its error: (°C, sd °C).

    With its time the reading is corrected for the day's swing (larger near the surface where the depth is
    given, by sky where given); without time it is taken as it is and its error widened by the swing.
    """
    if reading.daily_mean:
        return reading.water_c, THERMOMETER_SD_C
    swing = day_swing_c(site) * SKY_FACTOR.get(reading.sky, 1.0)
    depth_unsure = 0.3 * swing if reading.depth_m is None else 0.0
    if reading.depth_m is not None:
        swing *= 0.8 + 0.6 * float(np.exp(-reading.depth_m / 0.3))
    if reading.hour is None:
        return reading.water_c, float(np.hypot(THERMOMETER_SD_C, 0.6 * swing + depth_unsure))
    above = swing * float(np.cos(2 * np.pi * (reading.hour - WARMEST_HOUR) / 24.0))
    sky_unsure = 0.0 if reading.sky else 0.3 * swing
    error = np.sqrt(THERMOMETER_SD_C**2 + sky_unsure**2 + depth_unsure**2 + (0.15 * swing) ** 2)
    return reading.water_c - above, float(error)


def rows_of(
    readings: Sequence[Reading], site: Site, *, fall: int, present: bool, day_count: int
) -> tuple[Rows, ...]:
    """Rows of one site's readings in `fall`; empty where there are none to use.

    Args:
        readings: Any readings; those of other sites and falls are passed over.
        site: The pond.
        fall: Year of the fall.
        present: True for the fall that is forecast: all its days count, in one set.
        day_count: Days of the fall with known air; a reading on the morning after (the as-of date) is
            used for the last of them with a wider error, later ones are passed over.
    """
    picked: list[tuple[int, float, float]] = []
    for reading in readings:
        if reading.site_id != site.site_id or fall_of(reading.day) != fall:
            continue
        day = fall_day(reading.day, fall)
        value, error = daily_mean_of(reading, site)
        if day == day_count and day_count > 0:
            day, error = day - 1, float(np.hypot(error, MORNING_SD_C))
        if day >= day_count or (not present and not FIT_FROM <= day <= FIT_TO):
            continue
        picked.append((day, value, error))
    if not picked:
        return ()
    table = np.array(sorted(picked))
    if len(table) <= DENSE_ROWS:
        return (_rows(fall, table),)
    offset = table[:, 0].astype(int) % THIN_DAYS
    if present:
        last = table[-1, 0]
        keep = (offset == int(last) % THIN_DAYS) | (table[:, 0] > last - FRESH_DAYS)
        return (_rows(fall, table[keep]),)
    sets = [table[offset == start] for start in range(THIN_DAYS)]
    return tuple(_rows(fall, part, repeats=THIN_DAYS) for part in sets if len(part))


def _rows(fall: int, table: np.ndarray, repeats: int = 1) -> Rows:
    return Rows(fall, table[:, 0].astype(int), table[:, 1], table[:, 2], repeats)
