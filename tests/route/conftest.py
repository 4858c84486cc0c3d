"""The demo season's forecast, once a session, and copies of the demo that a test may change."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from forecaster.build import forecast_route
from forecaster.demo import DEMO_AS_OF, copy_demo, demo_folder
from forecaster.forecast import RouteForecast
from forecaster.known import Known
from forecaster.pipeline import load_known


@dataclass(frozen=True)
class DemoCopy:
    """A copy of the demo season with few members, so that it is quick."""

    path: Path

    def edit(self, name: str, old: str, new: str) -> None:
        """Replace a text that must be there."""
        file = self.path / name
        before = file.read_text(encoding="utf-8")
        assert old in before, f"{old!r} is not in {name}"
        file.write_text(before.replace(old, new), encoding="utf-8")

    def outlook(self, minima_c: list[float], issued: date = DEMO_AS_OF) -> None:
        """The same outlook at all stations: minima of the coming days [°C], maxima 8 °C above."""
        from datetime import timedelta

        rows = [f"{issued},{issued + timedelta(days=n)},{low},{low + 8.0}" for n, low in enumerate(minima_c)]
        for file in (self.path / "weather" / "outlook").iterdir():
            file.write_text("issued,date,tmin,tmax\n" + "\n".join(rows) + "\n", encoding="utf-8")

    def known(self) -> Known:
        """What is known on the demo's morning."""
        return load_known(self.path, DEMO_AS_OF)


@pytest.fixture
def demo_copy(tmp_path: Path) -> DemoCopy:
    """A copy that the test may change."""
    copied = DemoCopy(copy_demo(tmp_path / "season"))
    copied.edit("season.toml", "members = 1500", "members = 300")
    return copied


@pytest.fixture(scope="session")
def demo_known() -> Known:
    """What is known of the demo as it is."""
    return load_known(demo_folder(), DEMO_AS_OF)


@pytest.fixture(scope="session")
def demo_forecast(demo_known: Known) -> RouteForecast:
    """The demo as it is."""
    return forecast_route(demo_known)
