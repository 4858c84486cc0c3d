"""What a ledger must say, worked out the slow and obvious way: replay everything from the start each time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any


@dataclass
class Said:
    """One event of the model."""

    number: int
    kind: str
    site: str
    day: date
    what: Any = None  # a date, a temperature, the number undone


@dataclass
class Model:
    """A list of what was said; everything else follows from it."""

    said: list[Said] = field(default_factory=list)

    def add(self, kind: str, site: str, day: date, what: Any = None) -> int:
        self.said.append(Said(len(self.said) + 1, kind, site, day, what))
        return len(self.said)

    def stands(self, number: int) -> bool:
        undos = [one.number for one in self.said if one.kind == "undo" and one.what == number]
        return not any(self.stands(undo) for undo in undos)

    def standing(self) -> Iterable[Said]:
        return [one for one in self.said if one.kind != "undo" and self.stands(one.number)]

    def closed(self) -> dict[str, date]:
        return {one.site: one.day for one in self.standing() if one.kind == "closed"}

    def readings(self) -> list[tuple[str, date, float]]:
        return sorted((one.site, one.day, one.what) for one in self.standing() if one.kind == "reading")

    def dates(self) -> tuple[dict[str, date], dict[str, date]]:
        """Booked and told dates by site."""
        booked: dict[str, date] = {}
        told: dict[str, date] = {}
        for one in self.standing():
            if one.kind == "told":
                told[one.site] = one.what
            elif one.kind == "booked":
                booked[one.site] = one.what
                told[one.site] = one.what
            elif one.kind == "unbooked":
                booked.pop(one.site, None)
                told.pop(one.site, None)
            elif one.kind == "skipped":
                for dates in (booked, told):
                    if one.site in dates and dates[one.site] <= one.day:
                        del dates[one.site]
        return booked, told
