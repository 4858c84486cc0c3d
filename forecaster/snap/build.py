"""From what is known to the report after a snap: its days, who goes first, today, what was foretold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from forecaster.build import fit_known
from forecaster.errors import BadInput, Notice, Problem
from forecaster.falls import FALL_DAYS, fall_day, fall_start
from forecaster.known import Known, atmosphere
from forecaster.route.travel import travel_of
from forecaster.season.settings import Crew
from forecaster.season.state import SeasonState
from forecaster.season.state_records import Note, Outcome, Visit
from forecaster.season.state_sheet import protected_sites
from forecaster.snap.compare import compared, learned
from forecaster.snap.gas import gas_sites
from forecaster.snap.records import DayPlan, SiteState, SnapReport, SnapSite, better_plan
from forecaster.snap.saving import closing_hours, hours_left, saved_by_closing, saved_by_quick_visit
from forecaster.snap.spread import low_spread
from forecaster.snap.states import Span, in_snap, site_states
from forecaster.snap.station_nights import station_nights
from forecaster.snap.this_morning import ThisMorning, check_lows
from forecaster.snap.today import crews_today, day_plan
from forecaster.snap.told import checked_of, notes_of, said_of
from forecaster.weather.hourly import HourlyRecord

MOST_CREWS = 20
FEWEST_SHOWN = 4
"""The page offers plans for up to so many crews, or one more than work today."""


@dataclass(frozen=True)
class SnapAsked:
    """What is asked: from which day on (None: the last snap in the days looked back), how many crews; and
    the lowest temperatures read this morning, by station [°C]."""

    since: date | None = None
    crews: int | None = None
    lows_c: Mapping[str, float] = field(default_factory=dict)


def snap_report(
    known: Known,
    state: SeasonState | None = None,
    *,
    asked: SnapAsked | None = None,
    hourly: Mapping[str, HourlyRecord] | None = None,
) -> SnapReport:
    """Everything after a cold snap, as of the morning of the as-of date.

    Args:
        known: What is known on that morning.
        state: What the ledger says up to it: who was told what, visits, notes. None: no ledger.
        asked: First day and crews, if wanted otherwise.
        hourly: Records of many values a day by station, for hours below the limits.
    Raises:
        BadInput: `since` or `crews` cannot be, or no site's frost can be known.
    """
    asked, state = asked or SnapAsked(), state or SeasonState()
    span = _span(known, asked)
    check_lows(asked.lows_c, known.weather.stations)
    air = atmosphere(known, known.sites)
    fit, fit_notices = fit_known(known, known.sites, air)
    spread = low_spread(known.weather, stations_per_site=known.settings.weather.stations_per_site)
    protected = protected_sites(state, known.as_of)
    morning = ThisMorning(
        air.members, asked.lows_c, known.weather.stations, span.today, known.settings.season.seed
    )
    still = frozenset(known.closed) | set(protected)
    states = site_states(known, air, fit, spread, span, still=still, morning=morning)
    is_open = [s for s in states if s.site.winter != "runs" and s.site.site_id not in known.closed]
    others = [s for s in states if s not in is_open]
    first, last = _snap_days(known, states, span, asked)
    sites = _in_order(known, state, is_open, protected, first)
    crews = crews_today(known.crews, known.as_of, asked.crews)
    plans = _plans(known, sites, crews)
    ordered = _numbered(_by_rule(sites, better_plan(plans).action))
    came = _came(known, first, last)
    notes: list[Note | Outcome | Visit] = [*state.notes, *state.outcomes, *state.visits]
    since = fall_start(known.fall) + timedelta(days=span.since)
    t = known.settings.thresholds
    return SnapReport(
        season_name=known.settings.season.name,
        fall=known.fall,
        as_of=known.as_of,
        since=since,
        units=known.settings.season.units,
        timezone=known.settings.season.timezone,
        first_day=first,
        last_day=last,
        hard_c=t.hard_freeze_c,
        plumbing_c=t.plumbing_freeze_c,
        soon_days=span.last - span.today,
        quick_minutes=known.settings.snap.quick_visit_minutes,
        quick_chance=known.settings.snap.quick_chance,
        stations=tuple(
            (s.station_id, s.name, day)
            for s, day in zip(known.weather.stations, known.weather.last_observed, strict=True)
        ),
        station_nights=tuple(station_nights(known, air, span, hourly or {}, asked.lows_c, morning)),
        place_sd_c=spread.place_sd_c,
        night_sd_c=spread.night_sd_c,
        spread_places=spread.places,
        sites=ordered,
        plans=plans,
        crew_count=len(crews),
        gas=tuple(gas_sites(others, state.closed, notes, as_of=known.as_of, since=since)),
        compared=()
        if came is None
        else compared(known.weather, known.settings, *came, hard_c=t.hard_freeze_c),
        learned=learned(known.weather, *came) if came else (),
        by_crews={
            count: _plans(known, sites, crews_today(known.crews, known.as_of, count))
            for count in range(1, max(FEWEST_SHOWN, len(crews) + 1) + 1)
            if known.crews
        },
        outlook_text=_outlook_text(known),
        credits=known.weather.credits,
        warnings=(*known.notices, *air.notices, *fit_notices, *_refused(states)),
        costs=known.settings.costs.model_dump() | known.settings.snap.model_dump(),
    )


def _plans(
    known: Known, sites: Sequence[SnapSite], crews: Sequence[tuple[Crew, bool]]
) -> tuple[DayPlan, ...]:
    """Today by full closings, and by quick visits."""
    return tuple(_plan(known, _by_rule(sites, action), action, crews) for action in ("close", "quick"))


def _plan(
    known: Known, sites: Sequence[SnapSite], action: str, crews: Sequence[tuple[Crew, bool]]
) -> DayPlan:
    """Today's visits of one kind, sites in the order of the rule."""
    places, names = [s.site for s in sites], [crew for crew, _ in crews]
    travel = travel_of(places, names, known.settings.route, known.travel_times)
    zone = known.settings.season.timezone
    return day_plan(sites, action, crews, travel, day=known.as_of, timezone=zone)


