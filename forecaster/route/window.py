"""What closing on each day would cost on average, the best working day, and the window around it.

loss(d) = warm_day x days before the start crossing + hard_freeze x 1[F <= d]
        + plumbing_freeze x 1[P <= d] x exposure + ice x 1[I <= d], averaged over members [$].
A freeze counts on its own day: minima come at dawn. Never counts as 1 February.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents
from forecaster.falls import FALL_DAYS, fall_day, fall_start
from forecaster.season.settings import Costs, Crew
from forecaster.season.sites import Site

Floats = NDArray[np.float64]
PARTS = ("warm_day", "hard_freeze", "plumbing_freeze", "ice")


@dataclass(frozen=True, eq=False)
class LossByDay:
    """Expected loss of closing on each day of the fall [$], shape (4, 184), one row a part (see PARTS)."""

    parts: Floats

    @property
    def total(self) -> Floats:
        """Sum of the parts [$], shape (184,)."""
        return np.asarray(self.parts.sum(axis=0))

    def scaled(self, part: str, factor: float) -> Floats:
        """Total with one cost multiplied by `factor` [$], shape (184,)."""
        return np.asarray(self.total + (factor - 1.0) * self.parts[PARTS.index(part)])


def loss_by_day(events: SiteEvents, costs: Costs, *, plumbing_exposure: float) -> LossByDay:
    """Expected loss over all members; parts without a forecast (no pond, no minima) are 0."""
    parts = np.zeros((4, FALL_DAYS))
    if events.start is not None:
        parts[0] = costs.warm_day * days_before(events.start)
    if events.hard_freeze is not None:
        parts[1] = costs.hard_freeze * share_by_day(events.hard_freeze)
    if events.plumbing_freeze is not None:
        parts[2] = costs.plumbing_freeze * plumbing_exposure * share_by_day(events.plumbing_freeze)
    if events.ice_on is not None:
        parts[3] = costs.ice * share_by_day(events.ice_on)
    return LossByDay(parts)


def share_by_day(event_days: np.ndarray) -> Floats:
    """Share of members whose event has come by each day of the fall, shape (184,)."""
    return np.asarray(np.cumsum(_counts(event_days)[:FALL_DAYS]) / len(event_days))


def days_before(event_days: np.ndarray) -> Floats:
    """Mean number of days from each day of the fall to the event, 0 once it has come, shape (184,)."""
    counts = _counts(event_days)
    later = counts.sum() - np.cumsum(counts)
    return np.asarray(np.cumsum(later[::-1])[::-1][:FALL_DAYS] / len(event_days))


def _counts(event_days: np.ndarray) -> Floats:
    """Members by event day 0-184; never is day 184, 1 February; before 1 August is day 0."""
    day = np.clip(np.where(np.isfinite(event_days), event_days, FALL_DAYS), 0, FALL_DAYS).astype(int)
    return np.bincount(day, minlength=FALL_DAYS + 1).astype(float)


def allowed_from(site: Site, crews: Sequence[Crew], *, fall: int, as_of: date) -> NDArray[np.bool_]:
    """Days of the fall from the as-of date on which some crew could close the site, shape (184,)."""
    allowed = np.zeros(FALL_DAYS, np.bool_)
    for index in range(max(fall_day(as_of, fall), 0), FALL_DAYS):
        day = fall_start(fall) + timedelta(days=index)
        allowed[index] = any(may_close(site, crew, day) for crew in crews)
    return allowed


def may_close(site: Site, crew: Crew, day: date) -> bool:
    """True where the site's access limits and the crew's calendar allow the day."""
    return crew.works_on(day) and site_allows(site, crew.name, day)


def site_allows(site: Site, crew_name: str, day: date) -> bool:
    """True where the site's access limits allow the crew on the day."""
    return (
        (not site.crews or crew_name in site.crews)
        and day.weekday() in site.weekdays
        and (site.not_before is None or day >= site.not_before)
        and (site.not_after is None or day <= site.not_after)
    )


def best_day(loss: Floats, allowed: NDArray[np.bool_]) -> int | None:
    """Allowed day with the least loss, the earliest of equals; None where none is allowed."""
    if not allowed.any():
        return None
    return int(np.argmin(np.where(allowed, loss, np.inf)))


def window_around(loss: Floats, best: int, *, margin: float, earliest: int) -> tuple[int, int]:
    """First and last day of the run of days around `best` that cost at most `margin` [$] more."""
    cheap = loss <= loss[best] + margin
    first, last = best, best
    while first > earliest and cheap[first - 1]:
        first -= 1
    while last < len(loss) - 1 and cheap[last + 1]:
        last += 1
    return first, last


def date_shifts(losses: LossByDay, best: int, allowed: NDArray[np.bool_]) -> dict[str, tuple[int, int]]:
    """Days by which the best day moves when one cost is halved and when it is doubled, by part."""
    shifts = {}
    for part in PARTS:
        moved = [best_day(losses.scaled(part, factor), allowed) for factor in (0.5, 2.0)]
        shifts[part] = tuple((day if day is not None else best) - best for day in moved)
    return {part: (low, high) for part, (low, high) in shifts.items()}
