"""A small season folder, a clock that the tests set, and a stand-in of the forecast for its inputs."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_runs import folder_inputs

SETTINGS = """\
[season]
year = 2025
timezone = "America/Chicago"
units = "us"

[[crew]]
name = "Heron"
latitude = 43.2
longitude = -89.4
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri"]
first_day = 2025-10-07
last_day = 2025-11-26
"""
SITES = """\
site_id,customer,latitude,longitude,mean_depth_in,booked_date,told_date
L-07,Fernwhistle,43.20,-89.44,24,,2025-10-15
L-08,Dabblewick,43.21,-89.45,30,2025-10-20,
L-09,Mossbottle (Long terrace),43.22,-89.46,36,,
L-10,Mossbottle (Frog Court),43.23,-89.47,18,,
"""


@dataclass
class SetClock:
    """A clock that stands until it is set."""

    now: datetime = field(default_factory=lambda: datetime(2025, 10, 6, 15, 0, tzinfo=UTC))

    def __call__(self) -> datetime:
        return self.now

    def wait(self, **amount: float) -> None:
        self.now += timedelta(**amount)


@dataclass
class Answer:
    """What a command answered."""

    code: int
    out: str
    err: str


def make_folder(made: Path) -> Path:
    made.mkdir()
    (made / "season.toml").write_text(SETTINGS, encoding="utf-8")
    (made / "sites.csv").write_text(SITES, encoding="utf-8")
    return made


def forecast_of_everything(folder: Path, as_of: date) -> str:
    """A real function of the whole folder: any byte of a file and any event changes its text."""
    digest = hashlib.sha256()
    for name, content in folder_inputs(folder).items():
        digest.update(name.encode() + b"\0" + content)
    opened = open_ledger(folder, readonly=True)
    if opened is not None:
        with opened:
            state = opened.state(as_of)
        digest.update(repr(sorted(state.closed.items())).encode())
        digest.update(repr([(r.site_id, r.day, r.water_c) for r in state.readings]).encode())
    stops = [{"site_id": "L-07", "arrive": "08:00", "leave": "10:00"}]
    crew_days = [{"date": "2025-10-14", "crew": "Heron", "stops": stops}]
    record = {"as_of": as_of.isoformat(), "crew_days": crew_days, "inputs": digest.hexdigest()}
    return json.dumps(record, indent=1) + "\n"


def is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0
