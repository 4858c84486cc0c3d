"""Everything in the ledger as CSV files or workbooks, so that the office is never locked in.

`events` holds every event as it was recorded, undone ones too; the other lists hold what stands, in the
shape in which `import` takes them. Texts never run as formulas (`exchange_cells.py`).
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, Literal

from forecaster.errors import BadInput, Problem
from forecaster.season.event_words import event_words
from forecaster.season.events import Event, canonical_json
from forecaster.season.exchange_cells import Rows, Value, csv_bytes, xlsx_bytes
from forecaster.season.exchange_lists import LISTS
from forecaster.season.known_sites import Basics
from forecaster.season.ledger_file import LedgerFault
from forecaster.season.state import SeasonState

Format = Literal["csv", "xlsx"]
EVENT_COLUMNS = (
    *("event_id", "kind", "site_id", "customer", "day", "words", "recorded_by", "recorded_at"),
    *("undone", "undoes", "source", "facts"),
)


@dataclass(frozen=True)
class ExportTable:
    """One file of the export."""

    name: str
    columns: tuple[str, ...]
    rows: Rows


def export_tables(state: SeasonState, basics: Basics) -> tuple[ExportTable, ...]:
    """The lists, the plan in force, outlooks, runs, changes of settings, and all events."""
    standing = [event for event in state.events if event.event_id not in state.undone]
    tables = []
    for kind in LISTS:
        rows = [
            {"site_id": event.site_id, **_record(event, basics), **kind.row_of(event, basics)}
            for event in standing
            if event.kind in kind.kinds
        ]
        columns = (*kind.columns(basics), "customer", "recorded_by", "recorded_at", "event_id")
        tables.append(ExportTable(kind.name, columns, rows))
    plan = ("date", "crew", "stop", "site_id", "customer", "arrive", "leave")
    outlook = ("station_id", "issued", "date", "tmin_c", "tmax_c", "source")
    runs = ("event_id", "as_of", "seed", "version", "last_event_id", "inputs", "output", "recorded_by")
    changes = ("day", "setting", "was", "is", "recorded_by", "event_id")
    return (
        *tables,
        ExportTable("plan", plan, list(_plan_rows(state, basics))),
        ExportTable("outlooks", outlook, list(_outlook_rows(state))),
        ExportTable("runs", runs, list(_run_rows(state))),
        ExportTable("settings-changes", changes, list(_change_rows(state))),
        ExportTable("events", EVENT_COLUMNS, [_event_row(event, state, basics) for event in state.events]),
    )


def export_folder(state: SeasonState, basics: Basics, to: Path, *, fmt: Format = "csv") -> tuple[Path, ...]:
    """Write the export to the folder `to`, which must not exist or be empty; the files written.

    The files are made beside the folder and put there when all are complete.

    Raises:
        BadInput: `to` is a file or holds something.
        LedgerFault: It cannot be written.
    """
    target = to.resolve()
    cure = "Name a folder that does not exist yet."
    if target.exists() and not target.is_dir():
        raise BadInput(Problem(str(to), f"is a file. {cure}"))
    if target.is_dir() and any(target.iterdir()):
        raise BadInput(Problem(str(to), f"is not empty, and nothing in it is overwritten. {cure}"))
    if not target.parent.is_dir():
        raise BadInput(Problem(str(to), f"its folder {target.parent} does not exist. Make it first."))
    written = []
    try:
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".export-") as scratch:
            for table in export_tables(state, basics):
                content = (
                    csv_bytes(table.columns, table.rows)
                    if fmt == "csv"
                    else xlsx_bytes(table.columns, table.rows, title=table.name)
                )
                (Path(scratch) / f"{table.name}.{fmt}").write_bytes(content)
            target.mkdir(exist_ok=True)
            for file in sorted(Path(scratch).iterdir()):
                written.append(file.replace(target / file.name))
    except OSError as error:
        text = f"{to}: cannot be written ({error.strerror}). Free some space, or name another folder."
        raise LedgerFault(text) from error
    return tuple(written)


def _record(event: Event, basics: Basics) -> dict[str, Value]:
    site = basics.sites.get(event.site_id)
    return {
        "customer": site.customer if site else None,
        "recorded_by": event.who,
        "recorded_at": event.recorded_at.astimezone(basics.zone).isoformat(timespec="seconds"),
        "event_id": event.event_id,
    }


def _event_row(event: Event, state: SeasonState, basics: Basics) -> dict[str, Value]:
    return {
        **_record(event, basics),
        "kind": event.kind,
        "site_id": event.site_id,
        "day": event.day,
        "words": event_words(event, basics),
        "undone": "yes" if event.event_id in state.undone else None,
        "undoes": event.undoes,
        "source": event.source,
        "facts": canonical_json(dict(event.facts)),
    }


def _plan_rows(state: SeasonState, basics: Basics) -> Iterator[dict[str, Value]]:
    plan: dict[str, Any] = state.plan or {}
    for crew_day in plan.get("crew_days", ()):
        for number, stop in enumerate(crew_day["stops"], start=1):
            site = basics.sites.get(stop["site_id"])
            yield {
                "date": crew_day["date"],
                "crew": crew_day["crew"],
                "stop": number,
                "site_id": stop["site_id"],
                "customer": site.customer if site else None,
                "arrive": stop.get("arrive"),
                "leave": stop.get("leave"),
            }


def _outlook_rows(state: SeasonState) -> Iterator[dict[str, Value]]:
    for event in state.outlook_events:
        facts = event.facts
        for lead, tmin_c, tmax_c in zip(facts["leads"], facts["tmin_c"], facts["tmax_c"], strict=True):
            yield {
                "station_id": facts["station_id"],
                "issued": event.day,
                "date": event.day + timedelta(days=lead),
                "tmin_c": tmin_c,
                "tmax_c": tmax_c,
                "source": facts["source"],
            }


def _run_rows(state: SeasonState) -> Iterator[dict[str, Value]]:
    for run in state.runs:
        yield {
            "event_id": run.event_id,
            "as_of": run.as_of,
            "seed": run.seed,
            "version": run.version,
            "last_event_id": run.last_event_id,
            "inputs": canonical_json(dict(run.digests)),
            "output": run.output_digest,
            "recorded_by": run.who,
        }


def _change_rows(state: SeasonState) -> Iterator[dict[str, Value]]:
    for change in state.settings_changes:
        for name, (before, now) in change.changed.items():
            yield {
                "day": change.day,
                "setting": name,
                "was": None if before is None else str(before),
                "is": None if now is None else str(now),
                "recorded_by": change.who,
                "event_id": change.event_id,
            }
