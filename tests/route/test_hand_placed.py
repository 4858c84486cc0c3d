"""A visit that the scheduler moved by hand stays there, without the customer being told of anything."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from route_cases import FALL, FRI, MON, THU, TUE, WED, crew, task, visit

from forecaster.route.assign import Visit, move_price, placing, told_date
from forecaster.route.conflicts import find_conflicts
from forecaster.route.hand_placed import without_lapsed
from forecaster.route.solve import solve
from forecaster.season import events
from forecaster.season.events import Entry, Event
from forecaster.season.ledger_rules import refusal, undo_entries
from forecaster.season.state import SeasonState, derive
from forecaster.season.state_sheet import apply_state

HERE = (crew("North", last=FRI), crew("South", last=FRI))


def hand(given: Visit, day: date, name: str) -> Visit:
    return replace(given, site=replace(given.site, hand_placed=(day, name)))


def test_the_plan_keeps_the_day_and_the_crew_though_another_day_costs_less() -> None:
    cheap_monday = visit("A", {MON: 0.0, THU: 50.0})
    free = solve(task(cheap_monday, crews=HERE)).assignment
    held = solve(task(hand(cheap_monday, THU, "South"), crews=HERE)).assignment
    assert free.placed["A"][0] == MON
    assert held.placed == {"A": (THU, "South")}
    assert held.cost - free.cost == 50.0 - 0.0


def test_a_day_that_has_passed_no_longer_binds() -> None:
    given = hand(visit("A", {WED: 0.0}), date(2025, 10, 3), "South")
    assert placing(given.site, MON) is None
    assert solve(task(given, crews=HERE)).assignment.placed["A"][0] == WED


def test_a_told_date_keeps_its_price_because_nobody_told_the_customer() -> None:
    given = hand(visit("A", {}, told_date=TUE), THU, "North")
    asked = task(given, crews=HERE)
    assert told_date(given.site, MON) == TUE
    slot = next(slot for slot in asked.slots if (slot.day, slot.crew) == (THU, "North"))
    assert move_price(given.site, slot, asked) == 25.0  # the usual price of a call


def test_what_cannot_hold_any_more_gives_way_and_is_said() -> None:
    ill = (crew("North", last=FRI, days_off=[THU]), crew("South", last=FRI))
    asked = task(hand(visit("A", {WED: 0.0}), THU, "North"), crews=ill)
    assert "moved by hand to 2025-10-09 North" in find_conflicts(asked)[0].text
    eased, conflicts, said = without_lapsed(asked)
    assert conflicts == ()
    assert [notice.where for notice in said] == ["A"]
    assert "Thu 9 Oct with North" in said[0].text
    assert solve(eased).assignment.placed["A"][0] == WED


def test_a_booking_goes_before_the_hand() -> None:
    """Two visits of 3 hours do not fit into one crew's 4 hours: the booked one stays."""
    alone = (crew("North", last=FRI),)
    booked = visit("A", {}, hours=3.0, booked_date=THU)
    asked = task(booked, hand(visit("B", {WED: 0.0}, hours=3.0), THU, "North"), crews=alone)
    eased, conflicts, said = without_lapsed(asked)
    assert conflicts == ()
    assert [notice.where for notice in said] == ["B"]
    placed = solve(eased).assignment.placed
    assert (placed["A"][0], placed["B"][0]) == (THU, WED)


# --- in the ledger


def state(*entries: Entry) -> tuple[SeasonState, list[Event]]:
    moment = datetime(2025, 10, 6, 12, tzinfo=UTC)
    said = [
        Event(n, e.kind, e.day, e.site_id, "Ann", moment, e.facts, e.undoes)
        for n, e in enumerate(entries, start=1)
    ]
    return derive(said, season=FALL), said


def test_the_last_one_holds_and_undo_brings_the_one_before_back() -> None:
    first, second = events.placed("A", MON, THU, "North"), events.placed("A", MON, FRI, "South")
    now, said = state(first, second)
    assert now.placed == {"A": (FRI, "South")}
    back = undo_entries(said, "2", who="Ann", reason="", describe=lambda e: e.kind)
    assert state(first, second, *back)[0].placed == {"A": (THU, "North")}
    assert state(first, events.placed("A", MON, None))[0].placed == {}


def test_a_booking_of_another_day_and_a_skip_end_it() -> None:
    put = events.placed("A", MON, THU, "North")
    assert state(put, events.booked("A", MON, FRI))[0].placed == {}
    assert state(put, events.booked("A", MON, THU))[0].placed == {"A": (THU, "North")}
    assert state(put, events.skipped("A", THU, reason="gate locked"))[0].placed == {}
    assert state(put, events.skipped("A", WED, reason="gate locked"))[0].placed == {"A": (THU, "North")}


def test_the_sites_carry_it_unless_the_sheet_has_another_booking() -> None:
    now, _ = state(events.placed("A", MON, THU, "North"))
    site = visit("A", {}).site
    assert apply_state([site], now)[0].hand_placed == (THU, "North")
    assert apply_state([replace(site, booked_date=FRI)], now)[0].hand_placed is None


def test_what_may_not_be_recorded() -> None:
    def refused(day: date, *before: Entry) -> str | None:
        asked = events.placed("A", MON, day, "North")
        return refusal(asked, state(*before)[0], today=MON, year=FALL)

    assert refused(THU) is None
    assert "not in the fall of 2025" in str(refused(date(2026, 5, 1)))
    assert "closed already" in str(refused(THU, events.closed("A", MON)))
    assert "is booked on Fri 10 Oct" in str(refused(THU, events.booked("A", MON, FRI)))
    assert refused(FRI, events.booked("A", MON, FRI)) is None
