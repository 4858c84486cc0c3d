"""The kit columns: typed, in any unit, missing is not known, problems named by row and column."""

import csv
import io

import pytest

from forecaster.errors import BadInput
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site
from forecaster.visit.kit import KIT_COLUMNS, QUANTITIES, Device, kit_notices, kit_of, kits_of


def pond(**cells: str) -> Site:
    return Site("S1", "Reedwick", 43.2, -89.4, 0.5, row=4, extra=cells)


def written(folder, *rows: dict[str, str], delimiter: str = ","):
    base = {"site_id": "S1", "customer": "Reedwick", "latitude": "43.2", "longitude": "-89.4"}
    lines = [{**base, "mean_depth_in": "24", "site_id": f"S{n}", **row} for n, row in enumerate(rows, 1)]
    out = io.StringIO()
    writer = csv.DictWriter(out, list(dict.fromkeys(k for row in lines for k in row)), delimiter=delimiter)
    writer.writeheader()
    writer.writerows(lines)
    (folder / "sites.csv").write_text(out.getvalue(), encoding="utf-8")
    return read_sites(folder, crew_names=[], extra_columns=KIT_COLUMNS)


def test_an_empty_sheet_knows_nothing():
    kit, problems = kit_of(pond())
    assert problems == ()
    assert (kit.pump, kit.deicer, kit.aerator) == (Device(), Device(), Device())
    assert (kit.line_length_m, kit.net, kit.circuits, kit.kept_running) == (None, None, None, None)


def test_every_column_becomes_a_value_in_the_programs_unit():
    kit, problems = kit_of(
        pond(
            pump_watts="420",
            pump_weight_lb="20",
            pump_store="Wet",
            uv="55 W",
            dosing="no",
            check_valve="yes",
            aerator_watts="60",
            diffuser_depth_in="12",
            shelf_depth_in="14",
            deicer_watts="no",
            deicer_on_f="35.6",
            circuits="2",
            gfci="yes",
            breaker="Garage panel, no. 7",
            line_diameter_in="1.5",
            line_length_ft="50",
            line_kind="Schedule 40",
            line_drains="no",
            kept_running="pump; De-icer",
            email="hazel@reedwick.example",
        )
    )
    assert problems == ()
    assert kit.pump_weight_kg == pytest.approx(9.0718474)  # 20 x 0.45359237
    assert kit.diffuser_depth_m == pytest.approx(0.3048)
    assert kit.line_diameter_m == pytest.approx(0.0381)
    assert kit.line_length_m == pytest.approx(15.24)
    assert kit.deicer_on_c == pytest.approx(2.0)
    assert (kit.pump, kit.uv, kit.deicer) == (Device(True, 420), Device(True, 55), Device(False))
    assert (kit.line_kind, kit.pump_store, kit.circuits) == ("schedule 40", "wet", 2)
    assert kit.kept_running == {"pump", "de-icer"}
    assert (kit.line_drains, kit.gfci, kit.skimmer) == (False, True, None)


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.name)
def test_a_quantity_is_the_same_in_each_of_its_units(quantity):
    middle = quantity.units[0].to_internal((quantity.low + quantity.high) / 2)
    found = set()
    for column, unit in quantity.columns.items():
        kit, problems = kit_of(pond(**{column: f"{unit.from_internal(middle):.9f}"}))
        assert problems == ()
        found |= {round(v, 6) for v in vars(kit).values() if isinstance(v, float)}
    assert len(found) == 1


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("pump_watts", "big", '"big" is not a number of watts (1 to 10000).'),
        ("deicer_watts", "1.5 kW", "Write 1500."),
        ("aerator_watts", "1,500", "Write 1500 or 1.5, without a comma."),
        ("line_length_ft", "3yd", '"3yd" is not a number of feet (1 to 2000).'),
        ("line_length_ft", "30 in", "Write 2.5."),
        ("diffuser_depth_in", "500", "500 is outside the allowed 2 to 240 inches."),
        ("circuits", "1.5", "not a whole number of circuits"),
        ("net", "maybe", '"maybe" is neither yes nor no.'),
        ("line_kind", "flexibel", "Did you mean flexible?"),
        ("kept_running", "pmp", "Did you mean pump?"),
        ("pump_weight_lb", "9 kg", "Write 19.84."),
    ],
)
def test_a_cell_that_cannot_be_used_is_named_and_not_known(column, cell, says):
    kit, problems = kit_of(pond(**{column: cell}))
    (problem,) = problems
    assert problem.where == f"sites.csv row 4, {column}"
    assert says in problem.text
    assert kit == kit_of(pond())[0]  # nothing of it is known


def test_all_problems_of_all_sites_at_once_and_as_notices(tmp_path):
    rows = ({"line_length_ft": "x", "line_length_m": "3"}, {"net": "?", "circuits": "many"})
    sites, notices = written(tmp_path, *rows)
    assert notices == ()
    with pytest.raises(BadInput) as caught:
        kits_of(sites)
    said = [str(p) for p in caught.value.problems]
    assert [line.split(":")[0] for line in said] == [
        "sites.csv row 1",  # two columns for one length
        "sites.csv row 2, line_length_ft",
        "sites.csv row 3, circuits",
        "sites.csv row 3, net",
    ]
    assert {n.where for n in kit_notices(sites)} == {p.where for p in caught.value.problems}
    assert all("Until then it counts as not known." in n.text for n in kit_notices(sites))


def test_a_sheet_parted_by_semicolons_writes_decimal_commas(tmp_path):
    sites, _ = written(tmp_path, {"line_diameter_in": "1,5", "pump_watts": "420"}, delimiter=";")
    assert kits_of(sites)["S1"].line_diameter_m == pytest.approx(0.0381)


def test_a_misspelt_column_is_asked_about(tmp_path):
    _, notices = written(tmp_path, {"diffuser_depht_in": "12"})
    assert "Did you mean diffuser_depth_in?" in notices[0].text


def test_the_demo_sheet_reads_without_a_problem():
    from forecaster.demo import demo_folder

    sites, notices = read_sites(demo_folder(), crew_names=["Heron", "Otter"], extra_columns=KIT_COLUMNS)
    assert notices == ()
    assert len(kits_of(sites)) == 40


def test_every_kit_column_stands_in_the_readme():
    from pathlib import Path

    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    section = readme.split("## The visit: crew sheets and kit")[1].split("\n## ")[0]
    usual = {next(iter(quantity.columns)) for quantity in QUANTITIES}
    other_units = {c for quantity in QUANTITIES for c in quantity.columns} - usual
    for column in KIT_COLUMNS - other_units - {"uv_watts"}:
        assert column in section, column
