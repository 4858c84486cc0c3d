"""Whom the weather data ask to name stands at the end of each command's text and page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from forecaster.cli import app
from forecaster.demo import copy_demo

CREDIT = "Records: the frost watch of the valley school, CC BY 4.0."


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("credits") / "season"
    copy_demo(folder)
    settings = folder / "season.toml"
    text = re.sub(r"members = \d+", "members = 100", settings.read_text(encoding="utf-8"))
    settings.write_text(text, encoding="utf-8")
    (folder / "weather" / "credits.txt").write_text(CREDIT + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("command", ["site V-03", "snap", "brief", "winter", "energy"])
def test_each_text_names_them(season: Path, command: str) -> None:
    name, *rest = command.split()
    done = CliRunner().invoke(app, [name, str(season), *rest, "--as-of", "2025-10-06"])
    assert done.exit_code == 0, done.output
    assert CREDIT in " ".join(done.output.split())


@pytest.mark.parametrize("command", ["snap", "brief"])
def test_each_page_names_them(season: Path, tmp_path: Path, command: str) -> None:
    page = tmp_path / "page.html"
    done = CliRunner().invoke(app, [command, str(season), "--as-of", "2025-10-06", "--html", str(page)])
    assert done.exit_code == 0, done.output
    assert CREDIT in page.read_text(encoding="utf-8")
