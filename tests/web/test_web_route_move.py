"""Moving a stop by forms alone: its cost, the move, the plan in force, undo, who may, who was faster."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from typing import Any

import pytest
from web_server import CREW, OFFICE, VIEWER, Served, send, token

from forecaster.demo import DEMO_AS_OF
from forecaster.season.ledger import open_ledger
from forecaster.season.state import SeasonState, derive

SITE, DAY, NAME = "V-06", "2025-10-14", "Otter"
"""A pond that Heron closes on another day."""


def page_of(site_id: str = SITE, day: str = DAY, crew: str = NAME) -> str:
    return f"/route/move/{site_id}?to={day}&crew={crew}"


def fields(page: str) -> dict[str, str]:
    """The hidden fields of the form that moves."""
    form = re.search(r'<form class="form" method="post" action="/route/move">(.*?)</form>', page, re.DOTALL)
    assert form, "the page has no form to move"
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form[1]))


def state_of(served: Served) -> SeasonState:
    ledger = open_ledger(served.folder, readonly=True)
    assert ledger is not None
    with ledger:
        return derive(ledger.events(), season=2025)


def place(served: Served, client: Any, site_id: str = SITE) -> str:
    page = client.get(f"/route/move/{site_id}").text
    found = re.search(r"Now: (.*?)[\.(]", page)
    assert found
    return found[1].strip()


def move(client: Any, **change: str) -> Any:
    given = fields(client.get(page_of()).text) | {"customer": "no"} | change
    return client.post("/route/move", data=given)


def test_cost_move_and_undo(served: Served) -> None:
    with served.client() as client:
        before = place(served, client)
        page = client.get(page_of()).text
        assert re.search(r"The move (costs|saves) \$\d", page)
        assert "Hard freeze before the visit" in page
        answer = move(client)
        assert answer.status_code == 303, answer.text
        done = client.get(answer.headers["location"]).text
        assert "Done: V-06 moved by hand to Tue 14 Oct with Otter" in done
        assert place(served, client) == "Tue 14 Oct with Otter"  # at once, before any forecast
        state = state_of(served)
        assert [event.kind for event in state.events] == ["placed", "plan"]
        assert state.placed == {SITE: (date(2025, 10, 14), "Otter")}
        served.settled()
        assert place(served, client) == "Tue 14 Oct with Otter"  # and the forecast keeps it
        assert "kept by hand" in client.get("/route").text
        assert "Put there by hand" in client.get(f"/site/{SITE}").text
        undone = client.post("/route/undo", data={"token": token(done), "event": "1"})
        assert undone.status_code == 303
        assert "Taken back: V-06 moved by hand" in client.get(undone.headers["location"]).text
        after = state_of(served)
        assert after.placed == {}
        assert after.plan_event is None
        served.settled()
        assert place(served, client) == before


def test_moved_elsewhere_back_and_let_go(served: Served) -> None:
    """The shown plan is in force with the move alone changed; the same words said again are no double."""
    snapshot = served.desk.current()
    assert snapshot is not None
    shown = {
        (day.day.isoformat(), day.crew, stop.site_id)
        for day in snapshot.forecast.crew_days
        for stop in day.stops
    }
    with served.client() as client:
        for day, crew in ((DAY, NAME), ("2025-10-20", "Heron"), (DAY, NAME)):
            given = fields(client.get(page_of(day=day, crew=crew)).text)
            assert client.post("/route/move", data=given | {"customer": "no"}).status_code == 303
            if state_of(served).last_event_id == 2:
                plan = state_of(served).plan
                assert plan is not None
                now = {(d["date"], d["crew"], s["site_id"]) for d in plan["crew_days"] for s in d["stops"]}
                assert now ^ shown == {key for key in shown if key[2] == SITE} | {(DAY, NAME, SITE)}
                assert state_of(served).newer_than_plan() == 0
        assert state_of(served).placed[SITE] == (date(2025, 10, 14), "Otter")
        answer = send(client, "/route/release", at=f"/site/{SITE}", site=SITE, seen="6")
        assert answer.status_code == 303
        assert "left to the plan again" in client.get(answer.headers["location"]).text
        assert state_of(served).placed == {}
        again = send(client, "/route/release", at=f"/site/{SITE}", site=SITE, seen="7")
        assert again.status_code == 422


def test_of_two_people_the_second_is_told_unless_the_stops_have_nothing_to_do_with_each_other(
    served: Served,
) -> None:
    with served.client() as ann, served.client() as bo:
        ann_form = fields(ann.get(page_of()).text)
        same_stop = fields(bo.get(page_of(day="2025-10-20", crew="Heron")).text)
        same_day = fields(bo.get(page_of("V-16")).text)
        other = fields(bo.get(page_of("V-16", "2025-10-22", "Heron")).text)
        assert ann.post("/route/move", data=ann_form | {"customer": "no"}).status_code == 303
        answer = bo.post("/route/move", data=same_stop | {"customer": "no"})
        assert answer.status_code == 409
        assert "Nothing was moved." in answer.text
        assert "after you opened the page" in answer.text
        assert "moved by hand to Tue 14 Oct with Otter" in answer.text
        full = bo.post("/route/move", data=same_day | {"customer": "no"})
        assert full.status_code == 409
        assert "moved V-06 to the same crew-day" in full.text
        assert len(state_of(served).events) == 2
        again = fields(answer.text)  # the page shows the cost anew, and that form may be sent
        assert bo.post("/route/move", data=other | {"customer": "no"}).status_code == 303
        assert place(served, ann) == "Tue 14 Oct with Otter"
        assert place(served, ann, "V-16") == "Wed 22 Oct with Heron"
        assert bo.post("/route/move", data=again | {"customer": "no"}).status_code == 303
        assert state_of(served).placed[SITE] == (date(2025, 10, 20), "Heron")


def test_told_and_agreed_with_the_move(served: Served) -> None:
    with served.client() as client:
        assert move(client, customer="booked").status_code == 303
        state = state_of(served)
        assert [event.kind for event in state.events] == ["booked", "placed", "plan"]
        assert state.booked[SITE] == date(2025, 10, 14)
        refused = client.get(page_of(day="2025-10-20", crew="Heron")).text
        assert "Another date was agreed: Tue 14 Oct" in refused
        given = fields(refused)
        answer = client.post("/route/move", data=given | {"customer": "told"})
        assert answer.status_code == 422
        assert "Ask first" in answer.text
        assert client.post("/route/move", data=given | {"customer": "booked"}).status_code == 303
        assert state_of(served).booked[SITE] == date(2025, 10, 20)


def test_the_plan_is_put_in_force_once_for_all_to_see(served: Served) -> None:
    with served.client() as client:
        page = client.get("/route").text
        assert "No plan is in force yet" in page
        seen = re.search(r'name="seen" value="(\d+)"', page)
        assert seen
        answer = client.post("/route/accept", data={"token": token(page), "seen": seen[1]})
        assert answer.status_code == 303
        assert "the plan as shown is in force" in client.get(answer.headers["location"]).text
        state = state_of(served)
        assert [event.kind for event in state.events] == ["plan", "sheet"]
        stale = client.post("/route/accept", data={"token": token(page), "seen": seen[1]})
        assert stale.status_code == 409
        assert "This plan is in force, since Mon 6 Oct by Tester" in client.get("/route").text
        assert state.newer_than_plan() == 0


def test_a_sheet_that_lost_a_site_must_be_confirmed(served: Served) -> None:
    with served.client() as client:
        send(client, "/route/accept", at="/route", seen="0")
        sheet = served.folder / "sites.csv"
        rows = sheet.read_text(encoding="utf-8").splitlines()
        sheet.write_text(
            "\n".join(row for row in rows if not row.startswith("V-09,")) + "\n", encoding="utf-8"
        )
        served.desk.touch()
        served.settled()
        page = client.get("/route").text
        assert "V-09" in page
        assert "These changes are meant" in page
        seen = re.search(r'name="seen" value="(\d+)"', page)
        assert seen
        given = {"token": token(page), "seen": seen[1]}
        assert client.post("/route/accept", data=given).status_code == 422
        assert client.post("/route/accept", data=given | {"confirm": "yes"}).status_code == 303


# --- who may, and what is no move


def test_only_the_office_moves(guarded: Served) -> None:
    with guarded.logged_in(OFFICE) as office:
        given = fields(office.get(page_of()).text)
    for who in (CREW, VIEWER):
        with guarded.logged_in(who) as client:
            page = client.get("/route")
            assert page.status_code == 200
            assert "/route/move/" not in page.text
            assert "Put this plan in force" not in page.text
            assert client.get(page_of()).status_code == 403
            assert client.get(f"/route/costs/{SITE}").status_code == 403
            own = token(client.get("/").text)
            for path in ("/route/move", "/route/accept", "/route/undo", "/route/release"):
                answer = client.post(path, data=given | {"token": own, "customer": "no", "event": "1"})
                assert answer.status_code == 403, path
    assert open_ledger(guarded.folder, readonly=True) is None


def test_a_forged_token_changes_nothing(served: Served) -> None:
    with served.client() as client:
        given = fields(client.get(page_of()).text) | {"customer": "no", "token": "0" * 128}
        assert client.post("/route/move", data=given).status_code == 403
        assert open_ledger(served.folder, readonly=True) is None


BAD = [
    {"to": "2025-10-12"},  # a Sunday
    {"to": "2025-10-01"},
    {"to": "2026-05-01"},
    {"to": "soon"},
    {"to": ""},
    {"crew": "Nobody"},
    {"crew": ""},
    {"site": "V-99"},
    {"site": ""},
    {"site": "../../etc/passwd"},
    {"customer": "maybe"},
    {"seen": ""},
    {"seen": "-1"},
    {"seen": "99999999999999999999"},
    {"from": "2025-10-20"},
]


@pytest.mark.parametrize("change", BAD, ids=str)
def test_nonsense_is_refused_and_nothing_is_written(base_served: Served, change: dict[str, str]) -> None:
    with base_served.client() as client:
        answer = move(client, **change)
        assert answer.status_code in (404, 409, 422), answer.text
        assert open_ledger(base_served.folder, readonly=True) is None


ADDRESSES = [
    "/route/move/V-99",
    "/route/move/",
    "/route/move/%00",
    "/route/costs/V-99",
    "/route/move/V-06?to=x&crew=y&part=cost",
    "/route/plan.ics?crew=Nobody",
    "/route/what-if/1",
    "/route/what-if/999999999999999999999999",
]


@pytest.mark.parametrize("path", ADDRESSES)
def test_unknown_addresses_are_not_found(base_served: Served, path: str) -> None:
    with base_served.client() as client:
        assert client.get(path).status_code == 404


@pytest.mark.parametrize("event", ["", "x", "-3", "0", "7", "9" * 12])
def test_undo_of_what_is_not_there(base_served: Served, event: str) -> None:
    with base_served.client() as client:
        answer = send(client, "/route/undo", at="/route", event=event)
        assert answer.status_code == 422
        assert open_ledger(base_served.folder, readonly=True) is None


def test_a_limit_of_the_sheet_is_said_before_and_kept(base_served: Served) -> None:
    """B-09 may be visited on Tuesdays and Thursdays only, or the like: its own row says."""
    snapshot = base_served.desk.current()
    assert snapshot is not None
    site = next(s.site for s in snapshot.forecast.sites if s.site.weekdays != frozenset(range(7)))
    day = next(
        day
        for crew_day in snapshot.forecast.crew_days
        if (day := crew_day.day).weekday() not in site.weekdays and crew_day.crew == "Heron"
    )
    with base_served.client() as client:
        page = client.get(page_of(site.site_id, day.isoformat(), "Heron")).text
        assert "That cannot be" in page
        assert "The sheet allows only" in page
        assert "Move it" not in page


def test_costs_for_the_script_say_what_the_page_says(base_served: Served) -> None:
    with base_served.client() as client:
        listed = client.get(f"/route/costs/{SITE}").json()["costs"]
        words = {(one["day"], one["crew"]): one["words"] for one in listed}
        assert sorted(words.values()).count("here") == 1
        page = client.get(page_of()).text
        total = re.search(r"The move costs \$([\d,]+)", page)
        assert total
        assert words[(DAY, NAME)].startswith(f"+${total[1]}")
        assert min(day for day, _ in words) >= DEMO_AS_OF.isoformat()


def test_eight_people_at_once_and_every_accepted_move_is_in_the_plan(served: Served) -> None:
    snapshot = served.desk.current()
    assert snapshot is not None
    placed = [found.site.site_id for found in snapshot.forecast.sites if found.planned_date][:8]
    clients = [served.client() for _ in placed]
    try:
        forms = []
        for number, (client, site_id) in enumerate(zip(clients, placed, strict=True)):
            listed = client.get(f"/route/costs/{site_id}").json()["costs"]
            to = [one for one in listed if one["words"] not in ("", "here")][3 * number]
            page = client.get(page_of(site_id, to["day"], to["crew"])).text
            forms.append(fields(page) | {"customer": "no"} if "Move it" in page else None)
        with ThreadPoolExecutor(8) as pool:
            sent = [
                pool.submit(client.post, "/route/move", data=form)
                for client, form in zip(clients, forms, strict=True)
                if form is not None
            ]
            codes = [answer.result().status_code for answer in sent]
    finally:
        for client in clients:
            client.close()
    state = state_of(served)
    assert set(codes) <= {303, 409}
    assert codes.count(303) == len(state.placed) >= 4
    plan = state.plan
    assert plan is not None
    where = {s["site_id"]: (d["date"], d["crew"]) for d in plan["crew_days"] for s in d["stops"]}
    assert {site: where[site] for site in state.placed} == {
        site: (day.isoformat(), crew) for site, (day, crew) in state.placed.items()
    }
