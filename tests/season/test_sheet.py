"""The site sheet: values, defaults, and everything an office may get wrong in it."""

from __future__ import annotations

import csv
import io
from datetime import date

import openpyxl
import pytest

from forecaster.season.places import check_place
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site

HEADER = "site_id,customer,latitude,longitude,mean_depth_in"
A = {"site_id": "A", "customer": "Fern", "latitude": "43.0", "longitude": "-88.0", "mean_depth_in": "24"}


def sheet(*lines: dict[str, str]) -> str:
    """A CSV of these rows; what a row does not name is as in A."""
    columns = list(dict.fromkeys([*A, *(name for line in lines for name in line)]))
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({**A, **line} for line in lines)
    return out.getvalue()


def ponds(*lines: dict[str, str]) -> str:
    """As `sheet`, each row with a site_id of its own."""
    return sheet(*({"site_id": f"S{number}", **line} for number, line in enumerate(lines, start=1)))


def read(write, content, crews=("North", "South")):
    return read_sites(write("sites.csv", content), crew_names=crews)


# --- values


def test_a_short_row_gets_the_usual_values(write):
    sites, notices = read(write, f"{HEADER}\nL-07,Fern,43.05,-87.9,24\n")
    assert sites == (Site("L-07", "Fern", 43.05, -87.9, pytest.approx(0.6096), row=2),)
    assert notices == ()


def test_every_column(write):
    line = {
        "address": "12 Mill Lane, rear",
        "max_depth_in": "36",
        "surface_ft2": "200",
        "exposure": "Open",
        "waterfall": "no",
        "kind": "pond",
        "heated": "yes",
        "fish": "N",
        "elevation_ft": "600",
        "minimum_offset_f": "-4.5",
        "hours_on_site": "2.5",
        "plumbing_exposure": "1",
        "winter": "partly",
        "booked_date": "2025-10-14",
        "told_date": "10/15/2025",
        "not_before": "2025-10-01",
        "not_after": "2025-11-01",
        "weekdays": "mon-wed",
        "crew": "south; North",
        "access": "gate",
        "notes": "shy dog",
        "Pump": "420 W",
        "UV": "",
    }
    site = read(write, sheet(line))[0][0]
    assert site == Site(
        *("A", "Fern", 43.0, -88.0, pytest.approx(0.6096)),
        row=2,
        address="12 Mill Lane, rear",
        max_depth_m=pytest.approx(0.9144),
        surface_m2=pytest.approx(18.580608),  # 200 x 0.3048^2
        exposure="open",
        waterfall=False,
        heated=True,
        fish=False,
        elevation_m=pytest.approx(182.88),
        minimum_offset_c=-2.5,  # a difference: 4.5 x 5 / 9
        hours_on_site=2.5,
        plumbing_exposure=1.0,
        winter="partly",
        booked_date=date(2025, 10, 14),
        told_date=date(2025, 10, 15),
        not_before=date(2025, 10, 1),
        not_after=date(2025, 11, 1),
        weekdays=frozenset({0, 1, 2}),
        crews=("South", "North"),
        access="gate",
        notes="shy dog",
        extra={"Pump": "420 W"},
    )
    assert not site.forecast_water


def test_metric_columns_give_the_same_site(write):
    us = sheet({"max_depth_in": "36", "surface_ft2": "100", "elevation_ft": "500", "minimum_offset_f": "9"})
    metric = us.replace("mean_depth_in", "mean_depth_cm").replace(",24,", ",60.96,")
    metric = metric.replace("max_depth_in", "max_depth_m").replace(",36,", ",0.9144,")
    metric = metric.replace("surface_ft2", "surface_m2").replace(",100,", ",9.290304,")
    metric = metric.replace("elevation_ft", "elevation_m").replace(",500,", ",152.4,")
    metric = metric.replace("minimum_offset_f", "minimum_offset_c").replace(",9\n", ",5\n")
    one, other = (read(write, content)[0][0] for content in (us, metric))
    for name in ("mean_depth_m", "max_depth_m", "surface_m2", "elevation_m", "minimum_offset_c"):
        assert getattr(one, name) == pytest.approx(getattr(other, name)), name


