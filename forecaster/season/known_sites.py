"""The little of a season folder that a command needs at once: units, year, zone, and who its sites are.

Reading a phone call into the ledger must not wait for, or fail on, a misspelt cost or an impossible depth
in another row: here only the few settings and the two columns that matter are looked at.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.cells import Cells
from forecaster.season.moments import parse_moment
from forecaster.season.quantities import LENGTH_UNITS, TEMPERATURE_UNITS, Unit
from forecaster.season.tables import BadCell, find_table, read_table

SHOWN_AT_MOST = 8


@dataclass(frozen=True)
class KnownSite:
    """A site of the sheet: its id, its customer, and the booked and told dates that the sheet gives."""

    site_id: str
    customer: str = ""
    sheet_dates: tuple[date, ...] = ()

    def __str__(self) -> str:
        return f"{self.site_id} {self.customer}".strip()


@dataclass(frozen=True)
class Basics:
    """Units ("us" or "metric"), year, time zone and crews of a season, and its sites by id."""

    folder: Path
    units: str
    year: int
    zone: ZoneInfo
    crews: tuple[str, ...]
    sites: Mapping[str, KnownSite] = field(default_factory=dict)

    @property
    def temperature_unit(self) -> Unit:
        """The unit in which people of this season say temperatures."""
        return TEMPERATURE_UNITS[0 if self.units == "us" else 1]

    @property
    def length_unit(self) -> Unit:
        """The unit in which people of this season say depths."""
        return LENGTH_UNITS[0 if self.units == "us" else 1]

    def name_of(self, site_id: str) -> str:
        """The site as messages show it."""
        return str(self.sites.get(site_id, KnownSite(site_id)))


def read_basics(folder: Path) -> Basics:
    """The basics of a season folder.

    Raises:
        BadInput: `season.toml` or the site sheet cannot be used.
    """
    try:
        raw = tomllib.loads((folder / "season.toml").read_bytes().decode("utf-8-sig"))
        season = raw["season"]
        units, year, zone = season.get("units", "us"), season["year"], ZoneInfo(season["timezone"])
        crews = tuple(str(crew["name"]) for crew in raw.get("crew", []))
        if units not in ("us", "metric") or type(year) is not int or not 1900 <= year <= 2199:
            raise ValueError(units)
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        from forecaster.season.settings import read_settings  # late: it takes half of a command's time

        settings = read_settings(folder)  # says what is wrong
        units, year = settings.season.units, settings.season.year
        zone, crews = ZoneInfo(settings.season.timezone), tuple(crew.name for crew in settings.crews)
    return Basics(folder, units, year, zone, crews, read_known_sites(folder))


def read_known_sites(folder: Path) -> dict[str, KnownSite]:
    """The sites of the sheet by id, in its order; what is wrong with their other cells is not asked here.

    Raises:
        BadInput: There is no sheet, it cannot be read, or it has no column site_id.
    """
    path = find_table(folder, "sites")
    if path is None:
        cure = "Save the site sheet there under one of these names."
        raise BadInput(Problem("sites.csv", f"neither sites.csv nor sites.xlsx is in {folder}. {cure}"))
    table = read_table(path, [])
    cells = Cells(table, [])
    if cells.spelling("site_id") is None:
        where = f"{table.name} row {table.header_row}, site_id"
        raise BadInput(Problem(where, "this column is needed. The first row holds the names of the columns."))
    sites = {}
    for row in table.rows:
        site_id = cells.text(row, "site_id")
        if site_id and site_id not in sites:
            dates = [_day(cells.text(row, f"{name}_date")) for name in ("booked", "told")]
            given = tuple(day for day in dates if day is not None)
            sites[site_id] = KnownSite(site_id, cells.text(row, "customer"), given)
    return sites


def find_site(said: str, sites: Mapping[str, KnownSite]) -> KnownSite:
    """The site that somebody means: by its id in any case, else by a part of one customer's name only.

    Raises:
        BadInput: None or several; the message names those that may be meant.
    Example:
        >>> sites = {"V-03": KnownSite("V-03", "Fernwhistle"), "V-04": KnownSite("V-04", "Dabblewick")}
        >>> find_site("v-03", sites).site_id, find_site("dabble", sites).site_id
        ('V-03', 'V-04')
    """
    if said in sites:
        return sites[said]
    key = " ".join(said.casefold().split())
    by_id = [site for site in sites.values() if site.site_id.casefold() == key]
    by_name = [site for site in sites.values() if key and key in " ".join(site.customer.casefold().split())]
    found = by_id or by_name
    if len(found) == 1:
        return found[0]
    if found:
        shown = _listed(f"{site.site_id} ({site.customer})" for site in found)
        raise BadInput(Problem("site", f'"{said}" may be {shown}. Write the site_id.'))
    hint = did_you_mean(said, sites) or did_you_mean(key.upper(), sites)
    hint = hint or " Write the site_id of the site sheet, or a part of the customer's name."
    raise BadInput(Problem("site", f'"{said}" is not in the site sheet.{hint}'))


def _listed(names: Iterable[str]) -> str:
    shown = list(names)
    rest = len(shown) - SHOWN_AT_MOST
    return " or ".join(shown[:SHOWN_AT_MOST]) + (f" or one of {rest} more" if rest > 0 else "")


def _day(text: str) -> date | None:
    """The date of a cell, None where it is empty or none; the sheet's own reader complains about it."""
    try:
        return parse_moment(text)[0] if text else None
    except BadCell:
        return None
