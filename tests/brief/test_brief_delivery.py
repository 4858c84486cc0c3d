"""The outbox and its deliveries: nothing lost, nothing doubled, waits, quiet hours, limits, giving up."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from forecaster.brief.delivery import (
    GIVE_UP,
    Manners,
    decide,
    deliver,
    report_lines,
    stuck,
    troubles,
    wait_after,
)
from forecaster.brief.outbox import Delivery, Message, Outbox, OutboxFault
from forecaster.brief.outcome import Handing, Outcome
from forecaster.errors import BadInput

NOON = datetime(2025, 10, 6, 17, 0, tzinfo=UTC)  # 12:00 in Chicago
MANNERS = Manners(ZoneInfo("America/Chicago"), time(21), time(6), False, 6)
TO = ("mail", "owner@example.org")


class Clock:
    """A clock that a test sets."""

    def __init__(self, now: datetime = NOON) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **span: float) -> None:
        self.now += timedelta(**span)


class Answers:
    """A way of sending that gives the answers it was told, then takes everything; `got` is what it took."""

    def __init__(self, *answers: Outcome | Callable[[], Outcome]) -> None:
        self.answers, self.got, self.tries = list(answers), list[str](), 0

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        self.tries += 1
        handing()
        answer = self.answers.pop(0) if self.answers else Outcome("sent")
        outcome = answer() if callable(answer) else answer
        if outcome.state == "sent":
            self.got.append(message.key)
        return outcome


def queue(outbox: Outbox, *messages: Message, places=(TO,), now: datetime = NOON) -> None:
    outbox.queue(messages, {m.key: places for m in messages}, {}, as_of=date(2025, 10, 6), now=now)


def states(outbox: Outbox) -> list[str]:
    return [delivery.state for delivery in outbox.deliveries()]


@pytest.fixture
def outbox(tmp_path: Path):
    with Outbox(tmp_path) as opened:
        yield opened


# --- the outbox


def test_the_same_matter_lies_there_once(outbox, make_message):
    message = make_message(created_at=NOON)
    queue(outbox, message)
    queue(outbox, make_message(created_at=NOON, subject="said again in other words"))
    (delivery,) = outbox.deliveries()
    assert delivery.message == message  # all of it came back as it was put in
    assert (delivery.state, delivery.attempts, delivery.place) == ("waiting", 0, "owner@example.org")


def test_memory_and_messages_move_together_or_not_at_all(outbox, make_message, monkeypatch):
    outbox.queue([], {}, {"sent": {"a": 1}}, as_of=date(2025, 10, 5), now=NOON)
    with pytest.raises(OutboxFault):  # the second message cannot be written: no message, no memory
        outbox.queue(
            [make_message(key="one"), make_message(key="two", kind=None)],
            {"one": [TO]},
            {"sent": {"a": 2}},
            as_of=date(2025, 10, 6),
            now=NOON,
        )
    assert outbox.deliveries() == []
    assert outbox.memory("sent", date(2025, 10, 9)) == (date(2025, 10, 5), {"a": 1})


def test_memories_by_audience_and_day(outbox):
    for day, audience, told in ((4, "sent", 1), (6, "sent", 2), (6, "shown", 3), (5, "sent", 4)):
        outbox.queue([], {}, {audience: {"n": told}}, as_of=date(2025, 10, day), now=NOON)
    assert outbox.memory("sent", date(2025, 10, 6)) == (date(2025, 10, 6), {"n": 2})
    assert outbox.memory("sent", date(2025, 10, 5)) == (date(2025, 10, 5), {"n": 4})
    assert outbox.memory("sent", date(2025, 10, 3)) is None
    assert outbox.memory("shown", date(2025, 11, 1)) == (date(2025, 10, 6), {"n": 3})


def test_old_memories_go_but_never_the_last_of_an_audience(outbox, monkeypatch):
    monkeypatch.setattr("forecaster.brief.outbox.KEPT_MEMORIES", 20)
    outbox.queue([], {}, {"shown": {"n": 0}}, as_of=date(2025, 8, 1), now=NOON)
    for number in range(25):
        outbox.queue([], {}, {"sent": {"n": number}}, as_of=date(2025, 10, 6), now=NOON)
    assert outbox.memory("shown", date(2025, 10, 6)) == (date(2025, 8, 1), {"n": 0})
    assert outbox.memory("sent", date(2025, 10, 6)) == (date(2025, 10, 6), {"n": 24})
    with sqlite3.connect(outbox.folder / "outbox.sqlite") as base:
        assert base.execute("SELECT count(*) FROM memory").fetchone()[0] == 21
    base.close()


def test_the_folders_id_stays(tmp_path):
    with Outbox(tmp_path) as first:
        name = first.folder_id()
        assert first.folder_id() == name
    with Outbox(tmp_path) as again:
        assert again.folder_id() == name
    (tmp_path / "other").mkdir()
    with Outbox(tmp_path / "other") as other:
        assert other.folder_id() != name


def test_a_damaged_or_newer_outbox_is_refused_with_a_cure(tmp_path):
    (tmp_path / ".brief").mkdir()
    (tmp_path / ".brief" / "outbox.sqlite").write_bytes(b"no database" * 500)
    with pytest.raises(OutboxFault, match="move it away"):
        Outbox(tmp_path)
    (tmp_path / ".brief" / "outbox.sqlite").unlink()
    with Outbox(tmp_path), sqlite3.connect(tmp_path / ".brief" / "outbox.sqlite") as base:
        base.execute("PRAGMA user_version = 9")
    base.close()
    with pytest.raises(BadInput, match="newer version"):
        Outbox(tmp_path)


# --- deliveries


def test_sent_once_and_never_again(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way = Answers()
    assert report_lines(deliver(outbox, {"mail": way}, MANNERS, clock=Clock())) == [
        "Sent to owner@example.org: Hard freeze about Thu 9 Oct, up to 7 in 10: 14 open sites."
    ]
    deliver(outbox, {"mail": way}, MANNERS, clock=Clock())
    assert (way.tries, states(outbox)) == (1, ["sent"])


def test_each_place_has_its_own_fate(outbox, make_message):
    queue(outbox, make_message(created_at=NOON), places=(TO, ("mail", "boss@example.org"), ("phone", "")))
    phone = Answers(Outcome("later", "no network"))
    mail = Answers()
    deliver(outbox, {"mail": mail, "phone": phone}, MANNERS, clock=Clock())
    assert states(outbox) == ["sent", "sent", "waiting"]
    clock = Clock()
    clock.forward(minutes=2)
    deliver(outbox, {"mail": mail, "phone": phone}, MANNERS, clock=clock)
    assert (len(mail.got), len(phone.got)) == (2, 1)


def test_waits_double_up_to_an_hour_and_a_refusal_waits_an_hour():
    waits = [wait_after(n, Outcome("later")) / timedelta(minutes=1) for n in range(1, 9)]
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]
    assert wait_after(1, Outcome("refused")) == timedelta(hours=1)
    assert wait_after(1, Outcome("later", wait_s=600)) == timedelta(minutes=10)
    assert wait_after(1, Outcome("later", wait_s=10**9)) == timedelta(hours=1)


def test_greylisting_is_overcome(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way, clock = Answers(Outcome("later", "451 greylisted"), Outcome("later", "451 greylisted")), Clock()
    tried = []
    for _ in range(10):
        deliver(outbox, {"mail": way}, MANNERS, clock=clock)
        tried.append(way.tries)
        clock.forward(minutes=1)
    assert tried == [1, 2, 2, 3, 3, 3, 3, 3, 3, 3]  # after 0, 1 and 3 minutes
    assert way.got == ["hard_freeze/2025/1"]


def test_what_never_gets_through_is_given_up_and_told(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way, clock = Answers(*[Outcome("refused", "550 no such person")] * 100), Clock()
    while clock.now < NOON + GIVE_UP + timedelta(hours=2):
        deliver(outbox, {"mail": way}, MANNERS, clock=clock)
        clock.forward(minutes=10)
    assert states(outbox) == ["given up"]
    assert 20 < way.tries < 49  # hourly, not in quiet hours
    (said,) = troubles(outbox, clock())
    assert said.endswith("given up for owner@example.org (550 no such person)")
    assert troubles(outbox, clock() + timedelta(days=8)) == ()


def test_quiet_hours_hold_everything_unless_alarms_may_break_them(outbox, make_message):
    night = Clock(datetime(2025, 11, 2, 4, 0, tzinfo=UTC))  # 23:00, the night in which clocks go back
    brief = make_message(key="brief/x/1", kind="brief", created_at=night.now)
    queue(outbox, make_message(created_at=night.now), brief, now=night.now)
    way = Answers()
    sent_at = []
    while len(way.got) < 2:
        deliver(outbox, {"mail": way}, MANNERS, clock=night)
        sent_at.append(night.now)
        night.forward(minutes=30)
    assert sent_at[-1] == datetime(2025, 11, 2, 12, 0, tzinfo=UTC)  # 6:00 by the new clock
    breaking = Manners(MANNERS.zone, MANNERS.quiet_from, MANNERS.quiet_to, True, 6)
    late = Clock(datetime(2025, 11, 3, 4, 0, tzinfo=UTC))
    queue(
        outbox,
        make_message(key="hard_freeze/2025/2", created_at=late.now),
        make_message(key="brief/x/2", kind="brief", created_at=late.now),
        now=late.now,
    )
    deliver(outbox, {"mail": way}, breaking, clock=late)
    assert way.got[2:] == ["hard_freeze/2025/2"]


def test_no_more_alarms_a_day_than_set_and_none_is_lost(outbox, make_message):
    for number in range(1, 10):
        queue(outbox, make_message(key=f"minimum/2025/{number}", created_at=NOON))
    queue(outbox, make_message(key="brief/x/1", kind="brief", created_at=NOON))
    way, clock = Answers(), Clock()
    report = deliver(outbox, {"mail": way}, MANNERS, clock=clock)
    assert len([key for key in way.got if key.startswith("minimum")]) == 6
    assert "brief/x/1" in way.got  # the limit is for alarms
    assert {why for _, why in report.waiting} == {"enough alarms for a day"}
    clock.forward(hours=24, minutes=1)
    deliver(outbox, {"mail": way}, MANNERS, clock=clock)
    assert len(way.got) == len(set(way.got)) == 10


def test_an_unclear_end_is_tried_again_but_not_for_ever(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way, clock = Answers(*[Outcome("unclear", "no answer in time")] * 50), Clock()
    for _ in range(30):
        deliver(outbox, {"mail": way}, MANNERS, clock=clock)
        clock.forward(hours=1)
    assert (way.tries, states(outbox)) == (3, ["not sure"])
    assert "not sure for owner@example.org" in troubles(outbox, clock())[0]


def test_an_unclear_end_at_a_place_that_knows_repeats_is_tried_like_any(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way, clock = Answers(*[Outcome("unclear", safe=True)] * 5), Clock()
    for _ in range(9):
        deliver(outbox, {"mail": way}, MANNERS, clock=clock)
        clock.forward(hours=1)
    assert (way.tries, states(outbox)) == (6, ["sent"])


def test_a_clock_set_back_or_forward_does_not_stop_deliveries(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    way, clock = Answers(*[Outcome("later")] * 7), Clock()
    for _ in range(7):
        deliver(outbox, {"mail": way}, MANNERS, clock=clock)
        clock.forward(hours=1)
    clock.now = NOON - timedelta(days=300)  # the battery of the clock died
    deliver(outbox, {"mail": way}, MANNERS, clock=clock)
    assert way.got == ["hard_freeze/2025/1"]


def test_a_channel_that_is_gone_is_said_and_given_up_in_time(outbox, make_message):
    queue(outbox, make_message(created_at=NOON), places=(("pager", ""),))
    clock = Clock()
    report = deliver(outbox, {}, MANNERS, clock=clock)
    assert report.waiting[0][1] == 'there is no channel "pager" any more'
    clock.forward(hours=49)
    deliver(outbox, {}, MANNERS, clock=clock)
    assert states(outbox) == ["given up"]


def test_stuck_messages_are_those_tried_for_an_hour(outbox, make_message):
    queue(outbox, make_message(created_at=NOON))
    clock = Clock()
    deliver(outbox, {"mail": Answers(Outcome("later", "x"))}, MANNERS, clock=clock)
    assert stuck(outbox, NOON + timedelta(minutes=30)) == []
    assert len(stuck(outbox, NOON + timedelta(minutes=61))) == 1


def test_the_round_ends_when_asked(outbox, make_message):
    queue(outbox, *(make_message(key=f"k/{n}", created_at=NOON) for n in range(5)))
    way = Answers()
    deliver(outbox, {"mail": way}, MANNERS, clock=Clock(), stop=lambda: way.tries >= 2)
    assert len(way.got) == 2


def test_decide_is_pure_and_says_why(make_message):
    delivery = Delivery(1, make_message(created_at=NOON), *TO, "waiting", 0, 0, NOON, NOON, "")
    given = {"manners": MANNERS, "sent_in_a_day": 0, "has_channel": True}
    assert decide(delivery, now=NOON, **given) == "send"
    assert decide(delivery, now=NOON - timedelta(minutes=1), **given) == "wait"
    assert decide(delivery, now=NOON + timedelta(hours=11), **given) == "quiet"
    assert decide(delivery, now=NOON + timedelta(hours=49), **given) == "give up"
    assert decide(delivery, now=NOON, **{**given, "sent_in_a_day": 6}) == "limit"
    assert decide(delivery, now=NOON, **{**given, "has_channel": False}) == "no channel"
