"""Servers that receive, a folder of a season, and the demo's situation, made once."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from brief_servers import MailServer, WebServer

from forecaster.brief.outbox import Message
from forecaster.brief.situation import Situation
from forecaster.demo import DEMO_AS_OF, demo_folder

MORNING = datetime(2025, 10, 6, 12, 0, tzinfo=UTC)  # 7:00 in Chicago
Make = Callable[..., Message]


@pytest.fixture
def mail_server() -> Iterator[MailServer]:
    server = MailServer()
    yield server
    server.stop()


@pytest.fixture
def web_server() -> Iterator[WebServer]:
    server = WebServer()
    yield server
    server.stop()


SITES_KEPT = ("V-01", "V-03", "V-06", "V-12", "U-02", "B-06")


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """The demo season with six sites and few members, so that a forecast is quick."""
    folder = tmp_path / "season"
    shutil.copytree(demo_folder(), folder)
    toml = (folder / "season.toml").read_text(encoding="utf-8")
    (folder / "season.toml").write_text(toml.replace("members = 1500", "members = 100"), encoding="utf-8")
    for name in ("sites.csv", "readings.csv"):
        head, *rows = (folder / name).read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [row for row in rows if row.startswith(SITES_KEPT)]
        (folder / name).write_text("".join([head, *kept]), encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def demo_situation() -> Situation:
    """The demo on its as-of date, with all members."""
    from forecaster.brief.round import situation_in

    return situation_in(demo_folder(), date.fromisoformat(str(DEMO_AS_OF)), moment=MORNING)


@pytest.fixture
def make_message() -> Make:
    """An invented alarm, changed as a test likes."""
    base = Message(
        key="hard_freeze/2025/1",
        kind="hard_freeze",
        day=date(2025, 10, 6),
        subject="Hard freeze about Thu 9 Oct, up to 7 in 10: 14 open sites",
        text="Hard freeze about Thu 9 Oct.\n\n.a line that begins with a dot\n",
        html="<!doctype html><p>Hard freeze about Thu 9 Oct.</p>\n",
        created_at=MORNING,
        sites=("V-03", "V-06"),
    )

    def make(**changes: object) -> Message:
        return replace(base, **changes)  # type: ignore[arg-type]

    return make
