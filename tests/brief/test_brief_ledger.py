"""Alarms and messages in the ledger: kept, in words, not taken back, and no forecast changes by them."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from forecaster.cli import last_event
from forecaster.errors import BadInput
from forecaster.season import events
from forecaster.season.event_words import event_words
from forecaster.season.known_sites import read_basics
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_rules import undo_entries
from forecaster.season.ledger_runs import FORECAST_IDLE
from forecaster.season.message_events import alarm_entry, message_entry

DAY = date(2025, 10, 6)
ALARM = alarm_entry(DAY, key="hard_freeze/2025/1", rule="hard_freeze", title="Hard freeze", sites=["V-03"])
SENT = message_entry(
    DAY, key="hard_freeze/2025/1", channel="owner@example.org", title="Hard freeze", state="sent"
)


@pytest.fixture
def kept(season):
    with open_ledger(season) as ledger:
        ledger.append(events.note(DAY, "begun"), who="Ann")
        ledger.append([ALARM, SENT], who="forecaster", once="ever")
        ledger.append([ALARM, SENT], who="forecaster", once="ever")
        yield season, ledger


def test_kept_once_and_said_in_words(kept):
    folder, ledger = kept
    found = ledger.events()
    assert [event.kind for event in found] == ["note", "alarm", "message"]
    basics = read_basics(folder)
    assert event_words(found[1], basics) == "alarm: Hard freeze"
    assert event_words(found[2], basics) == "message sent (owner@example.org): Hard freeze"
    assert all(not isinstance(value, datetime) for event in found for value in event.facts.values())


def test_they_cannot_be_taken_back_and_are_not_the_last_thing_said(kept):
    _, ledger = kept
    given = {"who": "Ann", "reason": "", "describe": lambda event: event.kind}
    with pytest.raises(BadInput, match="cannot be taken back: alarm"):
        undo_entries(ledger.events(), "2", **given)
    assert [entry.undoes for entry in undo_entries(ledger.events(), "", **given)] == [1]  # the note
    assert [entry.undoes for entry in undo_entries(ledger.events(), "1-3", **given)] == [1]


def test_no_forecast_reads_them(kept):
    _, ledger = kept
    assert {"alarm", "message"} <= FORECAST_IDLE
    with_them, without = ledger.state(until=DAY), ledger.events()[:1]
    assert with_them.newer_than_plan() == 0
    assert (with_them.closed, with_them.booked, with_them.told) == ({}, {}, {})
    assert len(without) == 1
    assert last_event(kept[0]) == 3
