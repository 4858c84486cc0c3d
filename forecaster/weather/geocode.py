"""Places for addresses, on request: the batch geocoder of the US Census Bureau, and what of it to believe.

Only the addresses are sent, numbered, without names of customers. An exact match among the other sites is
proposed, anything else is a question; nothing counts before somebody has confirmed it on the map, and the
office's sheet is never written. Source: Census Geocoder, Geocoding Services Web API (batch: id, street,
city, state, ZIP; answer: id, input, match, kind of match, matched address, "longitude,latitude", line, side).
Limits: United States; a place along the street, not the pond behind the house.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import numpy as np

from forecaster.distance import haversine_km
from forecaster.errors import BadInput, Problem
from forecaster.season.coordinates import FoundPlace, read_coordinates, write_coordinates
from forecaster.season.places import FAR_KM, check_place
from forecaster.season.quantities import plain_number
from forecaster.season.tables import column_key, find_table, read_table
from forecaster.weather.geocode_map import map_svg
from forecaster.weather.http import Fetcher
from forecaster.weather.kept import write_whole

BENCHMARK = "Public_AR_Current"
BATCH = 1000
"""Addresses a request; the service takes 10,000 at most."""
MAP_NAME = "coordinates.svg"
STATE_AND_ZIP = re.compile(r"([A-Za-z]{2}|[A-Za-z][A-Za-z .]+?)?[\s,]*(\d{5})?(?:-\d{4})?")
NEAR_KM = 0.05
"""Two sites at places nearer than this are probably one address twice [km]."""


@dataclass(frozen=True)
class AddressRow:
    """A row of the sheet that has an address; `place` is None where its cells of coordinates are empty."""

    row: int
    site_id: str
    address: str
    place: tuple[float, float] | None


@dataclass(frozen=True)
class _Parts:
    street: str
    city: str
    state: str
    zip_code: str


def address_rows(folder: Path) -> tuple[AddressRow, ...]:
    """Rows of the site sheet with a site id and an address or a place.

    Raises:
        BadInput: There is no sheet, or it has no columns site_id and address.
    """
    path = find_table(folder, "sites")
    if path is None:
        raise BadInput(
            Problem("sites.csv", f"neither sites.csv nor sites.xlsx is in {folder}. Save it there.")
        )
    problems: list[Problem] = []
    table = read_table(path, problems)
    spelt = {column_key(column): column for column in table.columns}
    for name in ("site_id", "address"):
        if name not in spelt:
            text = f"no column {name}. Add it with the addresses like 12 Mill Lane, Ambervane, WI 53000."
            problems.append(Problem(f"{table.name} row {table.header_row}", text))
    if problems:
        raise BadInput(problems)
    rows = []
    for row in table.rows:
        numbers = [
            plain_number(row.cells[spelt[name]], decimal_comma=table.decimal_comma) if name in spelt else None
            for name in ("latitude", "longitude")
        ]
        place = None if numbers[0] is None or numbers[1] is None else (numbers[0], numbers[1])
        site_id, address = row.cells[spelt["site_id"]], row.cells[spelt["address"]]
        if site_id and (address or place):
            rows.append(AddressRow(row.number, site_id, address, place))
    return tuple(rows)


def look_up(folder: Path, fetcher: Fetcher, url: str) -> tuple[FoundPlace, ...]:
    """Look up the addresses that have no place yet, and write what was found beside the sheet.

    Confirmed places stay as they are while their address does. Sends nothing if nothing is wanting.

    Raises:
        BadInput: The sheet or the file of places cannot be used.
        FetchFailed: The service gave no usable answer; nothing is written.
    """
    rows = address_rows(folder)
    problems: list[Problem] = []
    before = read_coordinates(folder, problems)
    if problems:
        raise BadInput(problems)
    wanted, kept = [], dict[str, FoundPlace]()
    for row in rows:
        if row.place is not None or not row.address:
            continue
        old = before.get(row.site_id)
        if old is not None and old.address == row.address and (old.confirmed or old.latitude is not None):
            kept[row.site_id] = old
        else:
            wanted.append(row)
    parts = {row.row: split_address(row.address) for row in wanted}
    asked = [row for row in wanted if parts[row.row] is not None]
    answers: dict[int, list[str]] = {}
    for start in range(0, len(asked), BATCH):
        batch = {row.row: p for row in asked[start : start + BATCH] if (p := parts[row.row]) is not None}
        answers |= _ask(fetcher, url, batch)
    found = {row.site_id: _judged(row, parts[row.row], answers.get(row.row)) for row in wanted}
    merged = {row.site_id: kept.get(row.site_id) or found[row.site_id] for row in rows
              if row.site_id in kept or row.site_id in found}  # fmt: skip
    known = [row.place for row in rows if row.place is not None]
    places = _doubt_by_distance(list(merged.values()), known)
    if places:
        write_coordinates(folder, places)
        write_whole(folder / MAP_NAME, map_svg(places, known).encode("utf-8"))
    return tuple(places)


def confirm(folder: Path, site_ids: Sequence[str]) -> tuple[FoundPlace, ...]:
    """Confirm places, all unquestioned ones for ["all"]; returns those that are now confirmed.

    Raises:
        BadInput: A site is not in the file or has no place.
    """
    problems: list[Problem] = []
    places = read_coordinates(folder, problems)
    if not places and not problems:
        problems.append(Problem("coordinates.csv", "no places yet. Run: forecaster weather geocode"))
    wanted = set(site_ids)
    everything = wanted == {"all"}
    for name in sorted(wanted - set(places)) if not everything else []:
        problems.append(Problem("--confirm", f"{name} is not in coordinates.csv. Look at its site ids."))
    changed = []
    for name, place in places.items():
        if (everything and place.question) or (not everything and name not in wanted):
            continue
        if place.latitude is None or place.longitude is None:
            if not everything:
                text = "has no place yet. Write its latitude and longitude into the sheet."
                problems.append(Problem(f"coordinates.csv, {name}", text))
            continue
        places[name] = replace(place, confirmed=True)
        changed.append(places[name])
    if problems:
        raise BadInput(problems)
    write_coordinates(folder, places.values())
    return tuple(changed)


def split_address(text: str) -> _Parts | None:
    """Street, city, state and ZIP of an address, None where it cannot be told apart.

    >>> split_address("12 Mill Lane, Ambervane, WI 53000")
    _Parts(street='12 Mill Lane', city='Ambervane', state='WI', zip_code='53000')
    >>> split_address("behind the church") is None
    True
    """
    pieces = [" ".join(piece.split()) for piece in text.split(",") if piece.strip()]
    if pieces and pieces[-1].casefold() in ("usa", "us", "united states"):
        pieces.pop()
    if len(pieces) < 2:
        return None
    tail = STATE_AND_ZIP.fullmatch(pieces[-1])
    state, zip_code = (tail[1] or "", tail[2] or "") if tail else ("", "")
    if zip_code and not state and len(pieces) > 3:
        state = pieces.pop(-2)
    if not zip_code and (not state or len(pieces) < 3):
        return None
    city = pieces[-2] if len(pieces) > 2 else ""
    street = ", ".join(pieces[:-2]) if len(pieces) > 2 else pieces[0]
    return _Parts(street, city, state, zip_code)


def _ask(fetcher: Fetcher, url: str, batch: Mapping[int, _Parts]) -> dict[int, list[str]]:
    """Rows of the answer by the number that was sent."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for number, part in batch.items():
        writer.writerow([number, part.street, part.city, part.state, part.zip_code])
    body = fetcher.post(
        url,
        files={"addressFile": ("addresses.csv", text.getvalue().encode("utf-8"), "text/csv")},
        data={"benchmark": BENCHMARK},
        check=lambda body, headers: _check(body, batch),
    )
    return {int(row[0]): row for row in _rows(body)}


