"""Today and the forms as a person without script meets them: content, words, doubts, confirmations."""

from __future__ import annotations

import gzip
import re
from html import unescape
from pathlib import Path

import pytest
from web_server import Served, send

LIMIT_KB = 100


def text_of(page: str) -> str:
    """What a person reads, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_today_says_it_all_in_the_first_answer(base_served: Served) -> None:
    with base_served.client() as client:
        answer = client.get("/", headers={"accept-encoding": "identity"})
    words = text_of(answer.text)
    for said in (
        "37 sites to close",
        "Since yesterday",
        "Next crew-days",
        "Take care on site",
        "at risk",
        "How sure we are",
        "9 falls in 10",
        "of the falls like this one",
        "Weather to 5 Oct",
        "As of the morning of Mon 6 Oct 2025",
    ):
        assert said in words, said
    assert "!" not in words
    assert len(answer.content) < LIMIT_KB * 1000


def test_today_is_small_on_the_wire_with_all_it_needs(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get("/").text
        parts = [
            page,
            *(client.get(href).text for href in re.findall(r'(?:href|src)="(/static/[^"]+)"', page)),
        ]
    assert len(parts) == 3
    assert sum(len(gzip.compress(part.encode())) for part in parts) < LIMIT_KB * 1000 / 2


def test_one_tap_to_site_call_mail_reading_and_closing(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get("/").text
    for target in ("/site/V-18", "/site/V-18/reading", "/site/V-18/closing", "tel:5550100", "mailto:pond"):
        assert f'href="{target}' in page, target


def test_a_reading_is_confirmed_known_and_undone(served: Served) -> None:
    with served.client() as client:
        before = client.get("/data/route.json")
        answer = send(
            client,
            "/site/V-16/reading",
            water="6.9C",
            day="2025-10-06",
            clock="15:30",
            depth="12",
            by="Heron",
            sky="clear",
        )
        assert answer.headers["location"] == "/entered/1"
        page = client.get("/entered/1")
        assert "water 44.42 °F on Mon 6 Oct at 15:30, 12 inches deep, by Heron" in text_of(page.text)
        assert "The estimate is being made anew" in page.text
        assert '<noscript><meta http-equiv="refresh"' in page.text
        served.settled()
        page = client.get("/entered/1")
        assert "How the estimate moved" in page.text
        assert 'http-equiv="refresh"' not in page.text
        after = client.get("/data/route.json", headers={"if-none-match": before.headers["etag"]})
        assert after.status_code == 200
        was, now = (
            next(site["water_now_c"] for site in data.json()["sites"] if site["site_id"] == "V-16")
            for data in (before, after)
        )
        assert now < was
        assert "Water 44.42 °F" in text_of(client.get("/").text)
        assert send(client, "/undo/1", at="/entered/1").headers["location"] == "/entered/2"
        assert "Taken back" in client.get("/entered/1").text
        assert "Have it again" in client.get("/entered/2").text
        again = send(client, "/undo/1", at="/entered/2")
        assert again.status_code == 422
        assert "undone already" in again.text


def test_a_closing_leaves_the_route(served: Served) -> None:
    with served.client() as client:
        said = {"day": "2025-10-06", "by": "Heron", "hours": "2,5", "done": "pump out\nnet on", "seen": "0"}
        assert send(client, "/site/V-18/closing", what="closed", **said).status_code == 303
        assert "2.5 crew-hours: pump out / net on" in text_of(client.get("/entered/1").text)
        served.settled()
        assert "1 closed" in text_of(client.get("/").text)
        twice = send(client, "/site/V-18/closing", what="closed", day="2025-10-05", seen="1")
        assert twice.status_code == 422
        assert "is closed already" in text_of(twice.text)


@pytest.mark.parametrize(
    ("form", "fields", "said"),
    [
        ("reading", {"water": "", "day": "2025-10-06"}, "is needed. Write it like 52.3."),
        ("reading", {"water": "523", "day": "2025-10-06"}, "outside the allowed"),
        ("reading", {"water": "52", "day": ""}, "is needed. Choose the day."),
        ("reading", {"water": "52", "day": "2025-13-40"}, "no day of the calendar"),
        ("reading", {"water": "52", "day": "2025-10-07"}, "in the future"),
        ("reading", {"water": "52", "day": "2025-10-06", "clock": "25:00"}, "not a time of day"),
        ("reading", {"water": "52", "day": "2025-10-06", "depth": "3ft"}, "Write 36"),
        ("reading", {"water": "52", "day": "2025-10-06", "sky": "green"}, "not one of clear"),
        ("reading", {"water": "52", "day": "2025-10-06", "by": "a\x00b"}, "U+0000"),
        ("reading", {"water": "80", "day": "2025-10-06"}, "far from the estimate"),
        ("closing", {"what": "skipped", "day": "2025-10-06"}, "why the crew left"),
        ("closing", {"what": "closed", "day": "2025-10-06", "hours": "many"}, "not a number"),
        ("closing", {"what": "closed", "day": "2024-10-06"}, "not in the fall of 2025"),
    ],
)
def test_what_is_wrong_is_said_at_the_field_and_nothing_is_recorded(
    base_served: Served, form: str, fields: dict[str, str], said: str
) -> None:
    with base_served.client() as client:
        answer = send(client, f"/site/V-03/{form}", **fields)
    assert answer.status_code == 422
    assert said in text_of(answer.text)
    assert "Nothing was recorded" in answer.text
    assert not (base_served.folder / "season.sqlite").exists()


def test_a_doubtful_reading_is_taken_when_somebody_looked_again(season: Path) -> None:
    with Served(season, still=True) as served, served.client() as client:
        said = {"water": "80", "day": "2025-10-06"}
        assert "I looked again" in send(client, "/site/V-03/reading", **said).text
        assert send(client, "/site/V-03/reading", sure="yes", **said).status_code == 303
