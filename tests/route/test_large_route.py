"""More sites than the exact listing takes: the search must run, and its gap must mean something."""

from datetime import date

import numpy as np
import pytest
from route_cases import FALL, crew, task, visit

from forecaster.falls import FALL_DAYS
from forecaster.route.assign import Visit
from forecaster.route.bound import gap_of
from forecaster.route.solve import SMALL_SITES, solve
from forecaster.season.sites import Site


def large(count: int, seed: int = 3) -> tuple[Visit, ...]:
    random = np.random.default_rng(seed)
    visits = []
    for n in range(count):
        best = random.integers(70, 100)
        loss = 4.0 * np.abs(np.arange(FALL_DAYS) - best) + 5.0
        place = Site(f"S{n:03d}", "c", 43 + random.uniform(-0.2, 0.2), -88 + random.uniform(-0.2, 0.2), 1.0)
        visits.append(Visit(place, loss, 1.5))
    return tuple(visits)


@pytest.mark.parametrize("in_force", [False, True])
def test_every_site_of_a_large_route_is_placed_where_there_is_room(in_force: bool) -> None:
    last = date(FALL, 11, 28)
    crews = (crew("North", 8.0, last), crew("South", 8.0, last))
    visits = large(SMALL_SITES + 15)
    old = {visits[0].site.site_id: (date(FALL, 10, 20), "North")} if in_force else None
    solved = solve(task(*visits, crews=crews, in_force=old))
    assert solved.assignment.not_placed == ()
    assert 0.0 <= gap_of(solved.assignment.cost, solved.assignment.bound, solved.assignment.cost) < 0.15


def test_a_large_route_without_room_fills_its_days() -> None:
    last = date(FALL, 10, 10)
    solved = solve(task(*large(SMALL_SITES + 15), crews=(crew("North", 8.0, last),)))
    assert len(solved.assignment.placed) >= 20  # five days of eight hours, four or five stops each


def test_a_small_route_is_placed_too() -> None:
    solved = solve(task(visit("A", {}), visit("B", {})))
    assert solved.assignment.not_placed == ()
