"""A local server, and fetchers that count their waits instead of sleeping."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from weather_server import WeatherServer

from forecaster.weather.http import Fetcher, HttpSettings
from forecaster.weather.http_limits import HttpLimits


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    """A running server without routes."""
    running = WeatherServer()
    yield running
    running.kill()


@pytest.fixture
def waits() -> list[float]:
    """Seconds that the fetchers of `make_fetcher` would have slept."""
    return []


@pytest.fixture
def make_fetcher(tmp_path: Path, waits: list[float]) -> Iterator[Callable[..., Fetcher]]:
    """Opens fetchers over one folder; `limits` and settings may be given."""
    opened: list[Fetcher] = []

    def make(
        *, honour_expires: bool = False, contact: str = "office@example.org", **limits: float
    ) -> Fetcher:
        settings = HttpSettings(contact, honour_expires, HttpLimits(**limits))  # type: ignore[arg-type]
        opened.append(Fetcher(tmp_path / "kept", settings, sleep=waits.append))
        return opened[-1]

    yield make
    for fetcher in opened:
        fetcher.__exit__(None, None, None)
