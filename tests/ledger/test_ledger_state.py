"""What holds, worked by hand for each kind of event."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from forecaster.season import events as ev
from forecaster.season.events import Entry, Event, pack
from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.season.state import apply_state, derive, merge_readings, season_of, state_notices

DAY = date(2025, 10, 6)


def oct_(day: int) -> date:
    return date(2025, 10, day)


def recorded(*entries: Entry) -> tuple[Event, ...]:
    """Events as the ledger would give them, a minute apart."""
    start = datetime(2025, 10, 6, 12, tzinfo=UTC)
    return tuple(
        Event(
            number,
            *(entry.kind, entry.day, entry.site_id, "Ann", start + timedelta(minutes=number), entry.facts),
            *(entry.undoes, entry.source, entry.document, entry.digest),
        )
        for number, entry in enumerate(entries, start=1)
    )


def undo(number: int, day: date = DAY) -> Entry:
    return Entry("undo", day, undoes=number)


def site(site_id: str = "L-07", **dates: date) -> Site:
    return Site(site_id, "Fernwhistle", 43.2, -89.4, 0.6, **dates)


# --- dates


def test_booked_is_told_too_and_the_last_word_holds():
    state = derive(recorded(ev.told("L-07", DAY, oct_(15)), ev.booked("L-07", DAY, oct_(17))))
    assert (state.booked, state.told) == ({"L-07": oct_(17)}, {"L-07": oct_(17)})


def test_the_last_word_holds_even_if_it_speaks_of_an_earlier_day():
    state = derive(recorded(ev.told("L-07", oct_(6), oct_(15)), ev.told("L-07", oct_(2), oct_(12))))
    assert state.told == {"L-07": oct_(12)}


def test_called_off_frees_ledger_and_sheet():
    entries = [ev.booked("L-07", DAY, oct_(17)), ev.unbooked("L-07", DAY, dates=[oct_(15), oct_(17)])]
    state = derive(recorded(*entries))
    assert (state.booked, state.told) == ({}, {})
    (applied,) = apply_state([site(told_date=oct_(15))], state)
    assert applied.told_date is None
    (later,) = apply_state([site(told_date=oct_(22))], state)  # the office wrote a new one into the sheet
    assert later.told_date == oct_(22)
    notices = state_notices([site(told_date=oct_(15))], state)
    assert [notice.text for notice in notices] == [
        "2025-10-15 of the sheet was called off and does not count. Take it out of the sheet."
    ]


def test_called_off_without_naming_a_date_frees_all():
    state = derive(recorded(ev.unbooked("L-07", DAY)))
    (applied,) = apply_state([site(told_date=oct_(15), booked_date=oct_(20))], state)
    assert (applied.told_date, applied.booked_date) == (None, None)


def test_a_skip_voids_dates_up_to_its_day_and_no_later_ones():
    entries = [ev.booked("L-07", DAY, oct_(10)), ev.told("L-08", DAY, oct_(20))]
    entries += [ev.skipped(name, oct_(10), reason="gate locked") for name in ("L-07", "L-08")]
    state = derive(recorded(*entries))
    assert (state.booked, state.told) == ({}, {"L-08": oct_(20)})
    (applied,) = apply_state([site(booked_date=oct_(10), told_date=oct_(11))], state)
    assert (applied.booked_date, applied.told_date) == (None, oct_(11))
    assert [(s.site_id, s.reason) for s in state.skipped] == [
        ("L-07", "gate locked"),
        ("L-08", "gate locked"),
    ]


def test_the_ledger_holds_where_the_sheet_differs():
    state = derive(recorded(ev.told("L-07", DAY, oct_(15))))
    sheet = [site(told_date=oct_(22)), site("L-08", booked_date=oct_(20))]
    applied = apply_state(sheet, state)
    assert applied[0].told_date == oct_(15)
    assert applied[1] is sheet[1]
    assert [str(notice) for notice in state_notices(sheet, state)] == [
        "L-07, told_date: the sheet says 2025-10-22, the ledger 2025-10-15; the ledger holds."
    ]


def test_events_of_sites_that_the_sheet_lacks_are_told():
    state = derive(recorded(ev.reading("X-1", DAY, 10.0), ev.closed("L-07", DAY)))
    assert [str(notice) for notice in state_notices([site()], state)] == [
        "season.sqlite: X-1 is not in the site sheet any more; what was recorded of it does not count."
    ]


# --- closing, undo


def test_closed_by_whom_and_what():
    state = derive(recorded(ev.closed("L-07", DAY, by="Heron", done="pump out", crew_hours=1.75)))
    done = state.closed["L-07"]
    assert (done.day, done.by, done.what, done.crew_hours, done.event_id) == (
        DAY,
        "Heron",
        "pump out",
        1.75,
        1,
    )


@pytest.mark.parametrize(
    ("undos", "closed"), [([1], False), ([1, 2], True), ([1, 2, 3], False), ([1, 1, 2], False)]
)
def test_undo_of_undo_of_undo(undos, closed):
    state = derive(recorded(ev.closed("L-07", DAY), *(undo(number) for number in undos)))
    assert ("L-07" in state.closed) == closed


def test_undo_speaks_of_the_day_of_what_it_undoes():
    """Else a mistake of the 6th, undone on the 8th, would stand again in a state of the 7th."""
    (wrong,) = recorded(ev.closed("L-07", oct_(6)))
    assert ev.undo(wrong).day == oct_(6)
    state = derive(recorded(ev.closed("L-07", oct_(6)), ev.undo(wrong)), oct_(7))
    assert state.closed == {}


# --- seasons


def test_season_of_january_is_the_fall_before():
    assert [season_of(date(2026, 1, 31)), season_of(date(2026, 2, 1))] == [2025, 2026]


def test_each_season_has_its_own_closings_and_dates_and_shares_readings():
    last = date(2024, 10, 20)
    events = recorded(
        ev.closed("L-07", last),
        ev.told("L-08", last, date(2024, 11, 1)),
        ev.reading("L-07", last, 9.0),
        ev.told("L-08", date(2025, 1, 20), date(2025, 10, 1)),  # promised in January for next fall
        ev.closed("L-09", oct_(5)),
    )
    now, then = derive(events), derive(events, season=2024)
    assert (set(now.closed), now.told) == ({"L-09"}, {"L-08": oct_(1)})
    assert (set(then.closed), then.told) == ({"L-07"}, {"L-08": date(2024, 11, 1)})
    assert len(now.readings) == len(then.readings) == 1
    assert derive(events, date(2024, 10, 25)).season == 2024


def test_a_season_that_was_begun_is_the_present_one():
    events = recorded(ev.closed("L-07", oct_(5)), Entry("season", date(2026, 1, 10), {"year": 2026}))
    assert derive(events).season == 2026
    assert derive(events).closed == {}


def test_nothing_recorded():
    state = derive([])
    assert (state.season, state.last_event_id, state.plan, state.readings) == (None, 0, None, ())


# --- readings and thermometers


def test_offset_of_a_thermometer_corrects_its_readings_also_earlier_ones():
    state = derive(
        recorded(
            ev.reading("L-07", oct_(1), 10.0, thermometer="B"),
            ev.reading("L-07", oct_(2), 10.0, thermometer="A"),
            ev.thermometer(oct_(3), "b", -0.8),
        )
    )
    assert [reading.water_c for reading in state.readings] == [9.2, 10.0]
    assert [(made.shown_c, made.thermometer, made.offset_c) for made in state.measured] == [
        (10.0, "B", -0.8),
        (10.0, "A", 0.0),
    ]


def test_a_later_offset_holds_from_its_day_on():
    state = derive(
        recorded(
            ev.thermometer(oct_(9), "B", 0.5, from_day=oct_(8)),
            ev.thermometer(oct_(3), "B", -0.8),
            *(ev.reading("L-07", oct_(day), 10.0, thermometer="B") for day in (7, 8)),
        )
    )
    assert [reading.water_c for reading in state.readings] == [9.2, 10.5]


def test_an_offset_found_later_is_not_known_before():
    events = recorded(ev.reading("L-07", oct_(1), 10.0, thermometer="B"), ev.thermometer(oct_(9), "B", 1.0))
    assert derive(events, oct_(8)).readings[0].water_c == 10.0
    assert derive(events, oct_(9)).readings[0].water_c == 11.0


def test_a_file_that_was_imported_counts_once_with_the_ledgers_offset():
    in_file = [
        Reading("L-07", DAY, 11.2777777, hour=15.5, where="readings.csv row 2"),
        Reading("L-07", DAY, 11.5, hour=15.5, where="readings.csv row 3"),
    ]
    state = derive(
        recorded(
            ev.reading("L-07", DAY, 11.2777777, hour=15.5, thermometer="B"), ev.thermometer(DAY, "B", -1.0)
        )
    )
    merged = merge_readings(in_file, state)
    assert [(r.where, round(r.water_c, 4)) for r in merged] == [
        ("ledger event 1", 10.2778),
        ("readings.csv row 3", 11.5),
    ]


# --- the rest


def test_visits_notes_outcomes():
    state = derive(
        recorded(
            ev.visit("L-07", DAY, "net off", visit_date=date(2025, 11, 20), crew_hours=0.5, by="Otter"),
            ev.note(DAY, "new dog"),
            ev.outcome("L-07", DAY, "damage", dollars=380.0, text="check valve"),
        )
    )
    (visit,), (note,), (outcome,) = state.visits, state.notes, state.outcomes
    assert (visit.day, visit.what, visit.crew_hours, visit.by) == (
        date(2025, 11, 20),
        "net off",
        0.5,
        "Otter",
    )
    assert (note.site_id, note.text, note.who) == ("", "new dog", "Ann")
    assert (outcome.what, outcome.dollars, outcome.text) == ("damage", 380.0, "check valve")


def test_plan_in_force_and_what_came_after_it():
    plan = {"as_of": "2025-10-06", "crew_days": []}
    entries = [
        ev.reading("L-07", DAY, 10.0),
        Entry("plan", DAY, {"last_event_id": 1}, document=pack(plan)),
        ev.note(DAY, "changes nothing"),
        ev.closed("L-07", DAY),
        undo(4),
        undo(3),
    ]
    state = derive(recorded(*entries))
    assert state.plan == plan
    assert state.newer_than_plan() == 2  # the closing and its undo
    assert derive(recorded(*entries, undo(2))).plan is None


def test_undoing_a_plan_puts_the_one_before_in_force():
    plans = [{"as_of": f"2025-10-0{day}"} for day in (6, 7)]
    entries = [
        Entry("plan", oct_(6 + i), {"last_event_id": 0}, document=pack(p)) for i, p in enumerate(plans)
    ]
    assert derive(recorded(*entries)).plan == plans[1]
    assert derive(recorded(*entries, undo(2, oct_(7)))).plan == plans[0]


def test_outlooks_come_back_as_kept_and_the_last_of_a_day_counts():
    import numpy as np

    from forecaster.season.outlook_events import outlook_entry
    from forecaster.weather.stations import Outlook

    days = (oct_(6), oct_(7))
    first = Outlook("A", DAY, days, np.array([1.0, np.nan]), np.array([9.0, 8.0]), "nws")
    second = Outlook("A", DAY, days, np.array([2.0, 0.5]), np.array([9.0, 8.0]), "nws")
    other = Outlook("A", DAY, days, np.array([2.0, 0.5]), np.array([9.0, 8.0]), "open-meteo")
    state = derive(recorded(*(outlook_entry(one) for one in (first, second, other))))
    assert [(o.source, o.issued, o.days, o.tmin_c.tolist()) for o in state.outlooks] == [
        ("nws", DAY, days, [2.0, 0.5]),
        ("open-meteo", DAY, days, [2.0, 0.5]),
    ]
    (kept,) = derive(recorded(outlook_entry(first))).outlooks
    assert np.array_equal(kept.tmin_c, first.tmin_c, equal_nan=True)


# --- entries


def test_the_same_fact_in_fahrenheit_and_celsius_is_one():
    in_f = ev.reading("L-07", DAY, (52.34 - 32) * 5 / 9, hour=15 + 20 / 60)
    in_c = ev.reading("L-07", DAY, 11.3, hour=15.333333)
    assert in_f.digest == in_c.digest


def test_whatever_is_said_otherwise_is_another_entry():
    base = ev.reading("L-07", DAY, 11.3, hour=15.5, by="Heron")
    others = [
        ev.reading("L-08", DAY, 11.3, hour=15.5, by="Heron"),
        ev.reading("L-07", oct_(7), 11.3, hour=15.5, by="Heron"),
        ev.reading("L-07", DAY, 11.31, hour=15.5, by="Heron"),
        ev.reading("L-07", DAY, 11.3, hour=15.6, by="Heron"),
        ev.reading("L-07", DAY, 11.3, hour=15.5, by="heron"),
        ev.reading("L-07", DAY, 11.3, hour=15.5, by="Heron", depth_m=0.3),
        ev.reading("L-07", DAY, 11.3, by="Heron"),
    ]
    assert len({entry.digest for entry in [base, *others]}) == 8
    assert ev.reading("L-07", DAY, 0.0).facts == {"water_c": 0.0}


@pytest.mark.parametrize(
    ("text", "part"),
    [("a\x00b", "U+0000"), ("bell\x07", "U+0007"), ("half \ud83d", "U+D83D"), ("x" * 5001, "5,001 letters")],
)
def test_texts_that_no_sheet_can_hold(text, part, refusals):
    assert part in refusals(lambda: ev.note(DAY, text))[0]


def test_numbers_that_are_none(refusals):
    for value in (float("nan"), float("inf")):
        assert "is not a number" in refusals(lambda value=value: ev.reading("L-07", DAY, value))[0]
