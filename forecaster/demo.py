"""The demo season that comes with the program, and a copy of it to play with. Invented from end to end."""

from __future__ import annotations

import shutil
import tempfile
from datetime import date
from pathlib import Path

from forecaster.errors import BadInput, ForecasterError, Problem

DEMO_AS_OF = date(2025, 10, 6)
"""The day on which the demo stands: its weather ends the day before, its last outlook is of this morning."""

_PACKAGE = Path(__file__).resolve().parent
_PLACES = (_PACKAGE / "_demo", _PACKAGE.parent / "fixtures" / "demo")  # in a wheel; beside a checkout
_MARK = "season.toml"  # what makes a folder a season folder


def demo_folder() -> Path:
    """The one copy of the demo season that this installation has; read it, do not write to it.

    Raises:
        ForecasterError: Neither an installed package nor a checkout holds it.
    Example:
        >>> (demo_folder() / "sites.csv").is_file()
        True
    """
    for place in _PLACES:
        if (place / _MARK).is_file():
            return place
    looked = " nor in ".join(str(place) for place in _PLACES)
    raise ForecasterError(f"The demo season is missing: not in {looked}. Install the program again.")


def copy_demo(to: Path) -> Path:
    """Copy the demo season to the folder `to`, which must not exist or be empty; returns it.

    The copy is made beside `to` and renamed when complete, so no half season is ever left there. Into an
    empty folder that exists the files move one by one, `season.toml` last.

    Raises:
        BadInput: `to` is a file, holds something, lies in a folder that does not exist or cannot be written.
        ForecasterError: This installation has no demo season.
    """
    target, source = to.resolve(), demo_folder()
    try:
        _check_target(target, shown=str(to))
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".demo-") as scratch:
            made = Path(scratch) / target.name
            _copy_files(source, made)
            if target.exists():
                for entry in sorted(made.iterdir(), key=lambda path: path.name == _MARK):
                    entry.rename(target / entry.name)
            else:
                made.rename(target)
    except OSError as error:
        text = f"cannot be written: {error.strerror}. Name a folder in a place where you may write."
        raise BadInput(Problem(str(to), text)) from error
    return target


def _copy_files(source: Path, made: Path) -> None:
    """Every file with its bytes, without its mode: an installed file may be read-only."""
    for file in sorted(path for path in source.rglob("*") if path.is_file()):
        copy = made / file.relative_to(source)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(file, copy)


def _check_target(target: Path, *, shown: str) -> None:
    cure = "Name a folder that does not exist yet."
    if target.exists() and not target.is_dir():
        raise BadInput(Problem(shown, f"is a file. {cure}"))
    if target.is_dir() and any(target.iterdir()):
        raise BadInput(Problem(shown, f"is not empty, and nothing in it is overwritten. {cure}"))
    if not target.parent.is_dir():
        parent = target.parent
        raise BadInput(
            Problem(shown, f"its folder {parent} does not exist. Create that or name another one.")
        )