def _span(known: Known, asked: SnapAsked) -> Span:
    """Days looked at, checked; all problems at once."""
    problems, today = [], known.as_of_day
    since = today - known.settings.snap.look_back_days
    if asked.since is not None:
        since = fall_day(asked.since, known.fall)
        if asked.since >= known.as_of:
            text = f"{asked.since} is not before the as-of date {known.as_of}. Name an earlier day."
            problems.append(Problem("--since", text))
        elif since < 0:
            text = f"{asked.since} is before the season ({fall_start(known.fall)}). Name a later day."
            problems.append(Problem("--since", text))
    if asked.crews is not None:
        if not 0 <= asked.crews <= MOST_CREWS:
            text = f"{asked.crews} is not a number of crews (0 to {MOST_CREWS})."
            problems.append(Problem("--crews", text))
        elif asked.crews and not known.crews:
            text = "season.toml names no crew, so there is no start place. Add a [[crew]], or leave this out."
            problems.append(Problem("--crews", text))
    if problems:
        raise BadInput(problems)
    return Span(max(since, 0), today, min(today + known.settings.snap.soon_days, FALL_DAYS - 1))


def _snap_days(
    known: Known, states: Sequence[SiteState], span: Span, asked: SnapAsked
) -> tuple[date | None, date | None]:
    """First and last day of the snap by the sites' middle values, this morning included; None for none.

    Without `since` it is the last run of such days; a single milder day does not end it.
    """
    member = np.zeros(span.today + 1, np.bool_)
    limits = known.limits
    for state in states:
        low = np.full(span.today + 1, np.nan)
        for night in state.nights:
            if night.day <= known.as_of:
                low[fall_day(night.day, known.fall)] = night.p50_c
        member |= in_snap(low, hard_c=limits.hard_freeze_c, plumbing_c=limits.plumbing_freeze_c)
    days = [int(day) for day in np.flatnonzero(member)]
    if not days:
        return None, None
    first = days[0]
    if asked.since is None:
        first = days[-1]
        for day in reversed(days):
            first = day if first - day <= 2 else first
    return (fall_start(known.fall) + timedelta(days=first), fall_start(known.fall) + timedelta(days=days[-1]))


def _came(known: Known, first: date | None, last: date | None) -> tuple[date, date] | None:
    """First and last day of the snap that may be observed by now; None for none."""
    if first is None or last is None:
        return None
    seen = min(last, known.as_of - timedelta(days=1))
    return (first, seen) if first <= seen else None


def _in_order(
    known: Known,
    state: SeasonState,
    states: Sequence[SiteState],
    protected: Mapping[str, date],
    first: date | None,
) -> list[SnapSite]:
    costs, snap, factor = known.settings.costs, known.settings.snap, known.settings.route.ice_hours_factor
    quick_h = snap.quick_visit_minutes / 60.0
    found = []
    for one in states:
        site_id = one.site.site_id
        checked = checked_of(state, site_id, first, known.as_of)
        flags = {"protected": site_id in protected, "checked": checked is not None}
        planned = known.in_force.get(site_id)
        found.append(
            SnapSite(
                order=0,
                state=one,
                close=saved_by_closing(one, costs, snap, **flags),
                quick=saved_by_quick_visit(one, costs, snap, **flags),
                close_hours=closing_hours(one, factor),
                quick_hours=quick_h,
                left_hours=hours_left(one, factor, quick_h),
                said=said_of(state, one),
                planned_date=planned[0] if planned else None,
                planned_crew=planned[1] if planned else "",
                protected_on=protected.get(site_id),
                checked_on=checked,
                notes=notes_of(state, site_id, first or known.as_of, known.as_of),
            )
        )
    return found


def _by_rule(sites: Sequence[SnapSite], action: str) -> list[SnapSite]:
    """Sites by what an hour of work saves, protected ones last; equal ones by site id."""
    return sorted(
        sites, key=lambda s: (s.protected_on is not None, -round(s.per_hour(action), 6), s.site.site_id)
    )


def _numbered(sites: Sequence[SnapSite]) -> tuple[SnapSite, ...]:
    return tuple(replace(site, order=n) for n, site in enumerate(sites, start=1))


def _outlook_text(known: Known) -> str:
    issued = [o for o in known.weather.outlooks if o.issued <= known.as_of]
    if known.settings.weather.outlook == "none" or not issued:
        return "no outlook: the coming nights are those of the earlier falls"
    latest = max(issued, key=lambda o: o.issued)
    age = (known.as_of - latest.issued).days
    said = "of this morning" if age == 0 else f"{age} {'day' if age == 1 else 'days'} old"
    return f"outlook {said}, to {max(latest.days, default=latest.issued)}"


def _refused(states: Sequence[SiteState]) -> list[Notice]:
    bare = [s.site.site_id for s in states if s.p_hard_next is None]
    if not bare:
        return []
    names = ", ".join(bare[:6]) + (", ..." if len(bare) > 6 else "")
    text = f"no station near {len(bare)} sites ({names}) gives daily minima: their frost is not known."
    return [Notice("weather", f"{text} Add a station with minima.")]
