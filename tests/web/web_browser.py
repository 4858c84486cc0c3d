"""What all browser tests of the pages ask: nothing said, no other host asked, nothing too wide, axe."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

PHONE, NARROW, DESK, WIDE = (390, 844), (360, 740), (1280, 900), (1920, 1080)


class Watched:
    """A page of the browser with what it said and asked."""

    def __init__(self, page: Any, url: str) -> None:
        self.page, self.url = page, url
        self.said: list[str] = []
        self.asked: list[str] = []
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("request", lambda request: self.asked.append(request.url))

    def go(self, path: str) -> Any:
        """Open a page of the server."""
        answer = self.page.goto(self.url + path)
        assert answer is not None
        return answer

    def check(self) -> None:
        """Nothing in the console, no other host, no sideways scroll."""
        assert self.said == []
        foreign = [url for url in self.asked if not url.startswith((self.url, "data:"))]
        assert foreign == []
        wide = self.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1], f"{self.page.url} is {wide[0]} px wide on a screen of {wide[1]}"


@contextmanager
def watched(
    chromium: Any,
    url: str,
    size: tuple[int, int] = PHONE,
    *,
    scheme: str = "light",
    script: bool = True,
) -> Iterator[Watched]:
    """A new browser window at a server."""
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=scheme,
        java_script_enabled=script,
        has_touch=size[0] < 700,
    )
    try:
        yield Watched(context.new_page(), url)
    finally:
        context.close()


def axe_problems(
    chromium: Any, url: str, paths: list[str], size: tuple[int, int] = PHONE, *, scheme: str = "light"
) -> list[str]:
    """What axe-core finds on pages, as lines; its script needs a window without the content policy."""
    from axe_playwright_python.sync_playwright import Axe

    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, bypass_csp=True
    )
    found = []
    try:
        page = context.new_page()
        for path in paths:
            page.goto(url + path)
            for violation in Axe().run(page).response["violations"]:
                nodes = "; ".join(" ".join(node["target"]) for node in violation["nodes"][:4])
                found.append(f"{path} {violation['impact']} {violation['id']}: {nodes}")
    finally:
        context.close()
    return found


SMALL = """(least) => [...document.querySelectorAll("nav a, button, .name, .reach a, .actions a, summary")]
    .map((e) => [e, e.getBoundingClientRect()])
    .filter(([e, box]) => box.width > 0 && (box.height < least - 0.5 || box.width < 24))
    .map(([e, box]) => `${e.tagName} ${e.textContent.trim().slice(0, 30)} ${box.height}`)"""


def small_targets(page: Any, least: int = 44) -> list[str]:
    """Links and buttons outside running text that are smaller than a thumb wants [CSS pixels]."""
    return list(page.evaluate(SMALL, least))
