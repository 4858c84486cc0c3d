"""Crew sheets as pages: days, one crew's day, its PDF, who may see gate codes, print, phone."""

from __future__ import annotations

import io
import re
from html import unescape
from typing import Any

from pypdf import PdfReader
from web_browser import axe_problems, small_targets, watched
from web_server import CREW, VIEWER, Served

from forecaster.visit.hazards import CAUTIONS


def text_of(page: str) -> str:
    """What a person reads, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def first_day(served: Served) -> str:
    with served.client() as client:
        found = re.search(r'href="(/sheets/[^"]+)"', client.get("/sheets").text)
    assert found is not None
    return unescape(found[1])


def test_days_lead_to_sheets_and_sheets_to_their_pdf(base_served: Served) -> None:
    day = first_day(base_served)
    with base_served.client() as client:
        page = client.get(day).text
        stops = page.count("<article")
        assert stops >= 1
        said = text_of(page)
        assert CAUTIONS["electricity"].short in said
        assert "Customer, name and signature" in said
        for query, wide in (("", 612), ("?paper=a4", 595.28)):
            answer = client.get(f"{day}.pdf{query}")
            assert answer.headers["content-type"] == "application/pdf"
            pages = PdfReader(io.BytesIO(answer.content)).pages
            assert len(pages) == stops
            assert abs(float(pages[0].mediabox.width) - wide) < 0.1
        assert client.get("/sheets.css").headers["content-type"].startswith("text/css")


def test_strange_days_and_crews_are_not_found(base_served: Served) -> None:
    with base_served.client() as client:
        for path in ("/sheets/2025-10-12/Heron", "/sheets/yesterday/Heron", "/sheets/2025-10-08/No%2Fbody"):
            assert client.get(path).status_code == 404
            assert client.get(f"{path}.pdf").status_code == 404


def test_a_viewer_sees_the_days_but_no_gate_codes(guarded: Served) -> None:
    with guarded.logged_in(VIEWER) as viewer, guarded.logged_in(CREW) as crew:
        day = re.search(r'href="(/sheets/[^"]+)"', viewer.get("/sheets").text)
        assert day is not None
        assert viewer.get(day[1]).status_code == 403
        assert viewer.get(f"{day[1]}.pdf").status_code == 403
        assert crew.get(day[1]).status_code == 200


def test_a_phone_reads_them_and_print_gives_one_side_a_stop(base_served: Served, chromium: Any) -> None:
    day = first_day(base_served)
    assert axe_problems(chromium, base_served.url, ["/sheets", day]) == []
    with watched(chromium, base_served.url) as window:
        for path in ("/sheets", day):
            window.go(path)
            window.check()
            assert small_targets(window.page) == []
        stops = window.page.locator("article").count()
        assert stops >= 1
        for paper in ("Letter", "A4"):
            assert len(PdfReader(io.BytesIO(window.page.pdf(format=paper))).pages) == stops
