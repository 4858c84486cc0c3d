"""The site sheet: `sites.csv` or `sites.xlsx` to one `Site` a row, with every problem of the sheet at once.

Lengths, areas and temperature steps may be in any unit that their column's name says. Columns that the
program does not know are kept with the site and shown. Where the cells of a place are empty, the one that
was looked up for the address and confirmed stands in (`coordinates.py`). Limit: a wrong place is noticed
only by its distance from the other sites (`places.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import cast, get_args

from forecaster.errors import BadInput, Notice, Problem, did_you_mean
from forecaster.season.cells import WEEKDAYS, Cells, columns_notice
from forecaster.season.coordinates import FoundPlace, read_coordinates, usable_place
from forecaster.season.places import Place, check_place, check_places
from forecaster.season.quantities import (
    AREA_UNITS,
    HEIGHT_UNITS,
    LENGTH_UNITS,
    STEP_UNITS,
    Quantity,
    Unit,
    plain_number,
)
from forecaster.season.sites import Exposure, Kind, Site, Winter
from forecaster.season.tables import Row, column_key, find_table, in_row_order, read_table

MEAN_DEPTH = Quantity("mean_depth", LENGTH_UNITS, low=6, high=240)
MAX_DEPTH = Quantity("max_depth", LENGTH_UNITS, low=6, high=240)
SURFACE = Quantity("surface", AREA_UNITS, low=4, high=1_000_000)
ELEVATION = Quantity("elevation", HEIGHT_UNITS, low=-1500, high=15_000)
MINIMUM_OFFSET = Quantity("minimum_offset", STEP_UNITS, low=-15, high=15)
QUANTITIES = (MEAN_DEPTH, MAX_DEPTH, SURFACE, ELEVATION, MINIMUM_OFFSET)

REQUIRED = ("site_id", "customer", "latitude", "longitude")
OTHERS = (
    *("address", "exposure", "waterfall", "kind", "heated", "fish", "hours_on_site", "plumbing_exposure"),
    *("winter", "booked_date", "told_date", "not_before", "not_after", "weekdays", "crew", "access", "notes"),
)
COLUMNS = frozenset({*REQUIRED, *OTHERS, *(column for quantity in QUANTITIES for column in quantity.columns)})
OTHER_NAMES = {
    **dict.fromkeys(("id", "site", "site_no", "site_number", "pond", "pond_id"), "site_id"),
    **dict.fromkeys(("name", "client", "customer_name", "client_name", "owner"), "customer"),
    **dict.fromkeys(("lat", "y", "northing"), "latitude"),
    **dict.fromkeys(("lon", "lng", "long", "x", "easting"), "longitude"),
    **dict.fromkeys(("depth", "depth_in", "mean_depth", "average_depth", "avg_depth"), "mean_depth_in"),
}
"""What other people call the required columns, for the hint beside a missing one."""


def read_sites(
    folder: Path, *, crew_names: Iterable[str], extra_columns: Iterable[str] = ()
) -> tuple[tuple[Site, ...], tuple[Notice, ...]]:
    """The sites of the season folder in the order of the sheet, and what the user should know about it.

    Args:
        folder: Season folder; holds `sites.csv` or `sites.xlsx`, not both.
        crew_names: Names of the crews in `season.toml`, the ones that column `crew` may hold.
        extra_columns: Columns that other parts read from `Site.extra` (equipment): no notice about them.
    Raises:
        BadInput: The sheet is missing or empty, or cells cannot be used: all problems at once.
    """
    path = find_table(folder, "sites")
    if path is None:
        cure = "Save the site sheet there under one of these names."
        raise BadInput(Problem("sites.csv", f"neither sites.csv nor sites.xlsx is in {folder}. {cure}"))
    problems: list[Problem] = []
    table = read_table(path, problems)
    found = read_coordinates(folder, problems)
    reader = _SheetReader(Cells(table, problems), crew_names, found)
    sites = [site for row in table.rows if (site := reader.site(row)) is not None]
    if not table.rows and not problems:
        problems.append(Problem(table.name, "no sites below the header. Write one site a row."))
    expected = {column_key(name) for name in extra_columns}
    unknown = [name for name in reader.extras if column_key(name) not in expected]
    notices = columns_notice(table, unknown, COLUMNS | expected, "kept and shown, not used in the forecast")
    notices += check_places(table.name, reader.places, problems)
    if problems:
        raise BadInput(in_row_order(problems))
    return tuple(sites), tuple(notices)


class _SheetReader:
    """Turns rows into sites; remembers ids and crews across rows."""

    def __init__(self, cells: Cells, crew_names: Iterable[str], found: Mapping[str, FoundPlace]) -> None:
        self.cells, self.found = cells, found
        self.crews = {name.casefold(): name for name in crew_names}
        self.units = {quantity.name: cells.unit_of(quantity) for quantity in QUANTITIES}
        self.rows_of_ids: dict[str, tuple[str, int]] = {}
        self.places: list[Place] = []
        self._refuse_missing_columns()
        self.extras = [name for name in cells.table.columns if column_key(name) not in COLUMNS]

    def site(self, row: Row) -> Site | None:
        """The site of one row, None where a cell of it cannot be used."""
        cells, before = self.cells, len(self.cells.problems)
        kind = cast(Kind, cells.choice(row, "kind", get_args(Kind)) or "pond")
        weekdays = cells.weekdays(row, "weekdays") or frozenset(range(7))
        site_id = self._site_id(row)
        customer = cells.needed_text(row, "customer", "Write the customer's name.")
        latitude, longitude = self._place(row)
        mean_depth_m, max_depth_m = self._depths(row, kind)
        offset_c = self._quantity(row, MINIMUM_OFFSET)
        hours = cells.number(row, "hours_on_site", low=0.1, high=24, noun="a number of hours")
        plumbing = cells.number(row, "plumbing_exposure", low=0, high=1)
        days = {name: cells.day(row, f"{name}_date") for name in ("booked", "told")}
        not_before, not_after = cells.day(row, "not_before"), cells.day(row, "not_after")
        self._check_dates(row, days["booked"], not_before, not_after, weekdays)
        defaults = Site("", "", 0.0, 0.0, None)
        site = Site(
            site_id=site_id,
            customer=customer,
            latitude=latitude,
            longitude=longitude,
            mean_depth_m=mean_depth_m,
            row=row.number,
            address=cells.text(row, "address"),
            max_depth_m=max_depth_m,
            surface_m2=self._quantity(row, SURFACE),
            exposure=cast(Exposure, cells.choice(row, "exposure", get_args(Exposure)) or defaults.exposure),
            waterfall=cells.yes_no(row, "waterfall", default=defaults.waterfall),
            kind=kind,
            heated=cells.yes_no(row, "heated", default=defaults.heated),
            fish=cells.yes_no(row, "fish", default=defaults.fish),
            elevation_m=self._quantity(row, ELEVATION),
            minimum_offset_c=defaults.minimum_offset_c if offset_c is None else offset_c,
            hours_on_site=defaults.hours_on_site if hours is None else hours,
            plumbing_exposure=defaults.plumbing_exposure if plumbing is None else plumbing,
            winter=cast(Winter, cells.choice(row, "winter", get_args(Winter)) or defaults.winter),
            booked_date=days["booked"],
            told_date=days["told"],
            not_before=not_before,
            not_after=not_after,
            weekdays=weekdays,
            crews=self._crews(row),
            access=cells.text(row, "access"),
            notes=cells.text(row, "notes"),
            extra={name: row.cells[name] for name in self.extras if row.cells[name]},
            sheet=cells.table.name,
            decimal_comma=cells.table.decimal_comma,
        )
        return site if len(cells.problems) == before else None

    def _quantity(self, row: Row, quantity: Quantity) -> float | None:
        return self.cells.quantity(row, quantity, self.units[quantity.name])

    def _refuse_missing_columns(self) -> None:
        """A required column that is missing, with the column that is probably meant."""
        table = self.cells.table
        looked_up = ("latitude", "longitude") if any(p.confirmed for p in self.found.values()) else ()
        missing = [key for key in REQUIRED if self.cells.spelling(key) is None and key not in looked_up]
        any_pond = self.cells.spelling("kind") is None or any(
            self.cells.text(row, "kind").casefold() in ("", "pond") for row in table.rows
        )
        if self.units["mean_depth"] is None and any_pond:
            missing.append("mean_depth_in")
        for key in missing:
            unknown = [name for name in table.columns if column_key(name) not in COLUMNS]
            meant = [name for name in unknown if OTHER_NAMES.get(column_key(name)) == key]
            near = [name for name in unknown if did_you_mean(column_key(name), [key])]
            found = next(iter(meant + near), None)
            where = f"{table.name} row {table.header_row}, {key}"
            if found is None:
                cure = "Add it; the first row holds the names of the columns."
            elif key == "mean_depth_in":
                cure = f'"{found}" is there: rename it mean_depth_in (inches) or mean_depth_cm.'
            else:
                cure = f'"{found}" is there: rename it {key}.'
            self.cells.problems.append(Problem(where, f"this column is needed. {cure}"))

    def _site_id(self, row: Row) -> str:
        cells = self.cells
        site_id = cells.needed_text(row, "site_id", "Give each pond its own site_id.")
        if any(letter in "/\\" or not letter.isprintable() for letter in site_id):
            text = f'"{site_id}" holds a slash or a line break. Use letters, figures, space, - and _.'
            cells.refuse(row, "site_id", text)
        if site_id:
            first_id, first_row = self.rows_of_ids.setdefault(site_id.casefold(), (site_id, row.number))
            if first_row != row.number:
                same = "is in" if first_id == site_id else f'differs only in capitals from "{first_id}" in'
                ending = " too" if first_id == site_id else ""
                text = f'"{site_id}" {same} row {first_row}{ending}. Give each pond its own site_id.'
                cells.refuse(row, "site_id", text)
        return site_id

    def _place(self, row: Row) -> tuple[float, float]:
        """Latitude and longitude; 0, 0 after a problem."""
        cells = self.cells
        latitude: float | None
        longitude: float | None
        if not cells.text(row, "latitude") and not cells.text(row, "longitude"):
            found = usable_place(self.found, cells.text(row, "site_id"), cells.text(row, "address"))
            if found is not None:
                self.places.append(Place(row.number, cells.text(row, "site_id"), *found))
                return found
        more = " Or look its address up: forecaster weather geocode." if cells.text(row, "address") else ""
        for key, example in (("latitude", "43.05"), ("longitude", "-87.95")):
            if cells.spelling(key) is None and self.found:
                cells.refuse(row, key, f"no place is confirmed for it. Write it in degrees, like {example}.")
            cells.needed_text(row, key, f"Write it in degrees, like {example}.{more}")
        latitude = plain_number(cells.text(row, "latitude"), decimal_comma=cells.table.decimal_comma)
        if latitude is None:
            cells.number(row, "latitude", low=-90, high=90, noun="a number of degrees")
        longitude = cells.number(row, "longitude", low=-180, high=180, noun="a number of degrees")
        if latitude is None or longitude is None:
            return 0.0, 0.0
        wrong = check_place(latitude, longitude)
        if wrong is not None:
            cells.refuse(row, *wrong)
        else:
            self.places.append(Place(row.number, cells.text(row, "site_id"), latitude, longitude))
        return latitude, longitude

    def _depths(self, row: Row, kind: Kind) -> tuple[float | None, float | None]:
        cells, mean_column = self.cells, self.units["mean_depth"]
        mean_m, max_m = self._quantity(row, MEAN_DEPTH), self._quantity(row, MAX_DEPTH)
        is_pond = cells.text(row, "kind").casefold() in ("", "pond")  # False too where it is misspelt
        if is_pond and mean_column is not None and not cells.text(row, mean_column[0]):
            cure = 'Write the mean depth, or name its kind: "fall without pond" or "fountain".'
            cells.refuse(row, mean_column[0], f"empty, but a pond needs it. {cure}")
        max_column = self.units["max_depth"]
        if mean_m is not None and max_m is not None and max_column is not None and max_m < mean_m - 1e-9:
            found = f"{cells.text(row, max_column[0])} is less than the mean depth"
            cells.refuse(row, max_column[0], f"{found} ({_mean_in(max_column[1], mean_m)}). Correct one.")
        return (mean_m if kind == "pond" else None), max_m

    def _check_dates(
        self,
        row: Row,
        booked: date | None,
        not_before: date | None,
        not_after: date | None,
        weekdays: frozenset[int],
    ) -> None:
        """Access limits against each other, and the booked date against them."""
        refuse = self.cells.refuse
        if not_before and not_after and not_after < not_before:
            refuse(row, "not_after", f"{not_after} is before not_before ({not_before}). Exchange or correct.")
        if booked is None:
            return
        cure = "Book another day, or change the limit."
        if not_before and booked < not_before:
            refuse(row, "booked_date", f"{booked} is before not_before ({not_before}). {cure}")
        if not_after and booked > not_after:
            refuse(row, "booked_date", f"{booked} is after not_after ({not_after}). {cure}")
        if booked.weekday() not in weekdays:
            allowed = ", ".join(WEEKDAYS[day][:3] for day in sorted(weekdays))
            name = WEEKDAYS[booked.weekday()].capitalize()
            refuse(row, "booked_date", f"{booked} is a {name}; weekdays allows {allowed}. {cure}")

    def _crews(self, row: Row) -> tuple[str, ...]:
        """The crews that may go, as `season.toml` spells them."""
        found = []
        for name in filter(None, (part.strip() for part in self.cells.text(row, "crew").split(";"))):
            known = self.crews.get(name.casefold())
            if known is not None:
                found.append(known)
                continue
            self.cells.refuse(row, "crew", f'"{name}" is not a crew of season.toml.{self._crew_hint(name)}')
        return tuple(dict.fromkeys(found))

    def _crew_hint(self, name: str) -> str:
        if not self.crews:
            return " No crew is there: add [[crew]], or leave the cell empty."
        if all(part.strip().casefold() in self.crews for part in name.split(",")):
            return f" Part several crews by semicolons: {name.replace(',', ';')}."
        return did_you_mean(name, self.crews.values()) or f" The crews are {'; '.join(self.crews.values())}."


def _mean_in(unit: Unit, mean_m: float) -> str:
    return f"{round(unit.from_internal(mean_m), 1):g} {unit.words}"
