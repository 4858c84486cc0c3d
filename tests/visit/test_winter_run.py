"""The winter's members are the route's own, for closed ponds too, carried on to 31 March."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from winter_season import CLOSED, winter_folder, winter_kits, winter_known, winter_of

from forecaster.build import _outcomes, fit_known
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.known import atmosphere
from forecaster.visit.energy import route_energy, start_days
from forecaster.visit.late_winter import SEAM_DAYS, longer_draws, prolonged, winter_end
from forecaster.visit.winter_run import run_winter
from forecaster.visit.winter_watch import winter_watch
from forecaster.water.draws import draw_route, draw_water


def arrays(pond):
    return [pond.settled, pond.first_ice, pond.long_ice, pond.thermostat_days]


@pytest.fixture(scope="module")
def route_events():
    known = winter_known()
    air = atmosphere(known, known.sites)
    fit, _ = fit_known(known, known.sites, air)
    ponds = [(n, site) for n, site in enumerate(known.sites) if site.forecast_water]
    return {o.site.site_id: o.events for o in _outcomes(known, air, fit, ponds)}


def test_settling_is_the_same_to_the_bit_as_in_the_route(route_events):
    for pond in winter_of(False).ponds:
        assert (pond.settled == route_events[pond.site.site_id].sustained).all()


def test_first_ice_ahead_is_the_same_as_in_the_route(route_events):
    as_of = winter_known().as_of_day
    for pond in winter_of(False).ponds:
        route = route_events[pond.site.site_id].ice_on
        fresh = pond.first_ice >= as_of  # the winter also looks back, the route only ahead
        freezing_air = np.isfinite(pond.first_ice) & fresh
        assert (pond.first_ice[freezing_air] >= route[freezing_air]).all()  # a mild day can melt it at once
        assert (pond.first_ice[freezing_air] == route[freezing_air]).mean() > 0.9


def test_all_ponds_with_water_are_there_closed_or_running():
    assert [pond.site.site_id for pond in winter_of(False).ponds] == ["A-12", "B-36", "C-72", "F-runs"]


def test_closing_a_pond_changes_nothing_of_any_winter():
    known = winter_known()
    closed = run_winter(replace(known, closed=frozenset(CLOSED)), winter_kits(), {}, to_march=False)
    for before, after in zip(winter_of(False).ponds, closed.ponds, strict=True):
        assert all((a == b).all() for a, b in zip(arrays(before), arrays(after), strict=True))


def test_the_route_is_the_same_bytes_before_and_after_a_winter():
    before = winter_folder().json()
    run_winter(winter_known(), winter_kits(), {}, to_march=True)
    assert winter_folder().json() == before


def test_the_fall_is_the_same_whether_or_not_it_is_carried_on():
    for short, long in zip(winter_of(False).ponds, winter_of(True).ponds, strict=True):
        within = long.first_ice < FALL_DAYS
        assert (long.first_ice[within] == short.first_ice[within]).all()
        assert (long.thermostat_days >= short.thermostat_days).all()


def test_it_is_carried_on_to_31_march():
    winter = winter_of(True)
    assert winter.last_day == date(2026, 3, 31) == winter_end(2025)
    assert winter.end_day == 243  # 184 days to 31 January, 28 of February, 31 of March
    assert winter.whole.all()


def test_a_gap_in_one_march_leaves_that_winter_out():
    winter = run_winter(without(date(2015, 3, 3)), winter_kits(), {}, to_march=True)
    assert winter.last_day == date(2026, 3, 31)
    assert set(winter.source_fall[~winter.whole]) == {2014}
    assert any("2014/15" in notice.text for notice in winter.notices)


def test_many_gaps_end_the_winter_on_31_january():
    days = [date(year, 3, 3) for year in range(2008, 2020)]
    winter = run_winter(without(*days), winter_kits(), {}, to_march=True)
    assert winter.last_day == date(2026, 1, 31)
    assert winter.whole.all()
    assert any("end on 31 January" in notice.text for notice in winter.notices)


def without(*days):
    """What is known, with these days' means missing at the first station."""
    known = winter_known()
    mean = known.weather.tmean_c.copy()
    for day in days:
        mean[0, known.weather.index_of(day)] = np.nan
    return replace(known, weather=replace(known.weather, tmean_c=mean))


# --- hand case: a member carried on by its own season, lifted by what it was lifted in late January
def test_a_member_goes_on_along_its_own_season():
    known = winter_known()
    air = atmosphere(known, known.sites)
    longer = prolonged(air.members, known.weather, np.array([True, True]))
    member = int(np.flatnonzero(air.members.shift_days == 5)[3])
    row, source = air.members.base[member], int(air.members.source_fall[member])
    shift = int(air.members.shift_days[member])
    own = known.weather.tmean_c[
        :, known.weather.index_of(fall_start(source) + timedelta(days=FALL_DAYS - SEAM_DAYS + shift)) :
    ][:, : SEAM_DAYS + 59]
    lift = (air.members.tmean_base_c[row, :, -SEAM_DAYS:] - own[:, :SEAM_DAYS]).mean(axis=1)
    expected = own[:, SEAM_DAYS:] + lift[:, None]
    assert longer.members.tmean_base_c[row, :, FALL_DAYS:] == pytest.approx(expected)
    assert (longer.members.tmean_base_c[:, :, :FALL_DAYS] == air.members.tmean_base_c).all()
    assert longer.day_count - FALL_DAYS == 59


def test_no_source_season_lies_in_the_winter_that_is_forecast():
    assert winter_of(True).source_fall.max() < 2025


def test_sun_and_season_go_on_without_a_step():
    known = winter_known()
    air = atmosphere(known, known.sites)
    fit, _ = fit_known(known, known.sites, air)
    pond = fit.ponds["A-12"]
    draws = draw_water([pond], draw_route(fit, count=20, seed=1), seed=1)
    longer = longer_draws(draws, np.array([pond.pond.series.latitude]), fall=2025, day_count=243)
    steps = np.abs(np.diff(longer.terms[:, :, 0], axis=0))
    assert (steps[FALL_DAYS - 1] <= 1.2 * steps[FALL_DAYS - 10 : FALL_DAYS - 1].max(axis=0)).all()
    assert (longer.residual_c[-1] == draws.residual_c[-1]).all()
    assert longer_draws(draws, np.array([43.0]), fall=2025, day_count=FALL_DAYS) is draws


def test_one_run_serves_watch_and_energy_alike():
    known, kits = winter_known(), winter_kits()
    winter = run_winter(known, kits, start_days(known, CLOSED), to_march=True)
    shared = winter_watch(known, kits, CLOSED, every=True, winter=winter)
    assert shared.sites == winter_watch(known, kits, CLOSED, every=True).sites
    assert route_energy(known, kits, CLOSED, winter=winter) == route_energy(known, kits, CLOSED)
