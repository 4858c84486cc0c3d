"""Tables [winter] and [office] of `season.toml`: what winter costs and asks; how the office signs."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from pydantic import BeforeValidator, Field

from forecaster.season.closed import Closed
from forecaster.units import f_to_c

LONGEST_LINE = 120


def _line(value: object) -> object:
    """One line of text, so that a name can stand in a subject and on a label."""
    if isinstance(value, str):
        if len(value) > LONGEST_LINE:
            raise ValueError(f"it has {len(value)} letters, {LONGEST_LINE} are allowed. Shorten it.")
        if any(ord(letter) < 32 for letter in value):
            raise ValueError("it holds a line break or another control character. Write it on one line.")
    return value


def _pages(value: object) -> object:
    """Where the pages are served, without a slash at its end; a label only prints it, nothing is asked."""
    if not isinstance(value, str) or value == "":
        return value
    parts = urlsplit(value)
    if parts.scheme not in ("http", "https") or not parts.hostname or " " in value:
        raise ValueError(f'"{value[:80]}" is not an address of a page. Write it like "http://office:8050".')
    if parts.username is not None or parts.query or parts.fragment:
        raise ValueError("it holds a name, a ? or a #. End it with the host or its path.")
    return value.rstrip("/")


class WinterSettings(Closed):
    """Table [winter]. `kwh_price` [$ a kWh], None: no cost is named; `deicer_on_c`, `deicer_off_c`: water at
    which a de-icer's thermostat switches on and off (34 and 40 °F: Univ. of Illinois Extension);
    `deicer_duty`: share of the thermostat's hours in which it really heats; `last_feeding_c` (trade advice
    varies between 40 and 55 °F) and `cold_bacteria_c`: water at which feeding ends and cold-water bacteria
    take over; `ice_days`: ice that stays so long is told; `look_again_days`: nobody waits longer to look."""

    kwh_price: float | None = Field(default=None, ge=0, le=10)
    deicer_on_c: float = Field(default=f_to_c(34), ge=-2, le=15)
    deicer_off_c: float = Field(default=f_to_c(40), ge=-2, le=15)
    deicer_duty: float = Field(default=1.0, ge=0.05, le=1)
    last_feeding_c: float = Field(default=10.0, ge=2, le=20)
    cold_bacteria_c: float = Field(default=10.0, ge=2, le=20)
    ice_days: int = Field(default=3, ge=1, le=60)
    look_again_days: int = Field(default=14, ge=1, le=60)

    def out_of_order(self) -> bool:
        """True where the thermostat would switch off below the water at which it switches on."""
        return self.deicer_off_c < self.deicer_on_c - 1e-9


class OfficeSettings(Closed):
    """Table [office]: how the office signs, and the `address` at which its pages are served ("": none)."""

    name: Annotated[str, BeforeValidator(_line)] = ""
    phone: Annotated[str, BeforeValidator(_line)] = ""
    email: Annotated[str, BeforeValidator(_line)] = ""
    address: Annotated[str, BeforeValidator(_pages)] = ""
