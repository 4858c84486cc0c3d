"""One past season, replayed on its as-of days with what was known on each of them.

Everything that a forecast may use comes from `known_weather(as_of)` and the readings up to the as-of date.
The season's own truth is computed apart, from the weather after it, and is only ever compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.climatology import EarlierFalls, Reference, reference, still_to_come
from forecaster.backtest.emulator import EMULATED_ERROR, NO_ERROR, emulated_outlooks, perfect_outlooks
from forecaster.backtest.inputs import BacktestInput
from forecaster.backtest.past import (
    FallCache,
    PastModel,
    earlier_falls,
    earlier_measured,
    fit_on,
    is_read_in,
    known_at,
)
from forecaster.backtest.point_water import (
    PointWater,
    Watch,
    member_crossings,
    member_paths,
    observed_water,
    point_water,
    runs_until,
    with_level,
)
from forecaster.backtest.result import SHARES, SeasonResult, empty_result
from forecaster.backtest.scores import (
    fair_crps_of_sorted,
    probability_transform,
    quantiles_of_sorted,
    scored_days,
)
from forecaster.backtest.station_air import (
    WARM_UP_DAYS,
    fall_means,
    known_weather,
    site_blends,
)
from forecaster.backtest.truth import thresholds_of
from forecaster.errors import BadInput, Notice
from forecaster.events import first_freeze
from forecaster.falls import fall_day
from forecaster.moved_falls import RECIPE, Recipe
from forecaster.outlook_head import OutlookError
from forecaster.scenarios import Members, make_members
from forecaster.simulate import run_members
from forecaster.water.draws import draw_route
from forecaster.water.pooling import RouteFit
from forecaster.weather.fall_blocks import usable_falls
from forecaster.weather.stations import Outlook, Weather

Floats = NDArray[np.float64]
KEPT_AT_MOST_DAYS = 3
"""A kept outlook older than this is not used in a replay; an emulated one takes its place."""


@dataclass(frozen=True, eq=False)
class Morning:
    """What is known and drawn on one as-of morning, before any site is looked at."""

    as_of: date
    as_of_day: int
    weather: Weather
    falls: tuple[int, ...]
    members: Members
    outlook: str


@dataclass(frozen=True, eq=False)
class Courses:
    """Members' air as the kernel wants it: means from the first unobserved day and minima from the as-of day
    on, (day, row, member) [°C]; `hard_freeze`: the first of these days with one, (row, member)."""

    means_c: NDArray[np.float32]
    minima_c: NDArray[np.float32]
    hard_freeze: Floats

    def first_freeze(self, limit_c: float, as_of_day: int) -> Floats:
        """First day from the as-of day on at or below a limit, (row, member)."""
        return np.asarray(first_freeze(np.moveaxis(self.minima_c, 0, -1), limit_c=limit_c) + as_of_day)


class Season:
    """One season's replay. `stations` are those that had any record on 1 August."""

    def __init__(
        self, given: BacktestInput, model: PastModel, season: int, cache: FallCache, recipe: Recipe = RECIPE
    ) -> None:
        self.season, self.model, self.recipe = season, model, recipe
        self.watched = tuple(Watch(t, model.limits.hold_days) for t in thresholds_of(model.limits))
        august = known_weather(given, date(season, 8, 1))
        names = {station.station_id for station in august.stations}
        self.given = replace(given, records=tuple(r for r in given.records if r.station.station_id in names))
        self.august = august
        self.blends = site_blends(given, august)
        self.after = known_weather(self.given, date(season + 1, 2, 12))
        falls = usable_falls(august, season)
        known = known_at(given, august, date(season, 8, 1))
        self.fit = fit_on(known)
        self.points = self._points(self.fit)
        self.earlier = earlier_falls(model, cache, august, self.blends, self.points, falls)
        self.observed, freezes = cache.get(
            self.after, self.blends, self.points, model.wet, season, model.limits
        )
        self.freezes = freezes
        self.has_minima = self.blends.has_minima[list(model.wet)]

    def _points(self, fit: RouteFit) -> PointWater:
        return point_water([fit.ponds[self.given.sites[position].site_id] for position in self.model.wet])

    def morning(self, as_of: date, outlook: str) -> Morning:
        """Weather and members of one as-of date.

        Raises:
            BadInput: The weather known on that morning cannot be used.
        """
        weather = known_weather(self.given, as_of)
        falls = usable_falls(weather, self.season)[-self.given.settings.weather.seasons :]
        outlooks, errors, kind = self._outlooks(weather, falls, as_of, outlook)
        shifts = len(self.recipe.shifts_days) * len(falls)
        settings = self.given.settings
        count = (self.given.asked.members or settings.season.members) if outlooks else shifts
        members = make_members(
            weather, falls, fall=self.season, as_of=as_of, count=count, seed=settings.season.seed,
            outlooks=outlooks, outlook_errors=errors, recipe=self.recipe,
        )  # fmt: skip
        return Morning(as_of, fall_day(as_of, self.season), weather, falls, members, kind)

    def _outlooks(
        self, weather: Weather, falls: Sequence[int], as_of: date, wanted: str
    ) -> tuple[tuple[Outlook, ...], dict[str, OutlookError] | None, str]:
        seed = self.given.settings.season.seed
        names = [station.station_id for station in weather.stations]
        if wanted == "kept":
            kept = tuple(o for o in self.given.outlooks if o.issued <= as_of)
            newest = {o.station_id: o.issued for o in sorted(kept, key=lambda o: o.issued)}
            if all(n in newest and (as_of - newest[n]).days <= KEPT_AT_MOST_DAYS for n in names):
                return kept, None, "kept"
        if wanted in ("kept", "emulated"):
            made = emulated_outlooks(weather, self.after, falls, fall=self.season, as_of=as_of, seed=seed)
            return made, dict.fromkeys(names, EMULATED_ERROR), "emulated"
        if wanted == "perfect":
            made = perfect_outlooks(self.after, fall=self.season, as_of=as_of)
            return made, dict.fromkeys(names, NO_ERROR), "perfect"
        return (), None, "none"

    def fit_of(self, morning: Morning) -> RouteFit:
        """The fit with the readings known then; that of 1 August where no reading has come since."""
        if not is_read_in(self.given, self.season, morning.as_of):
            return self.fit
        return fit_on(known_at(self.given, morning.weather, morning.as_of), morning.members)

    def courses(self, morning: Morning) -> Courses:
        """Members' air at the distinct sites."""
        members = morning.members
        means = _courses(
            members, members.tmean_base_c, members.tmean_head_c,
            self.blends.mean_rows.mean, self.blends.mean_rows.mean_shift_c, members.first_day,
        )  # fmt: skip
        lows = _courses(
            members, members.tmin_base_c, members.tmin_head_c,
            self.blends.min_rows.minimum, self.blends.min_rows.min_shift_c, morning.as_of_day,
        )  # fmt: skip
        drawn = Courses(means, lows, np.zeros(0))
        freeze = drawn.first_freeze(self.model.limits.hard_freeze_c, morning.as_of_day)
        return replace(drawn, hard_freeze=freeze)

    def crossings(
        self, morning: Morning, courses: Courses, watched: Sequence[Watch] | None = None
    ) -> NDArray[np.float32]:
        """Crossings of every site in every member, parameters at their estimate: (event, site, member)."""
        watched = self.watched if watched is None else watched
        points, past = self._past_water(morning)
        first_day = morning.members.first_day
        mean_of = self.blends.mean_of[list(self.model.wet)]
        level = with_level(points, past[:, WARM_UP_DAYS:])
        runs = runs_until(level, watched, first_day)
        return member_crossings(
            points,
            self.season,
            state_c=past[:, -1],
            runs=runs,
            air_c=courses.means_c,
            air_of=mean_of,
            first_day=first_day,
            watched=watched,
        )

    def _past_water(self, morning: Morning) -> tuple[PointWater, Floats]:
        """The ponds as known on a morning, and their water until the day before the members' first."""
        fit = self.fit_of(morning)
        points = self.points if fit is self.fit else self._points(fit)
        air = fall_means(morning.weather, self.blends, self.season)[self.blends.mean_of[list(self.model.wet)]]
        return points, observed_water(points, air[:, : WARM_UP_DAYS + morning.members.first_day], self.season)

    def paths(self, morning: Morning, courses: Courses, sites: NDArray[np.int64], days: int) -> Floats:
        """Water of some sites (rows of `wet`) in every member from its first day on: (site, m, day)."""
        points, past = self._past_water(morning)
        return member_paths(
            points.pick(sites), self.season, state_c=past[sites, -1], air_c=courses.means_c,
            air_of=self.blends.mean_of[np.array(self.model.wet)[sites]],
            first_day=morning.members.first_day, days=days,
        )  # fmt: skip


