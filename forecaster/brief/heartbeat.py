"""What a watch says of itself after each round, and whether that is well: `watch --health`.

The file `.brief/heartbeat.json` is written whole or not at all. Deciding (`unwell`) is pure.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from forecaster.brief.outbox import BRIEF_FOLDER
from forecaster.errors import BadInput, Problem
from forecaster.files import write_text
from forecaster.report.words import count

NAME = "heartbeat.json"
GRACE = timedelta(minutes=30)
"""A round may take so long before the watch counts as stuck."""


@dataclass(frozen=True)
class Heartbeat:
    """One round: when it ended (UTC), how often rounds come [s], and what went wrong in it, "" for nothing.

    `once`: made by `watch --once`, so that no process stays. `weather_hours`: age of the newest observed day
    [h], None where it is not known. `idle`: outside the season there is nothing to do.
    """

    ended_at: datetime
    every_s: float
    once: bool
    forecast_trouble: str = ""
    weather_trouble: str = ""
    sending_trouble: str = ""
    weather_hours: float | None = None
    idle: bool = False


def write_heartbeat(folder: Path, beat: Heartbeat) -> None:
    """Keep the heartbeat of a round.

    Raises:
        CannotWrite: The folder cannot be written.
    """
    record = asdict(beat) | {"ended_at": beat.ended_at.astimezone(UTC).isoformat()}
    write_text(folder / BRIEF_FOLDER / NAME, json.dumps(record, indent=1) + "\n")


def read_heartbeat(folder: Path) -> Heartbeat | None:
    """The last heartbeat, None where there is none.

    Raises:
        BadInput: The file cannot be read.
    """
    path = folder / BRIEF_FOLDER / NAME
    if not path.is_file():
        return None
    try:
        record: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return Heartbeat(**{**record, "ended_at": datetime.fromisoformat(record["ended_at"])})
    except (OSError, ValueError, TypeError, KeyError):
        text = "cannot be read. The next round makes it new."
        raise BadInput(Problem(f"{BRIEF_FOLDER}/{NAME}", text)) from None


def unwell(
    beat: Heartbeat | None,
    *,
    now: datetime,
    running: bool,
    data_hours: float,
    troubles: Sequence[str] = (),
    every: timedelta | None = None,
) -> list[str]:
    """Why the watch is not well, one sentence each; empty where it is.

    Args:
        beat: Its last round.
        now: The moment.
        running: A watch holds the folder now.
        data_hours: Weather older than this is too old [h].
        troubles: Messages that came to a bad end.
        every: How often rounds are expected; by default as the round itself said.
    """
    if beat is None:
        return ["no round has ended yet. Start it: forecaster watch FOLDER"]
    found = []
    age = now - beat.ended_at
    expected = every or timedelta(seconds=beat.every_s)
    if not beat.once and not running:
        found.append("no watch is running. Start it: forecaster watch FOLDER")
    if age > 2 * expected + GRACE:
        hours = count(max(1, round(age.total_seconds() / 3600)), "hour")
        found.append(f"the last round ended {hours} ago, one is due every {_span(expected)}.")
    if age < -timedelta(hours=1):
        found.append("the last round ended in the future: the clock was set back. Check it.")
    for what, trouble in (
        ("the forecast failed", beat.forecast_trouble),
        ("messages could not be sent", beat.sending_trouble),
    ):
        if trouble:
            found.append(f"{what}: {trouble}")
    if beat.weather_hours is not None and beat.weather_hours + age.total_seconds() / 3600 > data_hours:
        why = f" ({beat.weather_trouble})" if beat.weather_trouble else ""
        found.append(f"the weather is older than {data_hours:.0f} hours{why}.")
    return [*found, *troubles]


def _span(span: timedelta) -> str:
    minutes = round(span.total_seconds() / 60)
    return count(minutes // 60, "hour") if minutes % 60 == 0 else count(minutes, "minute")
