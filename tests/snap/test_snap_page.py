"""The saved snap page in a headless Chromium at 360 px: targets, contrast, age, crews, no request."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from forecaster.report.snap_page import snap_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]
QUIET = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SMALL = """() => [...document.querySelectorAll('a, summary, label, button, select')]
    .filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 44)
    .map(e => e.outerHTML.slice(0, 90))"""


@pytest.fixture(scope="module")
def page_file(report, tmp_path_factory):
    path = tmp_path_factory.mktemp("snap page") / "snap.html"
    made = datetime.now(UTC).astimezone() - timedelta(hours=14)
    path.write_text(snap_page(report, made_at=made, call=lambda site: "tel:6085550142"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser():
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser extra is not installed")
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_api.sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *root])
        yield found
        found.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_saved_page_reads_on_a_phone_without_a_network(browser, page_file, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    context = browser.new_context(viewport={"width": 360, "height": 740}, color_scheme=scheme, offline=True)
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    assert (said, asked) == ([], [page_file.as_uri()])
    assert "14 hours old. Look for a newer one" in (page.locator(".age").text_content() or "")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(SMALL) == []
    page.eval_on_selector_all("details", "all => all.forEach(e => e.open = true)")
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    strict = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "wcag2aaa", "best-practice"]}
    found = axe.Axe().run(page, options=strict).response["violations"]
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found] == []
    context.close()


def test_crews_are_chosen_without_a_script(browser, page_file, report):
    context = browser.new_context(viewport={"width": 360, "height": 740}, java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    for number in (1, 3):
        page.get_by_label(f"{number} crew", exact=False).first.check()
        visible = page.locator(".option:visible")
        assert visible.count() == 1
        best = max(report.by_crews[number], key=lambda plan: plan.saves)
        assert visible.locator("li").count() == len(best.done)
    assert "Made " in (page.locator(".age").text_content() or "")
    context.close()
