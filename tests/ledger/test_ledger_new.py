"""A new season folder, the next season's, and what changed in the sheet."""

from __future__ import annotations

import tomllib
import zipfile
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from forecaster.demo import copy_demo
from forecaster.errors import ForecasterError
from forecaster.season import events as ev
from forecaster.season.changes import sheet_changes, sheet_snapshot
from forecaster.season.ledger import open_ledger
from forecaster.season.new import make_season, read_addresses
from forecaster.season.new_toml import NewCrew, NewSeason, settings_text
from forecaster.season.next_season import next_season
from forecaster.season.settings import Settings, read_settings
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site

SEASON = NewSeason("Fall 2025", 2025, "America/Chicago")
ADDRESSES = """\
Customer Name,Street,Lat,Lng,Phone,Depth,Account No
"Müller, Ann",5 Heronshaw Bend,43.20,-89.44,+1 555 0100,24,A-1
O'Leary 🐸,6 Otterlight Lane,43.21,-89.45,,,A-2
"""


def write(path: Path, content: str) -> Path:
    path.write_bytes(content.encode())
    return path


# --- new: the settings


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_new_settings_are_the_usual_ones(tmp_path, units):
    """The file that is written out says what an empty one means (metric: rounded to 0.01 °C, 1 km/h)."""
    season = replace(SEASON, units=units, name='The "north" route \\ 2025')
    write(tmp_path / "season.toml", settings_text(season, [NewCrew("Nörd", 43.2, -89.4)]))
    made = read_settings(tmp_path)
    assert (made.season.name, made.season.year, made.season.units) == (season.name, 2025, units)
    assert [(crew.name, crew.first_day) for crew in made.crews] == [("Nörd", date(2025, 10, 1))]
    usual = Settings(season=made.season)
    assert (made.costs, made.route.lost_day_share) == (usual.costs, 0.1)
    for name in ("start_c", "sustained_c", "freeze_c", "hard_freeze_c", "plumbing_freeze_c"):
        near = 1e-9 if units == "us" else 0.005
        assert getattr(made.thresholds, name) == pytest.approx(getattr(usual.thresholds, name), abs=near)
    assert made.route.speed_km_h == pytest.approx(usual.route.speed_km_h, abs=0.5)


def test_every_setting_of_the_new_file_has_a_word_or_explains_itself():
    text = settings_text(SEASON, [])
    raw = tomllib.loads(text)
    assert set(raw) == {"season", "weather", "thresholds", "costs", "route"}
    assert text.count("#") > 25


# --- new: the sheet


def test_columns_of_an_address_list_are_recognised_and_others_kept(tmp_path):
    sheet = read_addresses(write(tmp_path / "customers.csv", ADDRESSES), units="us")
    assert sheet.questions() == [
        "Customer Name -> customer",
        "Street -> address",
        "Lat -> latitude",
        "Lng -> longitude",
        "Depth -> mean_depth_in (in inches)",
        "Account No -> site_id",
        "kept as they are: Phone",
    ]
    assert sheet.without_depth == 1
    to_do = make_season(tmp_path / "fall", SEASON, sheet, crew_names=["North"])
    assert "1 ponds have no mean depth yet" in str(to_do[0])
    text = (tmp_path / "fall" / "sites.csv").read_text(encoding="utf-8-sig")
    assert "'+1 555 0100" in text  # a phone number is no formula
    crew = read_settings(tmp_path / "fall").crews[0]
    assert (crew.latitude, crew.longitude) == (43.205, -89.445)
    filled = text.replace("6 Otterlight Lane,43.21,-89.45,,,", "6 Otterlight Lane,43.21,-89.45,,30,")
    assert filled != text
    write(tmp_path / "fall" / "sites.csv", filled)
    sites, _ = read_sites(tmp_path / "fall", crew_names=["North"])
    assert [(s.site_id, s.customer, s.address) for s in sites] == [
        ("A-1", "Müller, Ann", "5 Heronshaw Bend"),
        ("A-2", "O'Leary 🐸", "6 Otterlight Lane"),
    ]
    assert sites[0].extra == {"Phone": "+1 555 0100"}


