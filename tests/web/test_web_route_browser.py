"""The scheduler's path in a browser: cost, move, undo, download; by drag, by keyboard, without script."""

from __future__ import annotations

import re
from typing import Any

import pytest
from web_browser import DESK, NARROW, PHONE, WIDE, axe_problems, small_targets, watched
from web_server import HOSTILE, Served

pytestmark = pytest.mark.browser
SITE, DAY, NAME = "V-06", "2025-10-14", "Otter"
MOVE = f"/route/move/{SITE}"
PAGES = [
    "/route",
    "/route/table?sort=risk",
    "/route/map",
    "/route/what-if",
    "/route/files",
    MOVE,
    f"{MOVE}?to={DAY}&crew={NAME}",
    f"/site/{SITE}",
    "/site/V-18",
    "/site/nowhere",
]


TALL = (1280, 3000)
"""A window without scrolling: the driver scrolls between press and move, which picks up another stop."""


def block(page: Any, day: str = DAY, crew: str = NAME) -> Any:
    return page.locator(f'.crewday[data-day="{day}"][data-crew="{crew}"]')


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_scheduler_moves_a_stop_undoes_it_and_downloads(served: Served, chromium: Any, script: bool) -> None:
    with watched(chromium, served.url, DESK, script=script) as desk:
        desk.go("/route")
        page = desk.page
        page.locator(f'.stop[data-site="{SITE}"] a.move').click()
        page.wait_for_url(f"**{MOVE}")
        page.get_by_text("All 45 possible crew-days by date").click()
        page.get_by_role("link", name="Tue 14 Oct Otter").first.click()
        page.get_by_text(re.compile(r"The move (costs|saves) \$")).wait_for()
        page.get_by_text("Look at this first").wait_for()
        page.get_by_role("button", name="Move it").click()
        page.wait_for_url("**/route?done=*")
        page.get_by_text("moved by hand to Tue 14 Oct with Otter").first.wait_for()
        stop = block(page).locator(f'.stop[data-site="{SITE}"]')
        stop.get_by_text("kept by hand").wait_for()
        page.get_by_role("button", name="Undo").click()
        page.wait_for_url("**/route?done=3*")
        page.get_by_text("Taken back: V-06").wait_for()
        desk.go("/route/files")
        with page.expect_download() as download:
            page.get_by_role("row", name="Calendar of all crews").get_by_role("link", name="Download").click()
        assert download.value.suggested_filename == "plan.ics"
        desk.check()


def test_dragging_shows_every_cost_and_then_the_whole_one(served: Served, chromium: Any) -> None:
    with watched(chromium, served.url, TALL) as desk:
        desk.go("/route")
        page = desk.page
        page.get_by_text("or drag a stop to another crew-day").wait_for()
        stop = page.locator(f'.stop[data-site="{SITE}"]')
        stop.hover()
        page.mouse.down()
        target = block(page)
        target.hover()
        page.wait_for_function("() => [...document.querySelectorAll('.price')].some((p) => p.textContent)")
        price = target.locator(".price").inner_text()
        assert re.fullmatch(r"[+−]\$\d+( full)?", price)
        target.hover()
        page.mouse.up()
        dialog = page.get_by_role("dialog")
        dialog.wait_for()
        total = dialog.get_by_text(re.compile(r"The move (costs|saves) \$")).inner_text()
        assert price.removesuffix(" full")[2:] in total
        dialog.get_by_role("link", name="Leave it").click()
        assert not dialog.is_visible()
        assert page.locator(".price").all_inner_texts() == [""] * page.locator(".price").count()
        stop.drag_to(target)
        dialog.wait_for()
        dialog.get_by_role("button", name="Move it").click()
        page.wait_for_url("**/route?done=*")
        block(page).locator(f'.stop[data-site="{SITE}"]').wait_for()
        desk.check()


def test_keyboard_alone_moves_a_stop(served: Served, chromium: Any) -> None:
    with watched(chromium, served.url, DESK) as desk:
        desk.go(f"{MOVE}?to={DAY}&crew={NAME}")
        page = desk.page
        page.get_by_label("was not told this date").focus()
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Move it"
        page.keyboard.press("Enter")
        page.wait_for_url("**/route?done=*")
        desk.check()


def test_names_with_script_stay_text(served: Served, chromium: Any) -> None:
    sheet = served.folder / "sites.csv"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace("Nettlequill", HOSTILE), encoding="utf-8")
    served.desk.touch()
    served.settled()
    with watched(chromium, served.url, TALL) as desk:
        for path in PAGES:
            desk.go(path)
        desk.go("/route")
        desk.page.locator(f'.stop[data-site="{SITE}"]').drag_to(block(desk.page))
        desk.page.get_by_role("dialog").wait_for()
        desk.page.get_by_role("dialog").get_by_text(HOSTILE).first.wait_for()
        assert [line for line in desk.said if "404" not in line] == []


@pytest.mark.parametrize("size", [NARROW, PHONE, DESK, WIDE], ids=["360", "390", "1280", "1920"])
def test_pages_fit_and_stay_quiet(base_served: Served, chromium: Any, size: tuple[int, int]) -> None:
    with watched(chromium, base_served.url, size) as window:
        for path in PAGES[:-1]:
            assert window.go(path).status == 200
            window.page.evaluate(
                "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
            )
            window.check()
            if size[0] < 700:
                assert small_targets(window.page) == []


def test_axe_finds_nothing_on_a_desk(base_served: Served, chromium: Any) -> None:
    assert axe_problems(chromium, base_served.url, PAGES, DESK) == []


def test_axe_finds_nothing_on_a_phone_in_the_dark(base_served: Served, chromium: Any) -> None:
    dense = ["/route", "/route/table", f"{MOVE}?to={DAY}&crew={NAME}", f"/site/{SITE}"]
    assert axe_problems(chromium, base_served.url, dense, scheme="dark") == []


def test_the_map_is_drawn_and_print_leaves_the_buttons_out(base_served: Served, chromium: Any) -> None:
    with watched(chromium, base_served.url, DESK) as window:
        window.go("/route/map")
        drawn = window.page.evaluate(
            "() => { const map = document.querySelector('.map'); return [map.complete, map.naturalWidth]; }"
        )
        assert drawn[0]
        assert drawn[1] > 100
        window.go("/route")
        window.page.emulate_media(media="print")
        assert not window.page.locator(".move").first.is_visible()
        assert not window.page.get_by_role("button", name="Put this plan in force").is_visible()
        window.page.locator(".stop").first.wait_for()
        window.check()
