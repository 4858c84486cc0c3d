"""The invented season folder: one for reading, and a copy for each test that changes it."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_season import SeasonFolder, write_season


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> SeasonFolder:
    """The folder as it is; not to be changed."""
    return write_season(tmp_path_factory.mktemp("seasons") / "invented")


@pytest.fixture
def folder(season: SeasonFolder, tmp_path: Path) -> SeasonFolder:
    """A copy that the test may change."""
    return season.copy(tmp_path / "season")
