"""Everything that a rule about matters may look at, put together once a round. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.brief.coming import ComingNights, coming_nights
from forecaster.forecast import RouteForecast
from forecaster.known import Known
from forecaster.season.settings import Settings
from forecaster.visit.kit import kit_of
from forecaster.visit.winter_watch import WinterWatch, winter_watch
from forecaster.weather.stations import Outlook


@dataclass(frozen=True, eq=False)
class OutlookNights:
    """The latest outlook: when it was issued (UTC) and each station's coming minima [°C] by day."""

    issued_at: datetime
    low_c: Mapping[str, Mapping[date, float]]


@dataclass(frozen=True, eq=False)
class Situation:
    """The season as it stands at `moment` (with its zone), for the as-of date of `forecast`.

    `coming`: by site id, open sites only. `outlook`: None where there is none. `troubles`: what went wrong
    in telling people, one sentence each. `winter`: the watch over closed ponds, None where there are none.
    """

    forecast: RouteForecast
    settings: Settings
    moment: datetime
    coming: Mapping[str, ComingNights] = field(default_factory=dict)
    outlook: OutlookNights | None = None
    troubles: tuple[str, ...] = ()
    winter: WinterWatch | None = None

    @property
    def weather_hours(self) -> float | None:
        """Age of the newest observed day of any station [h]: since its end. None without a station."""
        last = max((station.last_day for station in self.forecast.stations), default=None)
        return None if last is None else self._hours_since(last + timedelta(days=1))

    @property
    def outlook_hours(self) -> float | None:
        """Age of the latest outlook [h], None where there is none or none is wanted."""
        if self.outlook is None:
            return None
        return (self.moment - self.outlook.issued_at).total_seconds() / 3600

    def _hours_since(self, day: date) -> float:
        begin = datetime.combine(day, time(), ZoneInfo(self.settings.season.timezone))
        return (self.moment - begin).total_seconds() / 3600


def situation_of(
    known: Known, forecast: RouteForecast, *, moment: datetime, troubles: Sequence[str] = ()
) -> Situation:
    """The situation of a forecast and what it was made from."""
    return Situation(
        forecast=forecast,
        settings=known.settings,
        moment=moment,
        coming=coming_nights(known, [site.site.site_id for site in forecast.sites]),
        outlook=_outlook_nights(known),
        troubles=tuple(troubles),
        winter=watch_of(known),
    )


def watch_of(known: Known) -> WinterWatch | None:
    """The watch over the closed ponds and those that run all winter; None where there are none."""
    if not any(site.site_id in known.closed or site.winter == "runs" for site in known.sites):
        return None
    kits = {site.site_id: kit_of(site)[0] for site in known.sites}
    return winter_watch(known, kits, dict.fromkeys(known.closed))


def _outlook_nights(known: Known) -> OutlookNights | None:
    """Each station's latest outlook, from the as-of date on."""
    if known.settings.weather.outlook == "none":
        return None
    zone = ZoneInfo(known.settings.season.timezone)
    stations = {station.station_id for station in known.weather.stations}
    latest: dict[str, Outlook] = {}
    for outlook in known.weather.outlooks:
        if outlook.station_id in stations and outlook.issued <= known.as_of:
            before = latest.get(outlook.station_id)
            if before is None or _issued(before, zone) <= _issued(outlook, zone):
                latest[outlook.station_id] = outlook
    if not latest:
        return None
    return OutlookNights(
        issued_at=max(_issued(outlook, zone) for outlook in latest.values()),
        low_c={
            station_id: {
                day: round(float(low), 2)
                for day, low in zip(outlook.days, outlook.tmin_c, strict=True)
                if day >= known.as_of and np.isfinite(low)
            }
            for station_id, outlook in sorted(latest.items())
        },
    )


def _issued(outlook: Outlook, zone: ZoneInfo) -> datetime:
    """The instant of issue; where only the day is known, its beginning."""
    if outlook.issued_at is not None:
        return outlook.issued_at.astimezone(UTC)
    return datetime.combine(outlook.issued, time(), zone).astimezone(UTC)
