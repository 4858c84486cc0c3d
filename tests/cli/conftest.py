"""A small invented season folder that the command-line tests may break, and a way to run commands."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from forecaster.demo import demo_folder

Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """The demo season with fewer members and sites, so that a run is quick."""
    folder = tmp_path / "season"
    shutil.copytree(demo_folder(), folder)
    toml = (folder / "season.toml").read_text(encoding="utf-8")
    (folder / "season.toml").write_text(toml.replace("members = 1500", "members = 200"), encoding="utf-8")
    assert "members = 200" in (folder / "season.toml").read_text(encoding="utf-8")
    return folder


@pytest.fixture
def run() -> Run:
    """Run `forecaster` as the user does, in a process of its own."""

    def _run(*arguments: object, utf8: bool = True) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONIOENCODING": "utf-8" if utf8 else "ascii"}
        return subprocess.run(
            [sys.executable, "-m", "forecaster", *map(str, arguments)],
            capture_output=True,
            encoding="utf-8",
            env=environment,
            check=False,
        )

    return _run
