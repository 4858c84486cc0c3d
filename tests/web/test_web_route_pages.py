"""The route's views without a browser: table, files, what-if, hostile names, size, a failing forecast."""

from __future__ import annotations

import csv
import io
import re
import time
from datetime import date
from pathlib import Path

import pytest
from web_server import CREW, HOSTILE, VIEWER, Served, send

from forecaster.route.assign import Slot
from forecaster.route.move_cost import day_plan
from forecaster.route.what_if import apply_what_if, as_in_force
from forecaster.season.state import SeasonState
from forecaster.web.route_view import SORTS, TableAsked, chosen_rows, money, pages_of, rows_of
from forecaster.web.shown_plan import plan_over

VIEWS = ["/route", "/route/table", "/route/map", "/route/what-if", "/route/files"]
LARGEST = 300_000


def test_calendar_holds_every_planned_stop_once(base_served: Served) -> None:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    planned = [s.site_id for day in snapshot.forecast.crew_days for s in day.stops]
    with base_served.client() as client:
        page = client.get("/route").text
    assert sorted(re.findall(r'data-site="([^"]+)"', page)) == sorted(planned)
    slots = re.findall(r'data-day="([^"]+)" data-crew="([^"]+)"', page)
    assert len(slots) == len(set(slots))
    assert {Slot(date.fromisoformat(day), crew) for day, crew in slots} >= set(day_plan(snapshot.forecast))


@pytest.mark.parametrize("sort", SORTS)
def test_the_table_is_sorted_and_says_so(base_served: Served, sort: str) -> None:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    shown = plan_over(snapshot, SeasonState(season=2025))
    rows = chosen_rows(rows_of(shown), TableAsked(sort=sort))
    keys = [SORTS[sort][2](row) for row in rows]
    assert keys == sorted(keys)
    with base_served.client() as client:
        page = client.get(f"/route/table?sort={sort}").text
    assert f"Sorted by {SORTS[sort][1]}." in page
    assert len(re.findall("aria-sort=", page)) == 1
    ids = re.findall(r'<th scope="row"><a href="/site/([^"]+)"', page)
    assert ids == [row.site.site.site_id for row in rows]


def test_filters_and_nonsense_in_the_address(base_served: Served) -> None:
    with base_served.client() as client:
        heron = client.get("/route/table?crew=Heron").text
        assert "Otter, stop" not in heron
        assert "No site is like that" in client.get("/route/table?crew=-&state=no_forecast").text
        for query in (
            "sort=<b>",
            "crew=Nobody",
            "state=x",
            "page=-1",
            "page=9999999",
            "page=٣",
            "sort=" + "x" * 3000,
        ):
            assert client.get(f"/route/table?{query}").status_code == 200


def test_pages_of_the_table() -> None:
    rows = list(range(205))
    first, page, pages = pages_of(rows, 1)  # type: ignore[arg-type]
    assert (len(first), page, pages) == (100, 1, 3)
    last, page, _ = pages_of(rows, 99)  # type: ignore[arg-type]
    assert (last, page) == ([200, 201, 202, 203, 204], 3)
    assert pages_of([], 1) == ([], 1, 1)


def test_money_has_a_sign() -> None:
    assert [money(x) for x in (0.4, -0.4, 1234.5, -12.0)] == ["$0", "$0", "+$1,234", "−$12"]


# --- downloads


