"""Forecast runs that can be made again to the last byte: what each was made from, kept beside the ledger.

The inputs lie in `.runs/inputs.sqlite`, apart from the ledger so that this stays small and quick to copy.
Files are cut into pieces at lines that their own text chooses, and each piece is kept once: a season of
daily weather files grows by a few kilobytes a run. The events are not copied: the ledger never loses any,
so those up to a number are the ledger of that time. Limit: another version of the program, or of a
library under it, may compute differently; `again` then says so.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
import tomllib
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from datetime import date
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.season.events import Entry, canonical_json, pack, unpack
from forecaster.season.ledger_file import connect, connect_to_read, plain_words, transaction

if TYPE_CHECKING:
    import sqlite3

    from forecaster.season.events import Event
    from forecaster.season.ledger import Ledger

STORE = PurePosixPath(".runs/inputs.sqlite")
GROUPS = ("settings", "sites", "readings", "weather", "other")
NOT_INPUTS = ("season.sqlite", "season.sqlite-journal", "backups", ".runs")
FORECAST_IDLE = frozenset(
    {"run", "settings", "sheet", "note", "outcome", "season", "alarm", "message", "gear"}
)
"""Kinds of events that no forecast reads."""

ForecastJson = Callable[[Path, date], str]
"""Season folder and as-of date to the forecast as JSON text."""


class RunDiffers(ForecasterError):
    """A run made again came out differently; the message says what may have changed. Exit code 1."""


def folder_inputs(folder: Path) -> dict[str, bytes]:
    """Every file that a forecast may read: settings, sheets, readings, weather; by path in the folder."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        first = name.split("/")[0]
        if first in NOT_INPUTS or first.startswith(".") or not path.is_file():
            continue
        if not path.name.startswith(("~$", ".")):  # what spreadsheet programs put beside an open file
            found[name] = path.read_bytes()
    return found


def input_digests(inputs: Mapping[str, bytes]) -> dict[str, str]:
    """SHA-256 of the inputs by group: settings, sites, readings, weather, other.

    >>> sorted(input_digests({"season.toml": b"", "weather/stations.csv": b""}))
    ['settings', 'weather']
    """
    digests = {}
    for group in GROUPS:
        named = [[name, _digest(inputs[name])] for name in sorted(inputs) if _group(name) == group]
        if named:
            digests[group] = _digest(canonical_json(named).encode())
    return digests


def keep_run(
    ledger: Ledger,
    *,
    inputs: Mapping[str, bytes],
    as_of: date,
    seed: int,
    version: str,
    output: str,
    last_event_id: int,
    who: str,
) -> int:
    """Keep inputs and output, then record the run; a change of settings since the last one is an event too.

    Args:
        inputs: Path in the season folder to bytes, as the forecast read them (`folder_inputs`).
        as_of: The as-of date.
        seed: The seed of the forecast.
        version: The version of the program.
        output: The forecast's JSON text.
        last_event_id: The last event that the forecast saw, 0 for none.
        who: Who let it run.
    Returns:
        The run's number; that of the earlier one where an identical run is recorded already.
    """
    pieces: dict[str, bytes] = {}
    manifest = {name: _cut(content, pieces) for name, content in sorted(inputs.items())}
    manifest_digest = _keep(canonical_json(manifest).encode(), pieces)
    output_digest = _keep(output.encode(), pieces)
    _store(ledger.folder, pieces)

    def decide(events: tuple[Event, ...]) -> list[Entry]:
        seen = [e.event_id for e in events if e.event_id <= last_event_id and e.kind not in FORECAST_IDLE]
        facts: dict[str, Any] = {
            "seed": seed,
            "version": version,
            "digests": input_digests(inputs),
            "last_event_id": max(seen, default=0),
            "output": output_digest,
            "manifest": manifest_digest,
        }
        changed = _settings_change(events, inputs.get("season.toml", b""), ledger.today())
        return [*changed, Entry("run", as_of, facts)]

    return ledger.write(decide, who=who, once="ever")[-1].event.event_id


def run_output(folder: Path, run: Event) -> str:
    """The JSON text that a run gave.

    Raises:
        ForecasterError: The inputs of the run are no longer kept.
    """
    with closing(_open_store(folder)) as store:
        return _piece(store, str(run.facts["output"])).decode()


def again(folder: Path, ledger: Ledger, run_id: int, forecast_json: ForecastJson, *, version: str) -> str:
    """Make a recorded run again from what it was made from, and compare it byte for byte.

    Args:
        folder: Season folder.
        ledger: Its ledger.
        run_id: Number of the run's event.
        forecast_json: Computes the forecast of a season folder.
        version: The version of the program that runs now.
    Returns:
        The JSON text, identical to that of the run.
    Raises:
        BadInput: There is no such run.
        RunDiffers: The text is another one.
    """
    run = find_run(ledger, run_id)
    with tempfile.TemporaryDirectory(prefix="forecaster-again-") as scratch:
        rebuilt = Path(scratch) / "season"
        rebuild(folder, ledger, run, rebuilt)
        made = forecast_json(rebuilt, run.day)
    if _digest(made.encode()) != run.facts["output"]:
        then = str(run.facts["version"])
        cause = (
            f"The run was made by version {then} of the program, this is {version}."
            if then != version
            else "The version is the same, but its own files, a library under it or the computer are not."
        )
        raise RunDiffers(f"Run {run_id}, made again, differs from what was recorded. {cause}")
    return made


