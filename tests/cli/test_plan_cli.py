"""The scheduler's plan from the command line: files for the office, one site, what-if, bad input."""

import openpyxl
import pytest
from icalendar import Calendar

AS_OF = "2025-10-06"


def test_all_files_of_the_plan(run, season, tmp_path):
    names = {"xlsx": "p.xlsx", "ics": "p.ics", "csv": "p.csv", "map": "m.svg", "picture": "s.svg"}
    options = [part for key, name in names.items() for part in (f"--{key}", tmp_path / name)]
    done = run("route", season, "--as-of", AS_OF, *options)
    assert done.returncode == 0, done.stderr
    visits = (tmp_path / "p.csv").read_text(encoding="utf-8-sig").splitlines()[1:]
    assert len(visits) == 37
    calendar = Calendar.from_ical((tmp_path / "p.ics").read_bytes())
    assert len(calendar.walk("VEVENT")) > 0
    assert openpyxl.load_workbook(tmp_path / "p.xlsx").sheetnames
    for name in ("m.svg", "s.svg"):
        assert "<svg" in (tmp_path / name).read_text(encoding="utf-8")


def test_one_site(run, season):
    done = run("site", season, "V-03", "--as-of", AS_OF)
    assert done.returncode == 0, done.stderr
    assert "V-03" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 100
    wrong = run("site", season, "V-3", "--as-of", AS_OF)
    assert wrong.returncode == 2
    assert "Did you mean" in wrong.stderr


def test_what_if_changes_nothing(run, season, tmp_path):
    before = {p: p.read_bytes() for p in season.rglob("*") if p.is_file()}
    done = run("route", season, "--as-of", AS_OF, "--what-if", "ill Heron 2025-10-09")
    assert done.returncode == 0, done.stderr
    assert "Heron" in done.stdout
    assert before == {p: p.read_bytes() for p in season.rglob("*") if p.is_file()}


@pytest.mark.parametrize(
    "options",
    [("--gap", "2"), ("--what-if", "holiday"), ("--xlsx", "plan.doc"), ("--map", "no/such/map.svg")],
)
def test_bad_options_are_refused(run, season, options):
    done = run("route", season, "--as-of", AS_OF, *options)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