def test_a_metric_season_takes_a_depth_without_unit_as_centimetres(tmp_path):
    sheet = read_addresses(write(tmp_path / "c.csv", ADDRESSES.replace(",24,", ",60,")), units="metric")
    assert "Depth -> mean_depth_cm (in centimetres)" in sheet.questions()


def test_a_workbook_with_a_title_above_and_no_ids(tmp_path):
    book = openpyxl.Workbook()
    for line in (["name", "lat", "lon"], *(["Pond", 43.2 + n / 100, -89.4] for n in range(3))):
        book.active.append(line)
    book.active.cell(2, 1).value = "=1+1"
    book.active.cell(2, 1).data_type = "s"
    book.save(tmp_path / "list.xlsx")
    sheet = read_addresses(tmp_path / "list.xlsx", units="us")
    assert sheet.made_ids
    assert "site_id is made: P-01 to P-03" in sheet.questions()
    make_season(tmp_path / "fall", SEASON, sheet, crew_names=[])
    assert "'=1+1" in (tmp_path / "fall" / "sites.csv").read_text(encoding="utf-8-sig")


def test_problems_are_told_with_the_rows_of_the_list(tmp_path, refusals):
    content = "Client,Lat,Long,Mean Depth\n\nAnn,43.2,-89.4,3ft\nBo,43.21,,24\n,43.22,-89.4,24\n"
    assert refusals(lambda: read_addresses(write(tmp_path / "c.csv", content), units="us")) == [
        'c.csv row 3, Mean Depth: "3ft" is not a number of inches (6 to 240). Write 36.',
        "c.csv row 4, Long: empty. Write it in degrees, like -87.95.",
        "c.csv row 5, Client: empty. Write the customer's name.",
    ]
    missing = refusals(
        lambda: read_addresses(write(tmp_path / "c.csv", "Client,Street\nAnn,x\n"), units="us")
    )
    assert [problem.split(":")[0] for problem in missing] == [
        "c.csv row 1, latitude",
        "c.csv row 1, longitude",
    ]


def test_a_new_season_without_a_list_can_be_read(tmp_path):
    make_season(tmp_path / "fall", SEASON, None, crew_names=[])
    assert len(read_sites(tmp_path / "fall", crew_names=[])[0]) == 1
    assert read_settings(tmp_path / "fall").crews == ()


def test_a_folder_that_holds_something_is_not_touched(tmp_path, refusals):
    (tmp_path / "fall").mkdir()
    write(tmp_path / "fall" / "mine.txt", "x")
    assert "is not empty" in refusals(lambda: make_season(tmp_path / "fall", SEASON, None, crew_names=[]))[0]
    assert [path.name for path in (tmp_path / "fall").iterdir()] == ["mine.txt"]
    (tmp_path / "empty").mkdir()
    make_season(tmp_path / "empty", SEASON, None, crew_names=[])
    assert (tmp_path / "empty" / "season.toml").is_file()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "fall"]


# --- the next season


