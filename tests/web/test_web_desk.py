"""The desk: states as files and back, the last good one under a broken folder and over a restart."""

from __future__ import annotations

import json
import os
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from web_server import Served, copied

from forecaster.demo import DEMO_AS_OF
from forecaster.errors import Notice
from forecaster.report.contract import route_json
from forecaster.season import events
from forecaster.season.ledger import open_ledger
from forecaster.web.desk import Desk
from forecaster.web.keep import CannotRead, read_record, write_record
from forecaster.web.page import made_ago
from forecaster.web.snapshot import Snapshot, basis_of

# --- files


def test_a_state_comes_back_as_it_was(base_folder: Path, tmp_path: Path) -> None:
    made = read_record(base_folder / ".pages" / "state")
    assert isinstance(made, Snapshot)
    write_record(tmp_path / "again", made)
    again = read_record(tmp_path / "again")
    assert route_json(again.forecast) == route_json(made.forecast)
    assert again.known.settings == made.known.settings
    assert again.known.sites == made.known.sites
    assert again.made_at == made.made_at
    assert again.key == made.key
    np.testing.assert_array_equal(again.known.weather.tmin_c, made.known.weather.tmin_c)
    assert (tmp_path / "again").read_bytes() == (base_folder / ".pages" / "state").read_bytes()


def test_a_kept_state_gives_the_same_forecast_as_the_folder(base_folder: Path) -> None:
    from forecaster.build import forecast_route
    from forecaster.pipeline import load_known

    kept = read_record(base_folder / ".pages" / "state")
    assert route_json(kept.forecast) == route_json(forecast_route(load_known(base_folder, DEMO_AS_OF)))


@pytest.mark.parametrize(
    "head",
    [
        b"",
        b"not json",
        b"[]",
        b'["forecaster pages 0",null]',
        b'["forecaster pages 1",["web.worker:main",{}]]',
        b'["forecaster pages 1",["os:system",{}]]',
        b'["forecaster pages 1",["errors:Notice",{"where":"x"}]]',
        b'["forecaster pages 1",["array","|O",[1],0]]',
        b'["forecaster pages 1",["array","<f8",[9],0]]',
    ],
)
def test_damaged_and_foreign_files_are_refused(tmp_path: Path, head: bytes) -> None:
    (tmp_path / "state").write_bytes(head + b"\n12345678")
    with pytest.raises(CannotRead):
        read_record(tmp_path / "state")


def test_only_plain_records_are_kept(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="not kept"):
        write_record(tmp_path / "x", (Notice("a", "b"), Path("c")))
    with pytest.raises(TypeError, match="object"):
        write_record(tmp_path / "x", np.array([object()]))
    assert not (tmp_path / "x").exists()


# --- what a state is of


def test_the_basis_changes_with_ledger_files_and_day_only(base_folder: Path, tmp_path: Path) -> None:
    folder = copied(base_folder, tmp_path / "season")
    first = basis_of(folder, DEMO_AS_OF)
    assert basis_of(base_folder, DEMO_AS_OF) == first
    assert basis_of(folder, date(2025, 10, 7)) != first
    (folder / "plan.ics").write_text("x")
    (folder / ".pages" / "audit.log").write_text("x")
    assert basis_of(folder, DEMO_AS_OF) == first
    with open_ledger(folder) as ledger:
        ledger.append(events.note(DEMO_AS_OF, "gate is blue"), who="Ann")
        assert basis_of(folder, DEMO_AS_OF) == first  # no forecast rests on a note
        ledger.append(events.reading("V-03", DEMO_AS_OF, 9.0), who="Ann")
    second = basis_of(folder, DEMO_AS_OF)
    assert second != first
    os.utime(folder / "sites.csv", (1, 1))
    assert basis_of(folder, DEMO_AS_OF) != second


def test_ages_in_words() -> None:
    noon = datetime(2025, 10, 6, 12, tzinfo=UTC)
    ago = {
        "just now": 59,
        "1 minute ago": 60,
        "59 minutes ago": 3599,
        "1 hour ago": 3600,
        "47 hours ago": 172799,
    }
    assert [made_ago(noon, noon + timedelta(seconds=s)) for s in ago.values()] == list(ago)


# --- the last good state


def test_a_broken_folder_shows_the_last_good_state_also_after_a_restart(season: Path) -> None:
    sheet = season / "sites.csv"
    whole = sheet.read_bytes()
    with Served(season) as served, served.client() as client:
        sheet.write_bytes(whole.replace(b",24,31,", b",3ft,31,", 1))
        served.desk.touch()
        served.settled()
        page = client.get("/").text
        assert "The newest estimate could not be made" in page
        assert "3ft" in page
        assert "as of Mon 6 Oct, made" in page
        assert "Next crew-days" in page
        assert client.get("/data/route.json").headers["x-season-failed"] == "true"
    with Served(season) as served, served.client() as client:
        served.settled()
        page = client.get("/").text
        assert "The newest estimate could not be made" in page
        assert "Next crew-days" in page
        assert "Traceback" not in page
        sheet.write_bytes(whole)
        until = time.monotonic() + 60  # noticed without a word from anybody
        while "could not be made" in client.get("/").text:
            assert time.monotonic() < until
            time.sleep(0.2)


def test_before_any_good_state_the_page_says_what_to_mend(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text("[season]\nyear = 2025\ntimezone = 'UTC'\n", encoding="utf-8")
    with Served(tmp_path) as served, served.client() as client:
        served.settled()
        page = client.get("/")
        assert page.status_code == 200
        assert "There is no estimate yet" in page.text
        assert "sites.csv" in page.text
        assert client.get("/data/route.json").status_code == 503
        assert client.get("/site/V-03/reading").status_code in (404, 422)


def test_a_worker_that_dies_is_replaced(season: Path) -> None:
    with Served(season) as served, served.client() as client:
        served.desk.touch()
        until = time.monotonic() + 60
        while served.desk._worker is None:
            assert time.monotonic() < until
            time.sleep(0.01)
        served.desk._worker.kill()
        served.settled()
        assert served.desk.problem() is not None
        assert client.get("/").status_code == 200
        served.desk.touch()
        served.settled()
        assert served.desk.problem() is None


def test_a_folder_that_cannot_be_written_still_has_pages(
    base_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError("read-only")

    monkeypatch.setattr("forecaster.web.desk.tempfile.TemporaryFile", refuse)
    desk = Desk(base_folder, DEMO_AS_OF)
    assert base_folder not in desk.kept.parents
    desk.stop()
    assert not desk.kept.exists()


# --- the data


def test_data_are_the_command_lines_own(base_served: Served, tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from forecaster.cli import app

    wanted = tmp_path / "route.json", tmp_path / "water.csv"
    for command, option, path in (("route", "--json", wanted[0]), ("water", "--csv", wanted[1])):
        said = [command, str(base_served.folder), "--as-of", str(DEMO_AS_OF), option, str(path)]
        assert CliRunner().invoke(app, said).exit_code == 0
    with base_served.client() as client:
        route, water = client.get("/data/route.json"), client.get("/data/water.csv")
        assert route.content == wanted[0].read_bytes()
        assert water.content == wanted[1].read_bytes()
        assert route.headers["content-type"] == "application/json"
        again = client.get("/data/route.json", headers={"if-none-match": route.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert json.loads(client.get("/data/state.json").text)["pending"] is False
