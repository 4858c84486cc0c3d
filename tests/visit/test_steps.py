"""The steps of a visit: what applies where, hazards found by tag and by word, what is left out and why."""

import re
from dataclasses import replace

import pytest
from kit_cases import demo_cases, every_case, site_of

from forecaster.report.glossary import glossary
from forecaster.units import KG_PER_POUND
from forecaster.visit.hazards import CAUTIONS, HAZARDS, hazards_in
from forecaster.visit.kit import Device, Kit
from forecaster.visit.pipes import EDGE_LIMIT_KG
from forecaster.visit.steps import Step, visit_work

FULL = Kit(
    "S1",
    pump=Device(True, 180),
    uv=Device(True, 55),
    aerator=Device(True, 60),
    deicer=Device(True, 300),
    dosing=True,
    check_valve=True,
    skimmer=True,
    filter_housing=True,
    net=True,
    circuits=2,
    line_drains=False,
    line_diameter_m=0.0508,
    line_length_m=15.24,
    line_kind="schedule 40",
    breaker="Garage, no. 7",
    store="our barn",
    frost_free=True,
    ledges="east side",
)


@pytest.fixture(scope="module")
def every_step() -> list[Step]:
    """Each different step of each case, once."""
    cases = [*demo_cases(), *every_case()]
    found = {step: None for site, kit in cases for step in visit_work(site, kit).steps}
    found |= {
        step: None for site, kit in demo_cases() for step in visit_work(site, kit, units="metric").steps
    }
    return list(found)


def keys(site, kit) -> list[str]:
    return [step.key for step in visit_work(site, kit).steps]


def text_of(site, kit, key: str) -> str:
    return next(step.text for step in visit_work(site, kit).steps if step.key == key)


# --- what applies


def test_a_pond_with_everything_has_every_step_in_order():
    assert keys(site_of(), FULL) == [
        *("power_off", "ice", "leaves", "reading", "diffuser", "deicer", "pump", "uv", "check_valve"),
        *("housings", "lines", "power_on", "gas_exchange", "net", "store", "photos"),
    ]


def test_power_is_off_before_anything_touches_the_water_and_on_after_all():
    for site, kit in (*demo_cases(), *every_case()):
        found = keys(site, kit)
        assert found[0] == "power_off"
        if "power_on" in found:
            wet = {
                "leaves",
                "reading",
                "diffuser",
                "deicer",
                "pump",
                "uv",
                "check_valve",
                "housings",
                "lines",
            }
            assert all(found.index(key) < found.index("power_on") for key in wet & set(found))


def test_a_fall_or_fountain_has_no_pond_steps():
    for kind in ("fall without pond", "fountain"):
        work = visit_work(site_of(kind), FULL)
        assert not {"reading", "diffuser", "deicer", "gas_exchange", "ice", "net"} & {
            s.key for s in work.steps
        }
        assert "basin" in {s.key for s in work.steps}
        assert {("Water reading", "no pond"), ("Diffuser to the shelf", "no pond")} <= {
            (item.title, item.reason) for item in work.left_out
        }


def test_without_fish_no_gas_exchange_is_asked():
    assert "gas_exchange" in keys(site_of(), FULL)
    assert "gas_exchange" not in keys(site_of(fish=False), FULL)


def test_what_runs_all_winter_keeps_pump_and_line():
    found = keys(site_of(winter="runs"), FULL)
    assert not {"pump", "lines", "check_valve", "housings", "store"} & set(found)
    assert {"power_on", "gas_exchange"} <= set(found)


def test_a_partly_closed_site_keeps_what_the_sheet_says_or_asks():
    site = site_of(winter="partly")
    assert "pump" not in keys(site, replace(FULL, kept_running=frozenset({"pump"})))
    assert "pump" in keys(site, replace(FULL, kept_running=frozenset()))
    assert "ask the office first" in text_of(site, FULL, "pump")
    assert "lines" in keys(site, replace(FULL, kept_running=frozenset({"pump"})))  # the fall's line is shut
    assert "lines" not in keys(site, replace(FULL, kept_running=frozenset({"fall"})))
    assert "housings" not in keys(site, replace(FULL, kept_running=frozenset({"pump"})))  # its skimmer runs


