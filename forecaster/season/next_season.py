"""The folder of the next season: sites, weather, readings and the whole ledger carried on, dates moved.

What was learnt stays (readings teach the fits, kept outlooks their error, outcomes the costs); what belonged
to the old fall (booked and told dates in the sheet) is left out. The old folder is not touched. Limit: days
off move by date, so feasts that move with the weekday must be looked at.
"""

from __future__ import annotations

import io
import re
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from forecaster.errors import BadInput, ForecasterError, Notice, Problem
from forecaster.season.cells import Cells
from forecaster.season.events import Entry
from forecaster.season.ledger import Ledger
from forecaster.season.ledger_copy import copy_ledger
from forecaster.season.ledger_file import LedgerFault
from forecaster.season.ledger_runs import NOT_INPUTS
from forecaster.season.moments import parse_moment
from forecaster.season.new import check_new_folder, put_in_place
from forecaster.season.new_sheet import written_sheet
from forecaster.season.settings import Settings, crews_for_fall, read_settings
from forecaster.season.tables import BadCell, Row, Table, column_key, decode, find_table, read_table

PROMISED = ("booked_date", "told_date")
LIMITS = ("not_before", "not_after")
_ISO = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")


@dataclass(frozen=True)
class NextSeason:
    """What was carried on."""

    year: int
    events: int
    notices: tuple[Notice, ...]


def next_season(
    folder: Path, to: Path, ledger: Ledger | None, *, who: str, year: int | None = None
) -> NextSeason:
    """Make the next season's folder; it appears whole or not at all.

    Args:
        folder: The season that ends.
        to: Must not exist, or be empty.
        ledger: Its ledger, None where it has none.
        who: Who begins the season.
        year: Year of the next season; by default the year after.
    Raises:
        BadInput: The old folder's settings or sheet cannot be used, or `to` holds something.
        LedgerFault: `to` cannot be written.
    """
    settings = read_settings(folder)
    year = settings.season.year + 1 if year is None else year
    if year <= settings.season.year:
        text = f"{year} is not after {settings.season.year}, the year of {folder}. Name a later year."
        raise BadInput(Problem("--year", text))
    sheet = find_table(folder, "sites")
    if sheet is None:
        raise BadInput(Problem("sites.csv", f"neither sites.csv nor sites.xlsx is in {folder}."))
    check_new_folder(to)
    try:
        with tempfile.TemporaryDirectory(dir=to.resolve().parent, prefix=".next-") as scratch:
            made = Path(scratch) / to.resolve().name
            made.mkdir()
            _copy_files(folder, made, leave={"season.toml", sheet.name})
            (made / "season.toml").write_text(_moved_settings(folder, settings, year), encoding="utf-8")
            _check_settings(made, settings, year)
            notices = _carry_sheet(sheet, made, years=year - settings.season.year)
            events = copy_ledger(ledger, made) if ledger else 0
            if ledger:
                _begin(made, ledger, year, who)
            put_in_place(made, to.resolve())
    except OSError as error:
        text = f"{to}: cannot be written ({error.strerror}). Name a folder where you may write."
        raise LedgerFault(text) from error
    if any(crew.days_off for crew in settings.crews):
        text = "days off were moved by date: look at feasts that move with the weekday."
        notices.append(Notice("season.toml [[crew]]", text))
    return NextSeason(year, events, tuple(notices))


def _begin(made: Path, ledger: Ledger, year: int, who: str) -> None:
    from forecaster.season.ledger import open_ledger

    with open_ledger(made, clock=ledger.clock) as carried:
        carried.append(Entry("season", ledger.today(), {"year": year}), who=who)
    shutil.rmtree(made / "backups", ignore_errors=True)  # the copy of the day is one of the old season


def _copy_files(folder: Path, made: Path, *, leave: set[str]) -> None:
    """Weather, readings and whatever else the office keeps there."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        first = name.parts[0]
        if (
            path.is_file()
            and str(name) not in leave
            and first not in NOT_INPUTS
            and not first.startswith(".")
        ):
            copy = made / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, copy)


def _moved_settings(folder: Path, settings: Settings, year: int) -> str:
    """The settings' text with another year: comments and order stay, dates keep month and day."""
    path, old = folder / "season.toml", settings.season.year
    lines, in_season = [], False
    for line in decode(path.read_bytes(), path.name).splitlines():
        said, hash_sign, comment = _without_comment(line)
        header = re.match(r"\s*\[+\s*([\w.]+)", said)
        if header:
            in_season = header[1] == "season"
        if in_season and re.match(r"\s*year\s*=", said):
            said = re.sub(r"\d{4}", str(year), said, count=1)
        elif in_season and re.match(r"\s*name\s*=", said):
            said = re.sub(rf"\b{old}\b", str(year), said)
        else:
            said = _ISO.sub(lambda found: _moved(found, year - old), said)
        lines.append(f"{said}{hash_sign}{comment}")
    return "\n".join(lines) + "\n"


