"""A small season folder, a clock that the tests set, and the program's commands as a shell runs them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import typer
from ledger_office import Answer, SetClock, forecast_of_everything, make_folder
from typer.testing import CliRunner

from forecaster.cli_ledger import register
from forecaster.errors import BadInput, ForecasterError
from forecaster.season.ledger import Ledger, open_ledger


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_folder(tmp_path / "fall")


@pytest.fixture
def ledger(folder: Path, clock: SetClock) -> Iterator[Ledger]:
    with open_ledger(folder, clock=clock) as opened:
        yield opened


@pytest.fixture
def run(clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Answer]:
    """Run a command; the forecast is a text that depends on every file and event of the folder."""
    monkeypatch.delenv("FORECASTER_WHO", raising=False)
    app = typer.Typer(pretty_exceptions_enable=False)
    register(app, clock=clock, forecast_json=forecast_of_everything)

    def called(*words: object, text: str | None = None) -> Answer:
        result = CliRunner().invoke(app, [str(word) for word in words], input=text)
        if isinstance(result.exception, ForecasterError):
            return Answer(result.exception.exit_code, result.stdout, str(result.exception))
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Answer(result.exit_code, result.stdout, result.stderr)

    return called


@pytest.fixture
def refusals() -> Callable[[Callable[[], object]], list[str]]:
    """The problems that a call is refused with, as the user reads them."""

    def refused(call: Callable[[], object]) -> list[str]:
        with pytest.raises(BadInput) as caught:
            call()
        return [str(problem) for problem in caught.value.problems]

    return refused
