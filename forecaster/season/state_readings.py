"""Readings out of the ledger's events: corrected by their thermometer, and merged with those of a file."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from forecaster.season.events import Event
from forecaster.season.readings import Reading

if TYPE_CHECKING:
    from forecaster.season.state_records import SeasonState

Offsets = Sequence[tuple[str, date | None, float]]
"""Name of a thermometer, first day of its offset (None: always), and the offset [°C], as they were said."""


@dataclass(frozen=True)
class Measured:
    """How a reading was made: what the thermometer showed [°C], which one it was, and its offset [°C]."""

    event_id: int
    shown_c: float
    thermometer: str = ""
    offset_c: float = 0.0


def readings_of(
    events: Sequence[Event], offsets: Offsets
) -> tuple[tuple[Reading, ...], tuple[Measured, ...]]:
    """The readings of `reading` events by site, day and hour, and how each was made."""
    made = sorted((_made(event, offsets) for event in events), key=_order_of_made)
    return tuple(reading for reading, _ in made), tuple(measured for _, measured in made)


def merge_readings(in_file: Sequence[Reading], state: SeasonState) -> tuple[Reading, ...]:
    """The readings of the file and of the ledger, each measurement once, by site, day and hour.

    A file that was imported and is still in the folder counts once: the ledger's, which has the offset.
    """
    shown = {
        _measurement(replace(reading, water_c=made.shown_c))
        for reading, made in zip(state.readings, state.measured, strict=True)
    }
    only_in_file = [reading for reading in in_file if _measurement(reading) not in shown]
    return tuple(sorted([*only_in_file, *state.readings], key=_order))


def _measurement(reading: Reading) -> tuple[object, ...]:
    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 4)

    numbers = (rounded(reading.water_c), rounded(reading.hour), rounded(reading.depth_m))
    return reading.site_id, reading.day, *numbers, reading.daily_mean


def _order(reading: Reading) -> tuple[str, date, float, str]:
    return reading.site_id, reading.day, -1.0 if reading.hour is None else reading.hour, reading.where


def _order_of_made(made: tuple[Reading, Measured]) -> tuple[str, date, float, int]:
    reading, measured = made
    return reading.site_id, reading.day, -1.0 if reading.hour is None else reading.hour, measured.event_id


def _made(event: Event, offsets: Offsets) -> tuple[Reading, Measured]:
    """The reading of an event, with the offset of its thermometer, and how it was made."""
    facts = event.facts
    name, shown_c = facts.get("thermometer", ""), float(facts["water_c"])
    offset_c = _offset_c(name, event.day, offsets) if name and offsets else 0.0
    reading = Reading(
        site_id=event.site_id,
        day=event.day,
        water_c=shown_c + offset_c,
        hour=facts.get("hour"),
        depth_m=facts.get("depth_m"),
        by=facts.get("by", ""),
        sky=facts.get("sky", ""),
        daily_mean=facts.get("daily_mean", False),
        where=f"ledger event {event.event_id}",
    )
    return reading, Measured(event.event_id, shown_c, name, offset_c)


def _offset_c(name: str, day: date, offsets: Offsets) -> float:
    """Offset of a thermometer on a day: of those that hold, the one from the latest day, said last."""
    holding = [
        (start or date.min, order, offset_c)
        for order, (other, start, offset_c) in enumerate(offsets)
        if other.casefold() == name.casefold() and (start is None or start <= day)
    ]
    return max(holding)[2] if holding else 0.0


@contextmanager
def uncollected() -> Iterator[None]:
    """No garbage collection inside: it would walk a growing list of thousands again and again."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()