def replay_season(
    given: BacktestInput,
    model: PastModel,
    season: int,
    days: Sequence[date],
    cache: FallCache,
    recipe: Recipe = RECIPE,
) -> SeasonResult:
    """Forecasts and scores of one season on its as-of days.

    A morning on which the known weather cannot be used is left out, with the reason in the result.
    """
    replayed = Season(given, model, season, cache, recipe)
    result = empty_result(season, days, [given.sites[i].site_id for i in model.wet])
    _write_truth(result, replayed)
    left_out = []
    for case, as_of in enumerate(days):
        try:
            morning = replayed.morning(as_of, given.asked.outlook)
        except BadInput as error:
            left_out += [Notice(f"{as_of}: {p.where}", f"left out: {p.text}") for p in error.problems]
            continue
        courses = replayed.courses(morning)
        crossings = replayed.crossings(morning, courses)
        plumbing = courses.first_freeze(model.limits.plumbing_freeze_c, morning.as_of_day)
        rows = replayed.blends.min_of[list(model.wet)]
        freeze = np.stack([courses.hard_freeze[rows], plumbing[rows]])
        known = reference(
            replayed.earlier,
            replayed.observed,
            as_of_day=morning.as_of_day,
            hold_days=model.limits.hold_days,
        )
        everywhere = list(range(len(model.wet)))
        _write_case(result, case, everywhere, replayed, morning, crossings, freeze, known)
        for site, position in enumerate(model.wet):
            if season in model.measured.get(position, {}):
                _replay_measured(result, case, site, replayed, morning)
    return replace(result, notices=tuple(left_out))