def test_next_season_of_the_demo(tmp_path, clock):
    old, new = copy_demo(tmp_path / "old"), tmp_path / "new"
    before = {path: path.read_bytes() for path in old.rglob("*") if path.is_file()}
    with open_ledger(old, clock=clock) as ledger:
        ledger.append(
            [
                ev.reading("V-03", date(2025, 10, 5), 11.0),
                ev.closed("V-03", date(2025, 10, 6)),
                ev.booked("V-04", date(2025, 10, 6), date(2025, 10, 20)),
            ],
            who="Ann",
        )
        done = next_season(old, new, ledger, who="Ann")
    assert (done.year, done.events) == (2026, 3)
    settings, was = read_settings(new), read_settings(old)
    assert (settings.season.year, settings.season.name) == (2026, "Ambervane valley, fall 2026 (invented)")
    assert settings.crews[0].first_day == date(2026, 10, 7)
    assert settings.costs == was.costs
    text, old_text = ((place / "season.toml").read_text() for place in (new, old))
    assert text.count("#") == old_text.count("#")
    sites, old_sites = (read_sites(p, crew_names=["Heron", "Otter"])[0] for p in (new, old))
    assert [s.site_id for s in sites] == [s.site_id for s in old_sites]
    assert all(s.booked_date is None and s.told_date is None for s in sites)
    limits = [(s.not_before, s.not_after) for s in old_sites if s.not_before or s.not_after]
    moved = [(s.not_before, s.not_after) for s in sites if s.not_before or s.not_after]
    years = [[day and day.replace(year=day.year + 1) for day in pair] for pair in limits]
    assert [list(pair) for pair in moved] == years
    assert (new / "weather" / "BLUFF.csv").read_bytes() == before[old / "weather" / "BLUFF.csv"]
    with open_ledger(new, readonly=True) as ledger:
        state = ledger.state()
    assert (state.season, dict(state.closed), dict(state.booked)) == (2026, {}, {})
    assert len(state.readings) == 1
    assert {p: p.read_bytes() for p in before} == before
    assert not (new / "backups").exists()


def test_a_sheet_without_dates_is_copied_to_the_byte(folder, tmp_path):
    content = "Site ID;customer;latitude;longitude;mean_depth_in;Gate\r\nL-07;Ann;43,2;-89,4;24;  left \r\n"
    write(folder / "sites.csv", content)
    next_season(folder, tmp_path / "new", None, who="Ann")
    assert (tmp_path / "new" / "sites.csv").read_bytes() == content.encode()


def test_a_workbook_keeps_its_look_and_other_sheets(folder, tmp_path):
    (folder / "sites.csv").unlink()
    book = openpyxl.Workbook()
    book.active.append(
        ["site_id", "customer", "latitude", "longitude", "mean_depth_in", "told_date", "not_before"]
    )
    book.active.append(["L-07", "Ann", 43.2, -89.4, 24, date(2025, 10, 20), date(2025, 10, 1)])
    book.active["B2"].font = openpyxl.styles.Font(bold=True)
    book.create_sheet("prices")["A1"] = 12
    book.save(folder / "sites.xlsx")
    next_season(folder, tmp_path / "new", None, who="Ann")
    (site,), _ = read_sites(tmp_path / "new", crew_names=["Heron"])
    assert (site.told_date, site.not_before) == (None, date(2026, 10, 1))
    carried = openpyxl.load_workbook(tmp_path / "new" / "sites.xlsx")
    assert carried.worksheets[0]["B2"].font.bold
    assert carried["prices"]["A1"].value == 12


def test_a_workbook_with_formulas_becomes_a_csv(folder, tmp_path, refusals):
    """A spreadsheet program stores each formula's value beside it; saving it from here would lose that."""
    (folder / "sites.csv").unlink()
    book = openpyxl.Workbook()
    book.active.append(["site_id", "customer", "latitude", "longitude", "mean_depth_in", "told_date"])
    book.active.append(["L-07", "Ann", "=43.1+0.1", -89.4, 24, date(2025, 10, 20)])
    book.save(folder / "sites.xlsx")
    assert (
        "has no stored value" in refusals(lambda: next_season(folder, tmp_path / "new", None, who="Ann"))[0]
    )
    with zipfile.ZipFile(folder / "sites.xlsx") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(folder / "sites.xlsx", "w") as archive:
        for name, content in parts.items():
            archive.writestr(
                name,
                content.replace(b"</f><v />", b"</f><v>43.2</v>").replace(b"</f><v></v>", b"</f><v>43.2</v>"),
            )
    done = next_season(folder, tmp_path / "new", None, who="Ann")
    assert [str(notice) for notice in done.notices] == [
        "sites.xlsx: 1 booked and told dates are left out.",
        "sites.csv: is new in place of the workbook, whose formulas would be lost.",
    ]
    (site,), _ = read_sites(tmp_path / "new", crew_names=["Heron"])
    assert (site.latitude, site.told_date) == (43.2, None)