def test_what_is_not_known_is_asked_and_what_is_not_there_is_left_out_with_its_reason():
    site = site_of()
    unknown, none = Kit("S1"), replace(FULL, aerator=Device(False), deicer=Device(False), net=False)
    assert "(not noted)" in text_of(site, unknown, "diffuser")
    assert "None is noted" in text_of(site, unknown, "gas_exchange")
    left = {item.title: item.reason for item in visit_work(site, none).left_out}
    assert left["Diffuser to the shelf"] == "no aerator here"
    assert left["De-icer in still water"] == "no de-icer here"
    assert left["Net back on"] == "no net here"


def test_every_case_says_of_each_of_the_seventeen_steps_whether_and_why():
    for site, kit in every_case():
        work = visit_work(site, kit)
        assert len(work.steps) + len(work.left_out) == 17
        assert all(item.reason for item in work.left_out)


def test_numbers_of_the_kit_stand_in_the_text():
    site = site_of()
    assert "8.7 gal of water" in text_of(site, FULL, "lines")  # 50 ft of 2 in, see test_pipes
    assert "10 to 16 in" in text_of(site, FULL, "diffuser")
    metric = {step.key: step.text for step in visit_work(site, FULL, units="metric").steps}
    assert "33 l of water" in metric["lines"]
    assert "25 to 41 cm" in metric["diffuser"]
    heavy = replace(FULL, pump_weight_kg=EDGE_LIMIT_KG + 0.5 * KG_PER_POUND)
    light = replace(FULL, pump_weight_kg=EDGE_LIMIT_KG - 2 * KG_PER_POUND)
    assert "two lift it" in text_of(site, heavy, "pump")
    assert "two lift it" not in text_of(site, light, "pump")


# --- cautions


def test_no_step_speaks_of_a_hazard_without_its_tag(every_step):
    assert len(every_step) > 60
    untagged = {
        (step.key, hazard, step.text)
        for step in every_step
        for hazard in hazards_in(f"{step.title}. {step.text}") - step.hazards
    }
    assert untagged == set()


def test_the_word_search_finds_each_kind_and_leaves_plain_work_alone():
    examples = {
        "electricity": "Unplug the lamp",
        "ice": "Stand clear of the ice",
        "cold water": "Reach down to the shelf",
        "lifting": "Carry the filter to the truck",
        "blower": "Blow the line out",
        "chemicals": "Pour in the water treatment",
    }
    assert set(examples) == set(HAZARDS)
    for hazard, text in examples.items():
        assert hazard in hazards_in(text), text
    assert hazards_in("Take photos of the garden gate.") == frozenset()


def test_every_caution_that_needs_one_defers():
    deferring = {"electricity": "licensed electrician", "blower": "maker", "chemicals": "label"}
    for hazard, words in deferring.items():
        caution = CAUTIONS[hazard]
        assert words in f"{caution.short} {caution.more}"
    assert "local codes" in CAUTIONS["electricity"].more


def test_no_clause_of_a_code_and_no_distance_is_given_as_a_fact(every_step):
    texts = [f"{step.title} {step.text}" for step in every_step if step.key != "lines"]
    texts += [f"{caution.short} {caution.more}" for caution in CAUTIONS.values()]
    for text in texts:
        assert not re.search(r"\bNEC\b|\bOSHA\b|\bArticle \d|\b680\b|\b1910\b|§", text)
        assert not re.search(r"\b\d+ ?(ft|feet|m)\b", text), text


def test_nothing_says_or_implies_that_ice_is_safe(every_step):
    for text in [*(s.text for s in every_step), *(f"{c.short} {c.more}" for c in CAUTIONS.values())]:
        assert not re.search(r"safe|thick enough|holds (you|a person)|walk on|bears", text), text


# --- words

TRADE = (
    "diffuser",
    "de-icer",
    "aerator",
    "check valve",
    "dosing",
    "skimmer",
    "filter housing",
    "tether",
    "breaker",
    "circuit",
    "GFCI",
    "ultraviolet",
    "spillway",
    "ledge",
    "shelf",
    "basin",
)


def test_each_trade_word_stands_in_the_glossary(every_step):
    meanings = {word.casefold(): text for word, text in glossary("us").items()}
    used = " ".join(f"{s.title} {s.text}" for s in every_step)
    used += " ".join(f"{c.short} {c.more}" for c in CAUTIONS.values())
    for word in TRADE:
        assert word.casefold() in used.casefold(), f"{word} is not used any more"
        assert any(word.casefold() in key for key in meanings), f"{word} has no entry"
