"""Places that were looked up for addresses of the sheet: `coordinates.csv`, beside the sheet, never in it.

One row a site: the address as the sheet has it, what it was matched to, the place, and whether somebody has
confirmed it on the map. Only confirmed places are used, and only while the sheet's address is the one that
was looked up.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from forecaster.errors import Problem
from forecaster.season.places import check_place
from forecaster.season.quantities import plain_number
from forecaster.season.tables import read_table

FILE_NAME = "coordinates.csv"
COLUMNS = ("site_id", "address", "matched_address", "latitude", "longitude", "confirmed", "question")


@dataclass(frozen=True)
class FoundPlace:
    """The place found for one site's address [degrees], None where none was; `question` is "" or what makes
    it doubtful."""

    site_id: str
    address: str
    matched_address: str
    latitude: float | None
    longitude: float | None
    confirmed: bool = False
    question: str = ""

    @property
    def spot(self) -> tuple[float, float] | None:
        """Latitude and longitude, None where no place was found."""
        if self.latitude is None or self.longitude is None:
            return None
        return self.latitude, self.longitude


def read_coordinates(folder: Path, problems: list[Problem]) -> dict[str, FoundPlace]:
    """The file's rows by site id, empty where there is no file; rows that cannot be used are problems."""
    path = folder / FILE_NAME
    if not path.is_file():
        return {}
    table = read_table(path, problems)
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing:
        text = f"no column {', '.join(missing)}. Make the file again: forecaster weather geocode."
        problems.append(Problem(f"{FILE_NAME} row {table.header_row}", text))
        return {}
    found: dict[str, FoundPlace] = {}
    for row in table.rows:
        cells, where = row.cells, f"{FILE_NAME} row {row.number}"
        said = cells["confirmed"].casefold()
        if said not in ("", "yes", "no"):
            text = f'"{cells["confirmed"]}" is neither yes nor no. Write yes once the place is right.'
            problems.append(Problem(f"{where}, confirmed", text))
            continue
        place = [
            plain_number(cells[name], decimal_comma=table.decimal_comma) if cells[name] else None
            for name in ("latitude", "longitude")
        ]
        latitude, longitude = place
        if said == "yes":
            if latitude is None or longitude is None or not -180 <= longitude <= 180:
                text = "confirmed, but latitude and longitude are not both numbers of degrees. Complete them."
                problems.append(Problem(where, text))
                continue
            wrong = check_place(latitude, longitude)
            if wrong is not None:
                problems.append(Problem(f"{where}, {wrong[0]}", wrong[1]))
                continue
        site_id, address, matched = (
            _as_it_was(cells[name]) for name in ("site_id", "address", "matched_address")
        )
        found[site_id] = FoundPlace(
            site_id, address, matched, latitude, longitude, said == "yes", cells["question"]
        )
    return found


def write_coordinates(folder: Path, places: Iterable[FoundPlace]) -> Path:
    """Write the file anew, whole or not at all; returns it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for place in places:
        numbers = ["" if n is None else f"{n:.6f}" for n in (place.latitude, place.longitude)]
        cells = (place.site_id, place.address, place.matched_address, *numbers)
        writer.writerow(
            [*map(_harmless, cells), "yes" if place.confirmed else "no", _harmless(place.question)]
        )
    path = folder / FILE_NAME
    part = path.with_name(f".{FILE_NAME}.part")
    with part.open("wb") as file:
        file.write(text.getvalue().encode("utf-8-sig"))
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    return path


def usable_place(found: Mapping[str, FoundPlace], site_id: str, address: str) -> tuple[float, float] | None:
    """The confirmed place of a site whose address is still the one that was looked up, None else."""
    place = found.get(site_id)
    if place is None or not place.confirmed:
        return None
    same = " ".join(place.address.casefold().split()) == " ".join(address.casefold().split())
    return place.spot if same else None


def _harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula; numbers stay."""
    formula = text[:1] in ("=", "+", "@", "-") and plain_number(text) is None
    return f"'{text}" if formula else text


def _as_it_was(text: str) -> str:
    """The inverse of `_harmless`."""
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "@", "-") else text
