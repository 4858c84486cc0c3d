"""The demo after a snap, made once."""

from __future__ import annotations

from pathlib import Path

import pytest
from snap_demo import SNAP_AS_OF, write_snap

from forecaster.snap.records import SnapReport
from forecaster.web.snap_folder import snap_of_folder


@pytest.fixture(scope="session")
def snap_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder; not to be changed."""
    return write_snap(tmp_path_factory.mktemp("snaps") / "demo")


@pytest.fixture(scope="session")
def report(snap_folder: Path) -> SnapReport:
    """Its report."""
    return snap_of_folder(snap_folder, SNAP_AS_OF)
