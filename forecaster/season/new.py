"""A new season folder: settings with comments, and a site sheet made from the office's own list of addresses.

The list is read, never changed. Columns that mean something to the program get its names, in the copy; all
others are kept as they are. Limit: addresses are not looked up, the list must hold coordinates.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from statistics import median

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.ledger_file import LedgerFault
from forecaster.season.new_sheet import written_sheet
from forecaster.season.new_toml import NewCrew, NewSeason, settings_text
from forecaster.season.quantities import plain_number
from forecaster.season.settings import read_settings
from forecaster.season.sheet import COLUMNS, MEAN_DEPTH, OTHER_NAMES, REQUIRED, read_sites
from forecaster.season.tables import Row, Table, column_key, read_table

MORE_NAMES = {
    **OTHER_NAMES,
    **dict.fromkeys(("account", "account_no", "customer_no", "customer_id", "nr", "no", "number"), "site_id"),
    **dict.fromkeys(("last_name", "surname", "account_name"), "customer"),
    **dict.fromkeys(("latitude_deg", "gps_latitude", "lat_deg"), "latitude"),
    **dict.fromkeys(("longitude_deg", "gps_longitude", "lon_deg"), "longitude"),
    **dict.fromkeys(("street", "street_address", "site_address", "service_address", "address_1"), "address"),
    **dict.fromkeys(("deepest", "maximum_depth", "max_depth"), "max_depth_in"),
    **dict.fromkeys(("area", "surface_area", "sq_ft", "square_feet"), "surface_ft2"),
    **dict.fromkeys(("elevation", "altitude"), "elevation_ft"),
    **dict.fromkeys(("gate", "gate_code", "directions", "how_to_get_in"), "access"),
    **dict.fromkeys(("note", "comment", "comments", "remarks"), "notes"),
}
"""What columns of address sheets are called elsewhere, and what they mean here."""

_METRIC = {
    "mean_depth_in": "mean_depth_cm",
    "max_depth_in": "max_depth_cm",
    "surface_ft2": "surface_m2",
    "elevation_ft": "elevation_m",
}
_UNIT_WORDS = {"in": "inches", "cm": "centimetres", "ft2": "square feet", "m2": "square metres", "ft": "feet"}
PLACEHOLDER_DEPTH = "24"


@dataclass(frozen=True)
class NewSheet:
    """A list of addresses as a site sheet. `renamed`: column of the list to its name here, to be confirmed.

    `rows_in_list[i]` is the row of the list that became row `i + 2` of the sheet.
    """

    table: Table
    renamed: Mapping[str, str]
    kept: tuple[str, ...]
    made_ids: bool
    without_depth: int
    rows_in_list: tuple[int, ...]

    def questions(self) -> list[str]:
        """What somebody should look at before the sheet is made, one line each."""
        lines = []
        for column, name in self.renamed.items():
            unit = _UNIT_WORDS.get(name.rsplit("_", 1)[-1])
            lines.append(f"{column} -> {name}{f' (in {unit})' if unit else ''}")
        if self.made_ids:
            first, last = self.table.rows[0], self.table.rows[-1]
            lines.append(f"site_id is made: {first.cells['site_id']} to {last.cells['site_id']}")
        if self.kept:
            lines.append(f"kept as they are: {', '.join(self.kept)}")
        return lines


def read_addresses(path: Path, *, units: str) -> NewSheet:
    """A list of addresses (`.csv` or `.xlsx`) as a site sheet.

    Args:
        path: The list; needs the customer, latitude and longitude of each site.
        units: "us" or "metric": the unit of columns whose name does not say it.
    Raises:
        BadInput: It cannot be read, or cells cannot be used, with the row of the list.
    """
    table = read_table(path)
    names = _names(table, units)
    renamed = {column: name for column, name in names.items() if name not in (column, column_key(column))}
    rows = [{names[column]: cell for column, cell in row.cells.items()} for row in table.rows]
    columns = [names[column] for column in table.columns]
    made_ids = "site_id" not in columns
    if made_ids:
        columns.insert(0, "site_id")
        width = len(str(len(rows)))
        for number, row in enumerate(rows, start=1):
            row["site_id"] = f"P-{number:0{max(2, width)}}"
    depth = next((name for name in columns if name in MEAN_DEPTH.columns), None)
    if depth is None:
        depth = "mean_depth_in" if units == "us" else "mean_depth_cm"
        columns.append(depth)
    lacking = [
        row for row in rows if not row.get(depth) and row.get("kind", "pond").casefold() in ("", "pond")
    ]
    made = Table(
        "sites.csv",
        tuple(columns),
        tuple(
            Row(number, {name: row.get(name, "") for name in columns}) for number, row in enumerate(rows, 2)
        ),
        decimal_comma=table.decimal_comma,
    )
    kept = tuple(
        column for column, name in names.items() if column == name and column_key(name) not in COLUMNS
    )
    sheet = NewSheet(made, renamed, kept, made_ids, len(lacking), tuple(row.number for row in table.rows))
    _check(sheet, table, depth)
    return sheet


def make_season(
    folder: Path, season: NewSeason, sheet: NewSheet | None, *, crew_names: Sequence[str]
) -> list[Notice]:
    """Make the folder; it appears whole or not at all. Returns what is still to be done.

    Args:
        folder: Must not exist, or be empty.
        season: Name, year, time zone, units.
        sheet: The site sheet, None for an example row to write over.
        crew_names: One block each in the settings.
    Raises:
        BadInput: The folder holds something, or the settings cannot be used.
        LedgerFault: The folder cannot be written.
    """
    target = folder.resolve()
    check_new_folder(folder)
    place = _middle(sheet) if sheet else (43.05, -87.95)
    crews = tuple(NewCrew(name, *place) for name in crew_names)
    try:
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".new-") as scratch:
            made = Path(scratch) / target.name
            (made / "weather").mkdir(parents=True)
            (made / "season.toml").write_text(settings_text(season, crews), encoding="utf-8")
            (made / "sites.csv").write_bytes(written_sheet(sheet.table if sheet else _example(season.units)))
            read_settings(made)
            put_in_place(made, target)
    except OSError as error:
        text = f"{folder}: cannot be written ({error.strerror}). Name a folder where you may write."
        raise LedgerFault(text) from error
    return _to_do(folder, season, sheet, crews)


def check_new_folder(folder: Path) -> None:
    """Refuse a folder that holds something already.

    Raises:
        BadInput: It is a file, holds something, or lies in a folder that does not exist.
    """
    target, cure = folder.resolve(), "Name a folder that does not exist yet."
    if target.exists() and not target.is_dir():
        raise BadInput(Problem(str(folder), f"is a file. {cure}"))
    if target.is_dir() and any(target.iterdir()):
        raise BadInput(Problem(str(folder), f"is not empty, and nothing in it is overwritten. {cure}"))
    if not target.parent.is_dir():
        raise BadInput(Problem(str(folder), f"its folder {target.parent} does not exist. Make that first."))


def put_in_place(made: Path, target: Path) -> None:
    """Move a complete folder to its place; into an empty folder its entries go one by one, settings last."""
    if target.exists():
        for entry in sorted(made.iterdir(), key=lambda path: path.name == "season.toml"):
            entry.rename(target / entry.name)
    else:
        made.rename(target)


def _names(table: Table, units: str) -> dict[str, str]:
    """Each column's name in the new sheet: the program's where it means something, else its own."""
    own = {column_key(column) for column in table.columns}
    names, taken = {}, own.intersection(COLUMNS)
    for column in table.columns:
        key = column_key(column)
        meant = MORE_NAMES.get(key, "")
        if units == "metric":
            meant = _METRIC.get(meant, meant)
        if key in COLUMNS:
            names[column] = key
        elif meant and meant not in taken:
            names[column] = meant
            taken.add(meant)
        else:
            names[column] = column
    return names


def _check(sheet: NewSheet, table: Table, depth: str) -> None:
    """Read the sheet as the forecast will; a depth that is still to be measured is no problem yet.

    Raises:
        BadInput: With the rows of the list.
    """
    columns = set(sheet.table.columns)
    missing = [name for name in REQUIRED if name not in columns and name != "site_id"]
    where = f"{table.name} row {table.header_row}"
    if missing:
        found = ", ".join(table.columns)
        raise BadInput(
            Problem(
                f"{where}, {name}", f"no column for it ({found}). Add it, or rename the one that is meant."
            )
            for name in missing
        )
    crews = {part.strip() for row in sheet.table.rows for part in row.cells.get("crew", "").split(";")}
    filled = [
        replace(row, cells={**row.cells, depth: row.cells[depth] or PLACEHOLDER_DEPTH})
        for row in sheet.table.rows
    ]
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch)
        (path / "sites.csv").write_bytes(written_sheet(replace(sheet.table, rows=tuple(filled))))
        try:
            read_sites(path, crew_names=crews - {""})
        except BadInput as error:
            raise BadInput(_in_list(problem, sheet, table) for problem in error.problems) from None


def _in_list(problem: Problem, sheet: NewSheet, table: Table) -> Problem:
    """The problem with the row and the file that the user knows."""
    words = problem.where.split(" row ", 1)
    if len(words) < 2:
        return Problem(problem.where.replace("sites.csv", table.name), problem.text)
    number, comma, key = words[1].partition(",")
    row = table.header_row if number == "1" else sheet.rows_in_list[int(number) - 2]
    back = {name: column for column, name in sheet.renamed.items()}
    key = back.get(key.strip(), key.strip())
    return Problem(f"{table.name} row {row}{comma}{' ' + key if key else ''}", problem.text)


def _middle(sheet: NewSheet) -> tuple[float, float]:
    """The middle of the sites, for crews whose start place nobody gave [degrees]."""
    comma = sheet.table.decimal_comma
    places = [
        [plain_number(row.cells[name], decimal_comma=comma) or 0.0 for row in sheet.table.rows]
        for name in ("latitude", "longitude")
    ]
    return round(median(places[0]), 4), round(median(places[1]), 4)


def _example(units: str) -> Table:
    depth = {"mean_depth_in": "24"} if units == "us" else {"mean_depth_cm": "60"}
    cells = {
        "site_id": "P-01",
        "customer": "Example: write over this row",
        "latitude": "43.05",
        "longitude": "-87.95",
        **depth,
        "exposure": "average",
        "waterfall": "yes",
        "fish": "yes",
        "notes": "",
    }
    return Table("sites.csv", tuple(cells), (Row(2, cells),))


def _to_do(folder: Path, season: NewSeason, sheet: NewSheet | None, crews: Sequence[NewCrew]) -> list[Notice]:
    notices = []
    if sheet is None:
        notices.append(Notice("sites.csv", "holds an example row. Write your sites there, one a row."))
    elif sheet.without_depth:
        text = f"{sheet.without_depth} ponds have no mean depth yet; the forecast needs one. Measure or ask."
        notices.append(Notice("sites.csv", text))
    if crews:
        text = "each crew starts from the middle of the sites, Monday to Friday. Correct place and days."
        notices.append(Notice("season.toml [[crew]]", text))
    else:
        notices.append(Notice("season.toml [[crew]]", "no crew is named. Add one block a crew."))
    if season.weather == "files":
        text = 'put stations.csv and a file a station there, or set source = "meteostat" to have it fetched.'
        notices.append(Notice("weather", text))
    return notices


def season_year(today: date) -> int:
    """The year of the season that a new folder is for: January still belongs to the fall before.

    >>> season_year(date(2026, 1, 20)), season_year(date(2026, 2, 1))
    (2025, 2026)
    """
    return today.year if today.month >= 2 else today.year - 1
