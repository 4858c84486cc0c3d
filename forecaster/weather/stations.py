"""A weather station, its daily record, and everything a forecast is given of the weather."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from forecaster.errors import Notice


@dataclass(frozen=True)
class Station:
    """A weather station; elevation [m]."""

    station_id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float


@dataclass(frozen=True, eq=False)
class Outlook:
    """A forecast of one station's coming days, with the day on which it was issued.

    `tmin_c`, `tmax_c` [°C], shape (day,), NaN where not given; `days` are local calendar dates. `tmean_c`
    [°C], likewise, or None where the source has none. `issued_at`: the instant of issue (UTC), None where
    only the day is known.
    """

    station_id: str
    issued: date
    days: tuple[date, ...]
    tmin_c: np.ndarray
    tmax_c: np.ndarray
    source: str = "files"
    tmean_c: np.ndarray | None = field(default=None, repr=False)
    issued_at: datetime | None = field(default=None, repr=False)
    spread_min_c: np.ndarray | None = field(default=None, repr=False)
    spread_mean_c: np.ndarray | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class Weather:
    """All stations of a season folder on one daily axis, as known on the as-of date.

    `tmin_c`, `tmax_c`, `tmean_c` [°C], shape (station, day), first day `first_day`, last day the day
    before the as-of date at most; NaN where nothing was observed nor could be filled. `filled` is True
    where `tmin_c` or `tmean_c` was filled from neighbours or by interpolation. `last_observed` is the
    last day a station itself reported, before filling. `fill_error_c` and `fill_error_min_c` are the typical
    errors [°C] of the daily means and minima filled from neighbours, one a station, NaN where none were.
    `credits`: whom the data ask to name, in sentences.
    """

    stations: tuple[Station, ...]
    first_day: date
    tmin_c: np.ndarray
    tmax_c: np.ndarray
    tmean_c: np.ndarray
    filled: np.ndarray
    last_observed: tuple[date, ...]
    outlooks: tuple[Outlook, ...] = ()
    notices: tuple[Notice, ...] = ()
    fill_error_c: tuple[float, ...] = ()
    fill_error_min_c: tuple[float, ...] = ()
    credits: tuple[str, ...] = ()

    @property
    def has_tmin(self) -> tuple[bool, ...]:
        """One a station: True where it has any minimum; where none has, freeze risk is refused."""
        return tuple(bool(has) for has in np.isfinite(self.tmin_c).any(axis=1))

    @property
    def day_count(self) -> int:
        """Days on the axis."""
        return int(self.tmean_c.shape[1])

    @property
    def last_day(self) -> date:
        """Last day on the axis."""
        return self.first_day + timedelta(days=self.day_count - 1)

    def index_of(self, day: date) -> int:
        """Position of `day` on the axis (may lie outside it)."""
        return (day - self.first_day).days
