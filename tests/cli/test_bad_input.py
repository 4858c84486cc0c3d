"""Bad input of every kind through the command line: one list, exit code 2, nothing written."""

import pytest

AS_OF = "2025-10-06"


def refused(run, season, tmp_path, *options: str) -> str:
    out = tmp_path / "r.json"
    done = run("route", season, "--as-of", AS_OF, "--json", out, *options)
    assert done.returncode == 2, done.stdout + done.stderr
    assert not out.exists()
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return " ".join(done.stderr.split())


def edit(path, old: str, new: str, count: int = 1) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {path.name}"
    path.write_text(text.replace(old, new, count), encoding="utf-8")


def test_all_problems_of_all_files_at_once(run, season, tmp_path):
    edit(season / "season.toml", "\nhold_days", "\nhold_day")
    lines = (season / "sites.csv").read_text(encoding="utf-8").splitlines()
    column = lines[0].split(",").index("mean_depth_in")
    cells = lines[3].split(",")
    cells[column] = "3ft"
    lines[3] = ",".join(cells)
    lines.append(lines[5])
    (season / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (season / "readings.csv").write_text("site_id,taken,water_f\nV-99,2025-10-01,50\n", encoding="utf-8")
    text = refused(run, season, tmp_path)
    assert "Did you mean hold_days?" in text
    assert '"3ft"' in text
    assert "Write 36" in text
    assert "sites.csv row 42, site_id" in text
    assert "V-99" in text
    assert text.startswith("4 problems, nothing was changed.")


@pytest.mark.parametrize(
    ("as_of", "words"),
    [("2025-05-01", "outside a season"), ("2026-01-20", "at most 10"), ("2025-02-30", "2025-02-30")],
)
def test_as_of_outside(run, season, as_of, words):
    done = run("route", season, "--as-of", as_of)
    assert done.returncode == 2
    assert words in " ".join(done.stderr.split())


def test_weather_faults(run, season, tmp_path):
    weather = season / "weather"
    rows = (weather / "FLOOR.csv").read_text().splitlines()
    f = [
        ",".join(
            [c if i == 0 else f"{float(c) * 1.8 + 32:.1f}" if c else "" for i, c in enumerate(r.split(","))]
        )
        for r in rows[1:]
    ]
    (weather / "FLOOR.csv").write_text("\n".join([rows[0], *f]) + "\n")
    (weather / "BLUFF.csv").write_bytes((weather / "BLUFF.csv").read_text().encode("utf-16"))
    (weather / "UPPER.csv").unlink()
    text = refused(run, season, tmp_path)
    assert "weather/FLOOR.csv" in text
    assert "°F" in text
    assert "UTF-16" in text
    assert "UPPER" in text


def test_site_far_away_and_swapped_coordinates(run, season, tmp_path):
    lines = (season / "sites.csv").read_text(encoding="utf-8").splitlines()
    header = lines[0].split(",")
    lat, lon = header.index("latitude"), header.index("longitude")
    cells = lines[2].split(",")
    cells[lat], cells[lon] = cells[lon], cells[lat]
    lines[2] = ",".join(cells)
    (season / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "exchange the two" in refused(run, season, tmp_path)
    cells[lat], cells[lon] = "47.9", "-97.0"
    lines[2] = ",".join(cells)
    (season / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "km from the nearest station" in refused(run, season, tmp_path)


def test_empty_and_missing_files(run, season, tmp_path):
    (season / "sites.csv").write_text("")
    assert "empty" in refused(run, season, tmp_path)
    (season / "sites.csv").unlink()
    assert "sites.csv" in refused(run, season, tmp_path)
    (season / "season.toml").unlink()
    assert "season.toml" in refused(run, season, tmp_path)


def test_target_that_cannot_be_written_is_refused_before_the_work(run, season, tmp_path):
    done = run("route", season, "--as-of", AS_OF, "--json", tmp_path / "no" / "r.json")
    assert done.returncode == 2
    assert "no folder" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "hint"),
    [(["rout"], "route"), (["route", "x", "--as-off", "1"], "--as-of")],
)
def test_mistyped_names_get_the_nearest(run, arguments, hint):
    done = run(*arguments)
    assert done.returncode == 2
    assert hint in done.stderr


def test_what_real_records_do_is_handled_and_said(run, season, tmp_path):
    path = season / "weather" / "FLOOR.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text("\ufeff" + text, encoding="utf-8")
    done = run("route", season, "--as-of", AS_OF, "--json", tmp_path / "r.json")
    assert done.returncode == 0, done.stderr
    assert "minimum above the maximum" in " ".join(done.stdout.split())
