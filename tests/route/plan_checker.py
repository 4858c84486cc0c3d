"""Is a plan allowed, and does it cost what it says? Written from the words of the README alone.

Shares no code with the planner: distances, rounds, limits and costs are worked out here again.
"""

from __future__ import annotations

from datetime import date
from math import asin, cos, radians, sin, sqrt

from forecaster.route.assign import Assignment, RouteTask, Visit
from forecaster.season.settings import Crew


def drive_h(task: RouteTask, a: tuple[float, float], b: tuple[float, float]) -> float:
    """Straight line on a sphere of 6371.0088 km times the road factor, at the speed of the settings."""
    (lat_a, lon_a), (lat_b, lon_b) = ((radians(p[0]), radians(p[1])) for p in (a, b))
    chord = sin((lat_b - lat_a) / 2) ** 2 + cos(lat_a) * cos(lat_b) * sin((lon_b - lon_a) / 2) ** 2
    return 2 * 6371.0088 * asin(sqrt(chord)) * task.route.road_factor / task.route.speed_km_h


def round_h(task: RouteTask, crew: Crew, visits: list[Visit]) -> float:
    """Driving of the stops in this order, from the start place and back to it."""
    home = (crew.latitude, crew.longitude)
    path = [home, *((v.site.latitude, v.site.longitude) for v in visits), home]
    return sum(drive_h(task, path[i], path[i + 1]) for i in range(len(path) - 1))


def on_site_h(task: RouteTask, visit: Visit, day: date) -> float:
    """Hours on site, longer by the chance of ice."""
    index = (day - date(task.fall, 8, 1)).days
    ice = 0.0 if visit.p_ice is None else float(visit.p_ice[index])
    return visit.hours * (1 + (task.route.ice_hours_factor - 1) * ice)


def faults(task: RouteTask, plan: Assignment) -> list[str]:
    """Every rule that the plan breaks, in words; empty for an allowed plan."""
    found: list[str] = []
    visits = {visit.site.site_id: visit for visit in task.visits}
    crews = {crew.name: crew for crew in task.crews}
    seen: list[str] = []
    for slot, ids in plan.rounds.items():
        crew, stops = crews[slot.crew], [visits[site_id] for site_id in ids]
        seen += ids
        if slot.day < task.as_of or not crew.first_day <= slot.day <= crew.last_day:
            found.append(f"{slot}: outside the crew's season")
        if slot.day in crew.days_off or slot.day.weekday() not in crew.work_days:
            found.append(f"{slot}: day off")
        hours = sum(on_site_h(task, v, slot.day) for v in stops) + round_h(task, crew, stops)
        bound = [v.site.booked_date == slot.day for v in stops]
        whole_day = len(stops) == 1 or all(bound)
        room = crew.hours_per_day * (1.0 if whole_day else 1.0 - task.route.lost_day_share)
        room -= task.taken_hours.get((slot.crew, slot.day), 0.0)
        if hours > room + 1e-5:
            found.append(f"{slot}: {hours:.3f} h of {room:.3f}")
        for v in stops:
            site = v.site
            booked = site.booked_date
            if booked is not None and booked >= task.as_of and slot.day != booked:
                found.append(f"{site.site_id}: booked on {site.booked_date}, planned on {slot.day}")
            if site.not_before is not None and slot.day < site.not_before:
                found.append(f"{site.site_id}: before {site.not_before}")
            if site.not_after is not None and slot.day > site.not_after:
                found.append(f"{site.site_id}: after {site.not_after}")
            if slot.day.weekday() not in site.weekdays:
                found.append(f"{site.site_id}: not on this weekday")
            if site.crews and slot.crew not in site.crews:
                found.append(f"{site.site_id}: not this crew")
    if len(seen) != len(set(seen)):
        found.append("a site is visited twice")
    if set(seen) & set(plan.not_placed) or set(seen) | set(plan.not_placed) != set(visits):
        found.append("sites are neither planned nor named as without a place")
    placed = {site_id: (slot.day, slot.crew) for slot, ids in plan.rounds.items() for site_id in ids}
    if placed != plan.placed:
        found.append("rounds and places differ")
    return found


def dollars(task: RouteTask, plan: Assignment) -> float:
    """Losses, driving and moved dates of the visits that are placed."""
    visits = {visit.site.site_id: visit for visit in task.visits}
    crews = {crew.name: crew for crew in task.crews}
    total = 0.0
    for slot, ids in plan.rounds.items():
        total += task.costs.drive_hour * round_h(task, crews[slot.crew], [visits[i] for i in ids])
        for site_id in ids:
            visit = visits[site_id]
            total += float(visit.loss[(slot.day - date(task.fall, 8, 1)).days])
            told, booked = visit.site.told_date, visit.site.booked_date
            if (
                told is not None
                and task.as_of <= told != slot.day
                and (booked is None or booked < task.as_of)
            ):
                total += task.costs.move_told_date
    return total
