"""Writing a file so that nobody ever sees half of it: a new file beside the old one, then a rename."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from forecaster.errors import ForecasterError


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
