"""Every site's nights, ice and chances, counted member by member: what the snap did and what comes next."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.events import WaterEvents
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.known import Atmosphere, Known
from forecaster.season.sites import Site
from forecaster.simulate import BLOCK_SITES, site_air_members
from forecaster.snap.ice_cover import IceCover
from forecaster.snap.records import Ice, Night, SiteState
from forecaster.snap.spread import LowSpread, drawn_lows
from forecaster.snap.this_morning import ThisMorning
from forecaster.units import STORED_TENTH_C
from forecaster.water.draws import draw_route, draw_water
from forecaster.water.pooling import RouteFit

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Span:
    """Days of the fall: nights are shown from `since`; today; the last of the nights that count as soon."""

    since: int
    today: int
    last: int


@dataclass(frozen=True, eq=False)
class _Wet:
    """What a block's water did, (site, m): ice this morning and at the end of the soon days."""

    now: IceSnapshot
    later: IceSnapshot
    first_ice: Floats
    start: Floats


@dataclass(frozen=True, eq=False)
class IceSnapshot:
    """Ice of a block at one moment, (site, m)."""

    thickness_cm: Floats
    stefan_cm: Floats
    covered_days: NDArray[np.int64]


def in_snap(low_c: np.ndarray, *, hard_c: float, plumbing_c: float) -> Flags:
    """Days that belong to a cold snap: two or more in a row at or below `hard_c`, or one at `plumbing_c`.

    Args:
        low_c: Daily minima [°C], shape (..., day); NaN is no freeze. Limits have an allowance of 0.05 °C.

    >>> in_snap(np.array([-3.0, 1.0, -2.2, -2.5, 0.0, -7.0]), hard_c=-20 / 9, plumbing_c=-20 / 3)
    array([False, False,  True,  True, False,  True])
    """
    hard = low_c <= hard_c + STORED_TENTH_C
    pair = hard[..., 1:] & hard[..., :-1]
    member = low_c <= plumbing_c + STORED_TENTH_C
    member[..., 1:] |= pair
    member[..., :-1] |= pair
    return np.asarray(member)


def water_runs(site: Site) -> bool:
    """True where water runs through the lines of an open site: fall, fountain, pond with a waterfall."""
    return site.waterfall if site.has_pond else True


def site_states(
    known: Known,
    air: Atmosphere,
    fit: RouteFit,
    spread: LowSpread,
    span: Span,
    *,
    still: frozenset[str] = frozenset(),
    morning: ThisMorning | None = None,
) -> list[SiteState]:
    """States of all sites of `known` in their order; at sites of `still` no water runs; `morning` was read.

    The same draws of the members, of the water and of each site's own deviation for all that is counted, so
    that "for the first time" and "has been before" are never both counted.
    """
    found: dict[int, SiteState] = {}
    wet = [i for i, site in enumerate(known.sites) if site.site_id in fit.ponds]
    dry = [i for i in range(len(known.sites)) if known.sites[i].site_id not in fit.ponds]
    for group, has_water in ((wet, True), (dry, False)):
        for first in range(0, len(group), BLOCK_SITES):
            block = group[first : first + BLOCK_SITES]
            blends, water = _run(known, air, fit, block, span, has_water=has_water)
            for at, row in enumerate(block):
                low = blends[at] if morning is None else morning.moved(blends[at])
                found[row] = _state(known, air, spread, span, row, low, water, at, still)
    return [found[row] for row in range(len(known.sites))]


def _run(
    known: Known, air: Atmosphere, fit: RouteFit, block: Sequence[int], span: Span, *, has_water: bool
) -> tuple[list[Floats], _Wet | None]:
    """Blended minima (m or 1, day) of each site up to the last night, and the block's water."""
    members = air.members
    members_air = site_air_members(members, air.matrices, air.past_mean_c[list(block)], block)
    past = past_minima(known, air, block)
    lows = np.repeat(past[:, None, : span.last + 1], members.count, axis=1)
    for day in range(members.first_day, span.last + 1):
        lows[:, :, day] = members_air.minimum_c(day)
    if not has_water:
        return list(lows), None
    seed = known.settings.season.seed
    route = draw_route(fit, count=members.count, seed=seed)
    draws = draw_water([fit.ponds[known.sites[i].site_id] for i in block], route, seed=seed)
    water = WaterEvents(draws, known.limits, span.today)
    cover = IceCover(draws.start_c.shape, np.random.default_rng([seed, known.fall, 13]))
    now = _snapshot(cover)
    later = now
    for day in range(min(span.last + known.limits.hold_days + 1, FALL_DAYS)):
        mean = members_air.mean_c(day)
        cover.advance(day, water.advance(day, mean), mean)
        if day == span.today - 1:
            now = _snapshot(cover)
        if day == span.last:
            later = _snapshot(cover)
    return list(lows), _Wet(now, later, cover.first_day, np.asarray(water.start, float))


def _snapshot(cover: IceCover) -> IceSnapshot:
    return IceSnapshot(cover.thickness_cm.copy(), cover.stefan_cm.copy(), cover.covered_days.copy())


def past_minima(known: Known, air: Atmosphere, rows: Sequence[int]) -> Floats:
    """Observed (or filled) minima at sites, (site, 184) [°C]; NaN where nobody knows."""
    weather = known.weather
    day = weather.index_of(fall_start(known.fall)) + np.arange(FALL_DAYS)
    inside = (day >= 0) & (day < weather.day_count)
    station = np.full((len(weather.stations), FALL_DAYS), np.nan)
    station[:, inside] = weather.tmin_c[:, day[inside]]
    return np.stack([air.airs[row].minimum_c(station) for row in rows])


