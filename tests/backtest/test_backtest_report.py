"""From the command to the text, JSON, CSV and page, on a small folder with and without money."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from forecaster.backtest.summary import LEADS
from forecaster.cli_backtest import register
from forecaster.errors import BadInput

app = typer.Typer()
register(app)


@app.command()
def other() -> None:
    """Typer needs two commands to ask for a name."""


runner = CliRunner()
ARGUMENTS = ["--seasons", "2013-2016", "--as-of-days", "09-20,10-05", "--workers", "1", "--members", "150"]


@pytest.fixture(scope="module")
def made(plain_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    out = tmp_path_factory.mktemp("out")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(out / "cache"))
        done = runner.invoke(
            app,
            [
                *("backtest", str(plain_folder), *ARGUMENTS, "--outlook", "emulated,none,perfect", "--money"),
                *("--every", "14", "--closings", "2", "--json", str(out / "b.json")),
                *("--forecasts", str(out / "b.csv"), "--html", str(out / "b.html")),
            ],
            catch_exceptions=False,
        )
    assert done.exit_code == 0
    return out, done.stdout


def test_json_holds_the_contract(made: tuple[Path, str]):
    content = json.loads((made[0] / "b.json").read_text())
    assert content["seasons"] == [2013, 2014, 2015, 2016]
    names = {"as_of_month_day", "event", "n", "crps_days", "crps_climatology_days", "mae_days", "bias_days"}
    names |= {"coverage_80", "brier", "brier_climatology"}
    for row in content["scores"]:
        assert names <= set(row)
        assert row["as_of_month_day"] in ("09-20", "10-05")
        assert 0 <= row["coverage_80"] <= 1
    assert {row["event"] for row in content["scores"]} == {"start", "sustained"}
    worlds = {(row["policy"], row["crews_limited"]) for row in content["policies"]}
    assert {
        ("recommended", True),
        ("recommended", False),
        ("hindsight", True),
        ("best fixed date", True),
    } <= worlds
    for row in content["policies"]:
        assert row["low"] <= row["mean_loss"] <= row["high"]
    by_name = {(row["policy"], row["crews_limited"]): row["mean_loss"] for row in content["policies"]}
    for limited in (True, False):
        assert all(
            by_name["hindsight", limited] <= loss + 1e-9 for (_, w), loss in by_name.items() if w == limited
        )
    assert content["outlook_is_emulated"] is True


def test_csv_scores_add_up_to_the_json(made: tuple[Path, str]):
    rows = list(csv.DictReader(io.StringIO((made[0] / "b.csv").read_text())))
    assert len(rows) == 4 * 2 * 3 * 2
    content = json.loads((made[0] / "b.json").read_text())
    for score in content["scores"]:
        own = [
            row for row in rows
            if row["event"] == score["event"] and row["as_of"][5:] == score["as_of_month_day"]
            and row["scored"] == "1"
        ]  # fmt: skip
        assert len(own) == score["n"]
        assert sum(float(r["crps_days"]) for r in own) / len(own) == pytest.approx(
            score["crps_days"], rel=1e-4
        )
        inside = [r["p10"] <= r["observed"] <= (r["p90"] or "9999") for r in own]
        assert sum(inside) / len(own) == pytest.approx(score["coverage_80"])
        brier = [(float(r["p_hard_freeze_first"]) - float(r["hard_freeze_first"])) ** 2 for r in own]
        assert sum(brier) / len(own) == pytest.approx(score["brier"], rel=1e-3)
        chance = [float(row["p_plumbing_freeze_first"]) for row in own]
        came = [float(row["plumbing_freeze_first"]) for row in own]
        squares = [(p - c) ** 2 for p, c in zip(chance, came, strict=True)]
        assert sum(squares) / len(own) == pytest.approx(score["brier_plumbing"], rel=1e-3)
        assert all(p <= float(row["p_hard_freeze_first"]) for p, row in zip(chance, own, strict=True))


def test_leads_add_up_to_all_days(made: tuple[Path, str]):
    content = json.loads((made[0] / "b.json").read_text())
    rows = list(csv.DictReader(io.StringIO((made[0] / "b.csv").read_text())))
    for whole in content["pooled"]:
        leads = [row for row in content["by_lead"] if row["event"] == whole["event"]]
        assert [row["lead"] for row in leads] == [
            lead for lead in LEADS if lead in {r["lead"] for r in leads}
        ]
        assert sum(row["n"] for row in leads) == whole["n"]
        for name in ("crps_days", "mae_days", "bias_days", "coverage_80", "brier", "brier_plumbing"):
            assert sum(row[name] * row["n"] for row in leads) == pytest.approx(whole[name] * whole["n"])
    ahead = [
        (date.fromisoformat(row["p50"]) - date.fromisoformat(row["as_of"])).days
        for row in rows
        if row["event"] == "sustained" and row["scored"] == "1" and row["p50"]
    ]
    near = [row["n"] for row in content["by_lead"] if row["event"] == "sustained" and row["lead"] == LEADS[2]]
    assert sum(14 <= days < 21 for days in ahead) == sum(near)


def test_text_is_for_everybody(made: tuple[Path, str]):
    text = made[1]
    assert "4 past seasons replayed (2013 to 2016)" in text
    assert "8 times in 10 were promised" in text
    assert "emulated" in text
    assert "dollars a pond and season" in text
    assert "the usual date: " in text
    assert "the same day as last fall: " in text
    assert "plumbing freeze" in text
    assert "middle lies in" in text
    assert all(len(line) <= 100 for line in text.splitlines())


class _Parser(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.urls: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.urls += [value or "" for name, value in attrs if name in ("src", "href", "style")]


def test_page_is_one_file_without_script(made: tuple[Path, str]):
    page = (made[0] / "b.html").read_text()
    parser = _Parser()
    parser.feed(page)
    assert "script" not in parser.tags
    assert all(url.startswith(("#", "data:")) for url in parser.urls)
    assert parser.tags.count("svg") == 2 * 5 + 2  # an event: coverage, score, ranks, two freezes
    assert "A plumbing freeze first" in page
    assert "middle lies in" in page
    assert parser.tags.count("desc") == parser.tags.count("svg")
    assert "nan" not in re.sub(r"<style>.*?</style>", "", page, flags=re.S).lower().split()
    assert "emulated" in page


def test_without_money_there_are_no_policies(
    plain_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    arguments = ["--seasons", "2015-2015", "--as-of-days", "10-05", "--workers", "1"]
    target = tmp_path / "b.json"
    done = runner.invoke(app, ["backtest", str(plain_folder), *arguments, "--json", str(target)])
    assert done.exit_code == 0, done.output
    assert "policies" not in json.loads(target.read_text())
    assert not list((tmp_path / "forecaster").rglob("*.npz"))


@pytest.mark.parametrize(
    ("arguments", "found"),
    [
        (["--seasons", "2001/2004"], "not two years"),
        (["--as-of-days", "03-01"], "outside a season"),
        (["--as-of-days", "later"], "not a month and day"),
        (["--outlook", "best"], "not one of none, emulated"),
        (["--seasons", "1960-1961"], "no truth"),
        (["--workers", "0"], "not 1 or more"),
    ],
)
def test_bad_wishes_end_as_a_message(plain_folder: Path, arguments: list[str], found: str):
    done = runner.invoke(app, ["backtest", str(plain_folder), *arguments])
    assert isinstance(done.exception, BadInput)
    assert found in str(done.exception)


# --- several outlooks side by side
def test_outlooks_stand_side_by_side_in_every_form(made: tuple[Path, str]):
    content = json.loads((made[0] / "b.json").read_text())
    assert content["outlook"] == "emulated"
    beside = content["side_by_side"]
    assert [one["outlook"] for one in beside] == ["emulated", "none", "perfect"]
    assert [one["outlook_is_emulated"] for one in beside] == [True, False, False]
    assert beside[0]["pooled"] == content["pooled"]
    assert beside[0]["policies"] == content["policies"]
    score = {one["outlook"]: one["last_days"][1]["crps_days"] for one in beside}
    assert score["perfect"] < score["none"]
    page = (made[0] / "b.html").read_text()
    assert 'id="beside"' in page
    for text in (page, made[1].split("Side by side")[1]):
        assert all(word in text for word in ("emulated", "none", "perfect", "our advice"))
    rows = list(csv.DictReader(io.StringIO((made[0] / "b.csv").read_text())))
    assert {row["outlook"] for row in rows} == {"emulated"}  # one row a season, day, site and event


def test_an_unknown_outlook_among_several_is_named(plain_folder: Path):
    wrong = ["--outlook", "none,perfct", "--as-of-days", "06-01"]
    done = runner.invoke(app, ["backtest", str(plain_folder), *wrong])
    assert isinstance(done.exception, BadInput)
    assert [str(problem) for problem in done.exception.problems] == [
        '--outlook: "perfct" is not one of none, emulated, perfect, kept or all.',
        '--as-of-days: "06-01" lies outside a season; allowed are 08-01 to 01-31.',
    ]
