"""A watch in a process of its own, on a clock that stands at a given moment and then runs on.

Run as: run_watch.py FOLDER MOMENT EVERY_SECONDS [FASTER]. Each line it says goes to stdout. FASTER: so many
seconds of its clock pass in one.
"""

from __future__ import annotations

import signal
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

from forecaster.brief import watch as room
from forecaster.brief.secrets import load_secrets


def main(folder: Path, moment: str, every_s: str, faster: str = "1") -> None:
    begun, start = time.monotonic(), datetime.fromisoformat(moment)

    def clock() -> datetime:
        return start + timedelta(seconds=(time.monotonic() - begun) * float(faster))

    room.TICK_S = 0.05
    watching = room.Watch(
        folder,
        timedelta(seconds=float(every_s)),
        lambda: load_secrets(folder),
        lambda text: print(text, flush=True),
        clock=clock,
    )
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, watching.stop.wish)
    watching.run(once=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:])
