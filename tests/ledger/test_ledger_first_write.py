"""Many people write the first event of a season at once: one of them makes the file, all are recorded."""

from __future__ import annotations

import threading
from datetime import date
from pathlib import Path

import pytest

from forecaster.season import events as said
from forecaster.season.ledger import open_ledger

WRITERS, SEASONS = 8, 20
"""Seventeen of sixty such beginnings failed while the file's marks were read one by one."""


@pytest.mark.parametrize("number", range(SEASONS))
def test_all_first_writers_are_recorded(tmp_path: Path, number: int) -> None:
    (tmp_path / "season.toml").write_text('[season]\nyear = 2025\ntimezone = "UTC"\n', encoding="utf-8")
    gate, failed = threading.Barrier(WRITERS), []

    def write(who: int) -> None:
        gate.wait()
        try:
            with open_ledger(tmp_path) as ledger:
                ledger.append(said.note(date(2025, 10, 6), f"note {who}"), who=f"w{who}")
        except Exception as error:
            failed.append(repr(error))

    threads = [threading.Thread(target=write, args=(who,)) for who in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    with open_ledger(tmp_path) as ledger:
        assert sorted(event.who for event in ledger.events()) == [f"w{who}" for who in range(WRITERS)]
