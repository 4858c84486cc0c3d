"""The season's ledger, `season.sqlite`: everything that was read, told, booked and done; nothing is lost.

One SQLite file with STRICT tables and a rollback journal. Table `event` is append-only (triggers forbid
UPDATE, DELETE and REPLACE, and any number but the next one); what holds now is derived from it (`state.py`):

    event_id     1, 2, 3, ... in the order of recording
    kind         reading, told, booked, unbooked, closed, skipped, visit, note, outcome, thermometer (said
                 by people); plan, sheet, settings, outlook, run, season, alarm, message (kept by the
                 program); undo
    day          the local date that it speaks of; that of an undo is that of what it undoes
    site_id      "" for none
    who          who recorded it
    recorded_at  when, UTC, to the microsecond: a forecast of a past day uses what was recorded by then
    facts        JSON, in °C, metres, hours, dollars, ISO dates (`events.py` says which); absent: not given
    undoes       for an undo: the event that it takes back; taking back an undo brings that event back
    source       "" or where it was imported from ("closings.csv row 3")
    document     long facts as compressed JSON: a plan, a sheet, settings
    digest       of what it says; equal only if kind, site, day and facts are, so a list imports once

Table `migration` records each step that the file's format took (`ledger_schema.py`), `user_version` the last
one. Beside the file: `backups/` (one verified copy a day) and `.runs/` (what forecasts were made from).
Limits: whole days and seconds; one folder is one office's season, two folders are never merged.
"""

from __future__ import annotations

import sqlite3
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, overload
from zoneinfo import ZoneInfo

from forecaster.errors import ForecasterError, Notice
from forecaster.season.events import Entry, Event, pack
from forecaster.season.ledger_file import (
    LedgerFault,
    check_folder,
    connect,
    connect_to_read,
    in_memory,
    plain_words,
    transaction,
)
from forecaster.season.ledger_rows import COLUMNS, INSERT_SQL, events_of, row_of_entry, stamp_of
from forecaster.season.ledger_schema import MIGRATIONS, Migration, check_file, file_version, migrate
from forecaster.season.state import SeasonState, derive, undone_events
from forecaster.season.state_readings import uncollected

if TYPE_CHECKING:
    from forecaster.weather.stations import Outlook

LEDGER_NAME = "season.sqlite"
OLDEST_SQLITE = (3, 38, 0)  # STRICT tables (3.37) and JSON functions in every build (3.38)
Clock = Callable[[], datetime]
Once = Literal["no", "standing", "ever"]
"""Whether an entry that the ledger holds already is added again: always, unless it stands, or never."""

Decide = Callable[[tuple[Event, ...]], Sequence[Entry]]


class Recorded(NamedTuple):
    """What became of an entry: its event, and whether it was there before (`undone`: and taken back)."""

    event: Event
    new: bool = True
    undone: bool = False


def utc_now() -> datetime:
    """The clock of this computer, UTC."""
    return datetime.now(UTC)


