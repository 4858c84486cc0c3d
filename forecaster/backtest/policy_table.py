"""Policies over all seasons: what each cost, how surely it differs from ours, and its worst falls and why."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.policies import (
    FIXED,
    HINDSIGHT,
    RANDOM,
    RANKED,
    RECOMMENDED,
    SHALLOW_FIRST,
    SIMPLE,
    PolicyRow,
)
from forecaster.backtest.result import SeasonResult
from forecaster.backtest.scores import season_weights
from forecaster.falls import date_of
from forecaster.route.window import PARTS

Floats = NDArray[np.float64]

PART_NAMES = ("closed while warm", "after a hard freeze", "after a plumbing freeze", "through ice")
WORST = 5
NO_GAP = 0.01
"""A rule this near to hindsight [$] leaves no gap to close."""
LITTLE = 0.2
"""A difference below this share of the better simple rule's loss is called hardly any."""


@dataclass
class PolicyTable:
    """Losses season by season; `add` takes one in, `rows` sums up."""

    years: list[int] = field(default_factory=list)
    money: list[dict[str, list[float]]] = field(default_factory=list)
    fixed: list[Floats] = field(default_factory=list)
    orders: tuple[str, ...] = ()

    def add(self, result: SeasonResult) -> None:
        """Take one season in, if it has been played."""
        if result.money:
            self.years.append(result.season)
            self.money.append(result.money)
            self.fixed.append(result.fixed_loss)
            self.orders = result.fixed_orders

    def rows(self) -> tuple[PolicyRow, ...]:
        """Every policy of both worlds, unlimited crews first, dearest first."""
        if not self.years:
            return ()
        out: list[PolicyRow] = []
        for limited in (False, True):
            losses, details = self.losses(limited)
            out += _rows(losses, details, self.years, limited=limited)
        return tuple(out)

    def losses(self, limited: bool) -> tuple[dict[str, Floats], dict[str, str]]:
        """By policy: loss by part of each season, (season, 4) [$ a site]; and what each fixed rule fixed."""
        world = "limited" if limited else "unlimited"
        names = [key.split("|")[0] for key in self.money[0] if key.endswith(f"|{world}")]

        def missing(season: dict[str, list[float]]) -> list[float]:
            return season[f"{RECOMMENDED}|{world}"]

        found = {
            name: np.array(
                [season.get(f"{name}|{world}", season[f"{RECOMMENDED}|{world}"]) for season in self.money]
            )
            for name in names
        }
        stack = np.stack(self.fixed)  # (season, order, first day, part)
        details = {}
        if not limited:
            day = int(stack[:, 0].mean(axis=0).sum(axis=1).argmin())
            found[FIXED], details[FIXED] = stack[:, 0, day], _day(day)
            return found, details
        fixed = range(1, len(self.orders) - 2)
        for name, choices in (
            (FIXED, fixed),
            (SHALLOW_FIRST, [order for order in fixed if self.orders[order] == "shallow first"]),
            (RANDOM, [len(self.orders) - 2]),
            (RANKED, [len(self.orders) - 1]),
        ):
            if not choices:
                continue
            mean = {
                (order, day): loss for order in choices for day, loss in enumerate(self._mean(stack, order))
            }
            order, day = min(mean, key=lambda key: (mean[key], key))
            found[name] = stack[:, order, day]
            details[name] = (
                f"{self.orders[order]}, from {_day(day)}" if name == FIXED else f"from {_day(day)}"
            )
        return found, details

    @staticmethod
    def _mean(stack: Floats, order: int) -> list[float]:
        return [float(loss) for loss in stack[:, order].sum(axis=2).mean(axis=0)]


