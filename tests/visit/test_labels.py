"""Label sheets: read back as text (pypdf), drawn and their codes decoded (pdfium, zxing), on both papers."""

import io
from datetime import date

import pypdfium2
import pytest
import zxingcpp
from pypdf import PdfReader
from winter_season import AS_OF, a_site, run, winter_folder

from forecaster.report.labels_pdf import CODE_PT, PADDING_PT, SHEETS, labels_pdf, site_link
from forecaster.report.pdf_text import BOLD, SANS, fitted_line, lines_of, printable, width_of
from forecaster.visit.store import StoredItem

ADDRESS = "http://office.example:8050"
PAPERS = sorted(SHEETS)


def thing(number=1, **given):
    site = given.pop("site", None) or a_site(f"S-{number:02}", customer=f"Customer {number}")
    usual = {"item": "pump", "status": "taken", "day": date(2025, 10, 18), "store": "Shed 2", "watts": 180.0}
    usual |= {"keep": "wet", "heavy": False, "source": "event 1"}
    return StoredItem(site, **(usual | given))


def pdf(items, paper="letter", *, address=ADDRESS, skip=0):
    return labels_pdf(items, address=address, year=2025, paper=paper, skip=skip)


def texts(raw):
    return [page.extract_text() for page in PdfReader(io.BytesIO(raw)).pages]


def codes(raw):
    document = pypdfium2.PdfDocument(raw)
    try:
        pages = [page.render(scale=2.5).to_pil().convert("L") for page in document]
        return [sorted(code.text for code in zxingcpp.read_barcodes(page)) for page in pages]
    finally:
        document.close()


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [1, 10, 11])
def test_every_code_leads_to_its_site(paper, count):
    things = [thing(number) for number in range(1, count + 1)]
    found = codes(pdf(things, paper))
    links = [site_link(ADDRESS, one.site.site_id) for one in things]
    assert found == [sorted(links[:10]), *([sorted(links[10:])] if count > 10 else [])]


def test_without_an_address_the_code_holds_the_site_id():
    assert codes(pdf([thing(site=a_site("V/0 3"))], address="")) == [["V/0 3"]]
    assert codes(pdf([thing(site=a_site("V/0 3"))])) == [[f"{ADDRESS}/site/V%2F0%203"]]


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_their_size_and_labels_stay_on_them(paper):
    sheet = SHEETS[paper]
    page = PdfReader(io.BytesIO(pdf([thing()], paper))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(sheet.page, abs=0.01)
    for place in range(sheet.count):
        x, y = sheet.corner(place)
        assert x >= 14
        assert y >= 14
        assert x + sheet.label[0] <= sheet.page[0] - 14
        assert y + sheet.label[1] <= sheet.page[1] - 14
    assert sheet.label[1] >= CODE_PT + 2 * PADDING_PT


def test_inches_and_millimetres_are_those_said():
    assert SHEETS["letter"].page == (612, 792)
    assert SHEETS["letter"].label == (288, 144)
    assert SHEETS["a4"].page == pytest.approx((595.276, 841.890), abs=0.001)


def test_a_label_says_site_thing_store_day_and_cautions():
    words = texts(pdf([thing(heavy=True)]))[0]
    for part in ("S-01", "Pump 180 W", "Customer 1", "Shed 2, keep wet, frost-free", "taken 18 Oct 2025"):
        assert part in words
    assert "Two to lift" in words
    assert "Off at breaker or plug" in words


def test_a_plain_fitting_needs_no_word_of_power():
    assert "breaker" not in texts(pdf([thing(item="check valve", watts=None)]))[0]


def test_missing_facts_leave_room_to_write():
    words = texts(pdf([thing(day=None, store="", watts=None, keep="")]))[0]
    assert "taken ________ 2025" in words
    assert "store ____" in words
    assert "None" not in words


def test_used_labels_of_a_sheet_are_skipped():
    things = [thing(number) for number in range(1, 9)]
    found = codes(pdf(things, skip=3))
    assert [len(page) for page in found] == [7, 1]


def test_names_of_any_length_and_script_stay_in_their_label():
    names = ["W" * 90, "A name with many words " * 6, "Łukasz Żółć-Ævar", "池の水 garden", "x"]
    things = [thing(n, site=a_site(f"SITE-{n:020}", customer=name)) for n, name in enumerate(names)]
    raw = pdf(things)
    assert [len(page) for page in codes(raw)] == [5]
    words = texts(raw)[0]
    assert "Łukasz Żółć-Ævar" in words
    assert "??? garden" in words
    width = SHEETS["letter"].label[0] - CODE_PT - 3 * PADDING_PT
    for name in names:
        for line in lines_of(name, SANS, 10.0, width, most=2):
            assert width_of(line, SANS, 10.0) <= width


def test_a_line_is_first_made_smaller_then_cut():
    line, size = fitted_line("Customer", BOLD, 20.0, 500)
    assert (line, size) == ("Customer", 20.0)
    line, size = fitted_line("Customer" * 3, BOLD, 20.0, 180)
    assert line == "Customer" * 3
    assert size < 20.0
    line, size = fitted_line("Customer" * 9, BOLD, 20.0, 60)
    assert line.endswith("…")
    assert width_of(line, BOLD, size) <= 60
    assert printable("池", SANS) == "?"


def test_the_same_things_give_the_same_bytes():
    assert pdf([thing()]) == pdf([thing()])


# --- the command
def test_the_command_labels_ahead_and_takes_the_offices_address(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.edit("season.toml", lambda text: f'{text}\n[office]\naddress = "{ADDRESS}/"\n')
    target = tmp_path / "l.pdf"
    code, shown, said = run(
        "store", folder.path, "--as-of", AS_OF, "--all", "--labels", target, "--paper", "A4"
    )
    assert code == 0, said
    assert "to take" in shown
    found = codes(target.read_bytes())[0]
    assert found.count(f"{ADDRESS}/site/A-12") == 3  # pump, UV unit, check valve
    assert f"{ADDRESS}/site/D-fall" in found
    assert not any("F-runs" in text for text in found)


@pytest.mark.parametrize("address", ["office", "http://", "http://u:p@host", "http://host/?x=1"])
def test_an_address_that_is_none_is_refused(address, tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.edit("season.toml", lambda text: f'{text}\n[office]\naddress = "{address}"\n')
    code, _, said = run("store", folder.path, "--as-of", AS_OF, "--all")
    assert code == 2
    assert "[office] address" in said
