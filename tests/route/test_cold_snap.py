"""One shared outlook of 18 °F in six days: exposed sites come forward, and the plan says so."""

import pytest

from forecaster.build import forecast_route
from forecaster.falls import fall_day
from forecaster.route.what_if import as_in_force
from forecaster.units import f_to_c

MILD = [4.0] * 10
SNAP = [4.0, 3.0, 2.0, 1.0, 0.0, f_to_c(18.0), -3.0, 0.0, 2.0, 3.0]


@pytest.fixture
def mild_and_snap(demo_copy):
    demo_copy.outlook(MILD)
    mild = forecast_route(demo_copy.known())
    demo_copy.outlook(SNAP)
    snap = forecast_route(as_in_force(demo_copy.known(), mild))
    return mild, snap


def test_sites_come_forward_before_the_snap_and_the_plan_says_so(mild_and_snap):
    mild, snap = mild_and_snap
    night = snap.as_of.replace(day=snap.as_of.day + 5)

    def before(forecast):
        return {s.site.site_id for s in forecast.sites if s.planned_date and s.planned_date < night}

    came = before(snap) - before(mild)
    assert len(before(snap)) > len(before(mild))
    said = " ".join(str(notice) for notice in snap.warnings)
    assert "cold snap ahead" in said
    assert "are moved forward for it" in said
    moves = {move.site_id: move for move in snap.plan.moves}
    assert came <= set(moves)
    assert any("a hard freeze has come by then in" in moves[site_id].reason for site_id in came)
    assert "cold snap ahead" not in " ".join(str(notice) for notice in mild.warnings)


def test_those_that_lose_most_by_the_snap_are_the_ones_that_come_forward(mild_and_snap):
    _, snap = mild_and_snap
    day_before, day_after = (fall_day(snap.as_of, snap.fall) + n for n in (4, 7))

    def jump(site) -> float:
        total = site.loss_parts_by_day.sum(axis=0)
        return float(total[day_after] - total[day_before])

    forward = {move.site_id for move in snap.plan.moves if move.to_day and move.to_day < move.from_day}
    jumps = {site.site.site_id: jump(site) for site in snap.sites}
    came = [jumps[site_id] for site_id in forward]
    rest = [value for site_id, value in jumps.items() if site_id not in forward]
    assert len(came) >= 3
    assert sum(came) / len(came) > sum(rest) / len(rest)
