"""Situations made by hand from the invented route: no pipeline behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from invented_route import AS_OF, route_forecast

from forecaster.brief.coming import ComingNights
from forecaster.brief.situation import OutlookNights, Situation
from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.season.message_settings import AlarmSettings, BriefSettings
from forecaster.season.settings import Season, Settings

MOMENT = datetime(2025, 10, 6, 11, 0, tzinfo=UTC)  # 6:00 in Chicago


def settings(*, brief: Mapping[str, Any] | None = None, alarms: Mapping[str, Any] | None = None) -> Settings:
    return Settings(
        season=Season(year=2025, timezone="America/Chicago", name="Invented route"),
        brief=BriefSettings(**(brief or {})),
        alarms=AlarmSettings(**(alarms or {})),
    )


def sites(forecast: RouteForecast, **changes: Mapping[str, Any]) -> RouteForecast:
    """The forecast with sites changed; `L_03` is L-03."""
    by_id = {name.replace("_", "-"): change for name, change in changes.items()}
    changed = tuple(
        replace(site, **by_id[site.site.site_id]) if site.site.site_id in by_id else site
        for site in forecast.sites
    )
    return replace(forecast, sites=changed)


def calm(count: int = 6, *, as_of: date = AS_OF) -> RouteForecast:
    """A route on which nothing is urgent, on another morning if wanted."""
    forecast = route_forecast(count)
    quiet: dict[str, Any] = {
        "p_hard_freeze_before_planned": 0.06,
        "p_hard_freeze_14d": 0.1,
        "p_hard_freeze_first": 0.1,
        "planned_date": AS_OF + timedelta(days=8),
        "recommended_date": AS_OF + timedelta(days=10),
        "state": "waiting",
        "water_now_c": 12.0,
    }
    calmed = tuple(replace(site, **quiet) for site in forecast.sites)
    stations = tuple(replace(s, last_day=as_of - timedelta(days=1)) for s in forecast.stations)
    plan = replace(forecast.plan, not_placed=(), moves=())
    return replace(forecast, sites=calmed, plan=plan, as_of=as_of, stations=stations)


def situation(
    forecast: RouteForecast | None = None,
    *,
    coming: Mapping[str, ComingNights] | None = None,
    outlook: OutlookNights | None = None,
    hours: float = 0.0,
    troubles: tuple[str, ...] = (),
    chosen: Settings | None = None,
) -> Situation:
    """A situation `hours` after six in the morning of the forecast's day."""
    forecast = forecast or calm()
    moment = MOMENT + timedelta(days=(forecast.as_of - AS_OF).days, hours=hours)
    return Situation(forecast, chosen or settings(), moment, coming or {}, outlook, troubles)


def nights(
    p: float = 0.0, *, below: float = 0.0, snap: float = 0.0, day: date = AS_OF + timedelta(days=2)
) -> ComingNights:
    return ComingNights(
        p_hard_freeze=p,
        hard_freeze_day=day if p else None,
        low_p10_c=-6.0,
        low_p50_c=-3.0,
        low_p90_c=1.0,
        p_below=below,
        p_snap=snap,
        snap_day=day if snap else None,
    )


def site_of(forecast: RouteForecast, site_id: str) -> SiteForecast:
    return next(site for site in forecast.sites if site.site.site_id == site_id)
