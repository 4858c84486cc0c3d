"""Is a record that should be in °C in °F? A file in °F would turn every pond into a hot spring unnoticed.

The daily means of each month, all years together, are held against what the air of this planet does; the
days of the last year also against the record's own past, because °F may begin with the newest rows.
Limits: a record of nothing but a winter below -6 °C cannot be told apart this way.
"""

from __future__ import annotations

import calendar

import numpy as np
from numpy.typing import NDArray

from forecaster.units import c_to_f

HOTTEST_MONTH_C = 43.0
"""No month of any station has a mean above this [°C]; the hottest known, Death Valley in July 2024, had
42.5 °C (from memory). Read as °F, every month warmer than 6 °C lies above it."""

WARMER_BY_MONTH_C = {11: 5.0, 3: 5.0, 10: 9.0, 4: 9.0, 12: 0.0, 1: 0.0, 2: 0.0}
"""How much warmer than midwinter a month of the cool half year may be [°C], northern hemisphere."""

SWITCHED_SPREADS, AGREEING_SPREADS, SWITCHED_DAYS = 6.0, 3.0, 5
"""Newest rows are in °F if 5 days or more lie above their season by more than 6 spreads, and most of these
would lie within 3 if they were °F."""

FEWEST_DAYS = 20
"""Days of a month [days] that make its median worth looking at."""


def fahrenheit_sign(
    days: NDArray[np.datetime64],
    tmean_c: NDArray[np.float64],
    latitude: float,
    *,
    fewest_days: int = FEWEST_DAYS,
    allowance_c: float = 0.0,
) -> str | None:
    """What gives away a record in °F, or None for a record that can be °C.

    Args:
        days: Calendar dates, shape (day,).
        tmean_c: Daily means as if they were °C, shape (day,); NaN is left out.
        latitude: Of the station [degrees]; decides how warm a winter can be.
        fewest_days: Days of a month that make its median worth looking at [days].
        allowance_c: Added to the limits [°C] where few days stand for a month.

    Example:
        >>> july = np.arange("2024-07-01", "2024-08-01", dtype="datetime64[D]")
        >>> fahrenheit_sign(july, np.full(31, 72.0), 43.0)
        'the median of its days in July is 72.0, no air on earth has 72.0 °C (161.6 °F) then'
        >>> fahrenheit_sign(july, np.full(31, 22.2), 43.0)
    """
    month = days.astype("datetime64[M]").astype(np.int64) % 12 + 1
    known = np.isfinite(tmean_c)
    medians = {
        number: float(np.median(values))
        for number in range(1, 13)
        if (values := tmean_c[known & (month == number)]).size >= fewest_days
    }
    for number, median in sorted(medians.items(), key=lambda item: -item[1]):
        if median > warmest_month_c(number, latitude) + allowance_c:
            name = calendar.month_name[number]
            place = "no air on earth has" if median > HOTTEST_MONTH_C else f"latitude {latitude:g} never has"
            return (
                f"the median of its days in {name} is {median:.1f}, "
                f"{place} {median:.1f} °C ({c_to_f(median):.1f} °F) then"
            )
    return None


def switched_to_fahrenheit(
    tmean_c: NDArray[np.float64], median_c: NDArray[np.float64], spread_c: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """True on the days that look like °F in a record of °C; none unless there are 5 or more of them.

    Args:
        tmean_c: Daily means as if they were °C, shape (day,).
        median_c, spread_c: What is usual on these days [°C], same shape; NaN where unknown.
    """
    z = (tmean_c - median_c) / spread_c
    z_if_f = ((tmean_c - 32.0) * 5.0 / 9.0 - median_c) / spread_c
    above = z > SWITCHED_SPREADS
    agreeing = above & (np.abs(z_if_f) <= AGREEING_SPREADS)
    enough = agreeing.sum() >= max(SWITCHED_DAYS, 0.8 * above.sum())
    return agreeing if enough else np.zeros_like(agreeing)


def warmest_month_c(month: int, latitude: float) -> float:
    """A monthly mean [°C] that no station at `latitude` [degrees] exceeds.

    Midwinter: 34 °C at the equator less 0.4 °C a degree; the warmest winters of each latitude stay 2 °C or
    more below (Muscat 21 °C at 24 N, Malta 13 °C at 36 N, Scilly 8 °C at 50 N: from memory).
    """
    northern = month if latitude >= 0 else (month + 5) % 12 + 1
    if northern not in WARMER_BY_MONTH_C:
        return HOTTEST_MONTH_C
    return min(HOTTEST_MONTH_C, 34.0 - 0.4 * abs(latitude) + WARMER_BY_MONTH_C[northern])