@pytest.mark.parametrize("kind", ["fall without pond", "Fountain"])
def test_no_depth_is_needed_where_there_is_no_pond(write, kind):
    site = read(write, sheet({"kind": kind, "mean_depth_in": ""}))[0][0]
    assert (site.mean_depth_m, site.has_pond) == (None, False)
    without = f"site_id,customer,latitude,longitude,kind\nA,Fern,43,-88,{kind}\n"
    assert read(write, without)[0][0].kind == kind.lower()


def test_semicolons_with_decimal_commas(write):
    content = f"{HEADER}\nA,Fern,43.05,-87.9,24.5\n".replace(",", ";").replace(".", ",")
    site = read(write, content)[0][0]
    assert (site.latitude, site.longitude, site.mean_depth_m) == (43.05, -87.9, pytest.approx(0.6223))


def test_a_workbook_gives_the_same_sites(write, tmp_path):
    content = ponds(
        {"booked_date": "2025-10-14", "pump": "x"}, {"not_after": "2025-11-01", "mean_depth_in": "36"}
    )
    expected = read(write, content)
    (tmp_path / "sites.csv").unlink()
    book = openpyxl.Workbook()
    for line in csv.reader(io.StringIO(content)):
        book.active.append([typed(cell) for cell in line])
    book.save(tmp_path / "sites.xlsx")
    found = read_sites(tmp_path, crew_names=[])
    assert found[0] == expected[0]
    assert found[1][0].where == "sites.xlsx row 1"


def typed(cell: str) -> object:
    """A cell as a spreadsheet program would store it."""
    for kind in (float, date.fromisoformat):
        try:
            return kind(cell)
        except ValueError:
            continue
    return cell or None


# --- what the user should know


def test_unknown_columns_are_kept_and_named_once(write):
    sites, notices = read(
        write, ponds({"pump": "420 W", "Waterfal": "no", "heater": "2 kW"}, {"pump": "180 W"})
    )
    assert sites[0].extra == {"pump": "420 W", "Waterfal": "no", "heater": "2 kW"}
    assert sites[1].extra == {"pump": "180 W"}
    assert [str(notice) for notice in notices] == [
        "sites.csv row 1: pump, Waterfal, heater: kept and shown, not used in the forecast."
        " Waterfal: Did you mean waterfall?"
    ]


def test_columns_that_others_read_are_not_announced(write):
    content = ponds({"pump_watts": "420", "uv": "yes"})
    folder = write("sites.csv", content)
    sites, notices = read_sites(folder, crew_names=[], extra_columns=["Pump Watts", "uv"])
    assert (sites[0].extra, notices) == ({"pump_watts": "420", "uv": "yes"}, ())


def test_a_far_site_is_a_question(write):
    notices = read(write, ponds({}, {}, {"latitude": "47.0"}))[1]
    assert [str(notice) for notice in notices] == [
        "sites.csv row 4, latitude: 47, -88 lies 445 km from the middle of the sites."  # 4 x 111.19 km
        " Check latitude and longitude of S3."
    ]