def _write_truth(result: SeasonResult, replayed: Season) -> None:
    result.observed[:] = replayed.observed
    for site, position in enumerate(replayed.model.wet):
        found = replayed.model.measured.get(position, {}).get(replayed.season)
        if found is not None:
            known = ~np.isnan(found.crossing)
            result.observed[site, known] = found.crossing[known]
            result.measured[site, known] = True


def _replay_measured(result: SeasonResult, case: int, site: int, replayed: Season, morning: Morning) -> None:
    """Forecast of one site with all its uncertainty against what was measured there."""
    given, model = replayed.given, replayed.model
    position = model.wet[site]
    settings = given.settings
    count = given.asked.members or settings.season.members
    members = morning.members if morning.members.count == count else _repeated(morning.members, count)
    fit = replayed.fit_of(morning)
    pond = fit.ponds[given.sites[position].site_id]
    past = fall_means(morning.weather, replayed.blends, replayed.season)[:, WARM_UP_DAYS:]
    (events,) = run_members(
        members,
        replayed.blends.matrices.of_rows([position]),
        np.nan_to_num(past[replayed.blends.mean_of[[position]]]),
        [pond],
        draw_route(fit, count=count, seed=settings.season.seed),
        limits=model.limits,
        as_of_day=morning.as_of_day,
        seed=settings.season.seed,
    )
    assert events.start is not None
    assert events.sustained is not None
    crossings = np.stack([events.start, events.sustained])[:, None, :]
    never = np.full(count, np.inf)
    drawn = (events.hard_freeze, events.plumbing_freeze)
    freeze = np.stack([never if days is None else days for days in drawn])[:, None, :]
    earlier: EarlierFalls = earlier_measured(
        model, replayed.august, replayed.blends, position, replayed.season
    )
    known = reference(
        earlier,
        result.observed[[site]],
        as_of_day=morning.as_of_day,
        hold_days=model.limits.hold_days,
    )
    _write_case(result, case, [site], replayed, morning, crossings, freeze, known)


