"""Reading JSON that came from elsewhere: every step says what is wrong instead of failing somewhere else."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

HOTTEST_C = 90.0
"""No air has this [°C]; a value in °F or K often does."""


def json_of(body: bytes) -> Any:
    """The document of a body.

    Raises:
        ValueError: It is no JSON.
    """
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        raise ValueError("the answer is not the data but something else (a page to log in?)") from None


def mapping(value: Any, name: str) -> Mapping[str, Any]:
    """The value as a mapping.

    Raises:
        ValueError: It is none.

    >>> mapping({"a": 1}, "properties")["a"]
    1
    """
    if not isinstance(value, dict):
        raise ValueError(f"the answer has no {name}")
    return value


def sequence(value: Any, name: str) -> list[Any]:
    """The value as a list.

    Raises:
        ValueError: It is none.
    """
    if not isinstance(value, list):
        raise ValueError(f"the answer has no list of {name}")
    return value


def temperature_of(value: Any, name: str) -> float:
    """The value as a temperature [°C].

    Raises:
        ValueError: It is no number, or none that air can have.

    >>> temperature_of(-3, "tmin")
    -3.0
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < HOTTEST_C:
        raise ValueError(f"{name} holds {str(value)[:40]!r}, which is no temperature in °C")
    return float(value)
