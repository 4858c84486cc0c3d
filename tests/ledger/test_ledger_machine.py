"""Random sequences of what an office says and takes back, through the real file, against a plain model."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from ledger_model import Model
from ledger_office import make_folder

from forecaster.errors import BadInput
from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_rules import refusal, undo_entries
from forecaster.season.state import derive

SITE = st.sampled_from(["L-07", "L-08", "L-09"])
DAY = st.dates(date(2025, 9, 1), date(2025, 11, 30))
TODAY = date(2025, 12, 1)
FAST = Path("/dev/shm") if Path("/dev/shm").is_dir() else None  # a disk in memory: every write is synced


class Office(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.scratch = Path(tempfile.mkdtemp(dir=FAST))
        self.folder = make_folder(self.scratch / "fall")
        self.model = Model()
        self.ledger = self.opened()

    def opened(self):
        return open_ledger(self.folder, clock=lambda: datetime(2025, 12, 1, 18, tzinfo=UTC))

    def teardown(self) -> None:
        self.ledger.close()
        shutil.rmtree(self.scratch)

    def say(self, entry: ev.Entry, what: object = None) -> bool:
        """Record as a command does; True where it was taken."""

        def decide(events):
            wrong = refusal(entry, derive(events, season=2025), today=TODAY, year=2025)
            if wrong:
                raise BadInput([])
            return [entry]

        try:
            self.ledger.write(decide, who="Ann")
        except BadInput:
            return False
        self.model.add(entry.kind, entry.site_id, entry.day, what)
        return True

    @rule(site=SITE, day=DAY, water=st.integers(0, 250))
    def measure(self, site, day, water):
        assert self.say(ev.reading(site, day, water / 10), water / 10)

    @rule(site=SITE, day=DAY)
    def close(self, site, day):
        still_open = site not in self.model.closed()
        assert self.say(ev.closed(site, day)) == still_open

    @rule(site=SITE, said=DAY, promised=DAY)
    def tell(self, site, said, promised):
        booked, _ = self.model.dates()
        closed = self.model.closed()
        free = booked.get(site, promised) == promised and promised < closed.get(site, date.max)
        assert self.say(ev.told(site, said, promised), promised) == free

    @rule(site=SITE, said=DAY, promised=DAY)
    def book(self, site, said, promised):
        closed = self.model.closed()
        free = promised < closed.get(site, date.max)
        assert self.say(ev.booked(site, said, promised), promised) == free

    @rule(site=SITE, said=DAY)
    def call_off(self, site, said):
        assert self.say(ev.unbooked(site, said))

    @rule(site=SITE, day=DAY)
    def skip(self, site, day):
        still_open = site not in self.model.closed()
        assert self.say(ev.skipped(site, day, reason="gate")) == still_open

    @precondition(lambda self: self.model.said)
    @rule(pick=st.integers(0, 10_000))
    def undo(self, pick):
        number = pick % len(self.model.said) + 1
        stood = self.model.stands(number)
        try:
            self.ledger.write(
                lambda events: undo_entries(events, str(number), who="Ann", reason="", describe=str),
                who="Ann",
            )
        except BadInput:
            assert not stood
            return
        assert stood
        target = self.model.said[number - 1]
        self.model.add("undo", target.site, target.day, number)

    @rule()
    def close_the_program(self):
        self.ledger.close()
        self.ledger = self.opened()

    @invariant()
    def the_ledger_says_what_the_model_says(self):
        state = self.ledger.state()
        booked, told = self.model.dates()
        assert dict(state.booked) == booked
        assert dict(state.told) == told
        assert {site: done.day for site, done in state.closed.items()} == self.model.closed()
        assert sorted((r.site_id, r.day, r.water_c) for r in state.readings) == self.model.readings()
        assert state.last_event_id == len(self.model.said)
        assert state.undone == {one.number for one in self.model.said if not self.model.stands(one.number)}

    @invariant()
    def nothing_later_is_seen_on_a_day(self):
        """Derived up to a day: the same as a ledger that never heard of later days."""
        day = date(2025, 10, 15)
        events = self.ledger.events()
        seen = derive(events, day, season=2025)
        alone = derive([event for event in events if event.day <= day], season=2025)
        assert (seen.booked, seen.told, seen.closed) == (alone.booked, alone.told, alone.closed)
        assert all(reading.day <= day for reading in seen.readings)
        assert all(done.day <= day for done in seen.closed.values())


Office.TestCase.settings = settings(
    max_examples=60, stateful_step_count=30, deadline=None, derandomize=True, print_blob=True
)
TestOffice = Office.TestCase


def test_the_model_itself_on_a_story_worked_by_hand():
    """Told 1 Oct; booked 8 Oct, which is told too; then undone, and the undo undone, and so on."""
    model, day = Model(), date(2025, 9, 30)
    model.add("told", "L-07", day, date(2025, 10, 1))
    model.add("booked", "L-07", day, date(2025, 10, 8))
    assert model.dates() == ({"L-07": date(2025, 10, 8)}, {"L-07": date(2025, 10, 8)})
    model.add("undo", "L-07", day, 2)
    assert model.dates() == ({}, {"L-07": date(2025, 10, 1)})
    model.add("undo", "L-07", day, 3)
    assert model.dates()[0] == {"L-07": date(2025, 10, 8)}
    model.add("undo", "L-07", day, 4)
    model.add("skipped", "L-07", day + timedelta(days=1))
    assert model.dates() == ({}, {})