def test_settings_that_cannot_be_moved_are_left_to_people(folder, tmp_path):
    text = (folder / "season.toml").read_text().replace("first_day = 2025-10-07", 'first_day = "10/17/2025"')
    write(folder / "season.toml", text)
    with pytest.raises(ForecasterError, match=r"after moving its dates\. Write them like 2025-10-14"):
        next_season(folder, tmp_path / "new", None, who="Ann")
    assert not (tmp_path / "new").exists()


def test_the_next_season_is_later(folder, tmp_path, refusals):
    wrong = refusals(lambda: next_season(folder, tmp_path / "new", None, who="Ann", year=2025))
    assert "is not after 2025" in wrong[0]


# --- changes of the sheet


def pond(site_id: str, row: int, **more: object) -> Site:
    base = Site(site_id, f"Customer {site_id}", 43.2 + row / 100, -89.4, 0.6096, row=row)
    return replace(base, **more)  # type: ignore[arg-type]


BEFORE = [pond(f"L-0{n}", n + 1) for n in range(1, 8)]


def told(after: list[Site], units: str = "us") -> list[tuple[str, bool]]:
    changes = sheet_changes(sheet_snapshot(BEFORE), after, units=units)
    return [(f"{change.site_id} {change.text}", change.serious) for change in changes]


def test_no_change_and_no_sheet_before():
    assert told(BEFORE) == []
    assert sheet_changes(None, BEFORE, units="us") == ()


def test_site_gone_moved_deeper_renamed_and_new():
    """40 km north is 0.35973 degrees on a sphere of 6371.0088 km: 40 / (6371.0088 pi / 180)."""
    after = [
        replace(BEFORE[1], latitude=BEFORE[1].latitude + 0.359728),
        replace(BEFORE[2], mean_depth_m=0.9144),
        replace(BEFORE[3], mean_depth_m=0.6604),
        replace(BEFORE[4], site_id="L-50"),
        replace(BEFORE[5], latitude=BEFORE[5].latitude + 0.0001, customer="New owner"),
        BEFORE[6],
        pond("L-08", 9),
    ]
    assert told(after, "metric") == [
        ("L-01 (Customer L-01) is gone from the sheet.", True),
        ("L-02 moved 40.0 km.", True),
        ("L-03 mean depth changed from 61 centimetres to 91.4 centimetres.", True),
        (
            "L-05 seems to be called L-50 now: what was recorded for L-05 no longer counts."
            " Give it its old site_id, or confirm.",
            True,
        ),
        ("L-04 mean depth changed from 61 centimetres to 66 centimetres.", False),
        ('L-06 customer changed from "Customer L-06" to "New owner".', False),
        ("L-08 (Customer L-08) is new.", False),
    ]
    assert (
        told([replace(BEFORE[0], latitude=43.22 + 0.359728), *BEFORE[1:]])[0][0] == "L-01 moved 24.9 miles."
    )


def test_other_fields():
    after = [
        replace(BEFORE[0], kind="fountain", mean_depth_m=None),
        replace(BEFORE[1], heated=True),
        *BEFORE[2:],
    ]
    assert told(after) == [
        ("L-01 mean depth changed from 24 inches to none.", True),
        ('L-01 kind changed from "pond" to "fountain".', True),
        ("L-02 heated changed from no to yes.", True),
    ]
    assert told([replace(BEFORE[0], minimum_offset_c=-5 / 9), *BEFORE[1:]]) == [
        ("L-01 minimum offset changed from 0 to -1 °F.", False)
    ]
    assert (
        told([replace(site, row=site.row + 5, notes="x", booked_date=date(2025, 10, 9)) for site in BEFORE])
        == []
    )