def test_downloads_open_and_hold_the_plan(base_served: Served) -> None:
    from icalendar import Calendar
    from openpyxl import load_workbook

    snapshot = base_served.desk.current()
    assert snapshot is not None
    planned = {s.site_id for day in snapshot.forecast.crew_days for s in day.stops}
    with base_served.client() as client:
        book = client.get("/route/plan.xlsx")
        assert "attachment" in book.headers["content-disposition"]
        cells = [c.value for sheet in load_workbook(io.BytesIO(book.content)) for row in sheet for c in row]
        assert planned <= set(cells)
        rows = list(csv.DictReader(io.StringIO(client.get("/route/plan.csv").content.decode("utf-8-sig"))))
        assert {row["site_id"] for row in rows} == planned
        assert "access" not in rows[0]
        whole = Calendar.from_ical(client.get("/route/plan.ics").content)
        assert len(whole.walk("VEVENT")) == len(planned)
        per_crew = [client.get(f"/route/plan.ics?crew={c.name}").content for c in snapshot.forecast.crews]
        assert sum(len(Calendar.from_ical(one).walk("VEVENT")) for one in per_crew) == len(planned)
        for picture in ("/route/map.svg", "/route/season.svg"):
            answer = client.get(picture)
            assert answer.headers["content-type"] == "image/svg+xml"
            assert answer.text.startswith("<svg")


def test_access_notes_only_when_asked_and_never_for_a_viewer(guarded: Served) -> None:
    with guarded.logged_in(CREW) as crew:
        for name in ("plan.csv", "plan.ics"):
            assert b"Gate code" not in crew.get(f"/route/{name}").content
            assert b"Gate code" in crew.get(f"/route/{name}?access=yes").content
    with guarded.logged_in(VIEWER) as viewer:
        assert viewer.get("/route/plan.csv").status_code == 200
        assert viewer.get("/route/plan.csv?access=yes").status_code == 403
        assert "With access notes" not in viewer.get("/route/files").text
        assert "Gate code" not in viewer.get("/site/V-01").text


def test_downloads_show_a_move_at_once(served: Served) -> None:
    with served.client() as client:
        page = client.get("/route/move/V-06?to=2025-10-14&crew=Otter").text
        form = re.search(r'action="/route/move">(.*?)</form>', page, re.DOTALL)
        assert form
        given = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form[1]))
        assert client.post("/route/move", data=given | {"customer": "no"}).status_code == 303
        rows = csv.DictReader(io.StringIO(client.get("/route/plan.csv").content.decode("utf-8-sig")))
        assert [(r["date"], r["crew"]) for r in rows if r["site_id"] == "V-06"] == [("2025-10-14", "Otter")]
        sequence = re.search(rb"SEQUENCE:(\d+)", client.get("/route/plan.ics").content)
        assert sequence
        assert int(sequence[1]) == 66 + 2  # days since 1 August, and the two events of the move


# --- what if


def test_a_what_if_is_planned_beside_and_changes_nothing(served: Served) -> None:
    with served.client() as client:
        began = time.monotonic()
        answer = send(client, "/route/what-if", kind="rain", first="2025-10-07", last="2025-10-09")
        assert answer.status_code == 303
        assert time.monotonic() - began < 0.5
        path = answer.headers["location"]
        page = client.get(path).text
        assert "rain 2025-10-07..2025-10-09" in page
        until = time.monotonic() + 60
        while "Nothing was changed" not in page and time.monotonic() < until:
            assert 'http-equiv="refresh"' in page
            time.sleep(0.3)
            page = client.get(path).text
        assert re.search(r"Expected loss \$[\d,]+, then \$[\d,]+: \$[\d,]+ more", page)
        assert "on another day" in page
        assert "http-equiv" not in page
        assert "rain 2025-10-07" in client.get("/route/what-if").text


def test_the_page_of_a_move_asks_a_what_if_that_can_be_read(base_served: Served) -> None:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    with base_served.client() as client:
        page = client.get("/route/move/V-06?to=2025-10-14&crew=Otter").text
    asked = re.search(r'name="text" value="(move [^"]+)"', page)
    assert asked
    changed = apply_what_if(as_in_force(snapshot.known, snapshot.forecast), asked[1])
    held = {site.site_id: site.hand_placed for site in changed.sites if site.hand_placed}
    assert held == {"V-06": (date(2025, 10, 14), "Otter")}


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"kind": "rain", "first": ""}, "Choose the day"),
        ({"kind": "ill", "first": "2025-10-14"}, "Choose the crew"),
        ({"kind": "text", "text": ""}, "Write a change"),
        ({"kind": "text", "text": "snow 2025-10-14"}, "is no change"),
        ({"kind": "text", "text": "move V-03 Heron"}, "no crew with a date"),
        ({"kind": "text", "text": "rain 2025-10-14; " * 40}, "longer than"),
        ({"kind": "x"}, "none of the choices"),
        ({"kind": "rain", "first": "2025-10-20", "last": "2025-10-14"}, "no span"),
        ({"kind": "text", "text": HOSTILE}, "is no change"),
    ],
)
def test_what_ifs_that_cannot_be_read(base_served: Served, fields: dict[str, str], word: str) -> None:
    with base_served.client() as client:
        answer = send(client, "/route/what-if", **fields)
        assert answer.status_code == 422
        assert word in answer.text
        assert HOSTILE not in answer.text