class Ledger:
    """An open ledger; use it in a `with` block. One thread at a time: a server opens one a request.

    The file is made by the first write that is not refused. `notices` collects what the user should know
    but what stopped nothing (a copy that could not be made).
    """

    def __init__(
        self, folder: Path, *, readonly: bool, clock: Clock, migrations: Sequence[Migration] = MIGRATIONS
    ) -> None:
        self.folder = folder
        self.path = folder / LEDGER_NAME
        self.zone = season_zone(folder)
        self.clock = clock
        self.readonly = readonly
        self.notices: list[Notice] = []
        self._migrations = migrations
        self._connection: sqlite3.Connection | None = None
        self._copied = False
        self._connected()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was recorded is safe without it."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def today(self) -> date:
        """The date by the clock in the season's time zone."""
        return self.clock().astimezone(self.zone).date()

    def events(self, until: date | None = None) -> tuple[Event, ...]:
        """The events in the order of recording; with `until`, those recorded up to the end of that day.

        This is what was known on a day. Which day an event speaks of is `derive`'s matter. Days end at
        midnight in the season's time zone.
        """
        where, values = "", []
        if until is not None:
            end = datetime.combine(until + timedelta(days=1), time(), self.zone)
            where, values = "WHERE recorded_at < ?", [stamp_of(end)]
        sql = f"SELECT {COLUMNS} FROM event {where} ORDER BY event_id"
        with uncollected():
            return events_of(self._rows(sql, values))

    def state(self, until: date | None = None, *, known_on: date | None = None) -> SeasonState:
        """What holds for events of days up to `until`, of those recorded up to the end of `known_on`."""
        return derive(self.events(known_on), until)

    def event(self, event_id: int) -> Event | None:
        """One event by its number, None where there is none."""
        sql = f"SELECT {COLUMNS} FROM event WHERE event_id = ?"
        found = events_of(self._rows(sql, [event_id]))
        return found[0] if found else None

    def last_event_id(self) -> int:
        """Number of the latest event, 0 where there is none."""
        found = self._rows("SELECT coalesce(max(event_id), 0) FROM event", [])
        return int(found[0][0]) if found else 0

    def append(
        self, entries: Entry | Iterable[Entry], *, who: str, once: Once = "no"
    ) -> tuple[Recorded, ...]:
        """Record entries, all or none; when this returns they are on the disk.

        Args:
            entries: One or several.
            who: Who recorded them.
            once: Whether an entry that the ledger holds already, or held until it was undone, adds an event.
        Raises:
            LedgerFault: The file cannot be written; nothing was recorded.
        """
        given = [entries] if isinstance(entries, Entry) else list(entries)
        return self.write(lambda _: given, who=who, once=once, needs_events=False)

    def write(
        self, decide: Decide, *, who: str, once: Once = "no", needs_events: bool = True
    ) -> tuple[Recorded, ...]:
        """Record what `decide` makes of the events so far; nobody else records anything in between.

        `decide` may raise to refuse: then nothing is recorded. It sees all events, or none where
        `needs_events` is False. It may be called twice.
        """
        if self.readonly:
            raise LedgerFault(f"{LEDGER_NAME}: was opened for reading only. Nothing was recorded.")
        connection = self._connected()
        if connection is None:
            if not decide(()):
                return ()
            connection = self._made()
        self._copy_of_the_day()
        with plain_words(self.path), transaction(connection):
            entries = decide(self.events() if needs_events else ())
            return self._insert(connection, entries, who, once)

    def keep_outlook(self, outlook: Outlook, *, who: str = "forecaster") -> bool:
        """Keep an outlook, so that its error can be learnt; False where it was kept before."""
        from forecaster.season.outlook_events import outlook_entry

        return self.append(outlook_entry(outlook), who=who, once="ever")[0].new

    def put_plan_in_force(
        self,
        plan: Mapping[str, Any],
        *,
        who: str = "forecaster",
        run_id: int | None = None,
        last_event_id: int | None = None,
    ) -> int:
        """Put a plan in force: its event's number.

        Args:
            plan: What `route` says as JSON; needs `as_of` (ISO date), keeps everything.
            who: Who decided it.
            run_id: The forecast run that it came from.
            last_event_id: The last event that the plan knew of; by default the latest of all.
        """
        known = self.last_event_id() if last_event_id is None else last_event_id
        facts: dict[str, Any] = {"last_event_id": known}
        if run_id is not None:
            facts["run_id"] = run_id
        day = date.fromisoformat(str(plan["as_of"]))
        return self.append(Entry("plan", day, facts, document=pack(dict(plan))), who=who)[0].event.event_id

    def record_run(
        self,
        *,
        inputs: Mapping[str, bytes],
        as_of: date,
        seed: int,
        version: str,
        output: str,
        last_event_id: int,
        who: str = "forecaster",
    ) -> int:
        """Record a forecast run with all it was made from; see `ledger_runs.keep_run`. Returns its number."""
        from forecaster.season.ledger_runs import keep_run

        return keep_run(
            self,
            inputs=inputs,
            as_of=as_of,
            seed=seed,
            version=version,
            output=output,
            last_event_id=last_event_id,
            who=who,
        )

    def _connected(self) -> sqlite3.Connection | None:
        """The open file, None as long as there is none."""
        if self._connection is None and self.path.is_file():
            self._connection = self._opened(make=False)
        return self._connection

    def _made(self) -> sqlite3.Connection:
        self._connection = self._opened(make=True)
        return self._connection

    def _opened(self, *, make: bool) -> sqlite3.Connection:
        """The file in the present format; an older one that is only read is brought up to date in memory."""
        with plain_words(self.path):
            connection = (
                connect_to_read(self.path)
                if self.readonly
                else connect(self.path, mode="rwc" if make else "rw")
            )
            try:
                if check_file(connection, LEDGER_NAME, migrations=self._migrations):
                    return connection
                if self.readonly:
                    on_disk, connection = connection, in_memory(connection)
                    on_disk.close()
                elif file_version(connection):
                    self._copy_of_the_day()
                with transaction(connection):
                    migrate(connection, now=self.clock(), migrations=self._migrations)
            except BaseException:
                connection.close()
                raise
            return connection

    def _rows(self, sql: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
        connection = self._connected()
        if connection is None:
            return []
        with plain_words(self.path):
            return connection.execute(sql, values).fetchall()

    def _copy_of_the_day(self) -> None:
        if not self._copied:
            from forecaster.season.backup import copy_of_the_day

            self._copied = True
            self.notices.extend(copy_of_the_day(self.folder, today=self.today()))

    def _insert(
        self, connection: sqlite3.Connection, entries: Iterable[Entry], who: str, once: Once
    ) -> tuple[Recorded, ...]:
        recorded = []
        now = self.clock()
        for entry in entries:
            before = None if once == "no" else self._recorded_before(entry)
            if before is not None and before.undone and once == "standing":
                before = None
            if before is None:
                row = row_of_entry(entry, who, now)
                number = connection.execute(INSERT_SQL, row).lastrowid
                before = Recorded(events_of([(number, *row[1:])])[0])
            recorded.append(before)
        return tuple(recorded)

    def _recorded_before(self, entry: Entry) -> Recorded | None:
        sql = f"SELECT {COLUMNS} FROM event WHERE digest = ? ORDER BY event_id"
        same = events_of(self._rows(sql, [entry.digest]))
        if not same:
            return None
        undone = undone_events(
            events_of(self._rows(f"SELECT {COLUMNS} FROM event WHERE undoes IS NOT NULL", []))
        )
        standing = [event for event in same if event.event_id not in undone]
        return Recorded((standing or same)[-1], new=False, undone=not standing)


@overload
def open_ledger(
    folder: Path,
    *,
    readonly: Literal[False] = False,
    clock: Clock = utc_now,
    migrations: Sequence[Migration] = MIGRATIONS,
) -> Ledger: ...
@overload
def open_ledger(
    folder: Path,
    *,
    readonly: bool,
    clock: Clock = utc_now,
    migrations: Sequence[Migration] = MIGRATIONS,
) -> Ledger | None: ...
def open_ledger(
    folder: Path,
    *,
    readonly: bool = False,
    clock: Clock = utc_now,
    migrations: Sequence[Migration] = MIGRATIONS,
) -> Ledger | None:
    """The ledger of a season folder; where it is missing, None if it is only to be read.

    Args:
        folder: Season folder.
        readonly: Nothing is written, also where a write of somebody else was cut off.
        clock: Gives the time at which events are recorded.
        migrations: The steps of the file's format.
    Raises:
        BadInput: No season folder, another program's file, or one of a newer version of this program.
        LedgerFault: The file is damaged, or cannot be written.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        found, needed = sqlite3.sqlite_version, ".".join(map(str, OLDEST_SQLITE))
        raise ForecasterError(f"Python brings SQLite {found}; the ledger needs {needed}. Use a newer Python.")
    if readonly and not (folder / LEDGER_NAME).is_file():
        return None
    if not readonly:
        check_folder(folder)
    return Ledger(folder, readonly=readonly, clock=clock, migrations=migrations)


def season_zone(folder: Path) -> ZoneInfo:
    """The time zone of `season.toml`; UTC where the file does not tell (it is refused elsewhere)."""
    try:
        with (folder / "season.toml").open("rb") as file:
            return ZoneInfo(str(tomllib.load(file)["season"]["timezone"]))
    except (OSError, ValueError, LookupError, TypeError):
        return ZoneInfo("UTC")
