"""The house itself: what lies at the top, which way imports point, that help is fast, that docs are whole."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "forecaster",
    "tests",
    "notebooks",
    "fixtures",
}


def test_top_level_holds_nothing_else():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not listed:
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_imports_point_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports; raise SystemExit(lint_imports())"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["route", "--help"], ["water", "--help"]])
def test_help_imports_no_statsmodels(arguments):
    code = (
        "import sys\nfrom forecaster.cli import app\n"
        f"try:\n    app({arguments!r})\nexcept SystemExit:\n    pass\n"
        "heavy = {'statsmodels', 'pandas', 'scipy', 'matplotlib', 'meteostat'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_every_dependency_has_its_reason():
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    named = project["dependencies"] + [
        d for extra in project["optional-dependencies"].values() for d in extra
    ]
    for dependency in named:
        line = next(line for line in lines if f'"{dependency}"' in line)
        assert "#" in line, f"{dependency} needs a reason beside it"


def commands() -> dict[str, list[str]]:
    """Every command with its options, read from the program itself; sub-commands as 'weather update'."""
    from typer.main import get_command

    found = {}
    stack = [("", get_command(__import__("forecaster.cli", fromlist=["app"]).app))]
    while stack:
        name, command = stack.pop()
        if hasattr(command, "commands"):
            stack += [(f"{name} {sub}".strip(), inner) for sub, inner in command.commands.items()]
            continue
        found[name] = [
            option for p in command.params for option in getattr(p, "opts", []) if option.startswith("--")
        ]
    return found


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_command_shows_an_example_and_stands_in_the_docs(name):
    from typer.testing import CliRunner

    from forecaster.cli import app

    shown = CliRunner().invoke(app, [*name.split(), "--help"])
    assert shown.exit_code == 0
    assert f"forecaster {name}" in " ".join(shown.output.split()), "no example"
    docs = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    assert f"forecaster {name}" in docs


def test_every_setting_stands_in_the_docs():
    from forecaster.season import settings

    docs = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    for record in settings._TABLES.values():
        for key in record.model_fields:
            written = key.removesuffix("_c").removesuffix("_km_h")
            assert written in docs, f"{record.__name__}.{key} is not in the docs"