def find_run(ledger: Ledger, run_id: int | None) -> Event:
    """The event of a run; the latest run where no number is given.

    Raises:
        BadInput: There is no such run; the message names the latest ones.
    """
    runs = [event for event in ledger.events() if event.kind == "run"]
    found = [run for run in runs if run_id is None or run.event_id == run_id]
    if found:
        return found[-1]
    where = "run" if run_id is None else f"run {run_id}"
    if not runs:
        text = "no forecast has been recorded in this folder yet. Make one: forecaster route FOLDER"
        raise BadInput(Problem(where, text))
    latest = ", ".join(f"{run.event_id} (as of {run.day})" for run in runs[-5:])
    raise BadInput(Problem(where, f"there is no such run. The latest are {latest}."))


def rebuild(folder: Path, ledger: Ledger, run: Event, into: Path) -> None:
    """Write the season folder as a run saw it, with the events of that time, to the folder `into`."""
    from forecaster.season.ledger_copy import copy_ledger  # late: it opens ledgers itself

    with closing(_open_store(folder)) as store:
        manifest = json.loads(_piece(store, str(run.facts["manifest"])))
        for name, pieces in manifest.items():
            path = into / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"".join(_piece(store, digest) for digest in pieces))
    copy_ledger(ledger, into, last_event_id=int(run.facts["last_event_id"]))


def _group(name: str) -> str:
    first = name.split("/")[0]
    stem = PurePosixPath(first).stem
    if name == "season.toml":
        return "settings"
    if "/" in name:
        return "weather" if first == "weather" else "other"
    return stem if stem in ("sites", "readings") else "other"


def _settings_change(events: tuple[Event, ...], toml: bytes, today: date) -> list[Entry]:
    """An entry with the settings that differ from those of the last run; none where nothing changed."""
    now = _flat(tomllib.loads(toml.decode("utf-8-sig")))
    kept = [event for event in events if event.kind == "settings"]
    before = unpack(kept[-1].document) if kept else now
    if kept and before == now:
        return []
    names = [name for name in sorted({*before, *now}) if before.get(name) != now.get(name)]
    changed = {name: [before.get(name), now.get(name)] for name in names}
    return [Entry("settings", today, {"changed": changed}, document=pack(now))]


def _flat(value: object, name: str = "") -> dict[str, Any]:
    """Settings by their full name, like "costs.warm_day" and "crew.1.name"; dates and times as text."""
    if isinstance(value, dict):
        parts: Iterator[tuple[str, object]] = ((str(key), inner) for key, inner in value.items())
    elif isinstance(value, list) and any(isinstance(inner, dict) for inner in value):
        parts = ((str(number), inner) for number, inner in enumerate(value, start=1))
    elif isinstance(value, list):
        return {name: [_plain(inner) for inner in value]}
    else:
        return {name: _plain(value)}
    flat: dict[str, Any] = {}
    for key, inner in parts:
        flat.update(_flat(inner, f"{name}.{key}" if name else key))
    return flat


def _plain(value: object) -> object:
    return value if isinstance(value, bool | int | float | str) else str(value)


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _keep(content: bytes, pieces: dict[str, bytes]) -> str:
    digest = _digest(content)
    pieces[digest] = content
    return digest


def _cut(content: bytes, pieces: dict[str, bytes]) -> list[str]:
    """Digests of the pieces of a file; a piece ends with a line that its own text chooses (1 in 1024).

    So a line added or changed anywhere changes one or two pieces, and the others are shared with the runs
    before.
    """
    digests, start, end = [], 0, 0
    for line in content.splitlines(keepends=True):
        end += len(line)
        if zlib.crc32(line) & 0x3FF == 0:
            digests.append(_keep(content[start:end], pieces))
            start = end
    if start < len(content):
        digests.append(_keep(content[start:], pieces))
    return digests


def _store(folder: Path, pieces: Mapping[str, bytes]) -> None:
    path = folder / STORE
    table = "CREATE TABLE IF NOT EXISTS piece (digest TEXT PRIMARY KEY, content BLOB NOT NULL) STRICT"
    with plain_words(path):
        with suppress(OSError):  # where it cannot be made, opening the file says so
            path.parent.mkdir(exist_ok=True)
        with closing(connect(path, mode="rwc")) as store, transaction(store):
            store.execute(table)
            known = {row[0] for row in store.execute("SELECT digest FROM piece")}
            rows = [(d, zlib.compress(content)) for d, content in pieces.items() if d not in known]
            store.executemany("INSERT INTO piece VALUES (?, ?)", rows)


def _open_store(folder: Path) -> sqlite3.Connection:
    path = folder / STORE
    if not path.is_file():
        raise ForecasterError(
            f"{STORE} is missing in {folder}: what the run was made from is no longer kept there."
            " Put the file back from where the folder was copied, or make a new run."
        )
    with plain_words(path):
        return connect_to_read(path)


def _piece(store: sqlite3.Connection, digest: str) -> bytes:
    sql = "SELECT content FROM piece WHERE digest = ?"
    row = store.execute(sql, (digest,)).fetchone()
    content = zlib.decompress(row[0]) if row else b""
    if row is None or _digest(content) != digest:
        raise ForecasterError(f"{STORE}: a part of what the run was made from is missing or damaged.")
    return content
