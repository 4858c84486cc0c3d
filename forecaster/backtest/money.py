"""One past season in dollars: every policy played with what was known, against what came.

The recommended policy is re-decided every morning, or every so many days: expected losses from the members
of that morning, then each pond's best day (unlimited crews) or the best assignment of all open ponds to the
crews' days. What falls before the next decision is done. With unlimited crews and a decision each morning, a
pond whose best day is today is left open where looking again tomorrow is expected to save money
(`route.waiting`). Driving is left out on both sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.inputs import BacktestInput
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.point_water import Watch, observed_water, with_level
from forecaster.backtest.policies import (
    AFTER_START,
    AFTER_SUSTAINED,
    HINDSIGHT,
    LAST_DAY,
    NEVER_WAITING,
    OUTLOOK_FREEZE,
    RANDOM,
    RANKED,
    RECOMMENDED,
    SECOND_FROST,
    actual_loss,
    best_assignment,
    fixed_starts,
    in_queue,
    ranked_starts,
)
from forecaster.backtest.replay import Courses, Morning, Season
from forecaster.backtest.result import SeasonResult
from forecaster.backtest.station_air import WARM_UP_DAYS, fall_means, fall_minima
from forecaster.errors import BadInput, Notice
from forecaster.events import SOON_DAYS, SiteEvents, first_freeze
from forecaster.falls import FALL_DAYS, date_of
from forecaster.route.waiting import HORIZON_DAYS, Ahead, waiting_saves
from forecaster.route.window import loss_by_day, share_by_day
from forecaster.season.settings import Crew, crews_for_fall
from forecaster.units import STORED_TENTH_C

Floats = NDArray[np.float64]
Days = NDArray[np.int64]

FROM_DAY = 31
"""Nothing is closed before 1 September."""
DRIVE_HOURS_A_STOP = 0.5
"""Driving that a closing takes of a crew's day, where the crews' own days set the limit; an assumption."""
RANDOM_ORDERS = 5
ORDERS = ("shallow first", "deep first", "cold hollows first", "as in the sheet")


def season_money(
    given: BacktestInput, model: PastModel, result: SeasonResult, cache: FallCache
) -> SeasonResult:
    """The result with the losses of every policy in it."""
    play = _Play(Season(given, model, result.season, cache), model)
    notices = list(result.notices)
    if len(play.sites) == 0:
        return result
    play.decide(notices)
    return replace(
        result,
        money=play.mean_losses(),
        fixed_orders=("unlimited", *ORDERS, RANDOM, RANKED),
        fixed_loss=play.fixed(),
        notices=tuple(notices),
    )


def daily_capacity(crews: Sequence[Crew], fall: int, *, closings: int | None, mean_hours: float) -> Days:
    """Closings possible on each day of the fall, shape (184,).

    Args:
        crews: With their dates in this fall.
        fall: Year of the fall.
        closings: So many on each day on which any crew works; None: by the crews' hours.
        mean_hours: Of a visit without driving [h].
    """
    out = np.zeros(FALL_DAYS, int)
    for index in range(FALL_DAYS):
        day = date_of(index, fall)
        assert day is not None
        working = [crew for crew in crews if crew.works_on(day)]
        if closings is not None:
            out[index] = closings if working else 0
        else:
            out[index] = sum(int(crew.hours_per_day / (mean_hours + DRIVE_HOURS_A_STOP)) for crew in working)
    return out


class _Play:
    """The season's truth, the decision days and what each policy closed when."""

    def __init__(self, replayed: Season, model: PastModel) -> None:
        given = replayed.given
        self.replayed, self.model, self.given = replayed, model, given
        self.sites = [n for n, i in enumerate(model.wet) if given.sites[i].winter != "runs"]
        self.position = [model.wet[n] for n in self.sites]
        chosen = [given.sites[i] for i in self.position]
        costs = given.settings.costs
        self.costs = (costs.warm_day, costs.hard_freeze, costs.plumbing_freeze, costs.ice)
        self.exposure = np.array([site.plumbing_exposure for site in chosen])
        self.depth = np.array([site.mean_depth_m or 0.0 for site in chosen])
        self.offset = np.array([site.minimum_offset_c for site in chosen])
        crews = crews_for_fall(given.settings.crews, given.settings.season.year, replayed.season)
        hours = float(np.mean([site.hours_on_site for site in chosen])) if chosen else 2.0
        self.capacity = daily_capacity(
            crews, replayed.season, closings=given.asked.closings_a_day, mean_hours=hours
        )
        self._truth()
        self.loss = actual_loss(
            self.start, self.hard, self.plumbing, self.ice, costs=self.costs, exposure=self.exposure
        )
        self.closed: dict[tuple[str, bool], Days] = {}
        self.ranks: dict[int, Days] = {}
        self.courses: Courses

    def _truth(self) -> None:
        replayed, limits = self.replayed, self.model.limits
        wet = list(self.model.wet)
        air = fall_means(replayed.after, replayed.blends, replayed.season)[replayed.blends.mean_of[wet]]
        plain = observed_water(replayed.points, air, replayed.season)[:, WARM_UP_DAYS:]
        self.water = with_level(replayed.points, plain)[self.sites]
        self.minima = fall_minima(replayed.after, replayed.blends, replayed.season)[
            replayed.blends.min_of[self.position]
        ]
        self.start, self.sustained = replayed.observed[self.sites].T
        self.hard = first_freeze(self.minima, limit_c=limits.hard_freeze_c, from_day=FROM_DAY)
        self.plumbing = first_freeze(self.minima, limit_c=limits.plumbing_freeze_c, from_day=FROM_DAY)
        frozen = self.water[:, FROM_DAY:] <= 0.0
        self.ice = np.where(frozen.any(axis=1), frozen.argmax(axis=1) + FROM_DAY, np.inf)

    def decide(self, notices: list[Notice]) -> None:
        """Play the policies that look at the sky and the forecasts."""
        step = self.given.asked.money_every_days
        working = np.flatnonzero(self.capacity)
        last = int(working[-1]) if len(working) else LAST_DAY
        days = range(FROM_DAY, last + 1, step)
        free, first = np.full(len(self.sites), -1), np.full(len(self.sites), -1)
        placed = np.full(len(self.sites), -1)
        outlook_day = np.full(len(self.sites), FALL_DAYS)
        for day in days:
            as_of = date_of(day, self.replayed.season)
            assert as_of is not None
            try:
                morning = self.replayed.morning(as_of, self.given.asked.outlook)
            except BadInput as error:
                notices += [
                    Notice(f"{as_of}: {p.where}", f"nothing decided: {p.text}") for p in error.problems
                ]
                continue
            events = self._events(morning)
            expected = np.stack(
                [
                    loss_by_day(event, self.given.settings.costs, plumbing_exposure=float(share)).total
                    for event, share in zip(events, self.exposure, strict=True)
                ]
            )
            expected -= self._paid(events, day)
            best = day + expected[:, day:].argmin(axis=1)
            first = np.where((first < 0) & (best < day + step), best, first)
            now = (free < 0) & (best < day + step)
            if step == 1:
                now[now] = self._closes(morning, events, np.flatnonzero(now))
            free[now] = best[now]
            self._decide_placed(placed, expected, day, step)
            self.ranks[day] = self._ranked(events, expected, day)
            if morning.outlook != "none":
                self._see_outlook(outlook_day, morning, day)
            unseen = morning.outlook != "none" and (outlook_day == FALL_DAYS).any()
            if (free >= 0).all() and (placed >= 0).all() and not unseen:
                break  # the order of urgency stays that of this morning
        for closed in (free, first, placed):
            closed[closed < 0] = LAST_DAY
        self.closed[NEVER_WAITING, False] = first
        self.closed[RECOMMENDED, False], self.closed[RECOMMENDED, True] = free, placed
        self._simple(outlook_day)
        self.closed[HINDSIGHT, False] = FROM_DAY + self.loss.sum(axis=2)[:, FROM_DAY:].argmin(axis=1)
        best = best_assignment(self.loss.sum(axis=2), self.capacity, FROM_DAY)
        self.closed[HINDSIGHT, True] = np.where(best < 0, LAST_DAY, best)

    def _events(self, morning: Morning) -> list[SiteEvents]:
        limits = self.model.limits
        courses = self.courses = self.replayed.courses(morning)
        watched = (*self.replayed.watched, Watch(0.0, 1, morning.as_of_day))
        start, sustained, ice = self.replayed.crossings(morning, courses, watched)
        plumbing = courses.first_freeze(limits.plumbing_freeze_c, morning.as_of_day)
        rows = self.replayed.blends.min_of[self.position]
        out = []
        for at, row in zip(self.sites, rows, strict=True):
            has = bool(self.replayed.has_minima[at])
            hard = courses.hard_freeze[row].astype(np.float32)
            out.append(
                SiteEvents(
                    start=start[at],
                    sustained=sustained[at],
                    ice_on=ice[at],
                    rebound=None,
                    hard_freeze=hard if has else None,
                    plumbing_freeze=plumbing[row].astype(np.float32) if has else None,
                    hard_freeze_soon=hard < morning.as_of_day + SOON_DAYS if has else None,
                )
            )
        return out

    def _paid(self, events: Sequence[SiteEvents], day: int) -> Floats:
        """What the forecast charges for a next freeze where the first has come already, (site, 184) [$].

        The season's account holds each kind of freeze once, so what has happened is paid whatever is done.
        """
        paid = np.zeros((len(events), FALL_DAYS))
        for site, event in enumerate(events):
            for first, drawn, cost in (
                (self.hard[site], event.hard_freeze, self.costs[1]),
                (self.plumbing[site], event.plumbing_freeze, self.costs[2] * self.exposure[site]),
            ):
                if first < day and drawn is not None:
                    paid[site] += cost * share_by_day(drawn)
        return paid

    def _closes(
        self, morning: Morning, events: Sequence[SiteEvents], sites: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Whether each of `sites`, whose best day is this morning, is closed rather than looked at again."""
        day = morning.as_of_day
        if not len(sites):
            return np.zeros(0, np.bool_)
        never = np.full(morning.members.count, np.inf)

        def drawn(name: str, paid: Floats | None = None) -> Floats:
            found = [getattr(events[site], name) for site in sites]
            found = [never if days is None else days for days in found]
            if paid is not None:
                found = [never if paid[site] < day else days for site, days in zip(sites, found, strict=True)]
            return np.array(found, float)

        rows = np.array(self.sites)[sites]
        skip = day - morning.members.first_day
        water = self.replayed.paths(morning, self.courses, rows, HORIZON_DAYS + 1 + skip)[:, :, skip:]
        lows = self.courses.minima_c[: HORIZON_DAYS + 1, self.replayed.blends.min_of[self.position][sites]]
        ahead = Ahead(
            day, water, np.moveaxis(lows, 0, -1).astype(float), drawn("start"),
            drawn("hard_freeze", self.hard), drawn("plumbing_freeze", self.plumbing), drawn("ice_on"),
            self.exposure[sites],
        )  # fmt: skip
        return np.asarray(waiting_saves(ahead, self.costs) <= 0.0)

    def _decide_placed(self, placed: Days, expected: Floats, day: int, step: int) -> None:
        waiting = np.flatnonzero(placed < 0)
        if not len(waiting):
            return
        plan = best_assignment(expected[waiting], self.capacity, day)
        now = (plan >= 0) & (plan < day + step)
        placed[waiting[now]] = plan[now]

    def _ranked(self, events: Sequence[SiteEvents], expected: Floats, day: int) -> Days:
        """Order of urgency: ready sites by a hard freeze soon, waiting ones by the freeze before settling."""
        later = min(day + 7, LAST_DAY)
        keys = []
        for event, loss in zip(events, expected, strict=True):
            assert event.sustained is not None
            ready = float((event.sustained < day).mean()) >= 0.5
            hits = 0.0
            if event.hard_freeze is not None:
                soon = event.hard_freeze < (day + SOON_DAYS if ready else event.sustained)
                hits = float(soon.mean())
            keys.append((0 if ready else 1, -round(hits, 2), -float(loss[later] - loss[day])))
        return np.array(sorted(range(len(keys)), key=lambda n: keys[n]), int)

    def _see_outlook(self, outlook_day: Days, morning: Morning, day: int) -> None:
        """The first morning on which the outlook (the middle of the members) shows a freeze at the site."""
        lows = self.courses.minima_c[:10]
        middle = np.median(lows, axis=2)[:, self.replayed.blends.min_of[self.position]]
        freeze = (middle <= self.model.limits.freeze_c + STORED_TENTH_C).any(axis=0)
        outlook_day[freeze & (outlook_day == FALL_DAYS)] = day

    def _simple(self, outlook_day: Days) -> None:
        hold = self.model.limits.hold_days
        frosts = np.cumsum(
            (self.minima <= self.model.limits.freeze_c + STORED_TENTH_C) & (np.arange(FALL_DAYS) >= FROM_DAY),
            axis=1,
        )
        second = np.where((frosts >= 2).any(axis=1), (frosts >= 2).argmax(axis=1) + 1, FALL_DAYS)
        wanted = {
            AFTER_START: _after(self.start, hold),
            AFTER_SUSTAINED: _after(self.sustained, hold),
            SECOND_FROST: second,
        }
        if (outlook_day < FALL_DAYS).any():
            wanted[OUTLOOK_FREEZE] = outlook_day
        order = np.argsort(self.depth, kind="stable")
        for name, days in wanted.items():
            self.closed[name, False] = np.minimum(days, LAST_DAY)
            self.closed[name, True] = in_queue(days, order, self.capacity)

    def mean_losses(self) -> dict[str, list[float]]:
        """Mean loss a site by part, under "policy|limited" or "policy|unlimited"."""
        sites = np.arange(len(self.sites))
        return {
            f"{name}|{'limited' if limited else 'unlimited'}": self.loss[sites, days].mean(axis=0).tolist()
            for (name, limited), days in self.closed.items()
        }

    def fixed(self) -> Floats:
        """Mean loss a site by part of every fixed first day, shape (1 + orders + 2, 184, 4)."""
        sheet = np.arange(len(self.sites))
        orders = [
            np.argsort(self.depth, kind="stable"),
            np.argsort(-self.depth, kind="stable"),
            np.argsort(self.offset, kind="stable"),
            sheet,
        ]
        rng = np.random.default_rng([self.given.settings.season.seed, self.replayed.season, 13])
        chance = [rng.permutation(len(sheet)) for _ in range(RANDOM_ORDERS)]
        free = self.loss.mean(axis=0)[None]
        fixed = fixed_starts(self.loss, orders, self.capacity)
        random = fixed_starts(self.loss, chance, self.capacity).mean(axis=0, keepdims=True)
        decided = np.array(sorted(self.ranks)) if self.ranks else np.array([0])
        ranks = self.ranks or {0: sheet}

        def rank_on(day: int) -> int:
            return int(decided[max(int(np.searchsorted(decided, day, side="right")) - 1, 0)])

        ranked = ranked_starts(self.loss, ranks, self.capacity, rank_on)[None]
        return np.concatenate([free, fixed, random, ranked])


def _after(crossing: Floats, hold_days: int) -> Days:
    """The morning after a run is complete; 184 where it never is."""
    return np.where(np.isfinite(crossing), np.nan_to_num(crossing, posinf=0.0) + hold_days, FALL_DAYS).astype(
        int
    )
