"""From what is known to the forecast of the route: water, members, events, risk, dates, plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import Notice
from forecaster.events import SiteEvents, first_freeze
from forecaster.falls import FALL_DAYS, date_of, fall_day, fall_start
from forecaster.forecast import (
    RouteForecast,
    SeasonCurves,
    SiteForecast,
    StationUse,
)
from forecaster.known import Atmosphere, Known, atmosphere, ponds_of
from forecaster.risk import (
    READY_CHANCE,
    Urgency,
    fall_quantile,
    freeze_first,
    rank_sites,
    settled_chance,
)
from forecaster.route.looking_again import Candidate, looking_again_saves
from forecaster.route.plan import PlannedRoute, plan_route
from forecaster.route.reason import reason_for
from forecaster.route.solve import DEFAULT_GAP
from forecaster.route.window import (
    PARTS,
    LossByDay,
    allowed_from,
    best_day,
    date_shifts,
    loss_by_day,
    share_by_day,
    window_around,
)
from forecaster.season.sites import Site
from forecaster.simulate import run_members
from forecaster.water.draws import draw_route
from forecaster.water.pooling import PondFit, RouteFit, fit_route
from forecaster.water.state import water_path

STRIP_FROM, STRIP_DAYS = 31, 122
"""The season strip runs from 1 September to 31 December."""


@dataclass(frozen=True, eq=False)
class SiteOutcome:
    """One open site after the simulation: its events, losses and dates, before rank and plan."""

    site: Site
    events: SiteEvents
    losses: LossByDay
    allowed: NDArray[np.bool_]
    best: int | None
    state: str


def fit_known(known: Known, sites: Sequence[Site], air: Atmosphere) -> tuple[RouteFit, list[Notice]]:
    """Fit the ponds of `sites` (all sites of the sheet: closed ones still teach the route)."""
    ponds, notices = ponds_of(known, sites, air)
    return fit_route(ponds, fall=known.fall), notices


def forecast_route(known: Known, *, gap: float = DEFAULT_GAP) -> RouteForecast:
    """The whole forecast of the route on the as-of date; `gap` is the target of the plan's search, 0-1."""
    air = atmosphere(known, known.sites)
    fit, notices = fit_known(known, known.sites, air)
    open_sites = [
        (position, site)
        for position, site in enumerate(known.sites)
        if site.winter != "runs" and site.site_id not in known.closed
    ]
    outcomes = _outcomes(known, air, fit, open_sites)
    ranked = _ranked(known, air, outcomes)
    planned = plan_route(known, [(o.site, o.losses.total, o.events) for o in outcomes], air.members, gap=gap)
    forecasts = []
    past_min = _past_minima(known, air)
    again = _looking_again(known, air, fit, outcomes, [row for row, _ in open_sites], past_min)
    for rank, position in enumerate(ranked, start=1):
        row = open_sites[position][0]
        forecasts.append(
            _site_forecast(
                known,
                air,
                fit,
                outcomes[position],
                planned,
                rank=rank,
                row=row,
                past_min_c=past_min[row],
                again=again.get(position),
            )
        )
    said = [
        *known.notices,
        *air.notices,
        *notices,
        *planned.notices,
        *_refused(known, air),
        *_seen(known, forecasts),
    ]
    return RouteForecast(
        season_name=known.settings.season.name,
        fall=known.fall,
        as_of=known.as_of,
        units=known.settings.season.units,
        seed=known.settings.season.seed,
        members=air.members.count,
        stations=_stations(known),
        outlook_text=_outlook_text(known),
        sites=tuple(forecasts),
        closed=tuple(s for s in known.sites if s.site_id in known.closed and s.winter != "runs"),
        runs_all_winter=tuple(s for s in known.sites if s.winter == "runs"),
        crew_days=planned.crew_days,
        plan=planned.plan,
        measure_next=planned.measure_next,
        warnings=tuple(said),
        settings_text=_settings_text(known),
        timezone=known.settings.season.timezone,
        crews=known.crews,
        in_force=known.in_force,
        last_event_id=known.last_event_id,
        credits=known.weather.credits,
    )


