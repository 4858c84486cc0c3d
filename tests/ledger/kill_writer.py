"""A process that writes to a ledger until it is killed; says each event on stdout only after it is recorded.

Run as: kill_writer.py FOLDER NAME LIFE. Every event carries a token in its text. Most are long pieces, of
which 26 are recorded at once, so that a kill falls into the writing of many pages; then single notes,
closings and their undos, and a reopening of the file.
"""

from __future__ import annotations

import os
import sys
from datetime import date
from itertools import count
from pathlib import Path

from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger

DAY = date(2025, 10, 6)
PIECES = "abcdefghijklmnopqrstuvwxyz"
LONG = "x" * 3000


def say(line: str) -> None:
    os.write(1, f"{line}\n".encode())


def write(folder: Path, name: str, life: str) -> None:
    ledger = open_ledger(folder)
    for number in count():
        token = f"{name}.{life}.{number}"
        if number % 2:
            parts = [f"{token}.{part}" for part in PIECES]
            ledger.append([ev.note(DAY, f"piece {part} {LONG}") for part in parts], who=name)
            for part in parts:
                say(part)
        elif number % 10 == 6:
            closed = ledger.append(ev.closed(f"{name}-{number}", DAY, done=token), who=name)[0].event
            say(token)
            ledger.append(ev.undo(closed, reason=f"{token}.undo"), who=name)
            say(f"{token}.undo")
        elif number % 10 == 8:
            ledger.append(ev.booked(f"{name}-{number % 7}", DAY, date(2025, 10, 7 + number % 20)), who=name)
            ledger.close()
            ledger = open_ledger(folder)
        else:
            ledger.append(ev.note(DAY, token), who=name)
            say(token)


if __name__ == "__main__":
    write(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
