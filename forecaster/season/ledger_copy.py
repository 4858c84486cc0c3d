"""A new ledger that holds the first events of another one, with the same numbers."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from forecaster.season.ledger import LEDGER_NAME, Ledger
from forecaster.season.ledger_file import connect, plain_words, transaction
from forecaster.season.ledger_rows import INSERT_SQL, row_of_event
from forecaster.season.ledger_schema import migrate


def copy_ledger(ledger: Ledger, into: Path, *, last_event_id: int | None = None) -> int:
    """Write `season.sqlite` to the folder `into`, with the events up to `last_event_id` (None for all).

    Returns the number of events; without any, no file is made. The file must not exist.
    """
    events = [e for e in ledger.events() if last_event_id is None or e.event_id <= last_event_id]
    if not events:
        return 0
    path = into / LEDGER_NAME
    with plain_words(path), closing(connect(path, mode="rwc")) as copy, transaction(copy):
        migrate(copy, now=datetime.now(UTC))
        for event in events:
            copy.execute(INSERT_SQL, row_of_event(event))
    return len(events)
