"""What the winter says of electricity, ice, products, fish, lifting carries its caution, in plain words."""

import re
from datetime import date

import pytest
from winter_season import CLOSED, a_site, winter_kits, winter_known

from forecaster.report.energy_text import energy_text
from forecaster.report.store_text import spring_text, store_text
from forecaster.report.winter_cautions import BACTERIA, ELECTRICITY, FEEDING, ICE, LIFTING
from forecaster.report.winter_text import winter_text
from forecaster.season.state_records import ClosedEvent
from forecaster.visit.energy import route_energy
from forecaster.visit.kit import Device, Kit
from forecaster.visit.store import store_list
from forecaster.visit.winter_watch import winter_watch

HAZARDS = (
    (r"de-icer|aerator|UV|breaker|plug", ELECTRICITY),
    (r"\bice\b", ICE),
    (r"bacteria|antifreeze|\bdos(?:e|ing)\b", BACTERIA),
    (r"\bfeeding\b", FEEDING),
    (r"\bpump\b", LIFTING),
)
STATISTICS = (
    r"(?i)quantile|percentile|median|ensemble|\bmembers?\b|standard deviation|\bsd\b|probabilit|sigma"
)


@pytest.fixture(scope="module")
def texts():
    known, kits = winter_known(), winter_kits()
    kit = Kit("S-1", pump=Device(True, 180), uv=Device(True), aerator=Device(True), deicer=Device(True))
    store = store_list(
        [a_site()],
        {"S-1": kit},
        {"S-1": ClosedEvent(date(2025, 10, 6), "North", "pump out")},
        [],
        season_name="Season",
        as_of=date(2025, 10, 6),
    )
    return {
        "energy": energy_text(route_energy(known, kits, CLOSED, price=0.16), unicode=True),
        "one site's energy": energy_text(route_energy(known, kits, CLOSED, only="B-36"), unicode=True),
        "winter": winter_text(winter_watch(known, kits, CLOSED, every=True), unicode=True),
        "one pond's winter": winter_text(
            winter_watch(known, kits, CLOSED, only="A-12"), unicode=True, detail=True
        ),
        "store": store_text(store, unicode=True),
        "spring": spring_text(store, unicode=True),
    }


def flat(text):
    return " ".join(text.split())


def test_each_hazard_has_its_caution_in_the_same_text(texts):
    for name, text in texts.items():
        for words, caution in HAZARDS:
            if name == "store" and caution == ELECTRICITY:
                continue  # a list of what lies on a shelf, nothing is at the water
            if re.search(words, text):
                assert caution in flat(text), f"{name}: {words}"


def test_each_caution_defers_and_forbids_what_it_must():
    assert "licensed electricians" in ELECTRICITY
    assert "local codes" in ELECTRICITY
    assert "GFCI" in ELECTRICITY
    assert "Do not walk on it" in ICE
    assert "not measured" in ICE
    assert "never alone" in ICE
    assert "label" in BACTERIA
    assert "No antifreeze in a pond" in " ".join(BACTERIA.split())
    assert "fish-care practice" in FEEDING
    assert "with two" in LIFTING


def test_nothing_says_that_ice_is_safe(texts):
    for name, text in texts.items():
        assert not re.search(r"(?i)\bsafe\b|\bbears?\b|thick enough", text), name


def test_words_are_plain(texts):
    for name, text in texts.items():
        assert not re.search(STATISTICS, text), name
        assert "!" not in text
        assert max(map(len, text.splitlines())) <= 100