def _outcomes(
    known: Known, air: Atmosphere, fit: RouteFit, open_sites: Sequence[tuple[int, Site]]
) -> list[SiteOutcome]:
    rows = [row for row, _ in open_sites]
    fits: list[PondFit | None] = [fit.ponds.get(site.site_id) for _, site in open_sites]
    route = draw_route(fit, count=air.members.count, seed=known.settings.season.seed)
    outcomes = []
    simulated = run_members(
        air.members,
        air.matrices.of_rows(rows),
        air.past_mean_c[rows],
        fits,
        route,
        limits=known.limits,
        as_of_day=known.as_of_day,
        seed=known.settings.season.seed,
    )
    for (_, site), events in zip(open_sites, simulated, strict=True):
        losses = loss_by_day(events, known.settings.costs, plumbing_exposure=site.plumbing_exposure)
        allowed = allowed_from(site, known.crews, fall=known.fall, as_of=known.as_of)
        outcomes.append(
            SiteOutcome(
                site=site,
                events=events,
                losses=losses,
                allowed=allowed,
                best=best_day(losses.total, allowed),
                state=_state(site, events, known.as_of_day),
            )
        )
    return outcomes


def _state(site: Site, events: SiteEvents, as_of_day: int) -> str:
    """ready, waiting or no_forecast; where there is no pond there is nothing to wait for: ready."""
    if not site.has_pond:
        return "ready"
    chance = settled_chance(events, as_of_day)
    if chance is None:
        return "no_forecast"
    return "ready" if chance >= READY_CHANCE else "waiting"


GROUPS = {"ready": 0, "no_forecast": 1, "waiting": 2}


def _ranked(known: Known, air: Atmosphere, outcomes: Sequence[SiteOutcome]) -> list[int]:
    """Positions of `outcomes`, most urgent first."""
    nothing = np.zeros(air.members.count)
    urgencies = []
    for outcome in outcomes:
        events = outcome.events
        hits: NDArray[np.float64] | NDArray[np.bool_] = nothing
        if outcome.state == "waiting" and events.hard_freeze is not None and events.sustained is not None:
            hits = freeze_first(events.hard_freeze, events.sustained)
        elif outcome.state != "waiting" and events.hard_freeze_soon is not None:
            hits = events.hard_freeze_soon
        total = outcome.losses.total
        later = min(known.as_of_day + 7, FALL_DAYS - 1)
        waiting = float(total[later] - total[known.as_of_day])
        urgencies.append(Urgency(outcome.site.site_id, GROUPS[outcome.state], hits, waiting))
    place = {outcome.site.site_id: position for position, outcome in enumerate(outcomes)}
    return [place[site_id] for site_id in rank_sites(urgencies, air.members.source_fall)]


def _site_forecast(
    known: Known,
    air: Atmosphere,
    fit: RouteFit,
    outcome: SiteOutcome,
    planned: PlannedRoute,
    *,
    rank: int,
    row: int,
    past_min_c: NDArray[np.float64],
    again: float | None,
) -> SiteForecast:
    events, site, total = outcome.events, outcome.site, outcome.losses.total
    now_c, now_sd_c = _water_now(known, air, fit.ponds.get(site.site_id))
    window = (
        window_around(
            total, outcome.best, margin=known.settings.costs.window_margin, earliest=known.as_of_day
        )
        if outcome.best is not None
        else None
    )
    planned_day, planned_crew = planned.placed.get(site.site_id, (None, None))
    first_seen = first_freeze(past_min_c, limit_c=known.limits.hard_freeze_c)
    frost_nights = int((past_min_c <= known.limits.freeze_c + 0.05).sum())
    best = outcome.best
    return SiteForecast(
        site=site,
        rank=rank,
        station_id=air.airs[row].station_id,
        state=outcome.state,
        water_now_c=now_c,
        water_now_sd_c=now_sd_c,
        **_crossing_dates(events, known.fall),
        p_not_reached=_mean(None if events.sustained is None else np.isinf(events.sustained)),
        p_hard_freeze_first=_before(events.hard_freeze, events.sustained),
        p_plumbing_freeze_first=_before(events.plumbing_freeze, events.sustained),
        p_ice_first=_before(events.ice_on, events.sustained),
        p_hard_freeze_14d=_mean(events.hard_freeze_soon),
        p_rebound=_mean(events.rebound),
        p_start_by_recommended=(
            None if events.start is None or best is None else _mean(events.start <= best)
        ),
        recommended_date=None if best is None else date_of(best, known.fall),
        window_start=None if window is None else date_of(window[0], known.fall),
        window_end=None if window is None else date_of(window[1], known.fall),
        planned_date=planned_day,
        planned_crew=planned_crew,
        p_hard_freeze_before_planned=(
            None
            if planned_day is None or events.hard_freeze is None
            else _mean(events.hard_freeze <= fall_day(planned_day, known.fall))
        ),
        expected_loss=None if best is None else float(total[best]),
        loss_parts=(
            {}
            if best is None
            else {part: float(outcome.losses.parts[n, best]) for n, part in enumerate(PARTS)}
        ),
        date_shifts={} if best is None else date_shifts(outcome.losses, best, outcome.allowed),
        frost_nights=frost_nights,
        first_hard_freeze_seen=date_of(float(first_seen), known.fall),
        reason=reason_for(
            site, events, best, fall=known.fall, as_of_day=known.as_of_day, units=known.settings.season.units
        ),
        curves=_curves(known, events, total, past_min_c),
        loss_parts_by_day=outcome.losses.parts,
        looking_again_saves=again,
    )


