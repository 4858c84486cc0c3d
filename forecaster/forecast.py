"""The whole forecast of a route as one record, and the sentence that made it: folder in, forecast out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time

import numpy as np

from forecaster.errors import Notice
from forecaster.season.settings import Crew
from forecaster.season.sites import Site


@dataclass(frozen=True, eq=False)
class SeasonCurves:
    """What the season strip of one site shows; one value a day from `first_day` (1 September) on.

    `p_settled`: chance that the sustained crossing has come by the day. `p_first_hard_freeze`: chance
    that the first hard freeze after the as-of date comes on the day. `hard_freezes`: those that have
    happened. `loss`: expected loss of closing on the day [$], NaN before the as-of date.
    """

    first_day: date
    p_settled: np.ndarray
    p_first_hard_freeze: np.ndarray
    hard_freezes: tuple[date, ...]
    loss: np.ndarray


@dataclass(frozen=True, eq=False)
class SiteForecast:
    """One open site. Dates are None for "not reached in this season"; probabilities 0-1, None where
    refused; water [°C] None where there is no water forecast; losses [$]."""

    site: Site
    rank: int
    station_id: str
    state: str  # ready | waiting | no_forecast
    water_now_c: float | None
    water_now_sd_c: float | None
    start_p10: date | None
    start_p50: date | None
    start_p90: date | None
    sustained_p10: date | None
    sustained_p50: date | None
    sustained_p90: date | None
    p_not_reached: float | None
    p_hard_freeze_first: float | None
    p_plumbing_freeze_first: float | None
    p_ice_first: float | None
    p_hard_freeze_14d: float | None
    p_rebound: float | None
    p_start_by_recommended: float | None
    recommended_date: date | None
    window_start: date | None
    window_end: date | None
    planned_date: date | None
    planned_crew: str | None
    p_hard_freeze_before_planned: float | None
    expected_loss: float | None
    loss_parts: dict[str, float]  # warm_day, hard_freeze, plumbing_freeze, ice at the recommended date [$]
    date_shifts: dict[str, tuple[int, int]]  # cost name -> days the date moves if the cost is halved, doubled
    frost_nights: int
    first_hard_freeze_seen: date | None
    reason: str
    curves: SeasonCurves | None
    loss_parts_by_day: np.ndarray | None = (
        None  # (4, 184): as loss_parts, for closing on each day from 1 August
    )
    looking_again_saves: float | None = None
    """Where the recommended date is the as-of date: what leaving it open until tomorrow is worth [$]."""


@dataclass(frozen=True)
class Stop:
    """One visit of a crew-day; local clock times."""

    site_id: str
    arrive: time
    leave: time


@dataclass(frozen=True)
class CrewDay:
    """One crew on one working day, stops in driving order; hours [h], `home`: back at the start place.

    `drive_estimated`: some drive of the season is an estimate from a straight line, none of a table.
    """

    day: date
    crew: str
    stops: tuple[Stop, ...]
    site_hours: float = 0.0
    drive_hours: float = 0.0
    home: time | None = None
    drive_estimated: bool = True


@dataclass(frozen=True)
class Move:
    """A visit that stands on another day than was told, or than the plan in force has; None: no place.

    `told`: the customer knows the old day, so that moving is priced [$]. `saves`: what the route saves by the
    move beyond its price [$], None where the old day is not possible any more.
    """

    site_id: str
    from_day: date
    to_day: date | None
    told: bool
    price: float
    saves: float | None
    reason: str


@dataclass(frozen=True)
class PlanWeek:
    """One week of the plan from a Monday on: visits, their expected loss and the driving [$]."""

    monday: date
    visits: int
    expected_loss: float
    drive_cost: float


@dataclass(frozen=True)
class WorstFall:
    """One of the possible falls in which the plan does worst: what it is like, and what happens in it.

    `earlier_days`: days by which the course of `source_fall` is moved, negative is later.
    """

    source_fall: int
    earlier_days: int
    caught: int
    loss: float


@dataclass(frozen=True)
class Shortage:
    """Where the crews' days do not suffice: hours [h] of visits without a day in their closing window.

    `sites`: those visits with what they lose by it [$], most first. `crew_day_values`: what one more
    crew-day on a date would save [$].
    """

    crew_hours: float
    sites: tuple[tuple[str, float], ...]
    crew_day_values: tuple[tuple[date, float], ...]


@dataclass(frozen=True)
class Plan:
    """The route as a whole. `caught_*`: open ponds at their first hard freeze (half, nine falls in ten at
    most); `gap` is (plan - bound) / plan, 0-1; `expected_loss` includes driving and moved dates [$].

    `caught_chances`: chance of exactly 0, 1, 2, ... such ponds. `caught_limit`: the number that
    `latest_start` keeps, set by the owner or, where `caught_limit_set` is False, assumed. `gap_exact`: the
    gap is proven with the driving as it is, not with each stop's share in this plan.
    """

    caught_p50: int | None
    caught_p90: int | None
    latest_start: date | None
    expected_loss: float
    gap: float | None
    not_placed: tuple[str, ...] = ()
    gap_exact: bool = False
    drive_cost: float = 0.0
    move_cost: float = 0.0
    caught_chances: tuple[float, ...] = ()
    caught_limit: int | None = None
    caught_limit_set: bool = False
    weeks: tuple[PlanWeek, ...] = ()
    worst: tuple[WorstFall, ...] = ()
    shortage: Shortage | None = None
    moves: tuple[Move, ...] = ()


@dataclass(frozen=True)
class StationUse:
    """A station as the forecast used it."""

    station_id: str
    name: str
    first_day: date
    last_day: date
    filled_days: int


@dataclass(frozen=True, eq=False)
class RouteForecast:
    """Everything a page, sheet or file about the route is made from. `sites` is in order of rank."""

    season_name: str
    fall: int
    as_of: date
    units: str  # us | metric
    seed: int
    members: int
    stations: tuple[StationUse, ...]
    outlook_text: str  # "outlook issued 2025-10-06, 10 days" or "no outlook"
    sites: tuple[SiteForecast, ...]
    closed: tuple[Site, ...]
    runs_all_winter: tuple[Site, ...]
    crew_days: tuple[CrewDay, ...]
    plan: Plan
    measure_next: tuple[tuple[str, float], ...]
    warnings: tuple[Notice, ...]
    settings_text: dict[str, str] = field(default_factory=dict)
    timezone: str = "UTC"
    crews: tuple[Crew, ...] = ()
    in_force: Mapping[str, tuple[date, str]] = field(default_factory=dict)  # site -> (day, crew)
    credits: tuple[str, ...] = ()  # whom the weather data ask to name, in sentences
    last_event_id: int = 0  # of the ledger; tells a later plan of the same morning from an earlier one
