"""Five seasons, 300 sites, 50,000 events: the state in half a second of computing."""

from __future__ import annotations

import random
import time
from datetime import date, timedelta

from forecaster.season import events as ev
from forecaster.season.events import Entry, pack
from forecaster.season.ledger import open_ledger

EVENTS = 50_000


def five_seasons():
    rng = random.Random(5)
    plan = pack(
        {"as_of": "2025-10-06", "crew_days": [{"site_id": f"S-{n}", "x": rng.random()} for n in range(300)]}
    )
    for number in range(EVENTS):
        day = date(2021 + number * 5 // EVENTS, 9, 1) + timedelta(days=rng.randrange(100))
        site, kind = f"S-{rng.randrange(300)}", rng.random()
        if kind < 0.35:
            yield ev.reading(
                site, day, rng.uniform(2, 20), hour=12.5, depth_m=0.3, by="Heron", thermometer="B"
            )
        elif kind < 0.55:
            yield ev.told(site, day, day + timedelta(days=9))
        elif kind < 0.65:
            yield ev.booked(site, day, day + timedelta(days=9))
        elif kind < 0.75:
            yield ev.closed(site, day, by="Heron", done="pump out, net on")
        elif kind < 0.85:
            yield ev.note(day, "gate code with the office", site_id=site)
        elif kind < 0.9:
            leads = list(range(10))
            facts = {
                "station_id": site[:3],
                "source": "nws",
                "leads": leads,
                "tmin_c": [1.5] * 10,
                "tmax_c": [9.0] * 10,
            }
            yield Entry("outlook", day, facts)
        elif kind < 0.905:
            yield Entry("plan", day, {"last_event_id": 1}, document=plan)
        elif kind < 0.93 and number:
            yield Entry("undo", day, undoes=rng.randrange(1, number + 1))
        else:
            yield ev.visit(site, day, "net off", visit_date=day, crew_hours=0.5)


def test_state_of_50_000_events(folder, clock):
    with open_ledger(folder, clock=clock) as ledger:
        ledger.append(five_seasons(), who="Ann")
    taken = []
    for _ in range(3):  # the time of this process, so that a busy computer does not count
        with open_ledger(folder, readonly=True) as ledger:
            begun = time.process_time()
            state = ledger.state()
            assert state.plan is not None
            assert len(state.readings) > 15_000
            assert len(state.closed) > 100
            taken.append(time.process_time() - begun)
    assert min(taken) <= 0.5, taken