def _looking_again(
    known: Known,
    air: Atmosphere,
    fit: RouteFit,
    outcomes: Sequence[SiteOutcome],
    rows: Sequence[int],
    past_min_c: NDArray[np.float64],
) -> dict[int, float]:
    """Position of `outcomes` -> what waiting for tomorrow's forecast is worth, where today is best."""
    today = [
        position
        for position, outcome in enumerate(outcomes)
        if outcome.best == known.as_of_day and outcome.events.start is not None
    ]
    candidates = [
        Candidate(
            row=rows[position],
            fit=fit.ponds[outcomes[position].site.site_id],
            events=outcomes[position].events,
            plumbing_exposure=outcomes[position].site.plumbing_exposure,
            past_min_c=past_min_c[rows[position]],
        )
        for position in today
    ]
    if not candidates:
        return {}
    route = draw_route(fit, count=air.members.count, seed=known.settings.season.seed)
    return dict(zip(today, looking_again_saves(known, air, route, candidates), strict=True))


def _crossing_dates(events: SiteEvents, fall: int) -> dict[str, date | None]:
    found: dict[str, date | None] = {}
    for name, days in (("start", events.start), ("sustained", events.sustained)):
        for share in (10, 50, 90):
            reached = None if days is None else date_of(fall_quantile(days, share / 100), fall)
            found[f"{name}_p{share}"] = reached
    return found


def _mean(hits: NDArray[np.bool_] | None) -> float | None:
    return None if hits is None else float(hits.mean())


def _before(freeze: NDArray[np.float32] | None, crossing: NDArray[np.float32] | None) -> float | None:
    return None if freeze is None or crossing is None else float(freeze_first(freeze, crossing).mean())


def _water_now(known: Known, air: Atmosphere, fit: PondFit | None) -> tuple[float | None, float | None]:
    """Daily mean water of the day before the as-of date: (best estimate, sd) [°C]."""
    if fit is None or known.as_of_day < 1:
        return None, None
    path = water_path(fit, day_count=known.as_of_day)
    return float(path.water_c[-1]), float(path.sd_c[-1])


def _past_minima(known: Known, air: Atmosphere) -> NDArray[np.float64]:
    """Observed minima at each site from 1 August to the day before the as-of date, NaN where unknown."""
    start = known.weather.index_of(fall_start(known.fall))
    day = start + np.arange(known.as_of_day)
    inside = (day >= 0) & (day < known.weather.day_count)
    station = np.full((len(known.weather.stations), known.as_of_day), np.nan)
    station[:, inside] = known.weather.tmin_c[:, day[inside]]
    return np.stack([site.minimum_c(station) for site in air.airs]) if air.airs else station