# --- refused cells


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ({"site_id": ""}, "site_id: empty. Give each pond its own site_id."),
        ({"site_id": "a/b"}, 'site_id: "a/b" holds a slash or a line break.'),
        ({"customer": " "}, "customer: empty. Write the customer's name."),
        ({"latitude": ""}, "latitude: empty. Write it in degrees, like 43.05."),
        ({"latitude": "north"}, 'latitude: "north" is not a number of degrees (-90 to 90).'),
        ({"latitude": "143"}, "latitude: 143 is no latitude of a pond (-60 to 75). Write degrees north"),
        ({"latitude": "-88.0", "longitude": "43.0"}, "It looks like the longitude: exchange the two."),
        ({"latitude": "-97.4", "longitude": "30.1"}, "It looks like the longitude: exchange the two."),
        ({"latitude": "0", "longitude": "0"}, "0, 0 is a place in the ocean."),
        ({"longitude": "-188"}, "longitude: -188 is outside the allowed -180 to 180."),
        (
            {"longitude": "88,0"},
            'longitude: "88,0" is not a number of degrees (-180 to 180). Write 88, without a',
        ),
        (
            {"mean_depth_in": ""},
            "mean_depth_in: empty, but a pond needs it. Write the mean depth, or name its kind",
        ),
        ({"mean_depth_in": "3ft"}, 'mean_depth_in: "3ft" is not a number of inches (6 to 240). Write 36.'),
        ({"mean_depth_in": "-24"}, "mean_depth_in: -24 is outside the allowed 6 to 240 inches."),
        (
            {"mean_depth_in": "3"},
            "Is it in feet? Then write 36; or, if the whole column is, rename it mean_depth_ft.",
        ),
        ({"max_depth_in": "20"}, "max_depth_in: 20 is less than the mean depth (24 inches). Correct one."),
        ({"max_depth_cm": "50"}, "max_depth_cm: 50 is less than the mean depth (61 centimetres)."),
        (
            {"surface_ft2": "1,200"},
            'surface_ft2: "1,200" is not a number of square feet (4 to 1000000). Write 1200,',
        ),
        ({"surface_ft2": "-5"}, "surface_ft2: -5 is outside the allowed 4 to 1000000 square feet."),
        ({"exposure": "opne"}, 'exposure: "opne" is not one of sheltered, average, open. Did you mean open?'),
        ({"waterfall": "maybe"}, 'waterfall: "maybe" is neither yes nor no. Write yes or no.'),
        ({"heated": "2"}, "heated: "),
        ({"fish": "koi"}, "fish: "),
        ({"kind": "pnd"}, 'kind: "pnd" is not one of pond, fall without pond, fountain. Did you mean pond?'),
        ({"elevation_ft": "20000"}, "elevation_ft: 20000 is outside the allowed -1500 to 15000 feet."),
        ({"minimum_offset_f": "28"}, "minimum_offset_f: 28 is outside the allowed -15 to 15 °F. Correct it."),
        (
            {"minimum_offset_c": "-10"},
            "Is it in °F? Then write -5.6; or, if the whole column is, rename it minimum_of",
        ),
        ({"hours_on_site": "0"}, "hours_on_site: 0 is outside the allowed 0.1 to 24."),
        ({"hours_on_site": "2h"}, 'hours_on_site: "2h" is not a number of hours (0.1 to 24). Write 2.'),
        ({"plumbing_exposure": "60"}, "plumbing_exposure: 60 is outside the allowed 0 to 1."),
        ({"winter": "run"}, 'winter: "run" is not one of close, partly, runs. Did you mean runs?'),
        ({"booked_date": "10/5/2025"}, 'booked_date: "10/5/2025" may be 5 October or 10 May.'),
        ({"told_date": "next week"}, 'told_date: "next week" is not a date.'),
        ({"booked_date": "2025-10-14 09:00"}, "is a date with a time. Write 2025-10-14."),
        (
            {"not_before": "2025-11-02", "not_after": "2025-11-01"},
            "not_after: 2025-11-01 is before not_before",
        ),
        (
            {"not_before": "2025-11-02", "booked_date": "2025-11-01"},
            "booked_date: 2025-11-01 is before not_before",
        ),
        (
            {"not_after": "2025-10-30", "booked_date": "2025-11-01"},
            "booked_date: 2025-11-01 is after not_after",
        ),
        (
            {"weekdays": "mon-fri", "booked_date": "2025-11-01"},
            "2025-11-01 is a Saturday; weekdays allows mon, tue,",
        ),
        ({"weekdays": "mo"}, 'weekdays: "mo" is not a day of the week.'),
        ({"crew": "Nort"}, 'crew: "Nort" is not a crew of season.toml. Did you mean North?'),
        ({"crew": "X"}, "The crews are North; South."),
        ({"crew": "North, South"}, "Part several crews by semicolons: North; South."),
    ],
)
def test_refused_cell(write, refusals, line, message):
    found = refusals(lambda: read(write, sheet(line)))
    assert len(found) == 1
    assert found[0].startswith("sites.csv row 2, ")
    assert message in found[0]


def test_the_limits_themselves_are_allowed(write):
    line = {
        "not_before": "2025-11-03",
        "not_after": "2025-11-03",
        "booked_date": "2025-11-03",
        "weekdays": "mon",
    }
    assert read(write, sheet({**line, "max_depth_in": "24"}))[0][0].booked_date == date(2025, 11, 3)


def test_a_crew_where_the_settings_have_none(write, refusals):
    found = refusals(lambda: read(write, sheet({"crew": "North"}), crews=()))
    assert found[0].endswith("No crew is there: add [[crew]], or leave the cell empty.")