def _filled_sd(known: Known, air: Atmosphere, row: int, days: int) -> Floats:
    """Error of a site's blend where its stations' minima were filled from neighbours [°C], (day,)."""
    weather, site_air = known.weather, air.airs[row]
    sd = np.zeros(days)
    errors = weather.fill_error_min_c or (float("nan"),) * len(weather.stations)
    at = weather.index_of(fall_start(known.fall)) + np.arange(days)
    inside = (at >= 0) & (at < weather.day_count)
    for station, weight in zip(site_air.station_index, site_air.min_weights, strict=True):
        error = errors[station] if np.isfinite(errors[station]) else 0.0
        sd[inside] += (weight * error * weather.filled[station, at[inside]]) ** 2
    return np.sqrt(sd)


def _state(
    known: Known,
    air: Atmosphere,
    spread: LowSpread,
    span: Span,
    row: int,
    blend_c: Floats,
    wet: _Wet | None,
    at: int,
    still: frozenset[str],
) -> SiteState:
    site, limits = known.sites[row], known.limits
    running = water_runs(site) and site.site_id not in still
    state = SiteState(
        site, air.airs[row].station_id, running, (), None, None, None, None, None, None, None,
        None, None, None, None, None, 0.0,
    )  # fmt: skip
    if wet is not None:
        days = np.arange(span.today, span.last)
        iced, later = wet.first_ice[at], (wet.first_ice[at] > span.today) & (wet.first_ice[at] <= span.last)
        state = replace(
            state,
            ice=_ice(wet.now, at),
            ice_next=_ice(wet.later, at),
            p_ice_new=float(later.mean()) if iced.size else 0.0,
            p_covered=_covered(wet.now, at, known.settings.snap.ice_cover_days),
            p_covered_next=_covered(wet.later, at, known.settings.snap.ice_cover_days),
            warm_days=float((wet.start[at][:, None] > days[None, :]).sum(axis=1).mean()),
        )
    if not air.airs[row].has_minima:
        return state
    rng = np.random.default_rng(
        [known.settings.season.seed, known.fall, zlib.crc32(site.site_id.encode()), 5]
    )
    low = drawn_lows(
        blend_c, _filled_sd(known, air, row, blend_c.shape[1]), spread, site, rng, count=len(blend_c)
    )
    hard = low <= np.float32(limits.hard_freeze_c + STORED_TENTH_C)
    plumbing = low <= np.float32(limits.plumbing_freeze_c + STORED_TENTH_C)
    before, ahead = slice(0, span.today + 1), slice(span.today + 1, span.last + 1)
    hard_before, plumbing_before = hard[:, before].any(axis=1), plumbing[:, before].any(axis=1)
    hard_next, plumbing_next = hard[:, ahead].any(axis=1), plumbing[:, ahead].any(axis=1)
    looked = low[:, span.since : span.today + 1]
    snap = in_snap(looked, hard_c=limits.hard_freeze_c, plumbing_c=limits.plumbing_freeze_c).any(axis=1)
    return replace(
        state,
        nights=tuple(_nights(known, air, row, low, hard, plumbing, span)),
        p_snap=float(snap.mean()),
        p_hard_so_far=float(hard_before.mean()),
        p_plumbing_so_far=float(plumbing_before.mean()),
        p_hard_next=float(hard_next.mean()),
        p_plumbing_next=float(plumbing_next.mean()),
        p_hard_new=float((hard_next & ~hard_before).mean()),
        p_plumbing_new=float((plumbing_next & ~plumbing_before).mean()),
    )


def _nights(
    known: Known,
    air: Atmosphere,
    row: int,
    low: NDArray[np.float32],
    hard: Flags,
    plumbing: Flags,
    span: Span,
) -> Iterator[Night]:
    used = [s for s, w in zip(air.airs[row].station_index, air.airs[row].min_weights, strict=True) if w > 0]
    for index in range(span.since, span.last + 1):
        values = low[:, index]
        if np.isnan(values).any():
            continue
        day = fall_start(known.fall) + timedelta(days=index)
        p10, p50, p90 = (float(v) for v in np.quantile(values, (0.1, 0.5, 0.9)))
        kind = night_kind(known, day, index >= air.members.first_day, used)
        yield Night(day, p10, p50, p90, float(hard[:, index].mean()), float(plumbing[:, index].mean()), kind)


def night_kind(known: Known, day: date, unobserved: bool, stations: Sequence[int]) -> str:
    """observed | filled | expected, the weakest of the stations that count."""
    at = known.weather.index_of(day)
    if unobserved or not 0 <= at < known.weather.day_count:
        return "expected"
    return "filled" if known.weather.filled[list(stations), at].any() else "observed"


def _ice(snapshot: IceSnapshot, at: int) -> Ice:
    thick = snapshot.thickness_cm[at]
    p10, p50, p90 = (float(v) for v in np.quantile(thick, (0.1, 0.5, 0.9)))
    return Ice(float((thick > 0).mean()), p10, p50, p90, float(np.quantile(snapshot.stefan_cm[at], 0.9)))


def _covered(snapshot: IceSnapshot, at: int, days: int) -> float:
    return float((snapshot.covered_days[at] >= days).mean())
