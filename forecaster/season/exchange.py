"""Lists of the office into the ledger: readings, closings, bookings and the rest, from CSV or workbook.

A list is taken whole or not at all, and the same list twice adds nothing: what an entry says is compared
with everything that the ledger ever held. A list also never undoes a decision: an entry that was taken
back, or a date that was moved since, stays as it is, and the answer says so. Limit: the first worksheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.cells import Cells, columns_notice
from forecaster.season.events import Entry, Event
from forecaster.season.exchange_list import List
from forecaster.season.exchange_lists import LISTS
from forecaster.season.exchange_rows import RowReader
from forecaster.season.known_sites import Basics
from forecaster.season.ledger import Ledger
from forecaster.season.ledger_rules import outside_fall
from forecaster.season.state import SeasonState, derive, said_date, season_of, undone_events
from forecaster.season.tables import Row, Table, column_key, in_row_order, read_table


@dataclass(frozen=True)
class Imported:
    """What became of a list: the events that it added, and how many of its entries were there before."""

    name: str
    added: tuple[Event, ...]
    there: int
    notices: tuple[Notice, ...] = ()


def import_list(ledger: Ledger, path: Path, basics: Basics, *, who: str, name: str | None = None) -> Imported:
    """Record a list in the ledger.

    Args:
        ledger: Open for writing.
        path: A `.csv` or `.xlsx` file.
        basics: The season's units and sites.
        who: Who imports it.
        name: Which list it is ("readings", "closings", ...); by default what its columns say.
    Raises:
        BadInput: Cells or entries cannot be used: all of them at once, and nothing was recorded.
    """
    table = read_table(path)
    kind = _list_named(name, table) if name else _list_of(table)
    entries, notices = read_entries(table, kind, basics, today=ledger.today())
    there: list[int] = [0]
    told: list[Notice] = []

    def decide(events: tuple[Event, ...]) -> list[Entry]:
        wanted, there[0], told[:] = _wanted(entries, events, basics, today=ledger.today())
        return wanted

    recorded = ledger.write(decide, who=who)
    return Imported(kind.name, tuple(one.event for one in recorded), there[0], (*notices, *told))


def read_entries(
    table: Table, kind: List, basics: Basics, *, today: date
) -> tuple[list[Entry], list[Notice]]:
    """The entries of a list in the order of its rows, and what the user should know about its columns.

    Raises:
        BadInput: Cells that cannot be used: all of them at once.
    """
    problems: list[Problem] = []
    cells = Cells(table, problems)
    units = {quantity.name: cells.unit_of(quantity) for quantity in kind.quantities}
    _refuse_missing_columns(cells, kind)
    entries: list[Entry] = []
    for row in table.rows:
        try:
            entries += kind.entries_of(RowReader(cells, row, basics, today, units))
        except BadInput as error:  # an entry of its own that the cells alone did not show
            problems += [_placed(problem, table, row) for problem in error.problems]
    if problems:
        raise BadInput(in_row_order(problems))
    unknown = [name for name in table.columns if column_key(name) not in kind.known_columns]
    return entries, columns_notice(table, unknown, kind.known_columns, "not used")


def _list_of(table: Table) -> List:
    """The list that the columns of a table are of."""
    columns = {column_key(name) for name in table.columns}
    found = [kind for kind in LISTS if columns.intersection(kind.marks)]
    if len(found) == 1:
        return found[0]
    where = f"{table.name} row {table.header_row}"
    if found:
        names = " or ".join(kind.name for kind in found)
        raise BadInput(Problem(where, f"may be a list of {names}. Say which one: --list {found[0].name}"))
    marks = ", ".join(f"{kind.marks[-1]} ({kind.name})" for kind in LISTS)
    text = f"no column says what this list is of. Name one of its columns {marks}."
    raise BadInput(Problem(where, text))


def _list_named(name: str, table: Table) -> List:
    found = [kind for kind in LISTS if kind.name == name.casefold()]
    if not found:
        names = ", ".join(kind.name for kind in LISTS)
        raise BadInput(Problem("--list", f'"{name}" is no list. Write one of {names}.'))
    return found[0]


def _refuse_missing_columns(cells: Cells, kind: List) -> None:
    table, needed = cells.table, [] if kind.name in ("notes", "thermometers") else ["site_id"]
    if kind.name == "readings":
        needed.append("taken")
    where = f"{table.name} row {table.header_row}"
    for key in needed:
        if cells.spelling(key) is None:
            cells.problems.append(Problem(f"{where}, {key}", "this column is needed. Add it."))
    if not any(cells.spelling(mark) for mark in kind.marks[-2:]):
        names = " or ".join(kind.marks[-2:])
        cells.problems.append(Problem(f"{where}, {kind.marks[-1]}", f"needs {names}. Add or rename it."))


def _placed(problem: Problem, table: Table, row: Row) -> Problem:
    return Problem(f"{table.name} row {row.number}, {problem.where}", problem.text)


def _wanted(
    entries: Sequence[Entry], events: tuple[Event, ...], basics: Basics, *, today: date
) -> tuple[list[Entry], int, list[Notice]]:
    """The entries to add, how many are there already, and what to tell of those.

    Raises:
        BadInput: Entries that what holds already forbids, all at once.
    """
    undone = undone_events(events)
    before = {event.digest: event for event in events if event.event_id in undone}
    before.update({event.digest: event for event in events if event.event_id not in undone})
    states: dict[int, SeasonState] = {}
    wanted: dict[str, Entry] = {}
    problems: list[Problem] = []
    notices: list[Notice] = []
    there = 0
    for entry in entries:
        season = season_of(said_date(entry))
        if season not in states:
            states[season] = derive(events, season=season)
        known = before.get(entry.digest)
        if known is not None or entry.digest in wanted or _holds(entry, states[season]):
            there += 1
            notices += _left_alone(entry, known, states[season], undone, events)
            continue
        wrong = _refusal(entry, states[season], today=today, year=basics.year)
        if wrong is not None:
            problems.append(Problem(entry.source, f"{basics.name_of(entry.site_id)}: {wrong}"))
        wanted[entry.digest] = entry
    problems += _contradictions(wanted.values())
    if problems:
        raise BadInput(in_row_order(problems))
    return list(wanted.values()), there, notices


def _holds(entry: Entry, state: SeasonState) -> bool:
    """True where something that holds says it too."""
    if entry.kind == "closed":
        done = state.closed.get(entry.site_id)
        return done is not None and done.day == entry.day
    if entry.kind in ("told", "booked") and not entry.day_said:
        held = (state.told if entry.kind == "told" else state.booked).get(entry.site_id)
        return held == said_date(entry)
    return False


def _refusal(entry: Entry, state: SeasonState, *, today: date, year: int) -> str | None:
    """Why an entry of a list is not taken. Lists may hold earlier seasons, and a skip before the closing."""
    if entry.day > today:
        return f"{entry.day} is in the future (today is {today}). Correct the day."
    if season_of(said_date(entry)) > year:
        return outside_fall(said_date(entry), year)
    if entry.kind == "closed" and entry.site_id in state.closed:
        done = state.closed[entry.site_id]
        return (
            f"the row says closed on {entry.day}, but it is recorded as closed on {done.day} (event"
            f" {done.event_id}). Correct the row, or take that back: forecaster undo FOLDER {done.event_id}"
        )
    return None


def _left_alone(
    entry: Entry,
    known: Event | None,
    state: SeasonState,
    undone: frozenset[int],
    events: tuple[Event, ...],
) -> list[Notice]:
    """What to tell of an entry that adds nothing although it says something else than what holds now."""
    if known is None:
        if entry.kind == "closed" and (entry.facts.get("done") or entry.facts.get("crew_hours")):
            number = state.closed[entry.site_id].event_id
            text = f"{entry.site_id} is recorded as closed on that day (event {number}); left as it is there."
            return [Notice(entry.source, text)]
        return []
    if known.event_id in undone:
        taker = max(e.event_id for e in events if e.undoes == known.event_id and e.event_id not in undone)
        text = f"was recorded as event {known.event_id} and taken back since, so it was not added again."
        return [Notice(entry.source, f"{text} To have it again: forecaster undo FOLDER {taker}")]
    if entry.kind in ("told", "booked") and not entry.day_said:
        held = (state.told if entry.kind == "told" else state.booked).get(entry.site_id)
        if held != said_date(entry):
            since = f"moved to {held}" if held else "called off"
            text = f"{entry.site_id} was {entry.kind} for {said_date(entry)} before (event {known.event_id})"
            return [Notice(entry.source, f"{text} and {since} since; that was left as it is.")]
    return []


def _contradictions(wanted: Iterable[Entry]) -> list[Problem]:
    """Rows of one list that cannot both hold: two closings of a site, two dates without the day said."""
    problems, first = [], dict[tuple[str, str, int], Entry]()
    for entry in wanted:
        if entry.kind == "closed" or (entry.kind in ("told", "booked") and not entry.day_said):
            key = (entry.kind, entry.site_id, season_of(said_date(entry)))
            other = first.setdefault(key, entry)
            if other is not entry:
                text = f"{entry.site_id} is {entry.kind} on {said_date(other)} by {other.source} too."
                problems.append(Problem(entry.source, f"{text} Keep one of them."))
    return problems
