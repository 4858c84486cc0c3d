"""The commands kit and sheets on a copy of the demo: what they write, which plan they follow, bad input."""

import csv
import io
import json
import re
import shutil

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from forecaster.cli import app
from forecaster.demo import copy_demo
from forecaster.errors import BadInput

ON_DAY = ("--day", "2025-10-08", "--as-of", "2025-10-06")


def ask(*arguments: str):
    """Runs a command; errors raised on purpose come through."""
    done = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done


def refused(*arguments: str) -> str:
    with pytest.raises(BadInput) as caught:
        CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False, standalone_mode=False)
    assert caught.value.exit_code == 2
    return str(caught.value)


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """The demo with few members: only who goes where matters here."""
    folder = copy_demo(tmp_path_factory.mktemp("sheets") / "season")
    settings = folder / "season.toml"
    settings.write_text(re.sub(r"members = \d+", "members = 200", settings.read_text()))
    return folder


@pytest.fixture(scope="module")
def accepted(season, tmp_path_factory):
    """The same with a plan in force: its sheets need no forecast."""
    folder = tmp_path_factory.mktemp("accepted") / "season"
    shutil.copytree(season, folder)
    ask("accept", folder, "--as-of", "2025-10-06", "--yes")
    return folder


def test_kit_lists_findings_and_writes_them(season, tmp_path):
    out = ask("kit", season, "--json", tmp_path / "kit.json", "--csv", tmp_path / "kit.csv").stdout
    assert "40 sites" in out
    assert "1,500 W" in out
    assert "Take care" in out
    found = {site["site_id"]: site for site in json.loads((tmp_path / "kit.json").read_text())["sites"]}
    assert len(found) == 40
    kit = found["V-03"]["kit"]
    assert kit["line_length_m"] == pytest.approx(45 * 0.3048)
    assert kit["deicer"] == {"there": None, "watts": None}
    # 45 ft of 2 in schedule 40: 45 x 0.17432 gal x 3.785411784 l
    assert kit["line_volume_m3"] == pytest.approx([45 * 0.17432 * 0.003785411784] * 2, rel=1e-3)
    rows = list(csv.reader(io.StringIO((tmp_path / "kit.csv").read_bytes().decode("utf-8-sig"))))
    assert len(rows) == 41
    assert len({len(row) for row in rows}) == 1


def test_kit_of_one_site(season):
    out = ask("kit", season, "fernwhistle").stdout
    assert "Water in the line: 7.8 gal" in out
    assert "De-icer: not in the sheet" in out


def test_sheets_of_a_day_as_pdf_page_and_text(accepted, tmp_path):
    pdf, page = tmp_path / "day.pdf", tmp_path / "day.html"
    done = ask("sheets", accepted, *ON_DAY, "--crew", "heron", "--pdf", pdf, "--html", page, "--paper", "a4")
    assert "By the plan in force" in done.stdout
    stops = len(PdfReader(pdf).pages)
    assert stops >= 2
    assert page.read_text().count("<article") == stops
    full = ask("sheets", accepted, *ON_DAY).stdout
    assert full.count("1. Power off.") == stops
    assert "| Electricity: Off at the breaker or plug" in full


def test_one_site_needs_no_plan(season, tmp_path):
    out = ask(
        "sheets", season, "--site", "V-10", "--as-of", "2025-10-06", "--pdf", tmp_path / "v10.pdf"
    ).stdout
    assert "V-10" in out
    (page,) = PdfReader(tmp_path / "v10.pdf").pages
    assert "it runs all winter" in " ".join(page.extract_text().split())


def test_sheets_follow_the_plan_in_force_until_a_date_moves(season, accepted, tmp_path):
    folder = tmp_path / "season"
    shutil.copytree(accepted, folder)
    out = ask("sheets", folder, *ON_DAY).stdout
    assert "By the plan in force" in out
    shutil.rmtree(folder / "weather")  # a morning without weather has its sheets all the same
    assert "By the plan in force" in ask("sheets", folder, *ON_DAY, "--pdf", tmp_path).stdout
    assert (tmp_path / "2025-10-08-Heron.pdf").is_file()
    shutil.copytree(season / "weather", folder / "weather")
    ask("close", folder, "V-18", "--on", "2025-10-06", "--by", "Heron")
    assert "By the plan in force" in ask("sheets", folder, *ON_DAY).stdout
    ask("book", folder, "V-03", "2025-10-20", "--on", "2025-10-06")
    out = ask("sheets", folder, *ON_DAY).stdout
    assert "with what was recorded since the plan in force" in out
    assert "V-03" not in out


def test_bad_input_is_refused_and_nothing_written(accepted, tmp_path):
    target = tmp_path / "x.pdf"
    assert "Did you mean Heron" in refused("sheets", accepted, *ON_DAY, "--crew", "Herron", "--pdf", target)
    assert "Did you mean a4" in refused("sheets", accepted, *ON_DAY, "--paper", "a44", "--pdf", target)
    none = refused("sheets", accepted, "--day", "2025-10-12", "--as-of", "2025-10-06", "--pdf", target)
    assert "no crew has a stop on 2025-10-12" in none
    assert "Days with stops: 2025-10-" in none
    assert "must end in .html" in refused("sheets", accepted, *ON_DAY, "--html", tmp_path / "sheets")
    assert "no folder" in refused("sheets", accepted, *ON_DAY, "--pdf", tmp_path / "no" / "x.pdf")
    assert "V-99" in refused("kit", accepted, "V-99")
    assert not target.exists()


def test_a_bad_cell_of_kit_stops_these_commands_but_no_forecast(season, tmp_path):
    folder = tmp_path / "season"
    shutil.copytree(season, folder)
    sheet = folder / "sites.csv"
    sheet.write_text(sheet.read_text().replace(",250,2,1.5,25,no,", ",lots,2,1.5,25,no,", 1))
    said = refused("kit", folder, "--json", tmp_path / "kit.json")
    assert 'sites.csv row 2, deicer_watts: "lots" is not a number of watts' in said
    assert not (tmp_path / "kit.json").exists()
    checked = " ".join(ask("check", folder, "--as-of", "2025-10-06").stdout.split())
    assert 'deicer_watts: "lots" is not a number of watts (1 to 10000)' in checked
    assert "Until then it counts as not known" in checked