def _repeated(members: Members, count: int) -> Members:
    """The same courses, each taken about equally often, `count` in all (no outlook in them)."""
    order = np.arange(count) % members.count
    return replace(
        members,
        source_fall=members.source_fall[order],
        shift_days=members.shift_days[order],
        base=members.base[order],
        tmean_head_c=members.tmean_head_c[order],
        tmin_head_c=members.tmin_head_c[order],
    )


def _write_case(
    result: SeasonResult,
    case: int,
    sites: Sequence[int],
    replayed: Season,
    morning: Morning,
    crossings: NDArray[np.float32],
    freeze: np.ndarray,
    known: Reference,
) -> None:
    """Quantiles, chances and scores of one morning; `sites` are rows of the result.

    `crossings` (event, site, member), `freeze` (kind, site, member): days since 1 August, inf never.

    Where a site's event was measured, only the forecast with full uncertainty (a single site) is written.
    """
    alone = len(sites) == 1 and bool(result.measured[sites[0]].any())
    hold = replayed.model.limits.hold_days
    rows = np.array(sites)
    for event in range(crossings.shape[0]):
        write = rows[result.measured[rows, event] == alone]
        if not len(write):
            continue
        at = np.searchsorted(rows, write)
        days = np.sort(crossings[event, at], axis=-1).astype(float)
        count = np.full(len(at), days.shape[1])
        observed = result.observed[write, event]
        seen, limited = scored_days(observed), scored_days(days)
        result.quantiles[case, write, event] = quantiles_of_sorted(days, count, SHARES)
        result.p_not_reached[case, write, event] = np.isinf(days).mean(axis=1)
        first = (freeze[:, at] < crossings[event, at]).mean(axis=-1)
        minima = replayed.blends.min_of[np.array(replayed.model.wet)[write]]
        happened = replayed.freezes[:, minima, morning.as_of_day] < observed
        has = replayed.has_minima[write]
        for kind, (chance, came, past) in enumerate(
            (
                (result.freeze_chance, result.freeze_happened, result.freeze_reference),
                (result.plumbing_chance, result.plumbing_happened, result.plumbing_reference),
            )
        ):
            chance[case, write, event] = np.where(has, first[kind], np.nan)
            came[case, write, event] = np.where(has, happened[kind], np.nan)
            past[case, write, event] = np.where(has, known.freeze_first[kind, at, event], np.nan)
        result.reference_count[case, write, event] = known.count[at, event]
        result.reference_crps[case, write, event] = known.crps_days[at, event]
        result.reference_error[case, write, event] = np.abs(known.median[at, event] - seen)
        result.last_fall_error[case, write, event] = np.abs(known.last_fall[at, event] - seen)
        enough = np.isfinite(known.crps_days[at, event])
        result.scored[case, write, event] = enough & still_to_come(observed, morning.as_of_day, hold)
        result.crps[case, write, event] = fair_crps_of_sorted(limited, count, seen)
        result.bias[case, write, event] = limited.mean(axis=1) - seen
        middle = quantiles_of_sorted(limited, count, np.array([0.5]))[:, 0]
        result.error[case, write, event] = np.abs(middle - seen)
        result.transform[case, write, event] = probability_transform(limited, seen)
    result.done[case] = True
    result.outlook[case] = ("none", "emulated", "perfect", "kept").index(morning.outlook)


def _courses(
    members: Members, base_c: Floats, head_c: Floats, weights: Floats, shift_c: Floats, from_day: int
) -> NDArray[np.float32]:
    """Air of distinct sites in all members from `from_day` on, shape (day, row, member), float32."""
    base = np.nan_to_num(base_c[:, :, from_day:])
    rows = np.einsum("rs,bsd->drb", weights, base) + shift_c[None, :, None]
    out = np.ascontiguousarray(rows[:, :, members.base], dtype=np.float32)
    skip = from_day - members.head_from
    head = np.nan_to_num(head_c[:, :, max(skip, 0) :])
    if head.shape[2]:
        first = max(-skip, 0)
        blended = np.einsum("rs,msd->drm", weights, head) + shift_c[None, :, None]
        out[first : first + head.shape[2]] = blended[: out.shape[0] - first]
    return out
