"""Words and Winter as pages: what is shown, that a click sends nothing, and that closings count at once."""

from __future__ import annotations

import csv
import io
import re
from html import unescape
from typing import Any
from urllib.parse import unquote

import pytest
from web_browser import axe_problems, small_targets, watched
from web_server import HOSTILE, Served, send

from forecaster.report.winter_cautions import ELECTRICITY, ICE


def text_of(page: str) -> str:
    """What a person reads, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_words_lists_every_message_and_says_that_nothing_is_sent(base_served: Served) -> None:
    with base_served.client() as client:
        page = client.get("/words").text
        assert page.count('href="/words/') == 37
        said = text_of(page)
        assert "Nothing is sent from here" in said
        assert "No message (runs all winter)" in said
        assert client.get("/words?form=fax").status_code == 404


def test_one_message_opens_in_the_readers_own_program(base_served: Served) -> None:
    with base_served.client() as client:
        page = unescape(client.get("/words/V-05?form=email").text)
        link = re.search(r'href="(mailto:[^"]+)"', page)
        assert link is not None
        subject, body = re.findall(r"(?:subject|body)=([^&]*)", link[1])
        shown = re.search(r"<textarea[^>]*>(.*?)</textarea>", page, re.S)
        assert shown is not None
        assert unquote(body).replace("\r\n", "\n") == shown[1].strip("\n")
        assert unquote(subject).startswith("Your pond will be closed")
        text = unescape(client.get("/words/V-05?form=text").text)
        assert re.search(r'href="sms:\+?\d+\?body=', text)
        letter = client.get("/words/V-05?form=letter").text
        assert "mailto:" not in letter
        assert "87 Kettle-and-Reed Way" in letter
        assert "<form" not in page.split("<main")[1].split("</main>")[0]


def test_no_page_of_words_shows_a_chance(base_served: Served) -> None:
    with base_served.client() as client:
        for form in ("email", "text", "letter"):
            page = client.get(f"/words/V-03?form={form}").text
            main = text_of(page.split("<main")[1].split("</main>")[0])
            assert not re.search(r"%|\d in \d|chance", main)


def test_a_site_without_a_message_says_why_and_a_strange_one_is_not_found(base_served: Served) -> None:
    with base_served.client() as client:
        assert "runs all winter" in text_of(client.get("/words/V-10").text)
        assert client.get("/words/X-99").status_code == 404


def test_mail_merge_is_the_commands_file(base_served: Served) -> None:
    with base_served.client() as client:
        answer = client.get("/words.csv?form=letter")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    assert len(rows) == 37
    assert "attachment" in answer.headers["content-disposition"]
    assert {row["email"].split("@")[1] for row in rows} == {"example.org"}


def test_winter_shows_watch_energy_and_cautions(base_served: Served) -> None:
    with base_served.client() as client:
        said = text_of(client.get("/winter").text)
        every = client.get("/winter?all=yes").text
    for part in ("When to look again", "V-10", "31 Mar 2026", "kwh_price", ICE, ELECTRICITY):
        assert part in said, part
    assert "V-05" not in said.split("De-icers")[0]
    assert every.count("<details>") > 30
    assert "!" not in said


def test_today_and_the_sites_page_speak_of_the_winter(base_served: Served) -> None:
    with base_served.client() as client:
        assert "Winter watch" in text_of(client.get("/").text)
        said = text_of(client.get("/site/V-10").text)
        assert 'href="/words/V-05"' in client.get("/site/V-05").text  # the customer's message
    assert "Look again" in said
    assert ICE in said


def test_a_closing_counts_at_once(served: Served) -> None:
    with served.client() as client:
        answer = send(client, "/site/V-05/closing", what="closed", day="2025-10-06", seen="0")
        assert answer.status_code == 303, answer.text
        assert "V-05" in text_of(client.get("/winter").text).split("De-icers")[0]
        assert "your pond was closed" in client.get("/words/V-05?form=text").text


def test_hostile_names_stay_text(served: Served) -> None:
    (served.folder / "words").mkdir()
    (served.folder / "words" / "closing-email.txt").write_text(f"Subject: {HOSTILE}\n{HOSTILE} {{name}}\n")
    with served.client() as client:
        page = client.get("/words/V-05").text
        assert HOSTILE not in page
        assert HOSTILE in unescape(page)
        (served.folder / "words" / "closing-email.txt").write_text("Subject: x\n{nme}\n")
        answer = client.get("/words")
        assert answer.status_code == 422
        assert "Did you mean name?" in text_of(answer.text)


@pytest.mark.browser
def test_pages_work_in_a_browser_on_a_phone(base_served: Served, chromium: Any) -> None:
    paths = ["/words", "/words/V-05?form=text", "/winter?all=yes"]
    assert axe_problems(chromium, base_served.url, paths) == []
    with watched(chromium, base_served.url) as window:
        for path in paths:
            window.go(path)
            window.check()
            assert small_targets(window.page) == []
