"""A fuzz over all addresses and forms: whatever is asked or sent, no answer is a 5xx or shows a traceback.

The addresses are those of the application itself, so a new page is fuzzed as soon as it is there. Asked in
one process; forms carry the right token, so that they reach the handlers. What takes minutes in a process of
its own (a what-if, a replay) is not begun.
"""

from __future__ import annotations

import asyncio
import os
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from web_server import HOSTILE, copied, token

from forecaster.demo import DEMO_AS_OF
from forecaster.web.access import Access
from forecaster.web.app import create_app
from forecaster.web.desk import KEPT_FOLDER, Desk
from forecaster.web.keep import read_record
from forecaster.web.snapshot import Snapshot
from forecaster.web.what_if_jobs import Busy

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "40"))

PIECES = """
0|-1|1e9|nan|inf|2025-10-06|2025-02-30|0000-00-00|V-03|V-16|52.3|Heron|closed|rain|Heron 2025-10-14|../../etc
%00|'; drop table event; --|{{ 7 * 7 }}|{% raw %}|=1+1|true|on|next|2025-10-07 Heron|skipped|none|10-06
"""
NASTY = st.one_of(
    st.sampled_from([piece for line in PIECES.strip().splitlines() for piece in line.split("|")]),
    st.sampled_from(
        ["", " ", "9" * 400, "\x00", "\ud7ff", "\u202e", HOSTILE, "a" * 6000, "\r\nx: y", "\u0663"]
    ),
    st.text(max_size=20),
    st.dates().map(str),
    st.integers().map(str),
    st.floats().map(str),
)
"""Texts that readers of numbers, days, sites and notes stumble over."""

KINDS = ("", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=b")


class Asked:
    """The application in this process, its event loop in a thread (the browser's may run in this one)."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app=app, raise_app_exceptions=False), base_url="http://127.0.0.1"
        )
        self.tokens: dict[str, str] = {}

    def ask(self, method: str, path: str, **options: Any) -> httpx.Response:
        asking = self.client.request(method, path, **options)
        return asyncio.run_coroutine_threadsafe(asking, self.loop).result(120)

    def token(self) -> str:
        """A token of the session; all forms share it."""
        if "token" not in self.tokens:
            self.tokens["token"] = token(self.ask("GET", "/site/V-03/reading").text)
        return self.tokens["token"]

    def close(self) -> None:
        asyncio.run_coroutine_threadsafe(self.client.aclose(), self.loop).result(30)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(30)
        self.loop.close()


@pytest.fixture(scope="module")
def asked(base_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asked]:
    folder = copied(base_folder, tmp_path_factory.mktemp("fuzz") / "season")
    desk = Desk(folder, DEMO_AS_OF)
    state = read_record(desk.kept / "state")
    assert isinstance(state, Snapshot)
    desk._show(state)  # not started: what is recorded asks for no forecast here
    asked = Asked(create_app(desk, Access(folder / KEPT_FOLDER, local_name="Fuzz")))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("forecaster.web.replay.Replayer.start", lambda *_, **__: False)
        patch.setattr("forecaster.web.what_if_jobs.WhatIfs.start", _busy)
        yield asked
    asked.close()


def _busy(*_: object, **__: object) -> int:
    raise Busy


def calm(answer: httpx.Response) -> None:
    """No 5xx, no traceback, nothing unescaped."""
    said = f"{answer.request.method} {answer.request.url}"
    assert answer.status_code < 500, said
    if answer.headers.get("content-type", "").startswith("text/html"):
        assert "Traceback (most recent call last)" not in answer.text, said
        assert HOSTILE not in answer.text, said


def filled(pattern: str, draw: Any) -> str:
    """An address of a route, its places filled with what is or is not there."""

    def place(found: re.Match[str]) -> str:
        if found[0].endswith(":int}"):
            return str(draw(st.one_of(st.integers(0, 12), st.integers(0, 10**30))))
        return quote(draw(st.one_of(st.sampled_from(["V-03", "V-16", "U-08"]), NASTY)) or "-", safe="")

    return re.sub(r"\{[^}]+\}", place, pattern)


def routes(app: Any) -> list[tuple[str, str]]:
    """Every address with its method."""
    return sorted(
        (method, route.path)
        for route in app.routes
        if isinstance(route, Route)
        for method in (route.methods or ())
        if method != "HEAD"
    )


def field_names() -> list[str]:
    """Every name that a form of the templates sends, so that each handler meets its own."""
    folder = Path(__file__).parents[2] / "forecaster" / "web" / "templates"
    names: set[str] = set()
    for template in folder.glob("*.j2"):
        text = template.read_text(encoding="utf-8")
        names.update(re.findall(r'name="([a-z_]+)"', text))
        names.update(re.findall(r'(?:field|area)\([a-z]+, "([a-z_]+)"', text))
    return sorted(names - {"token", "viewport", "robots"})


FIELDS = field_names()


def test_every_page_is_fuzzed(asked: Asked) -> None:
    paths = {path for _, path in routes(asked.app)}
    assert {"/", "/site/{site_id}/reading", "/undo/{event_id:int}", "/data/route.json"} <= paths
    assert {"water", "day", "done", "hours", "password"} <= set(FIELDS)


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_no_address_and_no_form_finds_a_5xx(asked: Asked, data: st.DataObject) -> None:
    method, pattern = data.draw(st.sampled_from(routes(asked.app)))
    path = filled(pattern, data.draw)
    pairs = data.draw(st.dictionaries(st.sampled_from(FIELDS), NASTY, max_size=8))
    encoded = urlencode(pairs, errors="replace")
    if method == "GET":
        calm(asked.ask("GET", f"{path}?{encoded}"[:3500]))
        return
    kind = {"content-type": "application/x-www-form-urlencoded"}
    body = f"token={asked.token()}&{encoded}" if data.draw(st.integers(0, 9)) else encoded
    calm(asked.ask("POST", path, content=body.encode(), headers=kind))


@settings(max_examples=EXAMPLES // 2, deadline=None, suppress_health_check=list(HealthCheck))
@given(path=st.text(max_size=60), body=st.binary(max_size=200), kind=st.sampled_from(KINDS))
def test_no_noise_finds_a_5xx(asked: Asked, path: str, body: bytes, kind: str) -> None:
    address = "/" + quote(path.encode(errors="replace"), safe="/")
    calm(asked.ask("GET", address))
    calm(asked.ask("POST", address, content=body, headers={"content-type": kind} if kind else {}))
    calm(
        asked.ask("POST", "/site/V-03/reading", content=body, headers={"content-type": kind} if kind else {})
    )
