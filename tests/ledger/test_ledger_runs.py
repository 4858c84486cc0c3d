"""Forecast runs: recorded with all they were made from, and made again to the last byte."""

from __future__ import annotations

import random
import sqlite3
from datetime import date

import pytest
from ledger_office import forecast_of_everything

from forecaster.errors import ForecasterError
from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_runs import (
    RunDiffers,
    again,
    find_run,
    folder_inputs,
    input_digests,
    run_output,
)

DAY = date(2025, 10, 6)


def record(folder, ledger, **more):
    given = {
        "inputs": folder_inputs(folder),
        "as_of": DAY,
        "seed": 7,
        "version": "0.1.0",
        "output": forecast_of_everything(folder, DAY),
        "last_event_id": ledger.last_event_id(),
        **more,
    }
    return ledger.record_run(**given)


def remade(folder, ledger, run, forecast=forecast_of_everything, version="0.1.0"):
    return again(folder, ledger, run, forecast, version=version)


def weather(folder, days: int) -> None:
    rng = random.Random(3)
    (folder / "weather").mkdir(exist_ok=True)
    lines = [
        f"{1940 + n // 365}-{n % 365:03},{rng.uniform(-20, 30):.1f},{rng.uniform(-9, 9):.1f}"
        for n in range(days)
    ]
    (folder / "weather" / "A.csv").write_text("\n".join(["date,tmin,tmax", *lines]) + "\n")


def test_a_run_comes_back_after_everything_changed(folder, ledger, clock):
    weather(folder, 20_000)
    ledger.append([ev.reading("L-07", DAY, 9.0), ev.closed("L-08", DAY)], who="Ann")
    said = forecast_of_everything(folder, DAY)
    run = record(folder, ledger)
    ledger.append(ev.closed("L-09", DAY), who="Bo")
    ledger.append(ev.undo(ledger.event(1)), who="Bo")
    weather(folder, 20_010)
    (folder / "sites.csv").write_text("site_id\n")
    (folder / "readings.csv").write_bytes(b"\xff\x00any bytes")
    assert forecast_of_everything(folder, DAY) != said
    clock.wait(days=30)
    assert remade(folder, ledger, run) == said
    assert run_output(folder, find_run(ledger, run)) == said


def test_again_through_a_moved_folder_that_may_only_be_read(folder, tmp_path, clock):
    with open_ledger(folder, clock=clock) as ledger:
        ledger.append(ev.reading("L-07", DAY, 9.0), who="Ann")
        run = record(folder, ledger)
    moved = folder.rename(tmp_path / "elsewhere")
    with open_ledger(moved, readonly=True) as ledger:
        assert remade(moved, ledger, run) == forecast_of_everything(moved, DAY)


def test_another_result_is_told_with_the_likely_cause(folder, ledger):
    run = record(folder, ledger)
    with pytest.raises(RunDiffers, match=r"made by version 0\.1\.0 of the program, this is 0\.2\.0"):
        remade(folder, ledger, run, lambda *_: "other", version="0.2.0")
    with pytest.raises(RunDiffers, match="a library under it"):
        remade(folder, ledger, run, lambda *_: "other")


def test_the_same_run_is_recorded_once_and_any_difference_is_another(folder, ledger):
    ledger.append(ev.reading("L-07", DAY, 9.0), who="Ann")
    first = record(folder, ledger)
    ledger.append(ev.note(DAY, "changes no forecast"), who="Ann")
    assert record(folder, ledger) == first
    runs = {first}
    for more in (
        {"seed": 8},
        {"as_of": date(2025, 10, 7)},
        {"version": "0.2"},
        {"output": "x"},
        {"inputs": {}},
    ):
        runs.add(record(folder, ledger, **more))
    ledger.append(ev.closed("L-07", DAY), who="Ann")
    runs.add(record(folder, ledger))
    assert len(runs) == 7
    assert len(ledger.state().runs) == 7


def test_inputs_are_digested_by_group(folder):
    weather(folder, 10)
    for name in ("backups/x.sqlite", ".runs/y", "season.sqlite", "logger/L-07.csv", "~$sites.xlsx"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(name)
    inputs = folder_inputs(folder)
    assert sorted(inputs) == ["logger/L-07.csv", "season.toml", "sites.csv", "weather/A.csv"]
    before = input_digests(inputs)
    assert sorted(before) == ["other", "settings", "sites", "weather"]
    after = input_digests({**inputs, "weather/A.csv": inputs["weather/A.csv"] + b"x"})
    assert [name for name in before if before[name] != after[name]] == ["weather"]


def test_a_line_more_costs_little(folder, ledger):
    """80 years of days at one station, then 10 runs with a day more each."""
    weather(folder, 29_200)
    record(folder, ledger)
    store = folder / ".runs" / "inputs.sqlite"
    first = store.stat().st_size
    for day in range(10):
        weather(folder, 29_201 + day)
        record(folder, ledger)
    grown = (store.stat().st_size - first) / 10
    assert grown < 0.1 * first
    assert (folder / "season.sqlite").stat().st_size < 100_000


def test_settings_that_change_between_runs_are_events(folder, ledger):
    record(folder, ledger)
    text = (folder / "season.toml").read_text()
    (folder / "season.toml").write_text(
        text.replace("hours_per_day = 8", "hours_per_day = 7") + "\n[costs]\nice = 1\n"
    )
    record(folder, ledger)
    record(folder, ledger)
    (change,) = ledger.state().settings_changes
    assert change.changed == {"costs.ice": [None, 1], "crew.1.hours_per_day": [8, 7]}


def test_what_is_missing_is_told(folder, ledger, refusals):
    assert "no forecast has been recorded" in refusals(lambda: find_run(ledger, None))[0]
    run = record(folder, ledger)
    assert f"The latest are {run} (as of 2025-10-06)" in refusals(lambda: find_run(ledger, 99))[0]
    store = folder / ".runs" / "inputs.sqlite"
    with sqlite3.connect(store) as connection:
        connection.execute("UPDATE piece SET content = zeroblob(3)")
    connection.close()
    with pytest.raises((ForecasterError, Exception)):
        remade(folder, ledger, run)
    store.unlink()
    with pytest.raises(ForecasterError, match="what the run was made from is no longer kept"):
        remade(folder, ledger, run)
