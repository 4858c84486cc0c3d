"""The season's ledger, `season.sqlite`: everything that was read, told, booked and done; nothing is lost.

TODO
"""

from __future__ import annotations

import json
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
    patiently,
    plain_words,
    transaction,
)
from forecaster.season.ledger_schema import MIGRATIONS, Migration, check_file, file_version, migrate
from forecaster.season.state import SeasonState, derive, uncollected, undone_events

if TYPE_CHECKING:
    from forecaster.weather.stations import Outlook

LEDGER_NAME = "season.sqlite"
OLDEST_SQLITE = (3, 38, 0)  # STRICT tables (3.37) and JSON functions in every build (3.38)
Clock = Callable[[], datetime]
Decide = Callable[[tuple[Event, ...]], Sequence[Entry]]
_COLUMNS = "event_id, kind, day, site_id, who, recorded_at, facts, undoes, source, document"
INSERT_SQL = f"INSERT INTO event ({_COLUMNS}, digest) VALUES ({', '.join('?' * 11)})"


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

    `notices` collects what the user should know but what stopped nothing (a copy that could not be made).
    """

    def __init__(
        self, folder: Path, connection: sqlite3.Connection, *, clock: Clock, zone: ZoneInfo, writable: bool
    ) -> None:
        self.folder = folder
        self.path = folder / LEDGER_NAME
        self.zone = zone
        self.notices: list[Notice] = []
        self._connection = connection
        self._clock = clock
        self._writable = writable
        self._copied = False

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was recorded is safe without it."""
        self._connection.close()

    def today(self) -> date:
        """The date by the clock in the season's time zone."""
        return self._clock().astimezone(self.zone).date()

    def events(self, until: date | None = None) -> tuple[Event, ...]:
        """The events in the order of recording; with `until`, those recorded up to the end of that day.

        This is what was known on a day. Which day an event speaks of is `derive`'s matter. Days end at
        midnight in the season's time zone.
        """
        where, values = "", []
        if until is not None:
            end = datetime.combine(until + timedelta(days=1), time(), self.zone)
            where, values = "WHERE recorded_at < ?", [_stamp(end)]
        sql = f"SELECT {_COLUMNS} FROM event {where} ORDER BY event_id"
        with plain_words(self.path), uncollected():
            return _events(patiently(lambda: self._connection.execute(sql, values).fetchall()))

    def state(self, until: date | None = None, *, known_on: date | None = None) -> SeasonState:
        """What holds for events of days up to `until`, of those recorded up to the end of `known_on`."""
        return derive(self.events(known_on), until)

    def event(self, event_id: int) -> Event | None:
        """One event by its number, None where there is none."""
        sql = f"SELECT {_COLUMNS} FROM event WHERE event_id = ?"
        with plain_words(self.path):
            rows = patiently(lambda: self._connection.execute(sql, (event_id,)).fetchall())
        return _events(rows)[0] if rows else None

    def last_event_id(self) -> int:
        """Number of the latest event, 0 where there is none."""
        with plain_words(self.path):
            sql = "SELECT coalesce(max(event_id), 0) FROM event"
            return int(patiently(lambda: self._connection.execute(sql).fetchone())[0])

    def append(
        self, entries: Entry | Iterable[Entry], *, who: str, unless_recorded: bool = False
    ) -> tuple[Recorded, ...]:
        """Record entries, all or none; when this returns they are on the disk.

        Args:
            entries: One or several.
            who: Who recorded them.
            unless_recorded: Add no second event for an entry that the ledger holds already, even undone.
        Raises:
            LedgerFault: The file cannot be written; nothing was recorded.
        """
        given = [entries] if isinstance(entries, Entry) else list(entries)
        return self.write(lambda _: given, who=who, unless_recorded=unless_recorded, needs_events=False)

    def write(
        self, decide: Decide, *, who: str, unless_recorded: bool = False, needs_events: bool = True
    ) -> tuple[Recorded, ...]:
        """Record what `decide` makes of the events so far; nobody else records anything in between.

        `decide` may raise to refuse: then nothing is recorded. It sees all events, or none where
        `needs_events` is False.
        """
        if not self._writable:
            raise LedgerFault(f"{LEDGER_NAME}: was opened for reading only. Nothing was recorded.")
        self._copy_of_the_day()
        with plain_words(self.path), transaction(self._connection):
            entries = decide(self.events() if needs_events else ())
            return self._insert(entries, who, unless_recorded)

    def keep_outlook(self, outlook: Outlook, *, who: str = "forecaster") -> bool:
        """Keep an outlook, so that its error can be learnt; False where it was kept before."""
        from forecaster.season.outlook_events import outlook_entry

        return self.append(outlook_entry(outlook), who=who, unless_recorded=True)[0].new

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

    def _copy_of_the_day(self) -> None:
        if not self._copied:
            from forecaster.season.backup import copy_of_the_day

            self._copied = True
            self.notices.extend(copy_of_the_day(self.folder, today=self.today()))

    def _insert(self, entries: Iterable[Entry], who: str, unless_recorded: bool) -> tuple[Recorded, ...]:
        recorded = []
        now = self._clock()
        for entry in entries:
            before = self._recorded_before(entry) if unless_recorded else None
            recorded.append(before or Recorded(self._insert_one(entry, who, now)))
        return tuple(recorded)

    def _insert_one(self, entry: Entry, who: str, now: datetime) -> Event:
        row = event_row(entry, who, now)
        number = self._connection.execute(INSERT_SQL, row).lastrowid
        return _events([(number, *row[1:-1])])[0]

    def _recorded_before(self, entry: Entry) -> Recorded | None:
        sql = f"SELECT {_COLUMNS} FROM event WHERE digest = ? ORDER BY event_id"
        same = _events(self._connection.execute(sql, (entry.digest,)).fetchall())
        if not same:
            return None
        undos = self._connection.execute(f"SELECT {_COLUMNS} FROM event WHERE undoes IS NOT NULL").fetchall()
        undone = undone_events(_events(undos))
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
    """The ledger of a season folder; made where it is missing, or None if it is only to be read.

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
    path = folder / LEDGER_NAME
    if readonly and not path.is_file():
        return None
    if not readonly:
        check_folder(folder)
    with plain_words(path):
        connection = connect_to_read(path) if readonly else connect(path, mode="rwc")
        try:
            connection = _up_to_date(connection, folder, readonly, clock, migrations)
        except BaseException:
            connection.close()
            raise
    return Ledger(folder, connection, clock=clock, zone=season_zone(folder), writable=not readonly)


def event_row(entry: Entry, who: str, now: datetime, event_id: int | None = None) -> tuple[Any, ...]:
    """The row of an entry, for INSERT_SQL; without a number it gets the next one."""
    return (
        *(event_id, entry.kind, entry.day.isoformat(), entry.site_id, who, _stamp(now)),
        *(json.dumps(entry.facts, ensure_ascii=False, allow_nan=False), entry.undoes),
        *(entry.source, entry.document, entry.digest),
    )


def season_zone(folder: Path) -> ZoneInfo:
    """The time zone of `season.toml`; UTC where the file does not tell (it is refused elsewhere)."""
    try:
        with (folder / "season.toml").open("rb") as file:
            return ZoneInfo(str(tomllib.load(file)["season"]["timezone"]))
    except (OSError, ValueError, LookupError, TypeError):
        return ZoneInfo("UTC")


def _up_to_date(
    connection: sqlite3.Connection,
    folder: Path,
    readonly: bool,
    clock: Clock,
    migrations: Sequence[Migration],
) -> sqlite3.Connection:
    """The connection to a file of the present format; an older one that is only read is changed in memory."""
    current = patiently(lambda: check_file(connection, LEDGER_NAME, migrations=migrations))
    if current:
        return connection
    if readonly:
        on_disk, connection = connection, in_memory(connection)
        on_disk.close()
    elif file_version(connection):
        from forecaster.season.backup import copy_of_the_day

        copy_of_the_day(folder, today=clock().astimezone(season_zone(folder)).date())
    with transaction(connection):
        migrate(connection, now=clock(), migrations=migrations)
    return connection


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _events(rows: Sequence[tuple[Any, ...]]) -> tuple[Event, ...]:
    """Events of rows in the order of _COLUMNS; the facts of all are parsed at once, which is faster."""
    all_facts = json.loads(f"[{','.join([row[6] for row in rows])}]")
    to_date, to_moment = date.fromisoformat, datetime.fromisoformat
    return tuple(
        [
            Event(number, kind, to_date(day), site_id, who, to_moment(stamp), facts, undoes, source, document)
            for (number, kind, day, site_id, who, stamp, _, undoes, source, document), facts in zip(
                rows, all_facts, strict=True
            )
        ]
    )