def _rows(
    losses: dict[str, Floats], details: dict[str, str], years: list[int], *, limited: bool
) -> list[PolicyRow]:
    weights = season_weights(len(years)) / len(years)
    total = {name: parts.sum(axis=1) for name, parts in losses.items()}
    ours, best = total[RECOMMENDED], total[HINDSIGHT]
    rows = []
    for name in sorted(total, key=lambda key: -float(total[key].mean())):
        loss = total[name]
        low, high = np.quantile(weights @ loss, [0.05, 0.95])
        order = np.argsort(-loss, kind="stable")[:WORST]
        worst = int(order[0])
        more = more_bounds = gap = gap_bounds = None
        if name != RECOMMENDED:
            more, more_bounds = (
                float((loss - ours).mean()),
                np.quantile(weights @ (loss - ours), [0.05, 0.95]),
            )
        if name in SIMPLE:
            above, below = weights @ (loss - ours), weights @ (loss - best)
            if float((loss - best).mean()) > NO_GAP:
                gap = float((loss - ours).mean() / (loss - best).mean())
                gap_bounds = np.quantile(above / np.maximum(below, NO_GAP), [0.05, 0.95])
        rows.append(
            PolicyRow(
                policy=name,
                crews_limited=limited,
                mean_loss=float(loss.mean()),
                low=float(low),
                high=float(high),
                seasons=len(years),
                spread=float(loss.std(ddof=1)) if len(loss) > 1 else 0.0,
                worst_season=years[worst],
                worst_loss=float(loss[worst]),
                worst_why=_why(losses[name][worst]),
                worst_seasons=[years[int(n)] for n in order],
                more_than_ours=more,
                more_than_ours_low=None if more_bounds is None else float(more_bounds[0]),
                more_than_ours_high=None if more_bounds is None else float(more_bounds[1]),
                gap_closed=gap,
                gap_closed_low=None if gap_bounds is None else float(gap_bounds[0]),
                gap_closed_high=None if gap_bounds is None else float(gap_bounds[1]),
                detail=details.get(name, ""),
                loss_parts=dict(zip(PARTS, (float(x) for x in losses[name].mean(axis=0)), strict=True)),
            )
        )
    return rows


def _why(parts: Floats) -> str:
    """The parts of a season's loss that make up most of it, in words."""
    order = np.argsort(-parts, kind="stable")
    named = [
        f"{PART_NAMES[int(n)]} {parts[n]:.0f}" for n in order if parts[n] >= 0.2 * max(parts.sum(), 1e-9)
    ]
    return ", ".join(named) if parts.sum() >= 0.5 else "nothing lost"


def money_notes(rows: tuple[PolicyRow, ...]) -> tuple[str, ...]:
    """What the table says, honestly: also where our advice hardly beats a simple rule."""
    notes = []
    for limited in (False, True):
        world = {row.policy: row for row in rows if row.crews_limited == limited}
        simple = [row for name, row in world.items() if name in SIMPLE]
        if not simple or RECOMMENDED not in world:
            continue
        ours, best = world[RECOMMENDED], min(simple, key=lambda row: row.mean_loss)
        crews = "With the crews' days as they are" if limited else "With crews enough for any day"
        text = (
            f"{crews}, our advice cost {ours.mean_loss:.0f} dollars a pond and season, the best simple rule "
            f'("{best.policy}"{f", {best.detail}" if best.detail else ""}) {best.mean_loss:.0f}, hindsight '
            f"{world[HINDSIGHT].mean_loss:.0f}."
        )
        assert best.more_than_ours_low is not None
        if ours.mean_loss > best.mean_loss + NO_GAP:
            text += " That is dearer than the simple rule: here the rule would have done better."
        elif (
            best.gap_closed is None
            or best.mean_loss - ours.mean_loss < LITTLE * best.mean_loss
            or best.more_than_ours_low <= 0.0
        ):
            text += " That is hardly better than the simple rule: here the rule would do."
        else:
            text += f" That closes {best.gap_closed:.0%} of the gap between the simple rule and hindsight."
        notes.append(text)
    return tuple(notes)


def _day(day: int) -> str:
    found = date_of(float(day), 2001)
    assert found is not None
    return f"{found.day} {found:%b}"
