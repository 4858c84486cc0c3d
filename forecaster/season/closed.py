"""What every table of `season.toml` shares: an unknown name fails, and clock times may be written 07:30."""

from __future__ import annotations

from datetime import time

from pydantic import BaseModel, ConfigDict

from forecaster.season.moments import parse_clock


class Closed(BaseModel):
    """A table that refuses unknown names and values of another kind."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


def clock(value: object) -> object:
    """A time of the file, or a text such as "07:30"."""
    if not isinstance(value, str):
        return value
    seconds = round(parse_clock(value.strip()) * 3600)
    return time(seconds // 3600, seconds // 60 % 60, seconds % 60)
