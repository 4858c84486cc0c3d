"""A snap on a copy of the invented demo: weather to 5 October, then an outlook of two nights near 18 °F."""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta
from pathlib import Path

from forecaster.demo import DEMO_AS_OF, demo_folder
from forecaster.season import events
from forecaster.season.ledger import open_ledger

SNAP_AS_OF = DEMO_AS_OF + timedelta(days=3)
LOWS_C = {-3: -2.6, -2: -3.4, -1: -4.8}  # measured on the three days before, at every station
AHEAD_C = (-6.5, -8.0, -7.5, -3.0, 1.0, 3.0, 4.0, 4.0, 5.0, 5.0)


def write_snap(folder: Path) -> Path:
    """The demo with three frosty days added, an outlook of that morning, and a ledger."""
    shutil.copytree(demo_folder(), folder)
    settings = folder / "season.toml"
    fewer = re.sub(r"members = \d+", "members = 400", settings.read_text(encoding="utf-8"))
    settings.write_text(fewer, encoding="utf-8")
    for name in ("FLOOR", "BLUFF", "UPPER"):
        record = folder / "weather" / f"{name}.csv"
        head = record.read_text(encoding="utf-8").splitlines()[0].split(",")
        with record.open("a", encoding="utf-8") as file:
            for before, low in LOWS_C.items():
                values = {"date": SNAP_AS_OF + timedelta(days=before), "tmin": low, "tmax": low + 9.0}
                values |= {"tavg": low + 4.5} if "tavg" in head else {}
                file.write(",".join(str(values.get(column, "")) for column in head) + "\n")
        with (folder / "weather" / "outlook" / f"{name}.csv").open("a", encoding="utf-8") as file:
            for n, low in enumerate(AHEAD_C):
                file.write(f"{SNAP_AS_OF},{SNAP_AS_OF + timedelta(days=n)},{low},{low + 8.0}\n")
    yesterday = SNAP_AS_OF - timedelta(days=1)
    entries = [
        events.visit("U-08", yesterday, "protected, pump out", visit_date=yesterday, crew_hours=0.4),
        events.closed("V-06", DEMO_AS_OF),
        events.note(yesterday, "aerator silent, breaker had tripped", site_id="V-06"),
        events.outcome("B-06", yesterday, "no damage"),
        events.told("V-01", DEMO_AS_OF, date(2025, 10, 21)),
    ]
    with open_ledger(folder) as ledger:
        ledger.append(entries, who="Ann")
    return folder
