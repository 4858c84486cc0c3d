"""A plan while it is being worked on: every crew-day's round of stops, and what each change would cost.

A *slot* is one crew on one day. For every site and slot the extra driving of one more stop is kept, and for
every two sites the change if one took the other's place, so that whole neighbourhoods of a plan are priced
by a few array operations. Limits: a new stop goes where the round grows least and the others keep their
order; `tighten` then finds the shortest round of each slot.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
NOWHERE = -1
EPSILON = 1e-6
"""Smallest saving that counts [$]; also the slack of hours [h] against rounding."""


@dataclass(frozen=True, eq=False)
class PlanProblem:
    """Sites to slots, in numbers. n sites, J slots.

    cost: $ of closing each site in each slot (loss, moved dates), inf where it may not be, (n, J).
    hours: on site [h], (n, J). out, back: drive from and to the slot's start place [h], (J, n).
    between: drive from site to site [h], (n, n), directed. limit: hours of a slot that may be planned [h],
    (J,). whole: hours of a slot when it holds one stop, or booked ones only [h], (J,).
    not_placed: what the search sets against a site without a slot [$], (n,); left_open: what such a site is
    expected to lose [$], (n,). drive_hour: $ an hour of driving.
    day: day of the fall of each slot, (J,). booked: sites with a date that binds, (n,).
    """

    cost: Floats
    hours: Floats
    out: Floats
    back: Floats
    between: Floats
    limit: Floats
    whole: Floats
    not_placed: Floats
    left_open: Floats
    drive_hour: float
    day: NDArray[np.int64]
    booked: NDArray[np.bool_]

    @property
    def site_count(self) -> int:
        """n."""
        return self.cost.shape[0]

    @property
    def slot_count(self) -> int:
        """J."""
        return self.cost.shape[1]

    def drive_of(self, slot: int, stops: Sequence[int]) -> float:
        """Driving of a round through `stops` in this order [h], 0 for none."""
        if not stops:
            return 0.0
        legs = [self.out[slot, stops[0]], self.back[slot, stops[-1]]]
        legs += [self.between[a, b] for a, b in pairwise(stops)]
        return float(sum(legs))

    def limit_for(self, slot: int, stops: Sequence[int]) -> float:
        """Hours that a slot with these stops may take [h]."""
        alone = len(stops) == 1 or bool(self.booked[list(stops)].all())
        return float(self.whole[slot] if alone else self.limit[slot])


class Rounds:
    """The rounds of all slots. Change them by `put`, `take` and `load_rounds`, then call `refresh`."""

    def __init__(self, problem: PlanProblem) -> None:
        n, slots = problem.site_count, problem.slot_count
        self.problem = problem
        self.stops: list[list[int]] = [[] for _ in range(slots)]
        self.slot_of = np.full(n, NOWHERE)
        self.load, self.drive = np.zeros(slots), np.zeros(slots)
        self.extra = np.zeros((n, slots))  # driving of one more stop [h]
        self.without = np.zeros(n)  # driving saved if the site's stop is left out [h]
        self.instead = np.zeros((n, n))  # [t, s]: change of driving if s took the place of t [h]
        for slot in range(slots):
            self.refresh(slot)

    def refresh(self, slot: int) -> None:
        """Work out everything that depends on the stops of one slot."""
        problem, stops = self.problem, self.stops[slot]
        self.drive[slot] = problem.drive_of(slot, stops)
        self.load[slot] = problem.hours[stops, slot].sum()
        self.extra[:, slot] = self._extra(slot, stops)
        for at, site in enumerate(stops):
            rest = stops[:at] + stops[at + 1 :]
            left = problem.drive_of(slot, rest)
            self.without[site] = self.drive[slot] - left
            self.instead[site] = left + self._extra(slot, rest) - self.drive[slot]

    def _extra(self, slot: int, stops: list[int]) -> Floats:
        """Extra driving of each site as one more stop among `stops` [h], (n,)."""
        out, back, between = self.problem.out[slot], self.problem.back[slot], self.problem.between
        if not stops:
            return out + back
        least = np.minimum(
            out + between[:, stops[0]] - out[stops[0]], between[stops[-1]] + back - back[stops[-1]]
        )
        for a, b in pairwise(stops):
            np.minimum(least, between[a] + between[:, b] - between[a, b], out=least)
        return least

    def put(self, site: int, slot: int) -> None:
        """Add a stop where the round grows least (no refresh)."""
        stops, problem = self.stops[slot], self.problem
        growth = [problem.drive_of(slot, [*stops[:at], site, *stops[at:]]) for at in range(len(stops) + 1)]
        stops.insert(growth.index(min(growth)), site)
        self.slot_of[site] = slot

    def take(self, site: int) -> int:
        """Remove a stop (no refresh); returns its slot."""
        slot = int(self.slot_of[site])
        self.stops[slot].remove(site)
        self.slot_of[site] = NOWHERE
        return slot

    def copy_rounds(self) -> list[list[int]]:
        """The rounds as plain lists."""
        return [list(stops) for stops in self.stops]

    def load_rounds(self, rounds: Iterable[Sequence[int]]) -> None:
        """Make `rounds` the present ones, refreshing only what differs."""
        self.slot_of[:] = NOWHERE
        for slot, stops in enumerate(rounds):
            changed = self.stops[slot] != list(stops)
            self.stops[slot] = list(stops)
            self.slot_of[self.stops[slot]] = slot
            if changed:
                self.refresh(slot)

    def total(self) -> float:
        """Cost of the plan [$]: losses, moved dates, driving, sites without a place."""
        placed = self.slot_of >= 0
        sites = np.flatnonzero(placed)
        return float(
            self.problem.cost[sites, self.slot_of[sites]].sum()
            + self.problem.drive_hour * self.drive.sum()
            + self.problem.not_placed[~placed].sum()
        )

    def money(self) -> float:
        """The same with what a site without a place is expected to lose, for people [$]."""
        out = self.slot_of == NOWHERE
        return self.total() - float((self.problem.not_placed - self.problem.left_open)[out].sum())

    def best_slot(self, site: int) -> tuple[int, float]:
        """Slot with room where the site costs least now, and that cost [$] (inf: none has room)."""
        problem = self.problem
        need = self.load + self.drive + problem.hours[site] + self.extra[site]
        room = np.where(self.load > 0, problem.limit, problem.whole)
        price = np.where(
            need <= room + EPSILON, problem.cost[site] + problem.drive_hour * self.extra[site], np.inf
        )
        slot = int(price.argmin())
        return slot, float(price[slot])
