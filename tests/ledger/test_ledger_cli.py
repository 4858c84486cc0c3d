"""The commands as the office types them."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from datetime import date

import pytest
import typer

from forecaster.cli_ledger import register
from forecaster.season.ledger import open_ledger

COMMANDS = (
    *(
        "accept",
        "again",
        "book",
        "close",
        "export",
        "history",
        "import",
        "move",
        "new",
        "next-season",
        "note",
        "outcome",
    ),
    *("reading", "restore", "skip", "thermometer", "told", "unbook", "undo", "visit"),
)


def events(folder):
    with open_ledger(folder, readonly=True) as ledger:
        return [(e.kind, e.site_id, e.day, dict(e.facts)) for e in ledger.events()]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_every_command_shows_an_example_that_names_it(run, command):
    answer = run(command, "--help")
    assert answer.code == 0
    assert f"Example: forecaster {command} " in " ".join(answer.out.replace("│", " ").split())


def test_no_command_is_forgotten_here():
    app = typer.Typer()
    register(app)
    assert sorted(command.name for command in app.registered_commands) == sorted(COMMANDS)


def test_a_season_by_phone(run, folder):
    for words in (
        [
            "reading",
            folder,
            "L-07",
            "52.3",
            "--at",
            "3:30 pm",
            "--depth",
            "12",
            "--by",
            "Heron",
            "--sky",
            "Clear",
        ],
        ["reading", folder, "fernwhistle", "11C", "--on", "yesterday", "--thermometer", "B"],
        ["thermometer", folder, "B", "--shows", "33.8"],
        ["told", folder, "l-09", "15 Oct", "--on", "3 Oct"],
        ["book", folder, "L-09", "10/16"],
        ["unbook", folder, "L-08", "--why", "away"],
        ["close", folder, "L-07", "--by", "Heron", "--done", "pump out, net on", "--hours", "1.5"],
        ["skip", folder, "L-10", "--why", "gate locked"],
        ["visit", folder, "L-07", "net off", "--on", "20 Nov", "--hours", "0.5"],
        ["note", folder, "dog", "--site", "L-10"],
        ["outcome", folder, "L-07", "call-back", "--cost", "95"],
        ["undo", folder, "--why", "wrong pond"],
    ):
        answer = run(*words, "--who", "Ann")
        assert answer.code == 0, (words, answer)
        assert "event" in answer.out
    today = date(2025, 10, 6)
    assert events(folder) == [
        (
            "reading",
            "L-07",
            today,
            {"water_c": 11.277778, "hour": 15.5, "depth_m": 0.3048, "by": "Heron", "sky": "clear"},
        ),
        ("reading", "L-07", date(2025, 10, 5), {"water_c": 11.0, "thermometer": "B"}),
        ("thermometer", "", today, {"thermometer": "B", "offset_c": -1.0}),
        ("told", "L-09", date(2025, 10, 3), {"date": "2025-10-15"}),
        ("booked", "L-09", today, {"date": "2025-10-16"}),
        ("unbooked", "L-08", today, {"dates": ["2025-10-20"], "reason": "away"}),
        ("closed", "L-07", today, {"by": "Heron", "done": "pump out, net on", "crew_hours": 1.5}),
        ("skipped", "L-10", today, {"reason": "gate locked"}),
        ("visit", "L-07", today, {"date": "2025-11-20", "what": "net off", "crew_hours": 0.5}),
        ("note", "L-10", today, {"text": "dog"}),
        ("outcome", "L-07", today, {"what": "call-back", "dollars": 95.0}),
        ("undo", "L-07", today, {"reason": "wrong pond"}),
    ]
    lines = run("history", folder, "L-07").out.splitlines()
    assert len(lines) == 6
    assert lines[0] == (
        "    1  2025-10-06 10:00  Ann  L-07 Fernwhistle: water 52.3 °F on Mon 6 Oct at 15:30,"
        " 12 inches deep, by Heron"
    )
    assert lines[4].endswith("call-back on Mon 6 Oct, $95  [undone]")
    assert len(run("history", folder, "--last", "2").out.splitlines()) == 3


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["reading", "L-77", "52"], 'site: "L-77" is not in the site sheet. Did you mean L-07?'),
        (
            ["reading", "mossbottle", "52"],
            "may be L-09 (Mossbottle (Long terrace)) or L-10 (Mossbottle (Frog Court))",
        ),
        (["reading", "L-07", "520"], "520 is outside the allowed 31.1 to 104 °F"),
        (["reading", "L-07", "cold"], '"cold" is not a number in °F'),
        (["reading", "L-07", "52", "--on", "10/5"], "may be 5 October or 10 May"),
        (["reading", "L-07", "52", "--on", "tomorrow"], "2025-10-07 is in the future"),
        (["reading", "L-07", "52", "--at", "25:00"], '--at: "25:00" is not a time of day'),
        (["reading", "L-07", "52", "--sky", "cloudly"], "Did you mean cloudy?"),
        (["reading", "L-07", "52", "--depth", "2ft"], '--depth: "2ft" is not a number of inches'),
        (["told", "L-07", "15 Oct 2024"], "2024-10-15 is not in the fall of 2025"),
        (["book", "L-07", "next tue"], '"next tue" may be Tue 7 Oct or Tue 14 Oct'),
        (["told", "L-07", "10/15", "--on", "2025-10-07"], "2025-10-07 is in the future"),
        (["unbook", "L-08", "--on", "2025-10-07"], "2025-10-07 is in the future"),
        (["note", "x", "--on", "tomorrow"], "2025-10-07 is in the future"),
        (["unbook", "L-10"], "L-10 Mossbottle (Frog Court): has no booked or told date"),
        (["close", "L-07", "--on", "4 July"], "2025-07-04 is not in the fall of 2025"),
        (["skip", "L-07"], '--why: is needed: the reason. Write it like --why "gate locked"'),
        (["visit", "L-07", "netting"], "--hours: is needed"),
        (["note", "  "], "note: is empty"),
        (["outcome", "L-07", "broken"], '"broken" is not one of damage, ice broken, call-back, no damage'),
        (["thermometer", "B"], "--shows: is needed"),
        (["thermometer", "B", "--shows", "90"], "is no offset"),
        (["undo"], "undo: nothing that Ann entered can be taken back"),
        (["undo", "7"], "event 7: there is no such event. The ledger is empty."),
        (["undo", "all"], 'event: "all" is not the number of an event'),
    ],
)
def test_bad_input_ends_with_2_a_cure_and_nothing_written(run, folder, words, part):
    before = sorted(path.name for path in folder.iterdir())
    answer = run(words[0], folder, *words[1:], "--who", "Ann")
    assert answer.code == 2
    assert part in answer.err
    assert "nothing was changed" in answer.err
    assert sorted(path.name for path in folder.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (
            ["close", "L-07"],
            "is closed already, on Mon 6 Oct by Heron (event 1). If that is wrong, take it back",
        ),
        (["skip", "L-07", "--why", "x"], "is closed already"),
        (["book", "L-07", "10/15"], "is closed already"),
        (["told", "L-09", "10/15"], "is booked on Tue 14 Oct, so another date cannot just be told"),
        (["undo", "3"], "is undone already, by event 4"),
    ],
)
def test_what_holds_already_forbids(run, folder, words, part):
    assert run("close", folder, "L-07", "--by", "Heron").code == 0
    assert run("book", folder, "L-09", "10/14").code == 0
    assert run("note", folder, "x").code == 0
    assert run("undo", folder, "3").code == 0
    answer = run(words[0], folder, *words[1:])
    assert (answer.code, part in answer.err) == (2, True)
    assert len(events(folder)) == 4


def test_said_twice_is_recorded_once(run, folder):
    for words in (
        ["reading", "L-07", "52"],
        ["told", "L-09", "10/14"],
        ["book", "L-10", "10/14"],
        ["note", "dog"],
    ):
        assert "Recorded as event" in run(words[0], folder, *words[1:]).out
        assert "nothing added" in run(words[0], folder, *words[1:]).out
    assert len(events(folder)) == 4
    assert run("undo", folder, "4").code == 0
    assert "Recorded as event 6" in run("note", folder, "dog").out  # taken back, then said again on purpose


def test_undo_takes_the_own_last_one_and_ranges(run, folder):
    run("note", folder, "of Ann", "--who", "Ann")
    run("note", folder, "of Bo", "--who", "Bo")
    assert "event 1, season: note: of Ann" in run("undo", folder, "--who", "Ann").out
    for text in "abc":
        run("note", folder, text, "--who", "Bo")
    assert run("undo", folder, "4-6").out.count("Undone as event") == 3
    with open_ledger(folder, readonly=True) as ledger:
        state = ledger.state()
    assert [note.text for note in state.notes] == ["of Bo"]
    assert run("undo", folder, "1-2").code == 0  # what is undone already is not meant


def test_a_broken_setting_elsewhere_does_not_stop_a_reading(run, folder):
    text = (folder / "season.toml").read_text() + "\n[costs]\nhard_freze = 60\n"
    (folder / "season.toml").write_text(text)
    assert run("reading", folder, "L-07", "52").code == 0


def test_a_broken_season_is_told(run, folder):
    (folder / "season.toml").write_text("[season]\nyear = 2025\n")
    answer = run("reading", folder, "L-07", "52")
    assert (answer.code, "timezone" in answer.err) == (2, True)
    (folder / "sites.csv").unlink()
    (folder / "season.toml").write_text('[season]\nyear = 2025\ntimezone = "America/Chicago"\n')
    assert "neither sites.csv nor sites.xlsx" in run("reading", folder, "L-07", "52").err
    assert "no such folder" in run("history", folder / "none").err


# --- lists


def test_import_export_restore_next_season(run, folder, clock, tmp_path):
    (folder / "c.csv").write_text("site_id,closed,by\nL-07,2025-10-05,Zoë\nL-08,2025-10-05,=1+1\n")
    answer = run("import", folder, folder / "c.csv")
    assert answer.out.startswith("c.csv, closings: 2 added.\n  To take them back: forecaster undo")
    assert "2 were there before" in run("import", folder, folder / "c.csv").out
    assert run("export", folder, tmp_path / "out").code == 0
    text = (tmp_path / "out" / "closings.csv").read_text(encoding="utf-8-sig")
    assert [row["by"] for row in csv.DictReader(io.StringIO(text))] == ["Zoë", "'=1+1"]
    assert run("export", folder, tmp_path / "out").code == 2
    assert run("export", folder, tmp_path / "x", "--format", "pdf").code == 2
    clock.wait(days=1)
    run("note", folder, "next day")
    assert "2025-10-07" in run("restore", folder).out
    assert "Say --yes" in run("restore", folder, "2025-10-07").err
    assert "Put back season-2025-10-07.sqlite: 2 events." in run("restore", folder, "2025-10-07", "--yes").out
    assert (
        "Copies of these days are kept: 2025-10-06, 2025-10-07."
        in run("restore", folder, "2025-10-01", "--yes").err
    )
    answer = run("next-season", folder, tmp_path / "next")
    assert answer.out.startswith(f"Made {tmp_path / 'next'} for the fall of 2026, with 2 events")
    assert run("close", tmp_path / "next", "L-07", "--on", "2025-10-08").code == 2  # another fall's day


def test_commands_that_read_without_a_ledger(run, folder, tmp_path):
    for words in (["history", folder], ["export", folder, tmp_path / "out"]):
        assert run(*words).out == "Nothing was recorded in this folder yet.\n"
    assert run("restore", folder).out == "There are no copies yet.\n"
    assert "no forecast was recorded" in run("again", folder, "1").err
    assert sorted(path.name for path in folder.iterdir()) == ["season.toml", "sites.csv"]


def test_new(run, tmp_path):
    (tmp_path / "c.csv").write_text("Client,Lat,Lng,Depth\nAnn,43.2,-89.4,24\n")
    words = ["new", tmp_path / "fall", "--sheet", tmp_path / "c.csv"]
    answer = run(*words, "--units", "feet")
    assert "--timezone: is needed" in answer.err
    assert '--units: "feet" is neither us nor metric' in answer.err
    words += ["--timezone", "America/Chicago", "--crew", "North", "--crew", "South"]
    answer = run(*words)
    assert (answer.code, "Depth -> mean_depth_in (in inches)" in answer.out) == (2, True)
    assert not (tmp_path / "fall").exists()
    assert run(*words, "--yes").code == 0
    assert "year = 2025" in (tmp_path / "fall" / "season.toml").read_text()
    assert run("close", tmp_path / "fall", "Ann", "--by", "North").code == 0
    assert "is not empty" in run(*words, "--yes").err
    assert '"Chicago" is not a time zone' in run("new", tmp_path / "b", "--timezone", "Chicago", "--yes").err


# --- plans


def test_accept_and_again(run, folder, tmp_path):
    answer = run("accept", folder, "--who", "Ann")
    assert answer.code == 0
    assert "The plan is in force: 1 sites on 1 crew-days, 2025-10-14 to 2025-10-14." in answer.out
    assert "is in force already" in run("accept", folder).out
    number = next(n for n, (kind, *_) in enumerate(events(folder), 1) if kind == "run")
    first = run("again", folder, number).out
    assert json.loads(first)["as_of"] == "2025-10-06"
    assert run("close", folder, "L-07").code == 0
    (folder / "readings.csv").write_text("site_id,taken,water_f\nL-07,2025-10-05,52\n")
    assert run("again", folder, number, "--json", tmp_path / "again.json").code == 0
    assert (tmp_path / "again.json").read_text() == first
    assert "there is no such run" in run("again", folder, "77").err


def test_a_plan_made_from_older_data_says_so(run, folder):
    assert run("accept", folder, "--who", "Ann").code == 0
    assert run("reading", folder, "L-07", "52").code == 0
    assert run("accept", folder, "--as-of", "today", "--who", "Bo").code == 0  # a new forecast knows it
    runs = [n for n, (kind, *_) in enumerate(events(folder), 1) if kind == "run"]
    assert len(runs) == 2
    answer = run("accept", folder, runs[0])
    assert answer.code == 2
    assert run("accept", folder, runs[0], "--yes").code == 0
    with open_ledger(folder, readonly=True) as ledger:
        state = ledger.state()
    assert state.plan_event.facts["run_id"] == runs[0]
    assert state.newer_than_plan() == 1
    assert run("undo", folder, "--who", state.plan_event.who).code == 0
    assert "Bo put another plan in force since" in run("accept", folder, runs[0], "--yes").err


def test_a_changed_sheet_must_be_confirmed(run, folder):
    assert run("accept", folder).code == 0
    text = (folder / "sites.csv").read_text()
    (folder / "sites.csv").write_text(
        text.replace("L-10,Mossbottle (Frog Court),43.23,-89.47,18,,\n", "").replace(",24,", ",48,")
    )
    assert run("accept", folder, "--as-of", "today").code == 2
    answer = run("accept", folder, "--as-of", "today", "--yes")
    assert answer.code == 0
    assert "L-10 (Mossbottle (Frog Court)) is gone from the sheet." in answer.err
    assert "L-07 mean depth changed from 24 inches to 48 inches." in answer.err
    answer = run("accept", folder, "--as-of", "7 Oct")
    assert (answer.code, answer.err) == (0, "")


# --- speed


def test_commands_start_without_the_heavy_libraries(folder):
    script = (
        "import sys, typer\nfrom typer.testing import CliRunner\nfrom forecaster.cli_ledger import register\n"
        "app = typer.Typer()\nregister(app)\n"
        f"r = CliRunner().invoke(app, ['note', {str(folder)!r}, 'dog'])\n"
        f"s = CliRunner().invoke(app, ['history', {str(folder)!r}])\n"
        "assert (r.exit_code, s.exit_code) == (0, 0), r.output\n"
        "heavy = {'pandas', 'scipy', 'statsmodels', 'openpyxl', 'requests', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_command_is_about_as_quick_as_importing_pandas(folder):
    """Computing time, the best of 3 each, so that other programs on the computer do not count."""
    script = "from forecaster.cli_ledger import register; import typer; a = typer.Typer(); register(a); a()"

    def best_s(words):
        taken = []
        for _ in range(3):
            before = os.times()
            subprocess.run([sys.executable, "-c", *words], check=True, capture_output=True)
            after = os.times()
            taken.append(
                after.children_user - before.children_user + after.children_system - before.children_system
            )
        return min(taken)

    reading = best_s([script, "reading", str(folder), "L-07", "52", "--on", "2025-10-06"])
    assert reading < 1.1 * best_s(["import pandas"])