def test_site_ids_are_unique(write, refusals):
    content = sheet({"site_id": "L-07"}, {"site_id": "L-08"}, {"site_id": "L-07"}, {"site_id": "l-08"})
    assert refusals(lambda: read(write, content)) == [
        'sites.csv row 4, site_id: "L-07" is in row 2 too. Give each pond its own site_id.',
        'sites.csv row 5, site_id: "l-08" differs only in capitals from "L-08" in row 3.'
        " Give each pond its own site_id.",
    ]


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ({"latitude": "72.9", "longitude": "25.2"}, "Latitude and longitude look exchanged: exchange them."),
        ({"latitude": "25.0", "longitude": "-73.0"}, "The sign looks wrong: write longitude 73."),
        ({"latitude": "-25.0", "longitude": "73.0"}, "The sign looks wrong: write latitude 25."),
    ],
)
def test_a_site_far_from_all_others_whose_place_can_be_mended(write, refusals, line, message):
    here = {"latitude": "25.1", "longitude": "73.1"}  # so far east that a swap is no impossible latitude
    found = refusals(lambda: read(write, ponds(here, here, here, line)))
    assert len(found) == 1
    assert found[0].startswith("sites.csv row 5, latitude: ")
    assert message in found[0]


# --- refused sheets


def test_no_sheet_and_two_sheets(write, refusals, tmp_path):
    assert refusals(lambda: read_sites(tmp_path, crew_names=[]))[0].startswith(
        "sites.csv: neither sites.csv nor"
    )
    write("sites.xlsx", b"x")
    found = refusals(lambda: read(write, sheet({})))
    assert found[0].startswith("sites.xlsx: sites.csv and sites.xlsx are both there.")


def test_a_sheet_without_sites(write, refusals):
    assert refusals(lambda: read(write, HEADER)) == [
        "sites.csv: no sites below the header. Write one site a row."
    ]


@pytest.mark.parametrize(
    ("missing", "instead", "cure"),
    [
        ("site_id", "id", '"id" is there: rename it site_id.'),
        ("site_id", "siteid", '"siteid" is there: rename it site_id.'),
        ("customer", "Client", '"Client" is there: rename it customer.'),
        ("latitude", "lat", '"lat" is there: rename it latitude.'),
        ("longitude", "longitud", '"longitud" is there: rename it longitude.'),
        (
            "mean_depth_in",
            "Mean depth",
            '"Mean depth" is there: rename it mean_depth_in (inches) or mean_depth_cm.',
        ),
        ("mean_depth_in", "depth", '"depth" is there: rename it mean_depth_in (inches) or mean_depth_cm.'),
        ("customer", "pump", "Add it; the first row holds the names of the columns."),
    ],
)
def test_a_missing_column_names_the_one_that_is_meant(write, refusals, missing, instead, cure):
    found = refusals(lambda: read(write, sheet({}, {"site_id": "B"}).replace(missing, instead)))
    assert found == [f"sites.csv row 1, {missing}: this column is needed. {cure}"]


def test_one_quantity_in_two_columns(write, refusals):
    found = refusals(lambda: read(write, sheet({"mean_depth_cm": "60"})))
    assert found == ["sites.csv row 1: mean_depth_in and mean_depth_cm are both there. Keep one of them."]


def test_all_problems_at_once_in_the_order_of_the_rows(write, refusals):
    content = ponds(
        {"mean_depth_in": "3ft", "exposure": "opn", "crew": "Est"},
        {"latitude": "x", "booked_date": "?"},
        {"site_id": "S1", "customer": ""},
        {"longitude": "88", "mean_depth_in": "2"},
        {"site_id": "S9", "winter": "no"},
    )
    content += "S8,short\n"
    found = refusals(lambda: read(write, content))
    keys = [line.split(":")[0].removeprefix("sites.csv row ") for line in found]
    assert keys == [
        *(
            "2, mean_depth_in",
            "2, exposure",
            "2, crew",
            "3, latitude",
            "3, booked_date",
            "4, site_id",
            "4, customer",
        ),
        *("5, mean_depth_in", "5, latitude", "6, winter", "7"),
    ]


# --- distance, by hand


def test_places_of_the_inhabited_world_are_not_refused():
    assert check_place(-43.5, 172.6) is None
    assert check_place(69.6, 18.9) is None