def _rows(body: bytes) -> list[list[str]]:
    try:
        rows = list(csv.reader(io.StringIO(body.decode("utf-8"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        raise ValueError("the answer is not a table of places") from None
    return [row for row in rows if row]


def _check(body: bytes, batch: Mapping[int, _Parts]) -> None:
    for row in _rows(body):
        known = row[0].isdigit() and int(row[0]) in batch
        if not known or len(row) < 3 or row[2] not in ("Match", "No_Match", "Tie"):
            raise ValueError("the answer is not a table of places")


def _judged(row: AddressRow, parts: _Parts | None, answer: Sequence[str] | None) -> FoundPlace:
    """What one answer is worth."""
    nothing = FoundPlace(row.site_id, row.address, "", None, None)
    if parts is None:
        cure = "Write it like 12 Mill Lane, Ambervane, WI 53000."
        return replace(nothing, question=f"street, city and state cannot be told apart. {cure}")
    if answer is None or answer[2] == "No_Match":
        return replace(nothing, question="no such address is known. Correct it, or write the place yourself.")
    if answer[2] == "Tie":
        return replace(
            nothing, question="several places fit. Add the ZIP code or the direction (N, S, E, W)."
        )
    try:
        longitude, latitude = (float(number) for number in answer[5].split(","))
    except (ValueError, IndexError):
        return replace(nothing, question="the service gave no place for it. Write the place yourself.")
    if not np.isfinite([latitude, longitude]).all() or check_place(latitude, longitude) is not None:
        return replace(nothing, question="the service gave an impossible place. Write the place yourself.")
    found = FoundPlace(row.site_id, row.address, answer[4], latitude, longitude)
    if answer[3] != "Exact":
        return replace(found, question="only a similar address is known. Is this the one?")
    if parts.zip_code and parts.zip_code not in answer[4]:
        return replace(found, question="the ZIP code is another one. Is this the one?")
    return found


def _doubt_by_distance(
    places: Sequence[FoundPlace], known: Sequence[tuple[float, float]]
) -> list[FoundPlace]:
    """Questions about places far from all others, or where another site is already."""
    spots = [*known, *(place.spot for place in places if place.spot is not None)]
    if not spots:
        return list(places)
    middle = median(spot[0] for spot in spots), median(spot[1] for spot in spots)
    doubted = []
    for place in places:
        if place.spot is None or place.question or place.confirmed:
            doubted.append(place)
            continue
        far_km = float(haversine_km(*place.spot, *middle))
        same = sum(bool(haversine_km(*place.spot, *spot) < NEAR_KM) for spot in spots)
        question = ""
        if len(spots) > 2 and far_km > FAR_KM:
            question = f"it lies {far_km:,.0f} km from the middle of the sites. Is this the one?"
        elif same > 1:
            question = "another site lies at the same place. Are both right?"
        doubted.append(replace(place, question=question))
    return doubted
