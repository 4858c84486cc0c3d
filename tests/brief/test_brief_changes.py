"""What is told: each rule by hand on an invented route, and nothing twice."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from brief_situations import AS_OF, calm, nights, sites, situation

from forecaster.brief.changes import dates, level_of, plan, risks, water
from forecaster.brief.situation import OutlookNights, Situation
from forecaster.brief.sources import SOURCES, Source, matters_since
from forecaster.brief.weather_changes import data, outlook, snap, troubles
from forecaster.forecast import Move
from forecaster.matters import Matter


def titles(matters) -> list[str]:
    return [matter.title for matter in matters]


def tell(rule, *mornings: Situation):
    """What a rule tells on each morning, its memory going through JSON as it does in the outbox."""
    told, found = None, []
    for morning in mornings:
        matters, told = rule(morning, told)
        told = json.loads(json.dumps(told))
        found.append(matters)
    return found


def shifted(days: int, **more):
    """A calm morning on which the visit of L-03 is planned `days` later."""
    planned = AS_OF + timedelta(days=8 + days)
    return situation(sites(calm(), L_03={"planned_date": planned, **more}))


# --- dates


def test_the_first_brief_tells_no_dates():
    assert tell(dates, situation()) == [[]]


@pytest.mark.parametrize(
    ("days", "told"), [(0, False), (1, False), (-1, False), (2, True), (-2, True), (9, True)]
)
def test_a_visit_that_moved_by_two_days_is_told(days, told):
    _, matters = tell(dates, situation(), shifted(days))
    assert bool(matters) == told
    if told:
        assert matters[0].title == "L-03 Sedge Hollow 3: visit moved"
        assert matters[0].lines[0].startswith("was Tue 14 Oct, now ")
        assert matters[0].sites == ("L-03",)


def test_the_number_of_days_is_a_setting():
    from brief_situations import settings

    chosen = settings(brief={"moved_days": 4})
    for days, told in ((3, False), (4, True)):
        morning = situation(shifted(days).forecast, chosen=chosen)
        assert bool(tell(dates, situation(chosen=chosen), morning)[1]) == told


def test_a_slow_drift_is_told_when_it_has_become_two_days():
    told = tell(dates, situation(), *(shifted(days) for days in (1, 1, 2, 3, 3, 4, 4)))
    assert [bool(matters) for matters in told] == [False, False, False, True, False, False, True, False]


def test_a_visit_that_swings_by_one_day_is_never_told():
    assert not any(tell(dates, situation(), *(shifted(days) for days in (1, 0, -1, 0, 1, -1, 0))))


def test_visits_that_lose_or_get_a_place_are_told():
    lost = situation(sites(calm(), L_03={"planned_date": None, "planned_crew": None}))
    _, gone, back = tell(dates, situation(), lost, situation())
    assert gone[0].lines == ("was Tue 14 Oct, now no crew-day left",)
    assert back[0].lines[0].startswith("was not placed, now Tue 14 Oct")


def test_a_visit_whose_day_passed_without_a_closing_is_told():
    later = calm(as_of=AS_OF + timedelta(days=9))
    later = sites(later, L_03={"planned_date": AS_OF + timedelta(days=9)})
    _, matters = tell(dates, situation(), situation(later))
    assert (
        "L-03  Sedge Hollow 3: was planned Tue 14 Oct, not recorded as closed; now Wed 15 Oct"
        in "\n".join(matters[0].lines)
    )


def test_a_best_day_that_slides_with_today_is_not_told():
    mornings = [
        situation(
            sites(calm(as_of=AS_OF + timedelta(days=n)), L_03={"recommended_date": AS_OF + timedelta(days=n)})
        )
        for n in range(0, 6, 2)
    ]
    assert not any(m.kind == "best_days_moved" for found in tell(dates, *mornings) for m in found)
    moved = situation(sites(calm(), L_03={"recommended_date": AS_OF + timedelta(days=3)}))
    assert tell(dates, situation(), moved)[1][0].lines == ("best day was 16 Oct, now 9 Oct",)


def test_closed_sites_are_not_told_and_long_lists_are_cut_and_say_so():
    many = calm(24)
    moved = replace(
        many, sites=tuple(replace(s, planned_date=AS_OF + timedelta(days=12)) for s in many.sites[:20])
    )
    _, (visits,) = tell(dates, situation(many), situation(moved))
    assert visits.title == "20 visits moved"
    assert len(visits.lines) == 13
    assert visits.lines[-1] == "and 8 more"
    assert len(visits.sites) == 20


# --- risks


def test_levels_go_up_at_once_and_down_with_a_margin():
    levels = (0.2, 0.5)
    assert [level_of(p, 0, levels) for p in (0.19, 0.2, 0.5, 0.99)] == [0, 1, 2, 2]
    assert [level_of(p, 2, levels) for p in (0.46, 0.45, 0.44, 0.16, 0.14)] == [2, 2, 1, 1, 0]


def at_risk(p: float):
    return situation(sites(calm(), L_03={"p_hard_freeze_first": p}))


def test_a_crossed_level_is_told_once_each_way():
    chances = (0.1, 0.49, 0.52, 0.48, 0.51, 0.47, 0.3)
    told = tell(risks, *(at_risk(p) for p in chances))
    assert [titles(matters) for matters in told] == [
        [],
        ["L-03 Sedge Hollow 3: hard freeze now 1 in 5 or more"],
        ["L-03 Sedge Hollow 3: hard freeze now 1 in 2 or more"],
        [],
        [],
        [],
        ["L-03 Sedge Hollow 3: hard freeze now less than 1 in 2"],
    ]
    assert told[2][0].lines == ("hard freeze before the water settles: 1 in 2 (52 %), was 49 %",)


def test_refused_chances_are_no_risk_and_no_crossing():
    refused = situation(sites(calm(), L_03={"p_hard_freeze_first": None}))
    assert tell(risks, at_risk(0.6), refused, at_risk(0.6))[1:] == [[], []]


# --- water and plan


def test_water_that_settled_is_told_once():
    ready = situation(sites(calm(), L_03={"state": "ready"}))
    first, told, again = tell(water, situation(), ready, ready)
    assert (titles(first), titles(again)) == ([], [])
    assert titles(told) == ["L-03 Sedge Hollow 3: now ready to close"]
    assert "planned Tue 14 Oct" in told[0].lines[0]


def test_a_visit_too_late_for_the_frost_is_urgent():
    frost = {"p_hard_freeze_before_planned": 0.7, "p_hard_freeze_14d": 0.7}
    late = situation(sites(calm(), L_03=frost, L_04=frost))
    first, told, again, over = tell(plan, situation(), late, late, situation())
    assert (first, again, over) == ([], [], [])
    assert told[0].urgent
    assert told[0].title == "2 sites cannot wait for the planned day"
    assert (
        told[0]
        .lines[0]
        .startswith("L-03  Sedge Hollow 3: hard freeze likely before the planned day; planned")
    )


def test_what_goes_for_a_day_and_comes_again_is_not_told_again():
    frost = {"p_hard_freeze_before_planned": 0.7, "p_hard_freeze_14d": 0.7}

    def morning(day: int, **changes):
        return situation(sites(calm(as_of=AS_OF + timedelta(days=day)), **changes))

    told = tell(
        plan,
        morning(0, L_03=frost),
        morning(1),
        morning(2, L_03=frost),  # gone for one day: the same matter
        morning(3),
        morning(4),
        morning(5),
        morning(6, L_03=frost),  # gone for three days: a new one
    )
    assert [bool(matters) for matters in told] == [True, False, False, False, False, False, True]


def test_no_crew_day_dates_told_and_the_owners_limit():
    calm_one = calm()
    move = Move("L-03", date(2025, 10, 15), date(2025, 10, 9), True, 25.0, 60.0, "frost")
    own = replace(move, site_id="L-04", told=False)
    changed = replace(
        calm_one, plan=replace(calm_one.plan, not_placed=("L-05",), moves=(move, own), caught_p90=9)
    )
    _, told, again = tell(plan, situation(), situation(changed), situation(changed))
    assert titles(told) == [
        "L-05 Willow Walk 5: no crew-day left",
        "L-03 Sedge Hollow 3: the date told would move",
        "The plan no longer keeps at most 4 caught ponds",
    ]
    assert told[1].lines == ("told 15 Oct, the plan now has 9 Oct",)
    assert again == []


# --- weather


def threatened(p: float, count: int = 2, day: int = 4):
    names = [f"L-{n:02d}" for n in range(1, count + 1)]
    when = AS_OF + timedelta(days=day)
    return situation(calm(12), coming={name: nights(snap=p, day=when) for name in names})


def test_a_cold_snap_is_told_when_it_comes_earlier_grows_or_is_off():
    told = tell(
        snap,
        threatened(0.29),
        threatened(0.3),
        threatened(0.4),
        threatened(0.4, day=3),
        threatened(0.4, count=4, day=3),
        threatened(0.66, count=4, day=3),
        threatened(0.1),
        threatened(0.1),
    )
    assert [titles(matters) for matters in told] == [
        [],
        ["Cold snap about Fri 10 Oct, 3 in 10: 2 open sites"],
        [],
        ["Cold snap about Thu 9 Oct, 4 in 10: 2 open sites"],
        ["Cold snap about Thu 9 Oct, 4 in 10: 4 open sites"],
        ["Cold snap about Thu 9 Oct, 2 in 3: 4 open sites"],
        ["The cold snap about Thu 9 Oct is no longer likely"],
        [],
    ]


def test_a_snap_is_a_matter_of_now_only_when_likely_and_near():
    urgent = [tell(snap, threatened(p, day=day))[0][0].urgent for p, day in ((0.5, 3), (0.5, 4), (0.49, 2))]
    assert urgent == [True, False, False]
    (matter,) = tell(snap, threatened(0.4, count=10))[0]
    assert matter.lines[0].startswith("L-01  Birch Lane 1: 4 in 10; planned Tue 14 Oct")
    assert matter.lines[-1] == "and 2 more with a chance of 3 in 10 or more"
    assert len(matter.sites) == 10


def test_a_snap_that_is_over_is_not_called_off():
    after = situation(calm(as_of=AS_OF + timedelta(days=6)))
    assert tell(snap, threatened(0.6), after)[1] == []


def outlook_of(*lows: float, issued: int = 6, hour: int = 10):
    days = {AS_OF + timedelta(days=n): low for n, low in enumerate(lows)}
    at = datetime(2025, 10, issued, hour, tzinfo=UTC)
    return situation(outlook=OutlookNights(at, {"LS1": days}))


def test_an_outlook_is_told_only_for_nights_of_frost_that_change_much_or_cross_the_limit():
    told = tell(
        outlook,
        outlook_of(8.0, 5.0, -1.0),
        outlook_of(4.0, 9.0, -1.5),  # warm nights change, the frost does not
        outlook_of(4.0, 9.0, -2.5),  # -2.5 is at or below 28 F: crossed
        outlook_of(4.0, 9.0, -2.4),
        outlook_of(4.0, -2.0, -2.4),  # 11 degrees colder, and a frost
        outlook_of(4.0, 3.0, 3.0),
    )
    assert [titles(matters) for matters in told] == [
        ["Outlook: 30 °F on Wed 8 Oct at LS1"],
        [],
        ["New outlook, colder: 28 °F on Wed 8 Oct, was 30 °F"],
        [],
        ["New outlook, colder: 28 °F on Tue 7 Oct, was 48 °F"],
        ["New outlook, milder: 37 °F on Wed 8 Oct, was 28 °F"],
    ]


def test_no_outlook_is_no_matter():
    assert tell(outlook, situation(), outlook_of(8.0, 7.0), situation(), outlook_of(8.0, 7.0)) == [[]] * 4


def test_old_data_is_told_once_again_when_twice_as_old_and_when_fresh():
    def aged(days: int):
        forecast = calm(as_of=AS_OF + timedelta(days=days))
        return situation(replace(forecast, stations=calm().stations))

    told = tell(data, *(aged(days) for days in (0, 1, 2, 3, 4, 5, 6)), situation())
    assert [titles(matters) for matters in told] == [
        [],
        [],
        [],
        ["The weather is 3 days old"],  # 78 h at six in the morning, more than 72
        [],
        [],
        [],
        ["The weather is up to date again"],
    ]
    assert titles(tell(data, aged(3), aged(7))[1]) == ["The weather is 7 days old"]  # 174 h >= 2 x 78 h


def test_undelivered_messages_are_told_once():
    lost = situation(troubles=("A: given up for owner@example.org (550 no)",))
    first, told, again = tell(troubles, situation(), lost, lost)
    assert (first, again) == ([], [])
    assert titles(told) == ["1 message could not be delivered"]


# --- all together


def test_nothing_is_told_when_nothing_changed(demo_situation):
    matters, told = matters_since(demo_situation, None)
    assert matters
    again, after = matters_since(demo_situation, json.loads(json.dumps(told)))
    assert again == ()
    assert after == told


def test_urgent_matters_come_first_and_keys_differ(demo_situation):
    matters, _ = matters_since(demo_situation, None)
    urgency = [matter.urgent for matter in matters]
    assert urgency == sorted(urgency, reverse=True)
    assert len({matter.key for matter in matters}) == len(matters)
    forecast = demo_situation.forecast
    known = {site.site.site_id for site in forecast.sites}
    known |= {site.site_id for site in (*forecast.closed, *forecast.runs_all_winter)}  # the winter's
    assert all(set(matter.sites) <= known for matter in matters)


def test_another_room_adds_a_source_with_a_memory_of_its_own():
    def deicers(now: Situation, told):
        seen = (told or {}).get("seen", 0)
        return [Matter(f"deicer/{seen}", "deicer", f"De-icer checked {seen} times")], {"seen": seen + 1}

    sources = (*SOURCES, Source("deicers", deicers))
    _, told = matters_since(situation(), None, sources)
    matters, told = matters_since(situation(), told, sources)
    assert titles(matters) == ["De-icer checked 1 times"]
    matters, told = matters_since(situation(), told)  # not asked: its memory stays
    assert (matters, told["deicers"]) == ((), {"seen": 2})
    assert len({source.name for source in SOURCES}) == len(SOURCES)
