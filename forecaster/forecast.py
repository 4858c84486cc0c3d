"""The whole forecast of a route as one record, and the sentence that made it: folder in, forecast out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time

import numpy as np

from forecaster.errors import Notice
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


@dataclass(frozen=True)
class Stop:
    """One visit of a crew-day; local clock times."""

    site_id: str
    arrive: time
    leave: time


@dataclass(frozen=True)
class CrewDay:
    """One crew on one working day, stops in driving order; `drive_hours` [h] is from straight lines."""

    day: date
    crew: str
    stops: tuple[Stop, ...]
    site_hours: float = 0.0
    drive_hours: float = 0.0


@dataclass(frozen=True)
class Plan:
    """The route as a whole. `caught_*`: open ponds at their first hard freeze (half, nine falls in ten at
    most); `gap` is (plan - bound) / plan, 0-1; `expected_loss` includes driving and moved dates [$]."""

    caught_p50: int | None
    caught_p90: int | None
    latest_start: date | None
    expected_loss: float
    gap: float | None
    not_placed: tuple[str, ...] = ()


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
