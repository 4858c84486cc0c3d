"""Alarms and messages as events of the ledger: what was raised, and what became of each message.

Both are kept by the program and have no clock in their facts, so that recording one twice adds nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from forecaster.season.events import Entry, clean_text


def alarm_entry(day: date, *, key: str, rule: str, title: str, sites: Sequence[str] = ()) -> Entry:
    """On `day` an alarm was raised: its key (the same for the same matter), rule, words and sites.

    >>> alarm_entry(date(2025, 10, 6), key="cold/1", rule="minimum", title="Below 20 F").facts["rule"]
    'minimum'
    """
    facts = {"key": key, "rule": rule, "title": clean_text(title, "title")}
    return Entry("alarm", day, facts | ({"sites": list(sites)} if sites else {}))


def message_entry(day: date, *, key: str, channel: str, title: str, state: str) -> Entry:
    """On `day` a message was sent or given up (`state`); `channel` is a name or mail address, no secret."""
    facts = {"key": key, "channel": channel, "title": clean_text(title, "title"), "state": state}
    return Entry("message", day, facts)
