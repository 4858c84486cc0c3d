"""Each site's water and air day by day, made with the forecast so that no page has to compute it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.falls import fall_start
from forecaster.known import Known, air_so_far
from forecaster.weather.site_air import SiteAir
from forecaster.weather.stations import Outlook

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class OutlookDays:
    """The coming days at a site from its stations' latest outlooks [°C]; NaN where one is not given."""

    issued: date
    days: tuple[date, ...]
    min_c: Floats
    max_c: Floats


@dataclass(frozen=True, eq=False)
class SiteDays:
    """One site from `first_day` (1 August) to the day before the as-of date, shape (day,).

    `air_c`: daily mean air [°C]. `water_c`, `water_p10_c`, `water_p90_c`: daily mean water and its middle
    80 % [°C], None where there is no water forecast. `shares`: what the water rests on (own readings, the
    route's, physics; 0-1); `lag_days`: how far the pond trails the air [days], None without water.
    """

    first_day: date
    air_c: Floats
    water_c: Floats | None = None
    water_p10_c: Floats | None = None
    water_p90_c: Floats | None = None
    shares: dict[str, float] | None = None
    lag_days: float | None = None
    outlook: OutlookDays | None = None


def site_days(known: Known) -> dict[str, SiteDays]:
    """Site id -> its days, for every site of the sheet."""
    from forecaster.waters import route_water

    air = air_so_far(known, known.sites)
    waters = {pond.site.site_id: pond for pond in route_water(known).ponds}
    count, first = max(known.as_of_day, 1), fall_start(known.fall)
    latest = latest_outlooks(known)
    found = {}
    for row, site in enumerate(known.sites):
        outlook = outlook_at(air.airs[row], latest)
        pond = waters.get(site.site_id)
        if pond is None:
            found[site.site_id] = SiteDays(first, air.past_mean_c[row, :count], outlook=outlook)
            continue
        path = pond.path
        found[site.site_id] = SiteDays(
            first_day=first,
            air_c=pond.air_c,
            water_c=path.water_c,
            water_p10_c=path.p10_c,
            water_p90_c=path.p90_c,
            shares=pond.shares,
            lag_days=pond.fit.lag_days,
            outlook=outlook,
        )
    return found


def latest_outlooks(known: Known) -> list[Outlook | None]:
    """The latest outlook of each station, None where there is none or outlooks are off."""
    wanted = known.settings.weather.outlook != "none"
    latest: dict[str, Outlook] = {}
    for outlook in sorted(known.weather.outlooks, key=lambda one: one.issued):
        if outlook.issued <= known.as_of and max(outlook.days, default=outlook.issued) >= known.as_of:
            latest[outlook.station_id] = outlook
    return [latest.get(station.station_id) if wanted else None for station in known.weather.stations]


def outlook_at(air: SiteAir, latest: list[Outlook | None]) -> OutlookDays | None:
    """The stations' outlooks at one site, blended as its air is; a station without one is left out."""
    used = [at for at in air.station_index if latest[at] is not None]
    weights = dict(zip(air.station_index, zip(air.mean_weights, air.min_weights, strict=True), strict=True))
    outlooks = {at: outlook for at in used if (outlook := latest[at]) is not None}
    if not outlooks:
        return None
    issued = max(outlook.issued for outlook in outlooks.values())
    days = sorted({day for outlook in outlooks.values() for day in outlook.days if day >= issued})
    lows, highs = [], []
    for day in days:
        lows.append(_blend([(weights[at][1], _on(o, o.tmin_c, day)) for at, o in outlooks.items()]))
        highs.append(_blend([(weights[at][0], _on(o, o.tmax_c, day)) for at, o in outlooks.items()]))
    low_c, high_c = np.array(lows) + air.min_shift_c, np.array(highs) + air.mean_shift_c
    return OutlookDays(issued, tuple(days), low_c, high_c)


def _on(outlook: Outlook, values_c: np.ndarray, day: date) -> float:
    return float(values_c[outlook.days.index(day)]) if day in outlook.days else float("nan")


def _blend(weighted: list[tuple[float, float]]) -> float:
    """Weighted mean of what is given, NaN where nothing is."""
    given = [(weight, value) for weight, value in weighted if weight > 0 and np.isfinite(value)]
    total = sum(weight for weight, _ in given)
    return sum(weight * value for weight, value in given) / total if total > 0 else float("nan")
