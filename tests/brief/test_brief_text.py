"""What people read: subjects for a lock screen, cautions, a page without foreign parts, nothing forged."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from brief_situations import calm, nights, sites, situation

from forecaster.brief.alarms import alarms
from forecaster.brief.mail import mail_bytes
from forecaster.brief.round import alarm_message, brief_message, brief_of
from forecaster.matters import Brief, Matter
from forecaster.report.brief_page import brief_page
from forecaster.report.brief_text import NOTHING, brief_json, brief_text, cautions, matter_text, subject
from forecaster.report.glossary import ICE_CAUTION, TAKE_CARE

EMPTY = Brief("Invented route", date(2025, 10, 6), date(2025, 10, 5), ())


@pytest.fixture(scope="module")
def demo_brief(demo_situation) -> Brief:
    return brief_of(demo_situation, None)[0]


def test_nothing_to_tell():
    assert brief_text(EMPTY) == (
        "Nothing to tell. Invented route, morning of Mon 6 Oct 2025. Since the brief of Sun 5 Oct.\n"
    )
    assert NOTHING in brief_page(EMPTY)
    assert json.loads(brief_json(EMPTY))["matters"] == []


def test_the_subject_carries_the_matter(demo_brief):
    said = subject(demo_brief)
    assert said.startswith(demo_brief.matters[0].title)
    assert len(said) <= 90
    assert re.search(r"; \d+ more$", said)
    one = replace(demo_brief, matters=demo_brief.matters[:1])
    assert subject(one) == one.matters[0].title


def test_every_title_fits_a_lock_screen(demo_brief, demo_situation):
    titles = [m.title for m in (*demo_brief.matters, *alarms(demo_situation, {})[0])]
    assert max(map(len, titles)) <= 80
    assert not any(title.endswith(".") for title in titles)


@pytest.mark.parametrize(
    ("said", "ice", "electric"),
    [
        ("Ice may form", True, False),
        ("frozen lines", True, False),
        ("a cold snap", True, False),
        ("pump and lines", False, True),
        ("de-icer off", False, True),
        ("the notice was nice", False, False),
        ("visits moved", False, False),
    ],
)
def test_cautions_stand_where_ice_or_electricity_is_mentioned(said, ice, electric):
    found = cautions([Matter("k", "k", said)])
    assert (ICE_CAUTION in found) == ice
    assert (TAKE_CARE["Electricity"] in found) == electric
    assert (TAKE_CARE["Who decides"] in found) == (ice or electric)
    assert (
        cautions([Matter("k", "k", "x", (said,))])
        == cautions([Matter("k", "k", "x", next_step=said)])
        == found
    )


def test_the_demo_brief_reads_well(demo_brief):
    text = brief_text(demo_brief)
    assert "The first brief." in text
    assert "!" not in text
    assert ICE_CAUTION in text
    assert "safe ice" not in text.lower()
    assert "ice is safe" not in text.lower()
    for word in ("quantile", "median", "ensemble", "probability", "None", "nan"):
        assert not re.search(rf"\b{word}\b", text), word


def test_a_matter_as_text():
    matter = Matter("k", "k", "Title", ("one", "two"), urgent=True, next_step="Do it")
    assert matter_text(matter) == "Act now: Title\n- one\n- two\nNext: Do it."
    assert matter_text(replace(matter, next_step="Do it. Then that.")).endswith("Next: Do it. Then that.")


class Tags(HTMLParser):
    """All tags of a page, and that they are closed in order."""

    void = ("meta", "br", "link", "img")

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_and_asks_nobody(demo_brief):
    page = brief_page(demo_brief)
    tags = Tags()
    tags.feed(page)
    assert tags.open == []
    assert not {"script", "img", "link", "iframe", "form"} & {tag for tag, _ in tags.seen}
    assert not any({"src", "href", "onclick"} & set(attributes) for _, attributes in tags.seen)
    assert "default-src 'none'" in page
    assert 'name="viewport"' in page
    for matter in demo_brief.matters:
        assert all(_escaped(line) in page for line in (matter.title, *matter.lines))
    for caution in cautions(demo_brief.matters):
        assert _escaped(caution) in page


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("'", "&#39;").replace("<", "&lt;").replace(">", "&gt;")


HOSTILE = (
    "Pond\r\nBcc: thief@example.org\r\n\r\n<script>alert(1)</script>",
    "</title><img src=x onerror=alert(1)>",
    "\u202egnoP\u2066 \x1b[2J\x00",
    "=?utf-8?q?forged?= \n.\r\nMAIL FROM:<thief@example.org>",
)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_customer_reaches_neither_headers_nor_page(name):
    quiet = calm()
    customer = replace(quiet.sites[2].site, customer=name)
    forecast = sites(quiet, L_03={"site": customer, "state": "ready", "planned_date": date(2025, 10, 20)})
    now = situation(forecast, coming={"L-03": nights(0.9, below=0.9, snap=0.9)})
    brief, _ = brief_of(now, (date(2025, 10, 5), brief_of(situation(), None)[1]))
    messages = [brief_message(brief, 1, now.moment)]
    messages += [alarm_message(m, now.settings, (), now.moment) for m in alarms(now, {})[0]]
    assert len(messages) == 3
    for message in messages:
        raw = mail_bytes(message, "office@example.org", "owner@example.org", "f")
        head = raw.split(b"\r\n\r\n", 1)[0].decode("ascii")
        names = [line.split(":")[0] for line in head.split("\r\n") if not line.startswith((" ", "\t"))]
        expected = (
            "Subject",
            "From",
            "To",
            "Date",
            "Message-ID",
            "Auto-Submitted",
            "MIME-Version",
            "Content-Type",
        )
        assert sorted(names) == sorted(expected)
        assert "<script>" not in message.html
        assert "<img" not in message.html
        assert "\x1b" not in message.text
        assert "\u202e" not in message.text
        assert "\nBcc" not in message.text
        assert all(line != "." for line in message.text.splitlines())


def test_json_says_the_same_as_the_text(demo_brief):
    record = json.loads(brief_json(demo_brief))
    assert record["as_of"] == "2025-10-06"
    assert record["since"] is None
    assert [matter["title"] for matter in record["matters"]] == [m.title for m in demo_brief.matters]
    assert record["cautions"] == list(cautions(demo_brief.matters))
