"""Records of the program as a file and back, without running anything that the file names.

A file holds one line of JSON (the tree of records) and the bytes of all arrays behind it. Only records of
the rooms below are made from it; a class that has gained or lost a field since refuses the
file, so that an old one is made anew rather than half understood. Written whole or not at all.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from forecaster.errors import ForecasterError
from forecaster.files import write_bytes

FORMAT = "forecaster pages 1"
KEPT_ROOMS = (
    "errors",
    "forecast",
    "known",
    "season",
    "visit.energy",
    "visit.winter_watch",
    "weather",
    "web.digest",
    "web.site_days",
    "web.snapshot",
)
"""Records of these rooms are kept and made again; every other class is refused."""

_NUMBERS = "biuf"  # numpy kinds that are plain numbers: an object array could hold anything


class CannotRead(ForecasterError):
    """The file is none of ours, of another version, or damaged."""


def write_record(path: Path, record: object) -> None:
    """Write a record with everything in it.

    Raises:
        CannotWrite: The disk refuses.
        TypeError: It holds something that is not kept.
    """
    writer = _Writer()
    tree = writer.tree(record)
    head = json.dumps([FORMAT, tree], separators=(",", ":")).encode()
    write_bytes(path, b"\n".join([head, b"".join(writer.blobs)]))


def read_record(path: Path) -> Any:
    """The record of a file.

    Raises:
        CannotRead: It is missing, damaged, or was written by another version of the program.
    """
    try:
        head, _, body = path.read_bytes().partition(b"\n")
        form, tree = json.loads(head)
        if form != FORMAT:
            raise ValueError(form)
        return _record(tree, body)
    except (OSError, ValueError, LookupError, TypeError, ImportError) as error:
        raise CannotRead(f"{path.name}: cannot be read ({type(error).__name__}); it is made anew.") from error


@cache
def _class_of(name: str) -> type[Any]:
    """The class that is kept under a name like "season.sites:Site"."""
    from importlib import import_module

    module, _, inner = name.partition(":")
    if not any(module == room or module.startswith(f"{room}.") for room in KEPT_ROOMS):
        raise LookupError(name)
    found = vars(import_module(f"forecaster.{module}"))[inner]
    if not isinstance(found, type) or not (dataclasses.is_dataclass(found) or issubclass(found, BaseModel)):
        raise LookupError(name)
    return found


@cache
def _name_of(cls: type[Any]) -> str:
    name = f"{cls.__module__.removeprefix('forecaster.')}:{cls.__name__}"
    try:
        known = cls.__module__.startswith("forecaster.") and _class_of(name) is cls
    except LookupError:
        known = False
    if not known:
        raise TypeError(f"{cls.__module__}.{cls.__name__} is not kept")
    return name


def _fields(cls: type[Any]) -> tuple[str, ...]:
    if issubclass(cls, BaseModel):
        return tuple(cls.model_fields)
    return tuple(cls.__dataclass_fields__) if dataclasses.is_dataclass(cls) else ()


class _Writer:
    """Makes the tree and collects the bytes of the arrays."""

    def __init__(self) -> None:
        self.blobs: list[bytes] = []
        self.size = 0

    def tree(self, value: Any) -> Any:
        """JSON of a value: plain ones as they are, the others as a list [mark, ...]."""
        if isinstance(value, np.generic):
            value = value.item()
        if value is None or isinstance(value, (bool, str, int, float)):
            return value
        for kind, mark in _MOMENTS:
            if isinstance(value, kind):
                return [mark, value.isoformat()]
        if isinstance(value, np.ndarray):
            return self._array(value)
        if isinstance(value, (list, tuple)):
            return ["tuple", [self.tree(item) for item in value]]
        if isinstance(value, (set, frozenset)):
            return ["set", [self.tree(item) for item in sorted(value)]]
        if isinstance(value, Mapping):
            return ["dict", [[self.tree(key), self.tree(item)] for key, item in value.items()]]
        cls: Any = type(value)
        return [_name_of(cls), {name: self.tree(getattr(value, name)) for name in _fields(cls)}]

    def _array(self, value: np.ndarray) -> list[Any]:
        if value.dtype.kind not in _NUMBERS:
            raise TypeError(f"an array of {value.dtype} is not kept")
        start, content = self.size, np.ascontiguousarray(value).tobytes()
        self.blobs.append(content)
        self.size += len(content)
        return ["array", value.dtype.str, list(value.shape), start]


def _record(tree: Any, body: bytes) -> Any:
    if not isinstance(tree, list):
        return tree
    mark, content = tree[0], tree[1]
    if mark == "array":
        count = int(np.prod(tree[2], dtype=np.int64))
        if np.dtype(content).kind not in _NUMBERS:
            raise ValueError(content)
        return np.frombuffer(body, dtype=content, count=count, offset=tree[3]).reshape(tree[2])
    if mark in _FROM_TEXT:
        return _FROM_TEXT[mark](content)
    if mark == "dict":
        return {_record(key, body): _record(item, body) for key, item in content}
    if mark in _COLLECTIONS:
        return _COLLECTIONS[mark](_record(item, body) for item in content)
    cls = _class_of(mark)
    if set(content) != set(_fields(cls)):
        raise ValueError(f"{mark} has other fields now")
    values = {name: _record(item, body) for name, item in content.items()}
    return cls.model_construct(**values) if issubclass(cls, BaseModel) else cls(**values)


_MOMENTS: tuple[tuple[Any, str], ...] = ((datetime, "moment"), (date, "date"), (time, "time"))
_FROM_TEXT: dict[str, Callable[[str], Any]] = {
    "moment": datetime.fromisoformat,
    "date": date.fromisoformat,
    "time": time.fromisoformat,
}
_COLLECTIONS: dict[str, Callable[[Any], Any]] = {"tuple": tuple, "set": frozenset}
