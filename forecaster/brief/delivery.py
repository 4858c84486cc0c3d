"""Delivering what lies in the outbox: who is due, how long to wait after a failure, when to give up.

Deciding is pure (`decide`, `after`), doing is `deliver`. Waits double from one minute to one hour; a refusal
(5xx) waits an hour, because somebody may put it right. After `GIVE_UP` the message is too old to help: it is
given up, told in the next brief and by the health check, and kept. A message whose end stays unclear is sent
at most `MOST_UNCLEAR` times.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.brief.outbox import SETTLED, Delivery, Outbox
from forecaster.brief.outcome import Outcome, Sender
from forecaster.brief.quiet import is_quiet
from forecaster.season.settings import Settings

FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
GIVE_UP = timedelta(hours=48)
MOST_UNCLEAR = 3
DAY = timedelta(hours=24)
REMEMBERED = timedelta(days=7)

Decision = Literal["send", "quiet", "limit", "wait", "give up", "no channel"]


@dataclass(frozen=True)
class Manners:
    """When people may be disturbed, from the settings."""

    zone: ZoneInfo
    quiet_from: time
    quiet_to: time
    alarms_break_quiet: bool
    most_alarms_per_day: int

    @classmethod
    def of(cls, settings: Settings) -> Manners:
        """The manners of a season."""
        brief, alarms = settings.brief, settings.alarms
        return cls(
            ZoneInfo(settings.season.timezone),
            brief.quiet_from,
            brief.quiet_to,
            alarms.quiet_hours == "break",
            alarms.most_per_day,
        )


@dataclass
class Report:
    """What a round of deliveries did: by decision or new state, the deliveries."""

    sent: list[Delivery] = field(default_factory=list)
    waiting: list[tuple[Delivery, str]] = field(default_factory=list)
    given_up: list[tuple[Delivery, str]] = field(default_factory=list)


def decide(
    delivery: Delivery, *, now: datetime, manners: Manners, sent_in_a_day: int, has_channel: bool
) -> Decision:
    """What to do with a delivery that is not settled. A wait longer than any that is given means that the
    clock was set back: it is over."""
    message = delivery.message
    if now - message.created_at > GIVE_UP:
        return "give up"
    quiet = is_quiet(now, manners.zone, manners.quiet_from, manners.quiet_to)
    if quiet and (message.is_brief or not manners.alarms_break_quiet):
        return "quiet"
    if not has_channel:
        return "no channel"
    if now < delivery.next_try <= now + LONGEST_WAIT:
        return "wait"
    if not message.is_brief and delivery.state == "waiting" and sent_in_a_day >= manners.most_alarms_per_day:
        return "limit"
    return "send"


def wait_after(attempts: int, outcome: Outcome) -> timedelta:
    """How long to wait after this many tries.

    >>> [wait_after(n, Outcome("later")).total_seconds() / 60 for n in (1, 2, 5, 9)]
    [1.0, 2.0, 16.0, 60.0]
    """
    if outcome.state == "refused":
        return LONGEST_WAIT
    doubled = FIRST_WAIT * 2 ** min(max(attempts, 1) - 1, 10)
    return min(LONGEST_WAIT, max(doubled, timedelta(seconds=outcome.wait_s)))


def deliver(
    outbox: Outbox,
    senders: Mapping[str, Sender],
    manners: Manners,
    *,
    clock: Callable[[], datetime],
    stop: Callable[[], bool] = lambda: False,
) -> Report:
    """Send what is due; one process at a time (the caller holds the lock).

    Args:
        outbox: What is to be sent.
        senders: By channel.
        manners: Quiet hours and limits.
        clock: The time; asked again for each message.
        stop: Asked before each message; True ends the round.
    """
    report = Report()
    for delivery in outbox.deliveries("waiting", "handing"):
        if stop():
            break
        _one(outbox, delivery, senders.get(delivery.channel), manners, clock, report)
    return report


def _one(
    outbox: Outbox,
    delivery: Delivery,
    sender: Sender | None,
    manners: Manners,
    clock: Callable[[], datetime],
    report: Report,
) -> None:
    now = clock()
    sent = outbox.sent_since(delivery.channel, delivery.target, now - DAY)
    decision = decide(delivery, now=now, manners=manners, sent_in_a_day=sent, has_channel=sender is not None)
    if decision == "give up":
        state = "given up" if delivery.state == "waiting" else "not sure"
        outbox.mark(delivery, state, now=now, said=delivery.said)
        report.given_up.append((delivery, delivery.said))
        return
    if decision != "send" or sender is None:
        report.waiting.append((delivery, _why(decision, delivery)))
        return
    unclear = delivery.unclear
    if delivery.state == "handing":  # a process died while it handed this over
        unclear += 1
        outbox.mark(delivery, "waiting", now=now, said="an earlier try was cut off", tried=1, unclear=1)
        if unclear >= MOST_UNCLEAR:
            outbox.mark(delivery, "not sure", now=now, said="an earlier try was cut off")
            report.given_up.append((delivery, "not sure whether it arrived"))
            return
    outcome = sender.send(
        delivery.message, delivery.target, lambda: outbox.mark(delivery, "handing", now=clock())
    )
    _settle(outbox, delivery, outcome, unclear, clock(), report)


def _settle(
    outbox: Outbox, delivery: Delivery, outcome: Outcome, unclear: int, now: datetime, report: Report
) -> None:
    if outcome.state == "sent":
        outbox.mark(delivery, "sent", now=now, said=outcome.said, tried=1)
        report.sent.append(delivery)
        return
    counts = outcome.state == "unclear" and not outcome.safe
    if counts and unclear + 1 >= MOST_UNCLEAR:
        outbox.mark(delivery, "not sure", now=now, said=outcome.said, tried=1, unclear=1)
        report.given_up.append((delivery, f"not sure whether it arrived: {outcome.said}"))
        return
    wait = wait_after(delivery.attempts + 1, outcome)
    outbox.mark(delivery, "waiting", now=now, said=outcome.said, tried=1, unclear=int(counts), wait=wait)
    report.waiting.append((delivery, outcome.said))


def _why(decision: Decision, delivery: Delivery) -> str:
    return {
        "quiet": "quiet hours",
        "limit": "enough alarms for a day",
        "no channel": f'there is no channel "{delivery.channel}" any more',
    }.get(decision, delivery.said or "waits for its next try")


def troubles(outbox: Outbox, now: datetime) -> tuple[str, ...]:
    """Messages that came to a bad end in the last week, one sentence each, oldest first."""
    return tuple(
        f"{d.message.subject}: {d.state} for {d.place}" + (f" ({d.said})" if d.said else "")
        for d in outbox.deliveries(*SETTLED)
        if d.state != "sent" and abs(now - d.changed_at) < REMEMBERED
    )


def stuck(outbox: Outbox, now: datetime) -> list[Delivery]:
    """Messages that were tried and still wait after an hour."""
    return [
        d
        for d in outbox.deliveries("waiting", "handing")
        if (d.attempts or d.state == "handing") and now - d.message.created_at > LONGEST_WAIT
    ]


def report_lines(report: Report) -> list[str]:
    """What a round of sending did, a line each."""
    lines = [f"Sent to {d.place}: {d.message.subject}." for d in report.sent]
    lines += [f"Waits for {d.place} ({why}): {d.message.subject}." for d, why in report.waiting]
    return lines + [f"Given up for {d.place} ({why}): {d.message.subject}." for d, why in report.given_up]
