"""The analyst's evening: a kept replay, cut by station and morning, with the data behind each picture."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from web_browser import DESK, NARROW, axe_problems, watched
from web_server import CREW, Served, copied, send

from forecaster.backtest.inputs import Asked
from forecaster.backtest.summary import Summary
from forecaster.demo import copy_demo
from forecaster.errors import BadInput
from forecaster.web.evidence_store import (
    PLACE,
    POINTER,
    Evidence,
    NoEvidence,
    evidence_stamp,
    keep_evidence,
    part_of,
    read_evidence,
)
from forecaster.web.evidence_view import TABLES, season_rows, table_csv
from forecaster.web.replay import Replayer

ASKED = Asked(seasons=(2019, 2024), as_of_days=((9, 27), (10, 11)))
NOW = datetime(2026, 1, 5, 9, tzinfo=UTC)


@pytest.fixture(scope="session")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo season with a small replay kept; copy it, do not change it."""
    folder = tmp_path_factory.mktemp("evidence") / "season"
    copy_demo(folder)
    keep_evidence(folder, ASKED, now=NOW, version="0.0.test")
    return folder


@pytest.fixture(scope="session")
def evidence(replayed: Path) -> Evidence:
    return read_evidence(replayed)


@pytest.fixture(scope="session")
def analyst(base_folder: Path, replayed: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server over a season whose replay is kept."""
    folder = copied(base_folder, tmp_path_factory.mktemp("analyst") / "season")
    copied(replayed / PLACE, folder / PLACE)
    with Served(folder) as running:
        yield running


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


# --- the store
def test_what_is_kept_is_what_was_replayed(evidence: Evidence) -> None:
    assert [result.season for result in evidence.results] == [2019, 2020, 2021, 2022, 2023, 2024]
    assert (evidence.version, evidence.replayed_at) == ("0.0.test", NOW)
    whole = evidence.chosen()
    assert whole.summary.rows() == evidence.about.summary.rows()
    assert whole.asked == ASKED


def test_stations_part_the_cases_and_mornings_too(evidence: Evidence) -> None:
    def cases(**choice: Any) -> float:
        return float(sum(season[..., 0].sum() for season in evidence.chosen(**choice).summary.sums))

    whole = cases()
    assert whole > 0
    assert sum(cases(station=name) for name in set(evidence.stations.values())) == whole
    assert sum(cases(as_of_day=day) for day in ASKED.as_of_days or ()) == whole


def test_a_part_holds_exactly_its_sites_and_mornings(evidence: Evidence) -> None:
    one = evidence.results[0]
    part = part_of(one, [1], [3, 5])
    assert part.site_ids == (one.site_ids[3], one.site_ids[5])
    assert part.days == (one.days[1],)
    np.testing.assert_array_equal(part.quantiles, one.quantiles[1:2][:, [3, 5]])
    np.testing.assert_array_equal(part.crps, one.crps[1:2][:, [3, 5]])
    np.testing.assert_array_equal(part.observed, one.observed[[3, 5]])
    Summary(((10, 11),)).add(part)  # every array fits the others


@pytest.mark.parametrize("choice", [{"station": "NOWHERE"}, {"as_of_day": (2, 30)}])
def test_an_unknown_choice_is_refused(evidence: Evidence, choice: dict[str, Any]) -> None:
    with pytest.raises(KeyError):
        evidence.chosen(**choice)


def test_nothing_kept_and_damaged(replayed: Path, tmp_path: Path) -> None:
    with pytest.raises(NoEvidence, match="No replay"):
        read_evidence(tmp_path)
    assert evidence_stamp(tmp_path) == ""
    folder = copied(replayed, tmp_path / "season")
    name = (folder / PLACE / POINTER).read_text().strip()
    (folder / PLACE / name / "2021.npz").write_bytes(b"half a file")
    with pytest.raises(NoEvidence, match="cannot be read"):
        read_evidence(folder)
    (folder / PLACE / POINTER).write_text("../../elsewhere\n")
    with pytest.raises(NoEvidence, match="cannot be read"):
        read_evidence(folder)


def test_a_replay_that_fails_leaves_the_last_one(replayed: Path, tmp_path: Path) -> None:
    folder = copied(replayed, tmp_path / "season")
    before = sorted(path.name for path in (folder / PLACE).iterdir())
    with pytest.raises(BadInput):
        keep_evidence(folder, replace(ASKED, seasons=(1700, 1701)), now=NOW, version="x")
    assert sorted(path.name for path in (folder / PLACE).iterdir()) == before
    assert len(read_evidence(folder).results) == 6


# --- tables
def test_worst_season_first_by_hand(evidence: Evidence) -> None:
    rows = season_rows(evidence.chosen())
    excess = [float(row["score"]) - float(row["past only"]) for row in rows]
    assert excess == pytest.approx(sorted(excess, reverse=True), abs=0.011)
    worst = next(one for one in evidence.results if str(one.season) == rows[0]["season"])
    scored = worst.scored[:, :, 1]
    assert float(rows[0]["score"]) == pytest.approx(worst.crps[:, :, 1][scored].mean(), abs=0.006)
    assert int(rows[0]["cases"]) == scored.sum()


def test_the_files_hold_the_numbers_of_the_page(evidence: Evidence) -> None:
    scores = rows_of("".join(table_csv(evidence, "scores", "FLOOR", None)))
    summary = evidence.chosen(station="FLOOR").summary
    whole = [*summary.rows(), *summary.lead_rows()]
    assert [(int(row["n"]), row["lead"]) for row in scores] == [(row.n, row.lead) for row in whole]
    freezes = rows_of("".join(table_csv(evidence, "reliability", "FLOOR", None)))
    assert {row["freeze"] for row in freezes} == {"hard freeze", "plumbing freeze"}
    forecasts = rows_of("".join(table_csv(evidence, "forecasts", "FLOOR", (10, 11))))
    assert {row["as_of"][5:] for row in forecasts} == {"10-11"}
    assert {evidence.stations[row["site_id"]] for row in forecasts} == {"FLOOR"}
    for name in TABLES:
        assert "".join(table_csv(evidence, name, None, None)) or name == "money"
    with pytest.raises(KeyError):
        table_csv(evidence, "secrets", None, None)


# --- the page
def test_page_filters_and_downloads(analyst: Served) -> None:
    with analyst.client() as client:
        page = client.get("/evidence")
        assert page.status_code == 200
        assert "6 seasons, 2019 to 2024" in page.text
        assert "Were the promises kept? Against modelled water" in page.text
        assert page.text.count("<svg") == 10  # two events: coverage, score, ranks, two freezes
        cut = client.get("/evidence?station=UPPER&day=10-11")
        assert cut.status_code == 200
        assert '<option value="UPPER" selected>' in cut.text
        assert "/evidence/scores.csv?station=UPPER&amp;day=10-11" in cut.text
        file = client.get("/evidence/scores.csv?station=UPPER&day=10-11")
        assert file.headers["content-disposition"] == 'attachment; filename="evidence-scores.csv"'
        assert {row["as_of_month_day"] for row in rows_of(file.text)} == {"10-11", "all"}


@pytest.mark.parametrize(
    "path",
    [
        "/evidence?station=NOWHERE",
        "/evidence?day=yesterday",
        "/evidence?day=02-30",
        "/evidence/secrets.csv",
        "/evidence/..%2F..%2Fseason.csv",
        "/evidence/scores.csv?station=%00",
    ],
)
def test_what_is_not_there_is_said(analyst: Served, path: str) -> None:
    with analyst.client() as client:
        answer = client.get(path)
        assert answer.status_code == 404
        assert "Traceback" not in answer.text


def test_without_a_replay_the_next_step_is_told(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get("/evidence")
        assert page.status_code == 200
        assert "No replay of past seasons is kept yet." in page.text
        assert "Begin the replay" in page.text
        assert client.get("/evidence/scores.csv").status_code == 404


def test_only_the_office_may_start_a_replay(guarded: Served) -> None:
    with guarded.logged_in(CREW) as client:
        assert "Begin the replay" not in client.get("/evidence").text
        assert send(client, "/evidence/replay", "/", outlook="none").status_code == 403


def test_a_strange_outlook_is_refused(analyst: Served) -> None:
    with analyst.client() as client:
        assert send(client, "/evidence/replay", "/evidence", outlook="crystal").status_code == 422
        assert not analyst.app.state.replayer.running()


# --- the replay beside the pages
def test_replay_says_why_it_stopped_and_may_begin_again(tmp_path: Path) -> None:
    folder = tmp_path / "season"
    copy_demo(folder)
    (folder / "sites.csv").write_text("site_id\nA\n", encoding="utf-8")
    replayer = Replayer(folder)
    assert replayer.said() == ""
    assert replayer.start(outlook="none", money=False)
    until = time.monotonic() + 60
    while replayer.running():
        assert time.monotonic() < until
        time.sleep(0.05)
    assert "sites.csv" in replayer.said()
    assert evidence_stamp(folder) == ""
    assert replayer.start(outlook="none", money=False)
    replayer.stop()
    assert not replayer.running()
    assert not replayer.start(outlook="none", money=False)


@pytest.mark.slow
def test_replay_from_the_page_to_its_end(served: Served) -> None:
    with served.client() as client:
        assert send(client, "/evidence/replay", "/evidence", outlook="none").status_code == 303
        assert "A replay is running." in client.get("/evidence").text
        until = time.monotonic() + 600
        while served.app.state.replayer.running():
            assert time.monotonic() < until
            time.sleep(0.5)
        assert "Were the promises kept?" in client.get("/evidence").text


# --- in the browser
@pytest.mark.browser
@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_analyst_cuts_and_downloads(analyst: Served, chromium: Any, script: bool) -> None:
    with watched(chromium, analyst.url, DESK, script=script) as desk:
        desk.go("/evidence")
        desk.page.get_by_label("Station").select_option("BLUFF")
        desk.page.get_by_role("button", name="Show").click()
        desk.page.wait_for_url("**station=BLUFF**")
        desk.check()
        with desk.page.expect_download() as waiting:
            desk.page.get_by_role("link", name="reliability.csv").click()
        rows = rows_of(Path(waiting.value.path()).read_text(encoding="utf-8"))
        assert rows
        assert set(rows[0]) >= {"truth", "event", "chance_given", "it_came", "cases"}


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_evidence_fits_and_axe_finds_nothing(analyst: Served, chromium: Any, scheme: str) -> None:
    with watched(chromium, analyst.url, NARROW, scheme=scheme) as phone:
        assert phone.go("/evidence").status == 200
        phone.check()
    assert axe_problems(chromium, analyst.url, ["/evidence"], scheme=scheme) == []
