"""When an alarm speaks: episodes, new sites, margins, repeats. By hand on an invented route."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from brief_situations import AS_OF, MOMENT, calm, nights, settings, site_of, sites, situation

from forecaster.brief.alarms import alarms, no_forecast
from forecaster.report.brief_text import alarm_text, cautions

PATIENT = settings(alarms={"data_hours": 10_000})
"""The weather of these situations stays where it is, so its age must not speak."""


def freeze(hours: float, chosen=None, **chances: float):
    """A situation `hours` after the first, with chances of a hard freeze by site (`L_03`)."""
    coming = {name.replace("_", "-"): nights(p) for name, p in chances.items()}
    return situation(coming=coming, hours=hours, chosen=chosen or PATIENT)


def hear(*situations):
    """The alarms at each situation, the memory going through JSON."""
    told, heard = {}, []
    for now in situations:
        matters, told = alarms(now, told)
        told = json.loads(json.dumps(told))
        heard.append(matters)
    return heard


def keys(heard) -> list[list[str]]:
    return [[matter.key for matter in matters] for matters in heard]


def test_above_the_limit_not_at_it():
    assert keys(hear(freeze(0, L_03=0.5))) == [[]]
    ((matter,),) = hear(freeze(0, L_03=0.51))
    assert matter.key == "hard_freeze/2025/1"
    assert matter.title == "Hard freeze about Wed 8 Oct, up to 1 in 2: L-03 Sedge Hollow 3"
    assert matter.urgent
    assert matter.lines == (
        "L-03  Sedge Hollow 3: 1 in 2 (51 %), most often Wed 8 Oct; "
        "lowest of 3 nights about 27 °F (21 to 34); planned Tue 14 Oct with North",
    )


def test_one_alarm_for_the_whole_spell():
    heard = hear(*(freeze(3 * n, L_03=0.7, L_04=0.6) for n in range(20)))
    assert keys(heard) == [["hard_freeze/2025/1"]] + [[]] * 19


def test_a_chance_that_swings_around_the_limit_is_one_alarm():
    heard = hear(*(freeze(30 * n, L_03=p) for n, p in enumerate((0.6, 0.45, 0.55, 0.41, 0.6))))
    assert keys(heard) == [["hard_freeze/2025/1"], [], [], [], []]


def test_a_new_spell_is_a_new_alarm_but_not_before_repeat_hours():
    heard = hear(freeze(0, L_03=0.6), freeze(3), freeze(6, L_03=0.6), freeze(30, L_03=0.6))
    assert keys(heard) == [["hard_freeze/2025/1"], [], [], ["hard_freeze/2025/2"]]


def test_more_sites_follow_later_or_at_once_if_they_are_many():
    heard = hear(
        freeze(0, L_01=0.6, L_02=0.6),
        freeze(3, L_01=0.6, L_02=0.6, L_03=0.6),  # one more: later
        freeze(6, L_01=0.6, L_02=0.6, L_03=0.6, L_04=0.6),  # two more are as many as named: now
        freeze(9, L_01=0.6, L_02=0.6, L_03=0.6, L_04=0.6, L_05=0.6),
        freeze(31, L_01=0.6, L_02=0.6, L_03=0.6, L_04=0.6, L_05=0.6),
    )
    assert keys(heard) == [["hard_freeze/2025/1"], [], ["hard_freeze/2025/1/2"], [], ["hard_freeze/2025/1/3"]]
    spoken = [matters[0].sites for matters in heard if matters]
    assert spoken == [("L-01", "L-02"), ("L-03", "L-04"), ("L-05",)]


def test_a_clock_set_back_does_not_silence_a_new_spell():
    heard = hear(freeze(0, L_03=0.6), freeze(1), freeze(-24 * 200, L_03=0.6))
    assert keys(heard)[2] == ["hard_freeze/2025/2"]


@pytest.mark.parametrize(("limit", "heard"), [(0.2, True), (1.0, False)])
def test_limits_are_settings_and_one_switches_off(limit, heard):
    chosen = settings(alarms={"hard_freeze_chance": limit})
    assert bool(hear(freeze(0, chosen, L_03=1.0 if limit == 1 else 0.3))[0]) == heard


def test_a_night_below_the_minimum():
    ((matter,),) = hear(situation(coming={"L-03": nights(0.2, below=0.34), "L-04": nights(0.2, below=0.3)}))
    assert matter.key == "minimum/2025/1"
    assert matter.title == "20 °F or colder within 3 nights, up to 1 in 3: L-03 Sedge Hollow 3"


def test_water_at_its_thresholds():
    chosen = settings(alarms={"water": "both", "data_hours": 10_000})

    def at(*water_c: float):
        given = {f"L_{n:02d}": {"water_now_c": c} for n, c in enumerate(water_c, start=1)}
        return lambda hours: situation(sites(calm(), **given), hours=hours, chosen=chosen)

    heard = hear(at(12, 12)(0), at(10, 10.1)(3), at(10.4, 10.1)(30), at(9.0, 7.2)(60), at(11.2, 7.9)(90))
    assert keys(heard) == [[], ["start/2025/1"], [], ["start/2025/1/2", "sustained/2025/1"], []]
    assert heard[1][0].title == "Water probably at 50 °F or below: L-01 Hazel Court 1".replace(
        "Hazel Court 1", site_of(calm(), "L-01").site.customer
    )
    assert "water about 50 °F (47 to 53)" in heard[1][0].lines[0]
    assert hear(situation(sites(calm(), L_01={"water_now_c": 5.0}))) == [[]]  # off unless set


def test_old_weather_speaks_once_and_again_when_twice_as_old():
    stale = tuple(replace(s, last_day=AS_OF - timedelta(days=4)) for s in calm().stations)
    old, fresh = replace(calm(), stations=stale), calm(as_of=AS_OF + timedelta(days=3))
    heard = hear(
        *(situation(old, hours=h) for h in (0, 24, 80)),
        situation(fresh, hours=9),
        situation(old, hours=82),
    )
    assert keys(heard) == [["data/2025/1"], [], ["data/2025/1/2"], [], ["data/2025/2"]]
    assert heard[0][0].title == "The weather is 3 days old"


def test_no_forecast_speaks_once_for_a_reason():
    def said(reasons, told, hours):
        moment = MOMENT + timedelta(hours=hours)
        matters, told = no_forecast(reasons, told, fall=2025, moment=moment, repeat_hours=24)
        return [matter.key for matter in matters], json.loads(json.dumps(told))

    first, told = said(("weather: 11 days without an observation",), {}, 0)
    same, told = said(("weather: 11 days without an observation",), told, 30)
    soon, told = said(("sites.csv row 4: broken",), told, 31)
    week, told = said(("weather: 11 days without an observation",), told, 24 * 8)
    assert (first, same) == (["no_forecast/2025/1"], [])
    assert (soon, week) == (["no_forecast/2025/2"], ["no_forecast/2025/3"])
    _, told = alarms(situation(), told)
    assert "no_forecast" not in told


def test_the_rules_speak_apart_and_carry_their_cautions():
    ((first, second),) = hear(situation(coming={"L-03": nights(0.7, below=0.5), "L-04": nights(0.6)}))
    assert {first.kind, second.kind} == {"hard_freeze", "minimum"}
    text = alarm_text(first, ["Weather to 5 Oct."])
    assert text.startswith("Act now: Hard freeze about Wed 8 Oct, up to 7 in 10: 2 open sites\n- L-03")
    assert "Do not walk on it" in text
    assert "switch the circuit off at the panel" in text
    assert "licensed trades" in text
    assert all(caution in text for caution in cautions([first]))
    assert "!" not in text
