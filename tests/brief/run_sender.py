"""A process that queues one alarm and sends it, and kills itself (kill -9) at a named point.

Run as: run_sender.py FOLDER PLACE PORT POINT [NUMBER]; NUMBER is that of the alarm, 1 by default. POINT:
"none", or BEFORE|AFTER:WHAT, the moment before or after WHAT is on the disk: queue, handing, sent, ledger,
recorded; or "taken": the server's answer has come.
"""

from __future__ import annotations

import os
import signal
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from forecaster.brief.delivery import Manners
from forecaster.brief.mail import MailSender
from forecaster.brief.outbox import Delivery, Message, Outbox
from forecaster.brief.outcome import Handing, Outcome, Sender
from forecaster.brief.secrets import Secrets
from forecaster.brief.sending import Post, send_all
from forecaster.brief.web_channels import PostSender
from forecaster.season import ledger
from forecaster.season.message_settings import MailSettings

NOON = datetime(2025, 10, 6, 17, 0, tzinfo=UTC)
ALARM = Message(
    key="hard_freeze/2025/1",
    kind="hard_freeze",
    day=date(2025, 10, 6),
    subject="Hard freeze about Thu 9 Oct, up to 7 in 10: 2 open sites",
    text="Hard freeze about Thu 9 Oct.\n",
    html="<p>Hard freeze about Thu 9 Oct.</p>\n",
    created_at=NOON,
    sites=("V-03", "V-06"),
)


def die_at(point: str, here: str) -> None:
    if point == here:
        os.kill(os.getpid(), signal.SIGKILL)


class MortalOutbox(Outbox):
    """Dies before or after a named write is on the disk."""

    point = "none"

    def queue(self, *given: Any, **more: Any) -> None:
        die_at(self.point, "before:queue")
        super().queue(*given, **more)
        die_at(self.point, "after:queue")

    def mark(self, delivery: Delivery, state: str, **more: Any) -> None:
        die_at(self.point, f"before:{state}")
        super().mark(delivery, state, **more)
        die_at(self.point, f"after:{state}")

    def mark_recorded(self, *given: Any) -> None:
        die_at(self.point, "before:recorded")
        super().mark_recorded(*given)
        die_at(self.point, "after:recorded")


class MortalSender:
    """Dies when the other side's answer has come."""

    def __init__(self, inner: Sender, point: str) -> None:
        self.inner, self.point = inner, point

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        outcome = self.inner.send(message, target, handing)
        die_at(self.point, "taken")
        return outcome


def main(folder: Path, place: str, port: int, point: str, number: str = "1") -> None:
    MortalOutbox.point = point
    alarm = replace(ALARM, key=f"hard_freeze/2025/{number}")
    append = ledger.Ledger.append

    def mortal_append(self: ledger.Ledger, *given: Any, **more: Any) -> Any:
        die_at(point, "before:ledger")
        done = append(self, *given, **more)
        die_at(point, "after:ledger")
        return done

    ledger.Ledger.append = mortal_append  # type: ignore[method-assign]
    with MortalOutbox(folder) as outbox:
        target = "owner@example.org" if place == "mail" else ""
        outbox.queue([alarm], {alarm.key: [(place, target)]}, {"alarms": {"n": 1}}, as_of=alarm.day, now=NOON)
        name = outbox.folder_id()
        mail = MailSettings(
            host="127.0.0.1",
            port=port,
            security="none",
            sender="office@example.org",
            to=["owner@example.org"],
        )  # type: ignore[arg-type]
        ways: dict[str, Sender] = {
            "mail": MailSender(mail, Secrets(), name, timeout_s=5.0, end_timeout_s=5.0),
            "board": PostSender(f"http://127.0.0.1:{port}/", Secrets(), name, (5.0, 5.0)),
        }
        manners = Manners(ZoneInfo("America/Chicago"), time(21), time(6), False, 1000)
        post = Post({key: MortalSender(way, point) for key, way in ways.items()}, manners, lambda: NOON)
        send_all(folder, outbox, post)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), *sys.argv[4:])
