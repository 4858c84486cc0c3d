"""One row of a list that is imported: its cells as the values of an entry, every problem with its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from forecaster.errors import BadInput, did_you_mean
from forecaster.season.cells import Cells
from forecaster.season.events import clean_text
from forecaster.season.known_sites import Basics
from forecaster.season.quantities import Quantity, Unit
from forecaster.season.tables import Row

MOST_HOURS = 200.0
"""Crew-hours of one visit that are believed [h]."""


@dataclass
class RowReader:
    """One row of a list: its cells, and what a row needs to become an entry."""

    cells: Cells
    row: Row
    basics: Basics
    today: date
    units: Mapping[str, tuple[str, Unit] | None]

    @property
    def source(self) -> str:
        """Where the row stands, for the ledger."""
        return f"{self.cells.table.name} row {self.row.number}"

    def text(self, key: str) -> str:
        """A text, "" where there is none; one that no sheet can hold is a problem of this cell."""
        try:
            return clean_text(self.cells.text(self.row, key), key)
        except BadInput as error:
            self.cells.refuse(self.row, key, error.problems[0].text)
            return ""

    def site(self, *, needed: bool = True) -> str:
        """The site_id as the sheet spells it, "" after a problem or where none is needed."""
        said = self.text("site_id")
        if not said and needed:
            self.cells.needed_text(self.row, "site_id", "Write the site_id of the site sheet.")
        if not said or said in self.basics.sites:
            return said
        same = [site for site in self.basics.sites if site.casefold() == said.casefold()]
        if len(same) == 1:
            return same[0]
        hint = did_you_mean(said, self.basics.sites) or " Write it as in the sheet, or add the site there."
        self.cells.refuse(self.row, "site_id", f'"{said}" is not in the site sheet.{hint}')
        return ""

    def needed(self, key: str, cure: str) -> str:
        """A text that must be there."""
        return self.text(key) if self.cells.needed_text(self.row, key, cure) else ""

    def day(self, key: str, *, needed: bool = False) -> date | None:
        """A date."""
        if needed:
            self.cells.needed_text(self.row, key, "Write the date, like 2025-10-14.")
        return self.cells.day(self.row, key)

    def said(self) -> tuple[date, bool]:
        """The day on which it was said: that of the column `said`, else today and False."""
        day = self.day("said")
        return (self.today, False) if day is None else (day, True)

    def number(self, key: str, *, low: float, high: float, noun: str = "a number") -> float | None:
        """A number without a unit."""
        return self.cells.number(self.row, key, low=low, high=high, noun=noun)

    def hours(self) -> float | None:
        """Crew-hours."""
        return self.number("crew_hours", low=0, high=MOST_HOURS, noun="a number of hours")

    def quantity(self, quantity: Quantity) -> float | None:
        """A number in the unit of its column."""
        return self.cells.quantity(self.row, quantity, self.units.get(quantity.name))
