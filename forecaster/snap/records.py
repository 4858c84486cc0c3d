"""What is known after a cold snap, as records: nights, ice, sites, what a visit saves, today's visits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from forecaster.errors import Notice
from forecaster.forecast import Stop
from forecaster.season.sites import Site

PARTS = ("pipes", "leak", "fish", "ice", "hard_freeze", "warm_day")
"""What a visit today saves [$], most pressing first; `warm_day` is what it costs and is negative."""


@dataclass(frozen=True)
class StationNight:
    """A station's minimum of one day [°C], None where unknown; hours at or below the two limits [h].

    `kind`: observed | filled (from neighbours) | expected (not yet observed: outlook and possible falls) |
    read (this morning, by somebody).
    `hours_from`: measured (many values a day) | estimated (from minimum and maximum) | "" (not known).
    """

    station_id: str
    day: date
    min_c: float | None
    kind: str
    hours_hard: float | None = None
    hours_plumbing: float | None = None
    hours_from: str = ""


@dataclass(frozen=True)
class Night:
    """A site's minimum of one day: the middle and the range of 8 in 10 [°C], chances of the two limits."""

    day: date
    p10_c: float
    p50_c: float
    p90_c: float
    p_hard: float
    p_plumbing: float
    kind: str


@dataclass(frozen=True)
class Ice:
    """Modelled ice [cm]: chance of any, middle and range of 8 in 10, Stefan's upper bound (9 in 10)."""

    p_ice: float
    p10_cm: float
    p50_cm: float
    p90_cm: float
    bound_cm: float


@dataclass(frozen=True, eq=False)
class SiteState:
    """One site as the nights left it. Chances 0-1; those of frost None without minima, of ice without water.

    `p_snap`: a cold snap has come in the days looked at, this morning included. `*_so_far`: the limit was
    reached this season up to this morning. `*_next`: on one of the `soon` nights after today; `*_new`: then
    for the first time. `p_covered`: ice cover of `ice_cover_days` or more now, `p_covered_next` by then.
    `warm_days`: days of them on which the water is still above the start threshold. `running`: water runs.
    """

    site: Site
    station_id: str
    running: bool
    nights: tuple[Night, ...]
    p_snap: float | None
    p_hard_so_far: float | None
    p_plumbing_so_far: float | None
    p_hard_next: float | None
    p_plumbing_next: float | None
    p_hard_new: float | None
    p_plumbing_new: float | None
    ice: Ice | None
    ice_next: Ice | None
    p_ice_new: float | None
    p_covered: float | None
    p_covered_next: float | None
    warm_days: float


@dataclass(frozen=True)
class Said:
    """What the customer was told: `what` told | booked, for which `day`, by whom and when it was said."""

    what: str
    day: date
    by: str = ""
    said_on: date | None = None


@dataclass(frozen=True, eq=False)
class SnapSite:
    """An open site in the order in which to go, from 1.

    `close`, `quick`: what a full closing and a quick visit today save [$], by PARTS; hours [h] of each, and
    of the closing that remains after the quick visit. `protected_on`: the day of a quick visit done;
    `checked_on`: of the last visit or outcome since the snap began. `notes`: the office's own words.
    """

    order: int
    state: SiteState
    close: Mapping[str, float]
    quick: Mapping[str, float]
    close_hours: float
    quick_hours: float
    left_hours: float
    said: tuple[Said, ...] = ()
    planned_date: date | None = None
    planned_crew: str = ""
    protected_on: date | None = None
    checked_on: date | None = None
    notes: tuple[str, ...] = ()

    @property
    def site(self) -> Site:
        """The site of the sheet."""
        return self.state.site

    def saves(self, action: str) -> float:
        """What a visit of this kind today saves in all [$]."""
        return float(sum((self.quick if action == "quick" else self.close).values()))

    def hours(self, action: str) -> float:
        """Work of a visit of this kind [h]."""
        return self.quick_hours if action == "quick" else self.close_hours

    def per_hour(self, action: str) -> float:
        """What a visit of this kind saves for each hour of its work [$/h]."""
        return self.saves(action) / self.hours(action)


