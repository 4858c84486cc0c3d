"""Sending what lies in the outbox, one process at a time, and copying what became of it into the ledger.

Order matters: the outbox says first what happened, the ledger gets its copy last and may get it again, since
an entry that it holds is not added twice. Light: no forecast is loaded here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from forecaster.brief.delivery import Manners, Report, deliver
from forecaster.brief.lock import held
from forecaster.brief.outbox import BRIEF_FOLDER, Delivery, Message, Outbox
from forecaster.brief.outcome import Sender
from forecaster.season.ledger import Ledger, open_ledger
from forecaster.season.message_events import alarm_entry, message_entry


@dataclass(frozen=True)
class Post:
    """What sending needs: the senders by channel, the manners, and the clock."""

    senders: Mapping[str, Sender]
    manners: Manners
    clock: Callable[[], datetime]
    stop: Callable[[], bool] = lambda: False


def send_all(folder: Path, outbox: Outbox, post: Post, *, patience_s: float = 60.0) -> Report:
    """Send what is due and record in the ledger what became of it.

    Raises:
        Busy: Another process is sending, and still was after `patience_s`.
    """
    with held(folder / BRIEF_FOLDER / "sending.lock", who="another sending", patience_s=patience_s):
        report = deliver(outbox, post.senders, post.manners, clock=post.clock, stop=post.stop)
        record_in_ledger(folder, outbox, post.clock)
    return report


def record_in_ledger(folder: Path, outbox: Outbox, clock: Callable[[], datetime]) -> int:
    """Copy new alarms and settled deliveries into the season's ledger, where there is one: how many."""
    raised, settled = outbox.unrecorded_alarms(), outbox.unrecorded_deliveries()
    if not raised and not settled:
        return 0
    probe = open_ledger(folder, readonly=True)
    if probe is None:
        return 0
    probe.close()
    with open_ledger(folder, clock=clock) as ledger:
        _append(ledger, raised, settled)
    outbox.mark_recorded(raised, settled)
    return len(raised) + len(settled)


def _append(ledger: Ledger, raised: Sequence[Message], settled: Sequence[Delivery]) -> None:
    entries = [alarm_entry(m.day, key=m.key, rule=m.kind, title=m.subject, sites=m.sites) for m in raised]
    entries += [
        message_entry(
            delivery.message.day,
            key=delivery.message.key,
            channel=delivery.place,
            title=delivery.message.subject,
            state=delivery.state,
        )
        for delivery in settled
    ]
    ledger.append(entries, who="forecaster", once="ever")
