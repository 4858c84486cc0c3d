"""The owner's path on a phone: see the risk, open a site, enter a reading, see the estimate move."""

from __future__ import annotations

from typing import Any

import pytest
from web_browser import DESK, NARROW, PHONE, WIDE, axe_problems, small_targets, watched
from web_server import CREW, Served, send

pytestmark = pytest.mark.browser
SITE = "V-16"
"""A pond without a reading of its own, so that one moves its estimate."""

PAGES = ["/", f"/site/{SITE}/reading", f"/site/{SITE}/closing"]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_owner_enters_a_reading_and_sees_the_estimate_move(
    served: Served, chromium: Any, script: bool
) -> None:
    with watched(chromium, served.url, script=script) as phone:
        phone.go("/")
        page = phone.page
        page.get_by_role("heading", name="at risk").wait_for()
        page.locator(f'a[href="/site/{SITE}"]').first.click()
        page.get_by_role("heading", level=1).wait_for()
        page.locator(f'a[href$="/site/{SITE}/reading"]').first.click()
        page.get_by_label("Water temperature").fill("44.5")
        page.get_by_label("Measured by").fill("Heron")
        page.get_by_role("button", name="Record the reading").click()
        page.wait_for_url("**/entered/*")
        page.get_by_text("water 44.5 °F").wait_for()
        page.get_by_role("heading", name="How the estimate moved").wait_for(timeout=60_000)
        row = page.get_by_role("row", name="Water")
        before, now = (cell.inner_text() for cell in row.get_by_role("cell").all())
        assert before != now
        assert now.startswith("about 4")
        page.get_by_role("button", name="Undo").click()
        page.wait_for_url("**/entered/2")
        page.get_by_text("undoes event 1").wait_for()
        phone.check()


@pytest.mark.parametrize(
    ("size", "scheme"), [(NARROW, "dark"), (PHONE, "light"), (DESK, "dark"), (WIDE, "light")], ids=str
)
def test_pages_fit_and_stay_quiet(
    base_served: Served, chromium: Any, size: tuple[int, int], scheme: str
) -> None:
    with watched(chromium, base_served.url, size, scheme=scheme) as window:
        for path in PAGES:
            assert window.go(path).status == 200
            window.check()
            if size[0] < 700:
                assert small_targets(window.page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(base_served: Served, chromium: Any, scheme: str) -> None:
    assert axe_problems(chromium, base_served.url, [*PAGES, "/nowhere"], scheme=scheme) == []


def test_keyboard_reaches_the_content_first(base_served: Served, chromium: Any) -> None:
    with watched(chromium, base_served.url, DESK) as window:
        window.go("/")
        window.page.keyboard.press("Tab")
        window.page.keyboard.press("Enter")
        assert window.page.evaluate("document.activeElement.id") == "content"


def test_what_is_being_typed_is_never_lost_to_a_new_estimate(served: Served, chromium: Any) -> None:
    with served.client() as client, watched(chromium, served.url) as phone:
        send(client, f"/site/{SITE}/reading", water="44.5", day="2025-10-06")
        phone.go(f"/site/{SITE}/closing")
        page = phone.page
        page.get_by_label("What was done").fill("pump out, net on")
        page.get_by_role("link", name="A new estimate is there").wait_for(timeout=60_000)
        assert page.get_by_label("What was done").input_value() == "pump out, net on"
        phone.check()


def test_log_in_and_confirmations_read_well(guarded: Served, chromium: Any) -> None:
    assert axe_problems(chromium, guarded.url, ["/log-in"]) == []
    with watched(chromium, guarded.url, NARROW) as phone:
        page = phone.page
        phone.go(f"/site/{SITE}/reading")
        page.get_by_label("Name").fill("bo")
        page.get_by_label("Password").fill(CREW[2])
        page.get_by_role("button", name="Log in").click()
        page.wait_for_url(f"**/site/{SITE}/reading")  # on to what was asked for
        page.get_by_label("Water temperature").fill("fifty")
        page.get_by_role("button", name="Record the reading").click()
        problem = page.get_by_label("Water temperature").get_attribute("aria-describedby")
        assert problem
        assert "is not a number in °F" in page.locator(f"#{problem.split()[0]}").inner_text()
        phone.said.clear()  # the browser notes the 422 itself
        phone.check()
        page.get_by_role("button", name="Log out").click()
        page.wait_for_url("**/log-in")


def test_today_prints_without_what_paper_cannot_do(base_served: Served, chromium: Any) -> None:
    with watched(chromium, base_served.url, DESK, scheme="dark") as window:
        window.go("/")
        window.page.emulate_media(media="print")
        assert not window.page.get_by_role("navigation").is_visible()
        window.page.get_by_role("heading", name="Next crew-days").wait_for()
        paper = window.page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert paper == "rgb(255, 255, 255)"
        reach = window.page.locator(".reach").first
        assert not reach.is_visible()
