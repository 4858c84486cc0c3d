"""Crew-day sheets on paper and page: one side a stop, nothing lost, cautions beside the steps, odd input."""

import io
import re
from dataclasses import replace
from datetime import date, time
from html import unescape

import pytest
from kit_cases import demo_cases, site_of
from pypdf import PdfReader

from forecaster.forecast import CrewDay, Stop
from forecaster.report.sheet_page import sheets_page
from forecaster.report.sheet_pdf import letters_pt, sheets_pdf
from forecaster.report.sheet_stop import DaySheets, day_map, day_sheets, stop_sheet
from forecaster.season.settings import Crew
from forecaster.units import M_PER_INCH
from forecaster.visit.hazards import CAUTIONS
from forecaster.visit.kit import Device, Kit
from forecaster.visit.steps import visit_work

CREW = Crew(
    name="Heron",
    latitude=43.236,
    longitude=-89.436,
    hours_per_day=8.0,
    work_days=["mon", "tue"],
    first_day=date(2025, 10, 1),
    last_day=date(2025, 11, 30),
)
LONG = "Wolkenbruch-Schmetterlingsgarten Łódź Ærø "


def sheets_of(cases, *, units: str = "us", **more) -> DaySheets:
    stops = tuple(Stop(s.site_id, time(8 + n // 4, 15 * (n % 4)), time(18)) for n, (s, _) in enumerate(cases))
    return day_sheets(
        CrewDay(date(2025, 10, 8), "Heron", stops),
        {site.site_id: site for site, _ in cases},
        {site.site_id: kit for site, kit in cases},
        season_name="Ambervane valley (invented)",
        units=units,
        crews=(CREW,),
        **more,
    )


def pages_of(pdf: bytes) -> list[str]:
    """Text of each page on one line, words as they stand."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    """Letters and figures alone: line breaks fall anywhere."""
    return re.sub(r"\W|_", "", text)


@pytest.fixture(scope="module")
def demo() -> DaySheets:
    return sheets_of(demo_cases())


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_every_kit_of_the_demo_fits_on_one_side_and_nothing_of_it_is_lost(demo, paper):
    pages = pages_of(sheets_pdf(demo, paper=paper))
    assert len(pages) == len(demo.stops) == 40
    for page, stop in zip(pages, demo.stops, strict=True):
        found = squeezed(page)
        assert squeezed(stop.site.customer) in found
        for words in stop.steps:
            assert squeezed(words.step.title + words.step.text) in found, (stop.site.site_id, words.step.key)
            for name, text in words.cautions:
                assert squeezed(name + text) in found, (stop.site.site_id, words.step.key, name)
        for name, text in stop.facts:
            assert squeezed(name + text) in found, (stop.site.site_id, name)
        assert squeezed(f"Left out here: {stop.left_out}") in found
        assert "signature" in page


def test_the_demo_is_readable(demo):
    """No letters under 8 points, most of nine or more: looked at on Letter and A4."""
    sizes = [letters_pt(demo, stop) for stop in demo.stops]
    assert min(sizes) >= 8.0
    assert sorted(sizes)[len(sizes) // 2] >= 9.0


def test_paper_has_the_size_asked_for(demo):
    for paper, size in (("letter", (612, 792)), ("a4", (595.28, 841.89))):
        box = PdfReader(io.BytesIO(sheets_pdf(demo, paper=paper))).pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.01)


@pytest.mark.parametrize("count", [0, 1, 2, 8, 14])
def test_one_page_a_stop(count):
    made = sheets_of(demo_cases()[:count])
    pages = pages_of(sheets_pdf(made))
    assert len(pages) == max(count, 1)
    assert ("No stops" in pages[0]) == (count == 0)
    assert sheets_page(made).count("<article") == count


def test_same_input_same_bytes(demo):
    assert sheets_pdf(demo) == sheets_pdf(demo)


def test_long_names_missing_data_and_other_letters_break_nothing():
    unknown = site_of("fountain")
    full = site_of(
        address="長い名前の庭, Καλημέρα 12, Пруд 3",
        access="Gate code 4711. " * 60,
        notes="Mind the dog; " * 80,
    )
    odd = [
        (replace(full, site_id="X-1", customer=LONG * 5), heavy_kit("X-1")),
        (replace(unknown, site_id="Ω-2", customer=""), Kit("Ω-2")),
        (replace(site_of(winter="partly"), site_id="A" * 80, customer="<b>X</b>" * 20), Kit("A")),
    ]
    for units in ("us", "metric"):
        made = sheets_of(odd, units=units, closed={"X-1": date(2025, 10, 7)}, source="By hand")
        for paper in ("letter", "a4"):
            pages = pages_of(sheets_pdf(made, paper=paper))
            assert len(pages) == 3
            assert "Καλημέρα 12, Пруд 3" in pages[0]
            assert "Closed already on 7 Oct" in pages[0]
            assert "no name" in pages[1]
        page = sheets_page(made)
        assert "長い名前の庭" in page
        assert "<b>X</b>" not in page


def heavy_kit(site_id: str) -> Kit:
    return Kit(
        site_id,
        pump=Device(True, 420),
        pump_weight_kg=15,
        aerator=Device(True, 60),
        deicer=Device(True, 1500),
        dosing=True,
        diffuser_depth_m=24 * M_PER_INCH,
        circuits=1,
        gfci=False,
        deicer_near_bubbles=True,
        breaker="In the cellar behind the long shelf " * 3,
        line_drains=False,
        line_diameter_m=0.05,
        line_length_m=30,
        store="the far store " * 6,
        frost_free=False,
    )


def test_cautions_stand_beside_each_step_that_needs_them_whole_the_first_time():
    for site, kit in demo_cases():
        stop = stop_sheet(site, kit, number=1, count=1, when="", units="us")
        said = set()
        for words, step in zip(stop.steps, visit_work(site, kit).steps, strict=True):
            named = dict(words.cautions)
            assert set(named) == {CAUTIONS[hazard].name for hazard in step.hazards}
            for hazard in step.hazards:
                caution = CAUTIONS[hazard]
                assert named[caution.name].startswith(caution.short)
                assert (caution.more in named[caution.name]) == (hazard not in said)
            said |= step.hazards


def test_the_page_says_what_the_paper_says(demo):
    text = squeezed(" ".join(unescape(re.sub(r"<[^>]+>", " ", sheets_page(demo))).split()))
    for stop in demo.stops:
        for words in stop.steps:
            assert squeezed(words.step.title + words.step.text) in text
            for name, caution in words.cautions:
                assert squeezed(name + caution) in text


def test_the_page_asks_no_other_host_and_runs_nothing(demo):
    page = sheets_page(demo, paper="a4")
    assert "<script" not in page
    assert not re.search(r"(src|href)=\"(http|//)", page)
    assert "@page { size: A4; }" in page


def test_the_map_keeps_order_scale_and_north():
    sites = [replace(site_of(), site_id=f"S{n}", latitude=43.2 + n / 100, longitude=-89.4) for n in range(3)]
    drawn = day_map(sites, CREW, here=1)
    assert [point.label for point in drawn.points] == ["", "1", "2", "3"]
    assert [point.is_here for point in drawn.points] == [False, False, True, False]
    heights = [point.y for point in drawn.points[1:]]
    assert heights == sorted(heights, reverse=True)  # farther north is higher up
    assert heights[0] - heights[1] == pytest.approx(heights[1] - heights[2])
    one = day_map(sites[:1], None, here=0)
    assert (one.points[0].label, one.points[0].is_here) == ("1", True)