def _curves(
    known: Known, events: SiteEvents, total: NDArray[np.float64], past_min_c: NDArray[np.float64]
) -> SeasonCurves:
    strip = slice(STRIP_FROM, STRIP_FROM + STRIP_DAYS)
    empty = np.zeros(FALL_DAYS)
    settled = empty if events.sustained is None else share_by_day(events.sustained)
    frozen = empty if events.hard_freeze is None else np.diff(share_by_day(events.hard_freeze), prepend=0.0)
    seen = np.flatnonzero(past_min_c <= known.limits.hard_freeze_c + 0.05)
    return SeasonCurves(
        first_day=fall_start(known.fall) + timedelta(days=STRIP_FROM),
        p_settled=settled[strip],
        p_first_hard_freeze=frozen[strip],
        hard_freezes=tuple(fall_start(known.fall) + timedelta(days=int(n)) for n in seen),
        loss=np.where(np.arange(FALL_DAYS) >= known.as_of_day, total, np.nan)[strip],
    )


def _refused(known: Known, air: Atmosphere) -> list[Notice]:
    """Why freeze risk is refused at some sites, as one line."""
    bare = [a.site_id for a in air.airs if not a.has_minima]
    if not bare:
        return []
    names = ", ".join(bare[:6]) + (", ..." if len(bare) > 6 else "")
    text = (
        f"no station near {len(bare)} sites ({names}) gives daily minima (tmin): the chance of a freeze is "
        "refused there, the water is not. Add a station with minima."
    )
    return [Notice(known.settings.weather.folder, text)]


def _seen(known: Known, sites: Sequence[SiteForecast]) -> list[Notice]:
    """Hard freezes that have happened at open sites, as one line."""
    hit = [s for s in sites if s.first_hard_freeze_seen is not None]
    if not hit:
        return []
    first = min(s.first_hard_freeze_seen for s in hit if s.first_hard_freeze_seen)
    names = ", ".join(s.site.site_id for s in hit[:6]) + (", ..." if len(hit) > 6 else "")
    text = (
        f"a hard freeze has already come at {len(hit)} open sites (first on {first}: {names}); "
        "chances shown are of the next one."
    )
    return [Notice("weather", text)]


def _stations(known: Known) -> tuple[StationUse, ...]:
    weather = known.weather
    first_of_fall = max(0, weather.index_of(fall_start(known.fall)))
    uses = []
    for position, station in enumerate(weather.stations):
        has = np.isfinite(weather.tmean_c[position]) & ~weather.filled[position]
        first = weather.first_day + timedelta(days=int(np.argmax(has)))
        filled = int(weather.filled[position, first_of_fall:].sum())
        uses.append(
            StationUse(station.station_id, station.name, first, weather.last_observed[position], filled)
        )
    return tuple(uses)


def _outlook_text(known: Known) -> str:
    issued = [o for o in known.weather.outlooks if o.issued <= known.as_of]
    if known.settings.weather.outlook == "none" or not issued:
        return "no outlook"
    latest = max(issued, key=lambda o: (o.issued, o.station_id))
    last = max(latest.days, default=latest.issued)
    return f"outlook issued {latest.issued}, to {last}"


def _settings_text(known: Known) -> dict[str, str]:
    t, c, r = known.settings.thresholds, known.settings.costs, known.settings.route
    return {
        "thresholds_c": f"start {t.start_c:.2f}, sustained {t.sustained_c:.2f} for {t.hold_days} days",
        "freezes_c": (
            f"freeze {t.freeze_c:.2f}, hard {t.hard_freeze_c:.2f}, plumbing {t.plumbing_freeze_c:.2f}"
        ),
        "costs": (
            f"${c.warm_day:g} a warm day, ${c.hard_freeze:g} a hard freeze, ${c.plumbing_freeze:g} a "
            f"plumbing freeze, ${c.ice:g} ice, ${c.drive_hour:g} an hour of driving, "
            f"${c.move_told_date:g} a moved date"
        ),
        "route": (
            f"road factor {r.road_factor:g}, {r.speed_km_h:.1f} km/h, {r.lost_day_share:.0%} of days lost, "
            f"at most {'any number of' if r.max_caught is None else r.max_caught} ponds caught with chance "
            f"{r.caught_chance:g}"
        ),
        "seasons": f"last {known.settings.weather.seasons} complete falls",
    }