@dataclass(frozen=True)
class CrewVisits:
    """One crew's visits today in driving order, done before `dark`; hours [h]."""

    crew: str
    stops: tuple[Stop, ...]
    site_hours: float
    drive_hours: float
    dark: datetime
    usual_end: datetime
    extra: bool = False


@dataclass(frozen=True)
class DayPlan:
    """What the crews can do today by one kind of visit: close | quick.

    `wanted`: sites at which such a visit saves something. `saves` [$]: of the sites that fit. `left`: the
    others, in order. `barred`: sites whose access limits forbid today. `left_hours` [h]: closings that
    remain after the quick visits.
    """

    action: str
    crews: tuple[CrewVisits, ...]
    done: tuple[str, ...]
    left: tuple[str, ...]
    barred: tuple[str, ...]
    saves: float
    left_hours: float

    @property
    def wanted(self) -> int:
        """Number of sites at which such a visit would save something."""
        return len(self.done) + len(self.left) + len(self.barred)


@dataclass(frozen=True)
class GasSite:
    """A closed (or running) site with fish where ice may hold the gases in; `devices` as in the sheet,
    `trouble` the office's own words since the closing, `too_cold_for_air`: bubblers often fail so cold."""

    site: Site
    closed_on: date | None
    ice: Ice
    p_covered: float
    p_covered_next: float
    devices: tuple[str, ...]
    trouble: tuple[str, ...]
    too_cold_for_air: bool


@dataclass(frozen=True)
class Compared:
    """One station and day: what came, and what was expected `days_before` [°C]; `outlook_c` as issued."""

    station_id: str
    day: date
    came_c: float
    days_before: int
    p10_c: float
    p50_c: float
    p90_c: float
    p_hard: float
    outlook_c: float | None

    @property
    def inside(self) -> bool:
        """True where what came lies in the range of 8 in 10."""
        return self.p10_c <= self.came_c <= self.p90_c


@dataclass(frozen=True)
class Learned:
    """What this snap taught of one station's outlooks: how many of its days count, and the typical error of
    minima at a lead [°C] before and with them; `bias` is outlook less observed."""

    station_id: str
    source: str
    counted: int
    lead_days: int
    bias_before_c: float
    bias_now_c: float
    sd_before_c: float
    sd_now_c: float


@dataclass(frozen=True, eq=False)
class SnapReport:
    """What screen, page and file are made from. `first_day`, `last_day`: of the snap, None for none.

    `sites` in the order in which to go, protected ones last; `plan` is the better of `plans` (close, quick).
    `by_crews`: the same two plans for other numbers of crews.
    """

    season_name: str
    fall: int
    as_of: date
    since: date
    units: str
    timezone: str
    first_day: date | None
    last_day: date | None
    hard_c: float
    plumbing_c: float
    soon_days: int
    quick_minutes: int
    quick_chance: float
    stations: tuple[tuple[str, str, date], ...]
    station_nights: tuple[StationNight, ...]
    place_sd_c: float
    night_sd_c: float
    spread_places: int
    sites: tuple[SnapSite, ...]
    plans: tuple[DayPlan, ...]
    crew_count: int
    gas: tuple[GasSite, ...]
    compared: tuple[Compared, ...]
    learned: tuple[Learned, ...]
    outlook_text: str
    warnings: tuple[Notice, ...]
    by_crews: Mapping[int, tuple[DayPlan, ...]] = field(default_factory=dict)
    costs: Mapping[str, float] = field(default_factory=dict)
    credits: tuple[str, ...] = ()

    @property
    def plan(self) -> DayPlan:
        """The kind of visit that saves more today."""
        return better_plan(self.plans)


def better_plan(plans: Sequence[DayPlan]) -> DayPlan:
    """The plan that saves more today; of equals the full closings."""
    return max(plans, key=lambda plan: (plan.saves, plan.action == "close"))
