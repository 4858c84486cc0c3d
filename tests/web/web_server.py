"""The real server over a copy of the demo season, for all tests of the pages.

A state is computed once a session in a base folder; copies of it keep their files' times, so that a server
over a copy shows it at once. A test that changes something pays for its own forecast.
"""

from __future__ import annotations

import re
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import uvicorn

from forecaster.demo import DEMO_AS_OF, copy_demo
from forecaster.web.access import Access
from forecaster.web.app import create_app
from forecaster.web.desk import KEPT_FOLDER, Desk
from forecaster.web.passwords import PEOPLE_FILE, Role, set_password
from forecaster.web.security import Door, own_names
from forecaster.web.server import server_of

MEMBERS = 300
"""Fewer than usual, so that a forecast takes a second."""

HOSTILE = "<script>alert('pond')</script>"
OFFICE, CREW, VIEWER = (
    ("Ann", "office", "heron walks at dawn"),
    ("Bo", "crew", "otter swims at noon"),
    ("Cy", "viewer", "newt sleeps in mud"),
)


def base_season(folder: Path) -> Path:
    """A copy of the demo with telephone and mail columns, fewer members, and its state computed."""
    copy_demo(folder)
    settings = folder / "season.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(re.sub(r"members = \d+", f"members = {MEMBERS}", text), encoding="utf-8")
    sheet = folder / "sites.csv"
    head, *rows = sheet.read_text(encoding="utf-8").splitlines()
    reach = [f"{row},(555) 0100-{n:03},pond{n}@example.org" for n, row in enumerate(rows)]
    sheet.write_text("\n".join([f"{head},phone,email", *reach]) + "\n", encoding="utf-8")
    desk = Desk(folder, DEMO_AS_OF)
    desk.start()
    try:
        assert desk.wait(120), "the first forecast took too long"
        assert desk.problem() is None, desk.problem()
        until = time.monotonic() + 60
        while desk.yesterday() is None and time.monotonic() < until:
            time.sleep(0.05)
    finally:
        desk.stop()
    return folder


def copied(base: Path, to: Path) -> Path:
    """A copy with the files' times, so that the kept state still fits."""
    shutil.copytree(base, to, copy_function=shutil.copy2)
    return to


@cache
def _people_file() -> bytes:
    """The file of passwords, hashed once a session: hashing is slow on purpose."""
    roles: dict[str, Role] = {"office": "office", "crew": "crew", "viewer": "viewer"}
    with tempfile.TemporaryDirectory() as scratch:
        for name, role, password in (OFFICE, CREW, VIEWER):
            set_password(Path(scratch), name, roles[role], password)
        return (Path(scratch) / PEOPLE_FILE).read_bytes()


def with_passwords(folder: Path) -> Path:
    """Give an office, a crew and a viewer their passwords."""
    (folder / KEPT_FOLDER / PEOPLE_FILE).write_bytes(_people_file())
    return folder


class StillDesk(Desk):
    """A desk that shows what was kept and makes nothing anew, for tests of everything else."""

    def start(self) -> None:
        self._load()


class Served:
    """A running server; use it in a `with` block. `url` has no slash at its end.

    `still`: no forecast is made, whatever is recorded: most tests need none and each costs seconds.
    """

    def __init__(
        self,
        folder: Path,
        *,
        as_of: date | None = DEMO_AS_OF,
        proxy: str = "",
        still: bool = False,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        **access: Any,
    ) -> None:
        self.folder = folder
        self.desk = (StillDesk if still else Desk)(folder, as_of, clock)
        self.access = Access(folder / KEPT_FOLDER, local_name="Tester", **access)
        self.app = create_app(self.desk, self.access, Door(names=own_names(), proxy=proxy))
        self.server: uvicorn.Server = server_of(self.app)
        self.server.config.port = 0
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.url = ""

    def __enter__(self) -> Served:
        self.thread.start()
        until = time.monotonic() + 30
        while not self.server.started:
            assert self.thread.is_alive(), "the server ended at once"
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.01)
        port = self.server.servers[0].sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        return self

    def __exit__(self, *_: object) -> None:
        self.server.should_exit = True
        self.thread.join(timeout=30)

    def client(self) -> httpx.Client:
        """A browser without script: keeps cookies, does not follow redirects by itself."""
        return httpx.Client(base_url=self.url, timeout=30)

    @contextmanager
    def logged_in(self, who: tuple[str, str, str]) -> Iterator[httpx.Client]:
        """A client that has logged in."""
        with self.client() as client:
            answer = client.post("/log-in", data={"name": who[0], "password": who[2], "to": "/"})
            assert answer.status_code == 303, answer.text
            yield client

    def settled(self, seconds: float = 120) -> None:
        """Wait until the state knows everything."""
        assert self.desk.wait(seconds), "the forecast took too long"


def token(page: str) -> str:
    """The token of the first form of a page."""
    found = re.search(r'name="token" value="([0-9a-f]+)"', page)
    assert found, "the page has no form"
    return found[1]


def send(client: httpx.Client, path: str, at: str = "", *, clock: str = "", **fields: str) -> httpx.Response:
    """Open the page `at` (by default `path`) and send its form to `path`; `clock` is its field "at"."""
    page = client.get(at or path)
    assert page.status_code == 200, page.text
    timed = {"at": clock} if clock else {}
    return client.post(path, data={"token": token(page.text), **timed, **fields})
