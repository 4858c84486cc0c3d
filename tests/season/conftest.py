"""Small season folders written by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from forecaster.errors import BadInput


@pytest.fixture
def refusals() -> Callable[[Callable[[], object]], list[str]]:
    """The problems that a call is refused with, as the user reads them."""

    def refused(call: Callable[[], object]) -> list[str]:
        with pytest.raises(BadInput) as caught:
            call()
        assert caught.value.exit_code == 2
        return [str(problem) for problem in caught.value.problems]

    return refused


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str, str | bytes], Path]:
    """Write a file of the season folder; returns the folder."""

    def written(name: str, content: str | bytes) -> Path:
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return tmp_path

    return written
