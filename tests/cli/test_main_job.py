"""The scheduler's morning from end to end: demo, check, route, water, as processes of their own."""

import csv
import json
from datetime import date
from pathlib import Path

AS_OF = "2025-10-06"


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_demo_runs_and_leaves_an_editable_copy(run, tmp_path):
    shown = run("demo")
    assert shown.returncode == 0
    assert shown.stderr == ""
    assert "sites to close" in shown.stdout
    assert "not walk on it" in " ".join(shown.stdout.split())
    copied = run("demo", "--to", tmp_path / "copy")
    assert copied.returncode == 0
    again = run("route", tmp_path / "copy", "--as-of", AS_OF)
    assert again.returncode == 0
    first_sites = [line for line in again.stdout.splitlines() if line.strip().startswith("1  ")]
    assert first_sites[0] in shown.stdout
    refused = run("demo", "--to", tmp_path / "copy")
    assert refused.returncode == 2


def test_route_writes_what_was_asked_and_nothing_else(run, season, tmp_path):
    before = snapshot(season)
    done = run(
        "route", season, "--as-of", AS_OF, "--json", tmp_path / "r.json", "--html", tmp_path / "r.html"
    )
    assert done.returncode == 0, done.stderr
    assert snapshot(season) == before
    forecast = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert forecast["as_of"] == AS_OF
    ranks = [site["rank"] for site in forecast["sites"]]
    assert ranks == list(range(1, len(ranks) + 1))
    assert len(ranks) + len(forecast["closed"]) + len(forecast["runs_all_winter"]) == 40
    assert (tmp_path / "r.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert max(len(line) for line in done.stdout.splitlines()) <= 100
    assert done.stdout.isascii(), "plain text when piped"


def test_same_input_same_bytes(run, season, tmp_path):
    for name in ("a.json", "b.json"):
        assert run("route", season, "--as-of", AS_OF, "--json", tmp_path / name).returncode == 0
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()


def test_ready_sites_stand_above_waiting_ones(run, season, tmp_path):
    assert run("route", season, "--as-of", AS_OF, "--json", tmp_path / "r.json").returncode == 0
    states = [s["state"] for s in json.loads((tmp_path / "r.json").read_text())["sites"]]
    assert set(states) == {"ready", "no_forecast", "waiting"}
    assert states == sorted(states, key=["ready", "no_forecast", "waiting"].index)


def test_nothing_looks_ahead(run, season, tmp_path):
    assert run("route", season, "--as-of", "2025-09-20", "--json", tmp_path / "a.json").returncode == 0
    for path in (season / "weather").glob("*.csv"):
        if path.name != "stations.csv":
            path.write_text(scrambled(path.read_text(), column=0, from_day="2025-09-20"))
    for path in (season / "weather" / "outlook").glob("*.csv"):
        path.write_text(scrambled(path.read_text(), column=0, from_day="2025-09-21"))
    readings = season / "readings.csv"
    header, *rows = readings.read_text().splitlines()
    day = header.split(",").index("taken")
    kept = [row for row in rows if row.split(",")[day] < "2025-09-21"]
    assert len(kept) < len(rows)
    readings.write_text("\n".join([header, *kept]) + "\n")
    assert run("route", season, "--as-of", "2025-09-20", "--json", tmp_path / "b.json").returncode == 0
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()


def scrambled(text: str, *, column: int, from_day: str) -> str:
    """The same rows with other numbers from a day on."""
    lines = text.splitlines()
    for number, line in enumerate(lines[1:], start=1):
        cells = line.split(",")
        if cells[column] >= from_day:
            lines[number] = ",".join(
                f"{(number * 7) % 31 - 15}.0" if i > 0 and "-" not in cell[1:] else cell
                for i, cell in enumerate(cells)
            )
    return "\n".join(lines) + "\n"


def test_water_table_holds_every_day_of_every_pond(run, season, tmp_path):
    done = run("water", season, "--as-of", AS_OF, "--csv", tmp_path / "w.csv")
    assert done.returncode == 0, done.stderr
    with (tmp_path / "w.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    days = {row["date"] for row in rows}
    assert min(days) == "2025-08-01"
    assert max(days) == "2025-10-05"
    assert len(rows) == len({row["site_id"] for row in rows}) * (date(2025, 10, 6) - date(2025, 8, 1)).days
    assert all(float(r["water_p10_c"]) <= float(r["water_c"]) <= float(r["water_p90_c"]) for r in rows)
    assert max(len(line) for line in done.stdout.splitlines()) <= 100


def test_filtered_water_uses_no_later_reading(run, season, tmp_path):
    assert (
        run("water", season, "--as-of", AS_OF, "--csv", tmp_path / "late.csv", "--filtered").returncode == 0
    )
    assert (
        run(
            "water", season, "--as-of", "2025-09-21", "--csv", tmp_path / "early.csv", "--filtered"
        ).returncode
        == 0
    )

    def upto(name: str) -> list[str]:
        return [x for x in (tmp_path / name).read_text().splitlines()[1:] if x.split(",")[1] < "2025-09-20"]

    assert upto("late.csv") == upto("early.csv")


def test_water_picture_in_both_formats(run, season, tmp_path):
    for name, start in (("p.svg", b"<?xml"), ("p.png", b"\x89PNG")):
        done = run("water", season, "--as-of", AS_OF, "--site", "V-03", "--picture", tmp_path / name)
        assert done.returncode == 0, done.stderr
        assert (tmp_path / name).read_bytes().startswith(start)


def test_check_refuses_a_reading_that_no_water_can_have(run, season):
    readings = season / "readings.csv"
    header = readings.read_text().splitlines()[0].split(",")
    row = dict.fromkeys(header, "") | {"site_id": "U-01", "taken": "2025-09-25", "water_f": "17.5"}
    wrong = ",".join(row[name] for name in header)
    readings.write_text(readings.read_text().rstrip("\n") + "\n" + wrong + "\n")
    done = run("check", season, "--as-of", AS_OF)
    assert done.returncode == 2
    assert "Is it in °C? Then write 63.5" in done.stderr


def test_check_questions_two_swapped_readings(run, season):
    readings = season / "readings.csv"
    header = readings.read_text().splitlines()[0].split(",")
    lines = [readings.read_text().rstrip("\n")]
    for site_id, water_f in (("U-08", "90"), ("V-14", "38")):
        row = dict.fromkeys(header, "") | {"site_id": site_id, "taken": "2025-09-25", "water_f": water_f}
        lines.append(",".join(row[name] for name in header))
    readings.write_text("\n".join(lines) + "\n")
    done = run("check", season, "--as-of", AS_OF)
    assert done.returncode == 0, done.stderr
    assert "2 readings in doubt" in done.stdout
    assert "U-08" in done.stdout


def test_other_year_of_the_same_folder(run, season, tmp_path):
    done = run("route", season, "--as-of", "2019-10-06", "--json", tmp_path / "r.json")
    assert done.returncode == 0, done.stderr
    forecast = json.loads((tmp_path / "r.json").read_text())
    assert all(site["recommended_date"] >= AS_OF.replace("2025", "2019") for site in forecast["sites"])
    assert any("booked and told dates are left out" in w["text"] for w in forecast["warnings"])
