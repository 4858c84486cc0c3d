"""The page of one site without a browser: numbers and their reasons, dates, notes, history, unknown names."""

from __future__ import annotations

import re
from datetime import date
from html import unescape

import numpy as np
import pytest
from web_server import CREW, HOSTILE, VIEWER, Served, send, token

from forecaster.falls import fall_start
from forecaster.known import Known
from forecaster.season.ledger import open_ledger
from forecaster.season.state import SeasonState, derive
from forecaster.units import c_to_f
from forecaster.waters import route_water
from forecaster.weather.site_air import SiteAir
from forecaster.weather.stations import Outlook
from forecaster.web.site_charts import HEIGHT, Frame, loss_chart, water_chart
from forecaster.web.site_days import SiteDays, outlook_at, site_days

SITE = "V-03"


def state_of(served: Served) -> SeasonState:
    ledger = open_ledger(served.folder, readonly=True)
    assert ledger is not None
    with ledger:
        return derive(ledger.events(), season=2025)


def text_of(page: str) -> str:
    """What a reader sees: without tags, with single spaces."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def known(base_served: Served) -> Known:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    return snapshot.known


# --- numbers: against the parts that made them


def test_days_are_those_of_the_water_command(known: Known) -> None:
    made = site_days(known)
    assert set(made) == {site.site_id for site in known.sites}
    for pond in route_water(known).ponds:
        days = made[pond.site.site_id]
        assert np.allclose(days.water_c, pond.path.water_c)
        assert np.allclose(days.water_p10_c, pond.path.p10_c)
        assert days.lag_days == pond.fit.lag_days
        assert sum((days.shares or {}).values()) == pytest.approx(1.0)


def test_outlook_is_blended_as_the_air_is() -> None:
    """By hand: weights 0.75 and 0.25; 1 degree lower for the hollow, 2 for the height on means."""
    air = SiteAir("S", "A", (0, 1), (0.75, 0.25), (0.75, 0.25), -2.0, -1.0, (1.0, 2.0))
    day, next_day = date(2025, 10, 6), date(2025, 10, 7)
    near = Outlook("A", day, (day, next_day), np.array([4.0, np.nan]), np.array([12.0, 14.0]))
    far = Outlook("B", day, (day, next_day), np.array([0.0, 2.0]), np.array([8.0, 10.0]))
    both = outlook_at(air, [near, far])
    assert both is not None
    assert both.min_c[0] == 0.75 * 4.0 + 0.25 * 0.0 - 1.0
    assert both.max_c[0] == 0.75 * 12.0 + 0.25 * 8.0 - 2.0
    assert both.min_c[1] == 2.0 - 1.0  # the near station gives none: the far one stands for both
    alone = outlook_at(air, [None, far])
    assert alone is not None
    assert alone.max_c[0] == 8.0 - 2.0
    assert outlook_at(air, [None, None]) is None


def test_the_page_says_what_the_forecast_holds(base_served: Served) -> None:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    found = next(s for s in snapshot.forecast.sites if s.site.site_id == SITE)
    assert found.loss_parts_by_day is not None
    with base_served.client() as client:
        page = client.get(f"/site/{SITE}").text
    said = text_of(page)
    assert f"about {c_to_f(found.water_now_c or 0):.0f} °F" in said
    assert f"Rank {found.rank} of {len(snapshot.forecast.sites)}" in said
    rows = re.findall(r'<th scope="row">\w{3} (\d+ \w{3})</th>((?:<td class="n">\d+</td>){5})', page)
    assert len(rows) > 20
    for day_text, cells in rows[:20]:
        day = next(
            d
            for d in range(184)
            if f"{(on := fall_start(2025) + np.timedelta64(d, 'D').item()).day} {on:%b}" == day_text
        )
        shown = [int(cell) for cell in re.findall(r">(\d+)<", cells)]
        held = [*found.loss_parts_by_day[:, day], found.loss_parts_by_day[:, day].sum()]
        assert shown == [int(f"{value:.0f}") for value in held]


def test_every_number_opens_its_reason(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get(f"/site/{SITE}").text
    facts = re.search(r'<div class="facts">(.*?)</div>', page, re.DOTALL)
    assert facts
    opened = re.findall(r"<details><summary><span>(.*?)</span><b>(.*?)</b></summary><p>(.*?)</p>", facts[1])
    assert [name for name, _, _ in opened] == [
        "Water now",
        "Water settles",
        "Hard freeze first",
        "Hard freeze in 14 days",
        "Best day",
        "Rank",
    ]
    assert all(value and len(why) > 30 for _, value, why in opened)
    water = opened[0][2]
    for part in ("reading", "weather to 5 Oct", "its own readings", "trails the air by about"):
        assert part in water


def test_sites_without_a_water_forecast_say_why(base_served: Served) -> None:
    snapshot = base_served.desk.current()
    assert snapshot is not None
    with base_served.client() as client:
        for site in snapshot.forecast.sites:
            if not site.site.forecast_water:
                said = text_of(client.get(f"/site/{site.site.site_id}").text)
                assert "there is no water forecast" in said
                assert "Water settles" not in said


# --- pictures


def test_a_frame_maps_days_and_values_by_hand() -> None:
    """Two days on 420 - 34 - 8 = 378 units: 189 a day; values 0 to 10 on 210 - 16 - 22 = 172 units."""
    frame = Frame(date(2025, 10, 6), date(2025, 10, 7), 0.0, 10.0)
    assert frame.x(date(2025, 10, 6)) == 34 + 189 / 2
    assert frame.x(date(2025, 10, 7), 1.0) == 34 + 378
    assert frame.y(0.0) == HEIGHT - 22
    assert frame.y(5.0) == HEIGHT - 22 - 86
    assert frame.y(99.0) == frame.y(10.0)
    assert frame.path([(date(2025, 10, 6), 0.0), (date(2025, 10, 7), float("nan"))]).count("L") == 0


def test_charts_carry_words_and_no_style(known: Known) -> None:
    days = site_days(known)
    for site in known.sites:
        own = [r for r in known.readings if r.site_id == site.site_id]
        limits = {"settled": 7.2, "hard freeze": -2.2}
        drawn = str(water_chart(days[site.site_id], own, as_of=known.as_of, limits_c=limits, units="us"))
        assert drawn.startswith('<svg class="chart"')
        assert "<title" in drawn
        assert "<desc" in drawn
        assert "nan" not in drawn
        assert "style" not in drawn
        assert drawn.count('class="reading"') == sum(r.day >= date(2025, 8, 11) for r in own)


def test_charts_of_the_first_morning_and_of_nothing(known: Known) -> None:
    blank = SiteDays(fall_start(2025), np.array([20.0]))
    drawn = str(
        water_chart(blank, [], as_of=date(2025, 8, 2), limits_c={"hard freeze": -2.2}, units="metric")
    )
    assert "no water forecast" in drawn
    flat = str(
        loss_chart(
            np.zeros((4, 184)), fall=2025, first=known.as_of, last=date(2025, 11, 1), best=None, planned=None
        )
    )
    assert "part-" not in flat


# --- dates, notes, history


def test_told_booked_called_off_and_taken_back(served: Served) -> None:
    path = f"/site/{SITE}"
    with served.client() as client:
        seen = re.search(r'name="seen" value="(\d+)"', client.get(path).text)
        assert seen
        told = send(client, f"{path}/dates", at=path, what="told", day="2025-10-16", seen=seen[1])
        assert told.status_code == 303
        page = text_of(client.get(path).text)
        assert "Customer: told Thu 16 Oct" in page
        assert "We close your pond on Thu 16 Oct." in page
        assert (
            send(client, f"{path}/dates", at=path, what="booked", day="2025-10-17", seen="1").status_code
            == 303
        )
        assert state_of(served).booked[SITE] == date(2025, 10, 17)
        twice = send(client, f"{path}/dates", at=path, what="booked", day="2025-10-17", seen="2")
        assert twice.status_code == 422
        assert "is recorded already" in twice.text
        stale = send(client, f"{path}/dates", at=path, what="told", day="2025-10-20", seen="1")
        assert stale.status_code == 409
        assert "Nothing of yours was recorded" in stale.text
        assert 'value="2025-10-20"' in stale.text  # what was typed is still there
        off = send(client, f"{path}/dates", at=path, what="off", why="customer away", seen="2")
        assert off.status_code == 303
        assert SITE not in state_of(served).booked
        history = text_of(client.get(path).text)
        assert "called off (Wed 15 Oct, Fri 17 Oct): customer away" in history
        assert client.post("/undo/3", data={"token": token(client.get(path).text)}).status_code == 303
        assert state_of(served).booked[SITE] == date(2025, 10, 17)
        page = client.get(path).text
        assert re.search(r'<li class="undone">\s*<p><s>called off', page)


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"what": "told", "day": ""}, "is needed. Choose the day"),
        ({"what": "told", "day": "soon"}, "day"),
        ({"what": "booked", "day": "2026-05-05"}, "not in the fall of 2025"),
        ({"what": "", "day": "2025-10-16"}, "Choose whether"),
        ({"what": "off", "why": "x\x00y"}, "which no sheet can show"),
    ],
)
def test_dates_that_cannot_be(base_served: Served, fields: dict[str, str], word: str) -> None:
    path = f"/site/{SITE}"
    with base_served.client() as client:
        answer = send(client, f"{path}/dates", at=path, seen="0", **fields)
        assert answer.status_code == 422
        assert word in text_of(answer.text)
    assert open_ledger(base_served.folder, readonly=True) is None


def test_nothing_to_call_off(base_served: Served) -> None:
    with base_served.client() as client:
        answer = send(client, "/site/V-06/dates", at="/site/V-06", what="off", seen="0")
        assert answer.status_code == 422
        assert "no told or booked date" in text_of(answer.text)


def test_notes_are_kept_as_typed(served: Served) -> None:
    path = f"/site/{SITE}"
    with served.client() as client:
        assert send(client, f"{path}/note", at=path, text=f"Ring first. {HOSTILE}").status_code == 303
        page = client.get(path).text
        assert HOSTILE not in page
        assert f"note: Ring first. {HOSTILE}" in text_of(page)
        assert send(client, f"{path}/note", at=path, text="  ").status_code == 422
        assert send(client, f"{path}/note", at=path, text="x" * 6000).status_code == 422
        assert send(client, "/site/V-99/note", at=path, text="x").status_code == 404


def test_a_closed_site_and_one_that_runs(served: Served) -> None:
    with served.client() as client:
        done = send(
            client,
            f"/site/{SITE}/closing",
            what="closed",
            day="2025-10-06",
            by="Heron",
            done="pump out",
            seen="0",
        )
        assert done.status_code == 303
        page = text_of(client.get(f"/site/{SITE}").text)
        assert page.count("Fernwhistle") >= 1
        served.settled()
        page = text_of(client.get(f"/site/{SITE}").text)
        assert "Closed on Mon 6 Oct by Heron: pump out." in page
        assert f'data-site="{SITE}"' not in client.get("/route").text
        snapshot = served.desk.current()
        assert snapshot is not None
        runs = snapshot.forecast.runs_all_winter[0].site_id
        assert "Runs all winter" in text_of(client.get(f"/site/{runs}").text)
        assert client.get(f"/route/move/{SITE}").status_code == 404


# --- who may, and who is meant


def test_crew_enters_and_the_viewer_looks(guarded: Served) -> None:
    with guarded.logged_in(CREW) as crew:
        page = crew.get(f"/site/{SITE}").text
        assert f"/site/{SITE}/reading" in page
        assert f"/site/{SITE}/dates" not in page
        own = token(page)
        sent = crew.post(
            f"/site/{SITE}/dates", data={"token": own, "what": "told", "day": "2025-10-16", "seen": "0"}
        )
        assert sent.status_code == 403
        assert crew.post(f"/site/{SITE}/note", data={"token": own, "text": "x"}).status_code == 403
    with guarded.logged_in(VIEWER) as viewer:
        page = viewer.get(f"/site/{SITE}").text
        assert "/reading" not in page
        assert "Access" not in text_of(page)
    assert open_ledger(guarded.folder, readonly=True) is None


def test_call_and_mail_links(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get(f"/site/{SITE}").text
    assert re.search(r'href="tel:5550100\d{3}"', page)
    assert re.search(r'href="mailto:pond\d+@example.org"', page)
    assert "(555) 0100" not in re.sub(r'<a class="button".*?</a>', "", page)  # not again among the kit


@pytest.mark.parametrize(
    ("said", "status", "words"),
    [
        ("v-03", 404, "Fernwhistle"),
        ("V-033", 404, "V-03"),
        ("fernwhistle", 404, "V-03"),
        ("V-03/extra", 404, "No site"),
        ("..%2F..%2Fetc%2Fpasswd", 404, "No site"),
        ("%00", 404, "No site"),
        ("x" * 3000, 404, "No site"),
    ],
)
def test_unknown_sites_name_the_near_ones(base_served: Served, said: str, status: int, words: str) -> None:
    with base_served.client() as client:
        answer = client.get(f"/site/{said}")
        assert answer.status_code == status
        assert words in text_of(answer.text)


def test_looking_for_a_site_by_name(base_served: Served) -> None:
    with base_served.client() as client:
        assert client.get("/site?name=fernwhis").headers["location"] == "/site/V-03"
        assert client.get("/site?name=v-03").headers["location"] == "/site/V-03"
        assert client.get("/site?name=zzz").status_code == 404
        assert client.get("/site?name=").status_code == 404
        assert client.get("/site").status_code == 404
