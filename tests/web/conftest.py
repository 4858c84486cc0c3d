"""Fixtures of all tests of the pages: a season, a server over a copy of it, a browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from web_server import Served, base_season, copied, with_passwords

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def base_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with its state computed; copy it, do not change it."""
    return base_season(tmp_path_factory.mktemp("web") / "base")


@pytest.fixture
def season(base_folder: Path, tmp_path: Path) -> Path:
    """A season folder of one's own, its state computed."""
    return copied(base_folder, tmp_path / "season")


@pytest.fixture
def served(season: Path) -> Iterator[Served]:
    """A server over a season of one's own, without passwords."""
    with Served(season) as running:
        yield running


@pytest.fixture
def guarded(season: Path) -> Iterator[Served]:
    """The same with passwords for office, crew and viewer."""
    with Served(with_passwords(season)) as running:
        yield running


@pytest.fixture(scope="session")
def base_served(base_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for all tests that only look."""
    with Served(copied(base_folder, tmp_path_factory.mktemp("web") / "looked")) as running:
        yield running


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A headless browser; skips where there is none."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser extra is not installed")
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *root])
        yield browser
        browser.close()
