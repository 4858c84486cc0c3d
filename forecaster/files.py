"""Writing a file so that nobody ever sees half of it: a new file beside the old one, then a rename."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from forecaster.errors import BadInput, ForecasterError, Problem


class CannotWrite(ForecasterError):
    """The disk or the folder refuses; the old file is as it was."""


def write_bytes(path: Path, content: bytes) -> None:
    """Write `content` to `path`, whole or not at all.

    Raises:
        CannotWrite: The folder is read-only, the disk is full, or the like.
    """
    part = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.resolve().parent)
        part = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o644)
        part.replace(path)
    except OSError as error:
        if part is not None:
            part.unlink(missing_ok=True)
        cause = error.strerror or str(error)
        raise CannotWrite(
            f"{path}: cannot be written ({cause}). Free space or name another folder."
        ) from error


def write_text(path: Path, content: str) -> None:
    """Write text as UTF-8 with newlines as they are; see `write_bytes`."""
    write_bytes(path, content.encode("utf-8"))


def check_targets(*paths: Path | None) -> None:
    """Refuse files that cannot be written before any work is done.

    Raises:
        BadInput: A folder that does not exist, or a name that is a folder; all at once.
    """
    problems = []
    for path in paths:
        if path is None:
            continue
        if path.is_dir():
            problems.append(Problem(str(path), "is a folder. Name a file in it."))
        elif not path.resolve().parent.is_dir():
            problems.append(Problem(str(path), f"there is no folder {path.parent}. Make it first."))
    if problems:
        raise BadInput(problems)
