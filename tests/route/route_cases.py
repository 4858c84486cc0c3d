"""Small routes made by hand or drawn at random; no weather behind them."""

from __future__ import annotations

from datetime import date, time, timedelta

import numpy as np

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.route.assign import RouteTask, Visit
from forecaster.season.settings import Costs, Crew, RouteSettings
from forecaster.season.sites import Site

FALL = 2025
MON, TUE, WED, THU, FRI = (date(2025, 10, day) for day in range(6, 11))
WEEK = ["mon", "tue", "wed", "thu", "fri"]


def crew(name: str = "North", hours: float = 4.0, last: date = TUE, **fields: object) -> Crew:
    given = {
        "latitude": 43.0,
        "longitude": -88.0,
        "work_days": WEEK,
        "first_day": MON,
        "start_time": time(8, 0),
        **fields,
    }
    return Crew(name=name, hours_per_day=hours, last_day=last, **given)  # type: ignore[arg-type]


def visit(
    site_id: str, losses: dict[date, float], hours: float = 2.0, else_loss: float = 1000.0, **site: object
) -> Visit:
    loss = np.full(FALL_DAYS, else_loss)
    for day, amount in losses.items():
        loss[fall_day(day, FALL)] = amount
    fields = {"latitude": 43.0, "longitude": -88.0, **site}
    return Visit(Site(site_id, f"Customer {site_id}", mean_depth_m=1.0, **fields), loss, hours)  # type: ignore[arg-type]


def task(
    *visits: Visit,
    crews: tuple[Crew, ...] | None = None,
    costs: Costs | None = None,
    in_force: dict[str, tuple[date, str]] | None = None,
    taken_hours: dict[tuple[str, date], float] | None = None,
    **route: object,
) -> RouteTask:
    settings = RouteSettings(**{"lost_day_share": 0.0, **route})  # type: ignore[arg-type]
    return RouteTask(
        FALL,
        MON,
        visits,
        (crew(),) if crews is None else crews,
        costs or Costs(),
        settings,
        in_force or {},
        taken_hours or {},
    )


def events_of(hard_freeze: list[float]) -> SiteEvents:
    """Hard and plumbing freezes on these days of the fall, nothing else."""
    days = np.array(hard_freeze, np.float32)
    return SiteEvents(None, None, None, None, days, days, days < 0)


def random_task(seed: int, *, sites: int, days: int, crews: int) -> RouteTask:
    """A season with everything in it: limits, bookings, told dates, ice, a plan in force, tied crews."""
    rng = np.random.default_rng(seed)
    last = MON + timedelta(days=days - 1)
    names = [f"Crew {number}" for number in range(crews)]
    all_week = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    made_crews = tuple(
        crew(
            name,
            hours=float(rng.choice([5.0, 6.5, 8.0])),
            last=last,
            latitude=43.0 + 0.2 * number,
            work_days=all_week if days < 7 else WEEK,
            days_off=[MON + timedelta(days=int(rng.integers(days)))] if days > 7 else [],
        )
        for number, name in enumerate(names)
    )
    visits, in_force = [], {}
    for number in range(sites):
        best, start = rng.uniform(-5, days + 5), fall_day(MON, FALL)
        offset = np.arange(FALL_DAYS) - start - best
        loss = rng.uniform(2, 12) * np.maximum(-offset, 0) + rng.uniform(0, 300) / (1 + np.exp(-offset / 2))
        some_day = MON + timedelta(days=int(rng.integers(days)))
        chance = rng.random()
        limits: dict[str, object] = {}
        if chance < 0.08:
            limits["booked_date"] = some_day
        elif chance < 0.2:
            limits["told_date"] = some_day
        elif chance < 0.26:
            limits["not_before"] = some_day
        elif chance < 0.32:
            limits["not_after"] = some_day
        elif chance < 0.38:
            limits["weekdays"] = frozenset(int(d) for d in rng.choice(7, 4, replace=False))
        elif chance < 0.46:
            limits["crews"] = (str(rng.choice(names)),)
        place = Site(
            f"S{number:03d}",
            f"Customer {number}",
            43.0 + float(rng.uniform(-0.15, 0.25)),
            -88.0 + float(rng.uniform(-0.25, 0.25)),
            1.0,
            **limits,  # type: ignore[arg-type]
        )
        ice = np.clip((np.arange(FALL_DAYS) - start - rng.uniform(days / 2, 2 * days)) / 10, 0, 1)
        visits.append(Visit(place, loss, float(rng.choice([1.0, 1.5, 2.25, 3.0])), ice))
        if rng.random() < 0.2:
            in_force[place.site_id] = (some_day, str(rng.choice(names)))
    route = RouteSettings(lost_day_share=float(rng.choice([0.0, 0.1, 0.2])))
    taken = {(names[0], MON + timedelta(days=1)): 2.0}
    return RouteTask(FALL, MON, tuple(visits), made_crews, Costs(), route, in_force, taken, seed=seed)
