"""After a cold snap as JSON for other programs: no clock, no path, the same bytes each run.

Temperatures [°C] and money [$] with 2 decimals, ice [cm] and hours [h] with 2, probabilities (0-1) with 4,
ISO dates; `null` is "not known". Keys are only ever added.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime, time
from typing import Any

from forecaster.snap.records import CrewVisits, DayPlan, GasSite, Ice, SiteState, SnapReport, SnapSite


def snap_json(report: SnapReport) -> str:
    """The whole report as a JSON text, ending in a newline."""
    record = {
        "as_of": report.as_of,
        "season": report.season_name,
        "since": report.since,
        "outlook": report.outlook_text,
        "soon_days": report.soon_days,
        "snap": None
        if report.first_day is None
        else {"first_day": report.first_day, "last_day": report.last_day},
        "stations": [
            {"station_id": station_id, "name": name, "last_day": last}
            for station_id, name, last in report.stations
        ],
        "station_nights": [asdict(night) for night in report.station_nights],
        "spread": {
            "place_sd_c": report.place_sd_c,
            "night_sd_c": report.night_sd_c,
            "stations_left_out": report.spread_places,
        },
        "action": report.plan.action,
        "sites": [_site(site, report.plan.action) for site in report.sites],
        "plans": [_plan(plan) for plan in report.plans],
        "gas_exchange": [_gas(site) for site in report.gas],
        "compared": [asdict(row) for row in report.compared],
        "learned": [asdict(one) for one in report.learned],
        "warnings": [{"where": notice.where, "text": notice.text} for notice in report.warnings],
    }
    return json.dumps(_plain(record), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any, name: str = "") -> Any:
    """Dates as ISO, chances with 4 decimals, other numbers with 2."""
    if isinstance(value, Mapping):
        return {key: _plain(item, key) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, name) for item in value]
    if isinstance(value, time):
        return value.strftime("%H:%M")
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, float):
        chance = name.startswith("p_") or name == "running_share"
        return round(value, 4 if chance else 2) + 0.0
    return value


def _site(site: SnapSite, action: str) -> dict[str, Any]:
    state = site.state
    return {
        "site_id": site.site.site_id,
        "order": site.order,
        "saves": site.saves(action),
        "saves_per_hour": site.per_hour(action),
        "close": dict(site.close),
        "quick": dict(site.quick),
        "close_hours": site.close_hours,
        "quick_hours": site.quick_hours,
        "closing_left_hours": site.left_hours,
        **_state(state),
        "said": [asdict(one) for one in site.said],
        "planned_date": site.planned_date,
        "protected_on": site.protected_on,
        "checked_on": site.checked_on,
        "notes": list(site.notes),
    }


def _state(state: SiteState) -> dict[str, Any]:
    chances = {
        name: getattr(state, name)
        for name in (
            "p_snap", "p_hard_so_far", "p_plumbing_so_far", "p_hard_next", "p_plumbing_next", "p_hard_new",
            "p_plumbing_new", "p_ice_new", "p_covered", "p_covered_next",
        )
    }  # fmt: skip
    return {
        "station_id": state.station_id,
        "plumbing_exposure": state.site.plumbing_exposure,
        "running": state.running,
        **chances,
        "ice": _ice(state.ice),
        "ice_next": _ice(state.ice_next),
        "warm_days": state.warm_days,
        "nights": [asdict(night) for night in state.nights],
    }


def _ice(ice: Ice | None) -> dict[str, float] | None:
    return None if ice is None else asdict(ice)


def _plan(plan: DayPlan) -> dict[str, Any]:
    return {
        "action": plan.action,
        "done": list(plan.done),
        "left": list(plan.left),
        "barred": list(plan.barred),
        "saves": plan.saves,
        "closing_left_hours": plan.left_hours,
        "crews": [_crew(visits) for visits in plan.crews],
    }


def _crew(visits: CrewVisits) -> dict[str, Any]:
    return {
        "crew": visits.crew,
        "dark": visits.dark.time(),
        "usual_end": visits.usual_end.time(),
        "in_calendar": not visits.extra,
        "site_hours": visits.site_hours,
        "drive_hours": visits.drive_hours,
        "stops": [asdict(stop) for stop in visits.stops],
    }


def _gas(site: GasSite) -> dict[str, Any]:
    return {
        "site_id": site.site.site_id,
        "closed": site.closed_on,
        "ice": _ice(site.ice),
        "p_covered": site.p_covered,
        "p_covered_next": site.p_covered_next,
        "devices": list(site.devices),
        "trouble": list(site.trouble),
        "too_cold_for_air": site.too_cold_for_air,
    }
