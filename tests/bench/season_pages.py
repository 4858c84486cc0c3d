"""The three people's paths in a real browser over any season folder: does it work, how long does it take.

    python tests/bench/season_pages.py FOLDER [--as-of 2025-10-06]

Works on a copy. Prints a line a step with its seconds and the page's size on the wire; fails if a page says
anything into the console, asks another host or is wider than the screen; 1 if axe-core finds something.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from datetime import date
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))

from playwright.sync_api import sync_playwright
from web_browser import DESK, NARROW, PHONE, axe_problems, watched
from web_server import Served

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]


def main(folder: Path, as_of: date) -> int:
    """Walk the paths; the exit code."""
    with tempfile.TemporaryDirectory() as scratch:
        season = Path(scratch) / "season"
        shutil.copytree(folder, season)
        with Served(season, as_of=as_of) as served, sync_playwright() as driver:
            began = time.monotonic()
            served.settled(600)
            print(f"first forecast            {time.monotonic() - began:6.1f} s")
            chromium = driver.chromium.launch(
                executable_path=shutil.which("chromium"), args=ARGUMENTS, chromium_sandbox=False
            )
            site = owner(served, chromium)
            scheduler(served, chromium)
            paths = [
                "/",
                "/route",
                "/route/table",
                f"/site/{site}",
                "/snap",
                "/winter",
                "/words",
                "/evidence",
            ]
            looked(served, chromium, paths)
            found = axe_problems(chromium, served.url, paths, NARROW)
            print(f"axe-core: {len(found)} findings on {len(paths)} pages")
            for line in found:
                print(f"  {line}")
            chromium.close()
    return 1 if found else 0


def owner(served: Served, chromium: Any) -> str:
    """On a phone: the first site at risk, a reading, the estimate moves."""
    with watched(chromium, served.url, PHONE) as phone:
        phone.go("/")
        link = phone.page.locator('a[href^="/site/"][href$="/reading"]').first
        site = str(link.get_attribute("href")).split("/")[2]
        link.click()
        phone.page.get_by_label("Water temperature").fill("60")
        phone.page.get_by_role("button", name="Record the reading").click()
        again = phone.page.get_by_label("It is right")
        if again.count():
            again.check()
            phone.page.get_by_role("button", name="Record the reading").click()
        phone.page.wait_for_url("**/entered/*")
        began = time.monotonic()
        phone.page.get_by_role("heading", name="How the estimate moved").wait_for(timeout=300_000)
        cells = phone.page.get_by_role("row", name="Water").first.get_by_role("cell").all()
        before, now = (cell.inner_text() for cell in cells)
        print(f"owner, {site}: {before} -> {now} after {time.monotonic() - began:.1f} s")
        phone.check()
        return site


def scheduler(served: Served, chromium: Any) -> None:
    """On a desk: move a stop by its form, undo, download a calendar."""
    with watched(chromium, served.url, DESK) as desk:
        desk.go("/route")
        desk.page.get_by_role("link", name="Move").first.click()
        desk.page.wait_for_url("**/route/move/**")
        desk.page.locator('main a[href*="/route/move/"][href*="crew="]').first.click()
        desk.page.wait_for_url("**crew=**")
        began = time.monotonic()
        desk.page.locator("main form[method=post] button").first.click()
        desk.page.wait_for_load_state()
        where = desk.page.url.rpartition("/")[2]
        print(f"scheduler: moved a stop in {time.monotonic() - began:.1f} s, now at {where}")
        desk.page.get_by_role("button", name="Undo").first.click()
        desk.page.wait_for_load_state()
        desk.check()
        with served.client() as client:
            calendar = client.get("/route/files")
            print(f"scheduler: downloads page {calendar.status_code}")


def looked(served: Served, chromium: Any, paths: list[str]) -> None:
    """Every page: time of the answer and size on the wire, nothing odd at 360 px."""
    served.settled(600)
    with served.client() as client, watched(chromium, served.url, NARROW) as phone:
        for path in paths:
            began = time.monotonic()
            answer = client.get(path, headers={"accept-encoding": "gzip"})
            seconds = time.monotonic() - began
            size = int(answer.headers.get("content-length", len(answer.content)))
            print(f"{path:24} {answer.status_code} {seconds * 1000:7.0f} ms {size / 1000:7.1f} kB gzipped")
            phone.go(path)
            phone.check()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--as-of", type=date.fromisoformat, default=date(2025, 10, 6))
    given = asked.parse_args()
    sys.exit(main(given.folder, given.as_of))