# --- names that would run, sizes, failure


def test_hostile_names_are_shown_as_they_are(served: Served) -> None:
    sheet = served.folder / "sites.csv"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(
        text.replace("Fernwhistle", HOSTILE).replace("Line above ground", HOSTILE), encoding="utf-8"
    )
    served.desk.touch()
    served.settled()
    with served.client() as client:
        for path in (*VIEWS, "/site/V-03", "/route/move/V-03", "/site/V-99" + HOSTILE.replace("/", "%2F")):
            page = client.get(path).text
            assert HOSTILE not in page, path
        assert "&lt;script&gt;" in client.get("/site/V-03").text, (
            served.desk.problem(),
            served.desk.pending(),
        )


def test_the_calendar_of_300_sites_stays_light(base_served: Served) -> None:
    """It grows with the stops: by proportion from the demo's 37 (the table is paged at 100 rows)."""
    with base_served.client() as client:
        assert len(client.get("/route").text.encode()) * 300 / 37 < LARGEST
        assert len(client.get("/route/table").text.encode()) * 100 / 37 < LARGEST


def test_a_ledger_that_cannot_be_read_leaves_the_pages(served: Served) -> None:
    (served.folder / "season.sqlite").write_bytes(b"no database at all" * 100)
    with served.client() as client:
        for path in ("/route", "/route/table", "/site/V-03", "/route/move/V-03"):
            answer = client.get(path)
            assert answer.status_code == 200, path
            assert "V-03" in answer.text or "Fernwhistle" in answer.text
        sent = send(client, "/route/accept", at="/route", seen="0")
        assert sent.status_code in (422, 503)
        assert "season.sqlite" in sent.text


@pytest.mark.parametrize("path", [*VIEWS, "/site/V-03", "/route/move/V-03"])
def test_pages_are_light(base_served: Served, path: str) -> None:
    with base_served.client() as client:
        page = client.get(path).text
    assert len(page.encode()) < 100_000
    assert " style=" not in page
    assert not re.search(r"<script(?![^>]* src=)|<style|javascript:| on\w+=\"", page)


def test_a_failing_forecast_keeps_the_pages(served: Served) -> None:
    settings = served.folder / "season.toml"
    good = settings.read_text(encoding="utf-8")
    settings.write_text(good.replace("hard_freeze = 60", 'hard_freeze = "much"'), encoding="utf-8")
    served.desk.touch()
    served.settled()
    assert served.desk.problem()
    with served.client() as client:
        for path in (*VIEWS, "/site/V-03", "/route/move/V-03"):
            answer = client.get(path)
            assert answer.status_code == 200, path
            assert "could not be made" in answer.text
        assert "Fernwhistle" in client.get("/site/V-03").text


def test_before_the_first_estimate(tmp_path: Path) -> None:
    """Every address answers calmly while there is nothing yet: the folder is broken from the start."""
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "season.toml").write_text("[season]\n", encoding="utf-8")
    with Served(folder) as served, served.client() as client:
        for path in (*VIEWS, "/site/V-03", "/site?name=V"):
            assert client.get(path).status_code == 200, path
        for path in ("/route/move/V-03", "/route/plan.csv", "/route/plan.xlsx", "/route/map.svg"):
            assert client.get(path).status_code == 503, path