def _without_comment(line: str) -> tuple[str, str, str]:
    """A line of TOML, its "#" and its comment; a "#" inside quotes begins none."""
    quote = ""
    for index, letter in enumerate(line):
        if quote:
            quote = "" if letter == quote and line[index - 1 : index] != "\\" else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return line[:index], "#", line[index + 1 :]
    return line, "", ""


def _moved(found: re.Match[str], years: int) -> str:
    return _in_year(date(int(found[1]), int(found[2]), int(found[3])), years).isoformat()


def _in_year(day: date, years: int) -> date:
    leap_day = (day.month, day.day) == (2, 29)
    return day.replace(year=day.year + years, day=28 if leap_day else day.day)


def _check_settings(made: Path, before: Settings, year: int) -> None:
    """The moved settings mean the same, a season later; else somebody must write them.

    Raises:
        ForecasterError: They do not (dates written in an unusual way).
    """
    try:
        after = read_settings(made)
    except BadInput as error:
        text = f"The settings could not be moved to {year} by themselves: {error}"
        raise ForecasterError(
            f"{text}\nWrite the dates of season.toml like 2025-10-14, then try again."
        ) from None
    crews = crews_for_fall(before.crews, before.season.year, year)
    season = before.season.model_copy(update={"year": year, "name": after.season.name})
    if after != before.model_copy(update={"season": season, "crews": crews}):
        text = "would mean something else after moving its dates. Write them like 2025-10-14, then try again."
        raise ForecasterError(f"season.toml {text}")


def _carry_sheet(sheet: Path, made: Path, *, years: int) -> list[Notice]:
    """The sheet without promised dates and with limits moved; copied as it is where neither is there."""
    table = read_table(sheet)
    cells = Cells(table, [])
    new_rows, dropped, moved = [], 0, 0
    for row in table.rows:
        changed = dict(row.cells)
        for key in (*PROMISED, *LIMITS):
            spelt = cells.spelling(key)
            if spelt is None or not changed[spelt]:
                continue
            day = _day(changed[spelt])
            if key in PROMISED:
                changed[spelt], dropped = "", dropped + 1
            elif day is not None:
                changed[spelt], moved = _in_year(day, years).isoformat(), moved + 1
        new_rows.append(Row(row.number, changed))
    notices = []
    if dropped:
        notices.append(Notice(sheet.name, f"{dropped} booked and told dates are left out."))
    if moved:
        text = f"{moved} dates in not_before and not_after are moved by {years} year{'s' * (years != 1)}."
        notices.append(Notice(sheet.name, f"{text} Look whether they still hold."))
    if not dropped and not moved:
        shutil.copyfile(sheet, made / sheet.name)
    elif sheet.suffix.lower() == ".csv":
        (made / sheet.name).write_bytes(written_sheet(replace(table, rows=tuple(new_rows))))
    else:
        notices += _carry_workbook(sheet, made, replace(table, rows=tuple(new_rows)))
    return notices


def _carry_workbook(sheet: Path, made: Path, table: Table) -> list[Notice]:
    """The workbook with the changed cells; as a CSV file where formulas would lose their stored values."""
    import openpyxl  # late: only here

    book = openpyxl.load_workbook(io.BytesIO(sheet.read_bytes()))
    worksheet = book.worksheets[0]
    if any(cell.data_type == "f" for line in worksheet.iter_rows() for cell in line):
        (made / "sites.csv").write_bytes(written_sheet(table))
        return [Notice("sites.csv", "is new in place of the workbook, whose formulas would be lost.")]
    header = {
        column_key(str(cell.value)): cell.column
        for cell in worksheet[table.header_row]
        if cell.value is not None
    }
    spelt = {column_key(column): column for column in table.columns}
    for row in table.rows:
        for key in (*PROMISED, *LIMITS):
            if key in header:
                text = row.cells[spelt[key]]
                _set(worksheet.cell(row.number, header[key]), text, _day)
    book.save(made / sheet.name)
    return []


def _set(cell: Any, text: str, parse: Callable[[str], date | None]) -> None:
    cell.value = parse(text) if text else None
    if cell.value is not None:
        cell.number_format = "yyyy-mm-dd"


def _day(text: str) -> date | None:
    try:
        return parse_moment(text)[0]
    except BadCell:
        return None
