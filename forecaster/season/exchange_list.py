"""What a list is in which events leave and enter the ledger: the same shape in both directions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from forecaster.season.events import Entry, Event
from forecaster.season.exchange_cells import Value
from forecaster.season.exchange_rows import RowReader
from forecaster.season.known_sites import Basics
from forecaster.season.quantities import Quantity

RECORD_COLUMNS = ("customer", "recorded_by", "recorded_at", "event_id")
"""Columns that an export adds to every list; an import takes no notice of them."""

RowOf = Callable[[Event, Basics], dict[str, Value]]
EntriesOf = Callable[[RowReader], list[Entry]]


@dataclass(frozen=True)
class List:
    """One list: its name, the kinds of events in it, its columns in the export, and how rows and events
    become each other. `marks` are the columns by which a file is recognised; `quantities` have units."""

    name: str
    kinds: tuple[str, ...]
    marks: tuple[str, ...]
    columns: Callable[[Basics], tuple[str, ...]]
    row_of: RowOf
    entries_of: EntriesOf
    quantities: tuple[Quantity, ...] = ()
    others: tuple[str, ...] = field(default=())

    @property
    def known_columns(self) -> frozenset[str]:
        """Every column that an import uses or passes over knowingly."""
        units = [column for quantity in self.quantities for column in quantity.columns]
        return frozenset({"site_id", *self.marks, *self.others, *units, *RECORD_COLUMNS})


def fixed(*names: str) -> Callable[[Basics], tuple[str, ...]]:
    """Columns that are the same in every season."""
    return lambda basics: names


def texts(facts: Mapping[str, Any], *names: str) -> dict[str, Value]:
    """Facts that are texts, None where they were not given."""
    return {name: facts.get(name) for name in names}


def numbers(facts: Mapping[str, Any], *names: str) -> dict[str, Value]:
    """Facts that are numbers, None where they were not given."""
    return {name: None if facts.get(name) is None else float(facts[name]) for name in names}
