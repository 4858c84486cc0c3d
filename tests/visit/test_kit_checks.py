"""Findings about the kit: each of the rules, at and beyond its limit, and nothing where nothing is wrong."""

from dataclasses import replace

import pytest
from kit_cases import demo_cases, every_case, site_of

from forecaster.units import M_PER_INCH
from forecaster.visit.hazards import hazards_in
from forecaster.visit.kit import Device, Kit
from forecaster.visit.kit_checks import kit_findings

GOOD = Kit(
    "S1",
    pump=Device(True, 180),
    pump_weight_kg=6.0,
    aerator=Device(True, 60),
    deicer=Device(True, 300),
    diffuser_depth_m=12 * M_PER_INCH,
    deicer_near_bubbles=False,
    circuits=2,
    gfci=True,
    breaker="Garage, no. 7",
    line_diameter_m=0.05,
    line_length_m=9.0,
    line_drains=True,
    store="our barn",
    frost_free=True,
    winter_access="path is cleared",
)


def found(kit: Kit, **site) -> list[tuple[str, str]]:
    pond = site_of(max_depth_m=36 * M_PER_INCH, **site)
    return [(f.level, f.text) for f in kit_findings(pond, kit)]


def test_a_good_kit_has_no_finding():
    assert found(GOOD) == []


@pytest.mark.parametrize(
    ("change", "level", "says"),
    [
        ({"deicer": Device(False)}, "look", "only one device for gas exchange"),
        ({"deicer": Device(False), "aerator": Device(False)}, "look", "no device for gas exchange"),
        ({"deicer": Device()}, "ask", "one way for gas to get out is known"),
        ({"circuits": 1}, "look", "hang on one circuit"),
        ({"diffuser_depth_m": 24 * M_PER_INCH}, "look", "hangs at 24 in: in winter 10 to 16 in"),
        ({"diffuser_depth_m": 6 * M_PER_INCH}, "look", "only 6 in deep"),
        ({"deicer": Device(True, 1500)}, "look", "has 1,500 W: about 300 W"),
        ({"deicer_near_bubbles": True}, "look", "near the bubbles"),
        ({"gfci": False}, "look", "not GFCI-protected"),
        ({"line_drains": False}, "look", "does not drain by itself"),
        ({"frost_free": False}, "look", "store (our barn) is not frost-free"),
        ({"pump_weight_kg": 15.0}, "look", "weighs 33 lb: two lift it"),
        ({"breaker": "", "circuits": None}, "ask", "where to switch off, how many circuits."),
    ],
)
def test_each_rule(change, level, says):
    ((found_level, text),) = found(replace(GOOD, **change))
    assert found_level == level
    assert says in text


@pytest.mark.parametrize("inches", [10, 12, 16])
def test_the_limits_of_the_depth_count_as_good(inches):
    assert found(replace(GOOD, diffuser_depth_m=inches * M_PER_INCH)) == []


def test_a_diffuser_at_the_bottom_of_a_shallow_pond():
    kit = replace(GOOD, diffuser_depth_m=16 * M_PER_INCH)
    (finding,) = kit_findings(site_of(max_depth_m=18 * M_PER_INCH), kit)
    assert "on or near the bottom (18 in)" in finding.text


def test_running_water_is_a_second_way_and_no_fish_needs_none():
    one = replace(GOOD, deicer=Device(False))
    assert found(one, winter="runs") == []
    assert found(replace(one, kept_running=frozenset({"fall"})), winter="partly") == []
    assert found(one, fish=False) == []


def test_unknown_is_asked_never_found_wrong():
    assert {level for level, _ in found(Kit("S1"))} == {"ask"}


def test_every_finding_names_its_hazards_and_columns():
    for site, kit in (*demo_cases(), *every_case()):
        for finding in kit_findings(site, kit):
            assert finding.columns
            assert hazards_in(finding.text) - {"cold water"} <= finding.hazards, finding


def test_the_demo_has_the_findings_it_was_made_for():
    said = {site.site_id: " ".join(f.text for f in kit_findings(site, kit)) for site, kit in demo_cases()}
    assert "1,500 W" in said["U-06"]
    assert "only one device" in said["U-07"]
    assert "no device for gas exchange" in said["B-01"]
    assert "hangs at 24 in" in said["V-15"]
    assert "does not drain" in said["V-03"]
    assert "not frost-free" in said["B-05"]
