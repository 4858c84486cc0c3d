"""The forecast as JSON for other programs: the keys of DEVELOPERS.md, no clock, no path, same bytes each run.

Temperatures [°C] and money [$] with 2 decimals, probabilities (0-1) with 4, ISO dates; `null` is "not
reached", "not placed" or "refused". Keys are only ever added.
"""

from __future__ import annotations

import json
import math
from datetime import date, time
from typing import Any

from forecaster.forecast import Plan, RouteForecast, SiteForecast


def route_json(forecast: RouteForecast) -> str:
    """The whole forecast as a JSON text, ending in a newline.

    Raises:
        ValueError: A number is NaN: a missing value must be None before it comes here.
    """
    record = {
        "as_of": _day(forecast.as_of),
        "season": forecast.season_name,
        "fall": forecast.fall,
        "seed": forecast.seed,
        "members": forecast.members,
        "outlook": forecast.outlook_text,
        "stations": [
            {
                "station_id": station.station_id,
                "name": station.name,
                "first_day": _day(station.first_day),
                "last_day": _day(station.last_day),
                "filled_days": int(station.filled_days),
            }
            for station in forecast.stations
        ],
        "sites": [_site(site) for site in forecast.sites],
        "crew_days": [
            {
                "date": _day(crew_day.day),
                "crew": crew_day.crew,
                "stops": [
                    {"site_id": stop.site_id, "arrive": _clock(stop.arrive), "leave": _clock(stop.leave)}
                    for stop in crew_day.stops
                ],
                "site_hours": _number(crew_day.site_hours, 2),
                "drive_hours": _number(crew_day.drive_hours, 2),
            }
            for crew_day in forecast.crew_days
        ],
        "plan": _plan(forecast.plan),
        "measure_next": [
            {"site_id": site_id, "value": _number(value, 2)} for site_id, value in forecast.measure_next
        ],
        "closed": [{"site_id": site.site_id} for site in forecast.closed],
        "runs_all_winter": [{"site_id": site.site_id} for site in forecast.runs_all_winter],
        "warnings": [{"where": notice.where, "text": notice.text} for notice in forecast.warnings],
        "settings": dict(sorted(forecast.settings_text.items())),
        "credits": list(forecast.credits),
    }
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _plan(plan: Plan) -> dict[str, Any]:
    short = plan.shortage
    return {
        "caught_p50": _whole(plan.caught_p50),
        "caught_p90": _whole(plan.caught_p90),
        "latest_start": _day(plan.latest_start),
        "expected_loss": _number(plan.expected_loss, 2),
        "gap": _number(plan.gap, 4),
        "not_placed": list(plan.not_placed),
        "gap_exact": plan.gap_exact,
        "drive_cost": _number(plan.drive_cost, 2),
        "move_cost": _number(plan.move_cost, 2),
        "caught_chances": [_number(chance, 4) for chance in plan.caught_chances],
        "caught_limit": _whole(plan.caught_limit),
        "weeks": [
            {
                "monday": _day(week.monday),
                "visits": week.visits,
                "expected_loss": _number(week.expected_loss, 2),
                "drive_cost": _number(week.drive_cost, 2),
            }
            for week in plan.weeks
        ],
        "worst": [
            {
                "source_fall": fall.source_fall,
                "earlier_days": fall.earlier_days,
                "caught": fall.caught,
                "loss": _number(fall.loss, 2),
            }
            for fall in plan.worst
        ],
        "shortage": None
        if short is None
        else {
            "crew_hours": _number(short.crew_hours, 2),
            "sites": [{"site_id": name, "loss": _number(loss, 2)} for name, loss in short.sites],
            "crew_day_values": [
                {"date": _day(day), "saves": _number(value, 2)} for day, value in short.crew_day_values
            ],
        },
        "moves": [
            {
                "site_id": move.site_id,
                "from_date": _day(move.from_day),
                "to_date": _day(move.to_day),
                "told": move.told,
                "price": _number(move.price, 2),
                "saves": _number(move.saves, 2),
                "reason": move.reason,
            }
            for move in plan.moves
        ],
    }


def _site(site: SiteForecast) -> dict[str, Any]:
    return {
        "site_id": site.site.site_id,
        "customer": site.site.customer,
        "rank": int(site.rank),
        "station_id": site.station_id,
        "state": site.state,
        "water_now_c": _number(site.water_now_c, 2),
        "water_now_sd_c": _number(site.water_now_sd_c, 2),
        "start_p10": _day(site.start_p10),
        "start_p50": _day(site.start_p50),
        "start_p90": _day(site.start_p90),
        "sustained_p10": _day(site.sustained_p10),
        "sustained_p50": _day(site.sustained_p50),
        "sustained_p90": _day(site.sustained_p90),
        "p_not_reached": _number(site.p_not_reached, 4),
        "p_hard_freeze_first": _number(site.p_hard_freeze_first, 4),
        "p_plumbing_freeze_first": _number(site.p_plumbing_freeze_first, 4),
        "p_ice_first": _number(site.p_ice_first, 4),
        "p_hard_freeze_14d": _number(site.p_hard_freeze_14d, 4),
        "p_rebound": _number(site.p_rebound, 4),
        "p_start_by_recommended": _number(site.p_start_by_recommended, 4),
        "recommended_date": _day(site.recommended_date),
        "window_start": _day(site.window_start),
        "window_end": _day(site.window_end),
        "planned_date": _day(site.planned_date),
        "planned_crew": site.planned_crew,
        "p_hard_freeze_before_planned": _number(site.p_hard_freeze_before_planned, 4),
        "expected_loss": _number(site.expected_loss, 2),
        "loss_parts": {name: _number(part, 2) for name, part in sorted(site.loss_parts.items())},
        "date_shifts": {
            name: {"halved_days": int(halved), "doubled_days": int(doubled)}
            for name, (halved, doubled) in sorted(site.date_shifts.items())
        },
        "frost_nights": int(site.frost_nights),
        "first_hard_freeze_seen": _day(site.first_hard_freeze_seen),
        "reason": site.reason,
        "looking_again_saves": _number(site.looking_again_saves, 2),
    }


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _clock(moment: time) -> str:
    return f"{moment:%H:%M}"


def _whole(number: int | None) -> int | None:
    return None if number is None else int(number)


def _number(value: float | None, decimals: int) -> float | None:
    """A plain float, `inf` (never reached) as null; NaN goes on and is refused by the writer."""
    if value is None or math.isinf(value):
        return None
    return round(float(value), decimals) + 0.0
