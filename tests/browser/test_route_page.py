"""The page of `route --html` in a real headless Chromium: phone and desk, light and dark, asks no host."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from forecaster.demo import DEMO_AS_OF, demo_folder
from forecaster.pipeline import forecast_folder
from forecaster.report.page import route_page

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


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "route.html"
    path.write_text(route_page(forecast_folder(demo_folder(), DEMO_AS_OF)), encoding="utf-8")
    return path


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(360, 740), (390, 844), (1360, 900)])
def test_page_fits_reads_and_asks_nobody(page_file: Path, width: int, height: int, scheme: str) -> None:
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser extra is not installed")
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *root])
        page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(page_file.as_uri())
        assert said == []
        assert asked == [page_file.as_uri()]
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator("svg").count() > 30
        assert page.get_by_text("do not walk on it").count() > 0
        page.locator("summary:visible").first.click()
        small = page.eval_on_selector_all(
            "summary", "all => all.filter(e => e.offsetHeight > 0 && e.offsetHeight < 24).length"
        )
        assert small == 0
        browser.close()
