"""The command that puts a visit on a crew-day by hand, and what is said again after it was replaced."""

from __future__ import annotations

import pytest

from forecaster.season.ledger import open_ledger


def placed_of(folder):
    with open_ledger(folder, readonly=True) as ledger:
        return {site: (str(day), crew) for site, (day, crew) in ledger.state().placed.items()}


def test_move_again_back_and_free(run, folder):
    assert run("move", folder, "l-09", "15 Oct", "heron").out.startswith("Recorded")
    assert "moved by hand to Wed 15 Oct with Heron" in run("history", folder, "L-09").out
    assert "recorded already" in run("move", folder, "L-09", "15 Oct", "Heron").out
    run("move", folder, "L-09", "16 Oct", "Heron")
    run("move", folder, "L-09", "15 Oct", "Heron")  # the words of event 1, said again after another
    assert placed_of(folder) == {"L-09": ("2025-10-15", "Heron")}
    assert run("move", folder, "L-09", "--free").code == 0
    assert placed_of(folder) == {}
    assert "recorded already" in run("move", folder, "L-09", "--free").out
    run("undo", folder)
    assert placed_of(folder) == {"L-09": ("2025-10-15", "Heron")}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (["L-09"], "needs a date and a crew, or --free"),
        (["L-09", "15 Oct", "Heron", "--free"], "needs a date and a crew, or --free"),
        (["L-09", "15 Oct", "Hern"], "Did you mean Heron?"),
        (["L-09", "15 Oct"], "is no crew"),
        (["L-99", "15 Oct", "Heron"], "is not in the site sheet"),
        (["L-09", "12 Oct", "Heron"], "Heron does not work on Sun 2025-10-12. Near it: "),
        (["L-09", "15 Oct 2024", "Heron"], "not in the fall of 2025"),
    ],
)
def test_what_is_no_move_is_refused(run, folder, said, words):
    answer = run("move", folder, *said)
    assert answer.code == 2
    assert words in answer.err
    assert open_ledger(folder, readonly=True) is None


def test_a_booked_visit_is_not_just_moved(run, folder):
    run("book", folder, "L-09", "14 Oct")
    answer = run("move", folder, "L-09", "15 Oct", "Heron")
    assert answer.code == 2
    assert "is booked on Tue 14 Oct" in answer.err
    assert run("move", folder, "L-09", "14 Oct", "Heron").code == 0


@pytest.mark.parametrize("command", ["told", "book"])
def test_a_date_told_again_after_another_holds(run, folder, command):
    for day in ("14 Oct", "16 Oct", "14 Oct"):
        assert run(command, folder, "L-09", day).code == 0
    with open_ledger(folder, readonly=True) as ledger:
        state = ledger.state()
    assert str((state.told if command == "told" else state.booked)["L-09"]) == "2025-10-14"
