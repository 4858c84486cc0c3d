"""The commands that put a plan in force and make a recorded forecast again."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forecaster import __version__
from forecaster.cli_ledger_desk import Desk, Folder, ForecastJson, Who, Yes, agreed, open_desk, warn
from forecaster.errors import BadInput, ForecasterError, Problem

if TYPE_CHECKING:
    from forecaster.season.events import Entry, Event
    from forecaster.season.ledger import Clock, Ledger
    from forecaster.season.state import SeasonState


class PlanCommands:
    """The commands, with the clock that they go by and the function that makes a forecast."""

    def __init__(self, clock: Clock, forecast_json: ForecastJson) -> None:
        self.clock = clock
        self.forecast_json = forecast_json

    def accept(
        self,
        folder: Folder,
        run: Annotated[
            int | None,
            typer.Argument(
                metavar="[RUN]", help="Number of the forecast; default the latest.", show_default=False
            ),
        ] = None,
        as_of: Annotated[
            str,
            typer.Option("--as-of", metavar="DATE", help="Make a forecast of this day now, and accept it."),
        ] = "",
        yes: Yes = False,
        who: Who = "",
    ) -> None:
        """Put a plan in force. `route` alone never does.

        Example: forecaster accept my-season
        """
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_runs import find_run, run_output
        from forecaster.season.state import derive

        desk = open_desk(folder, who, self.clock)
        if run is not None and as_of:
            raise BadInput(
                Problem("accept", "a number of a run and --as-of exclude each other. Leave one out.")
            )
        with open_ledger(folder, clock=self.clock) as ledger:
            state = derive(ledger.events(), season=desk.basics.year)
            if run is None and (as_of or not state.runs):
                run = self._run_now(desk, ledger, as_of)
                state = derive(ledger.events(), season=desk.basics.year)
            event = find_run(ledger, run)
            if state.plan_event is not None and state.plan_event.facts.get("run_id") == event.event_id:
                typer.echo(f"The plan of run {event.event_id} is in force already.")
                return
            plan: dict[str, Any] = json.loads(run_output(folder, event))
            sites = _read_sheet(folder)
            doubts = _doubts(desk, state, event, sites)
            for doubt in doubts:
                typer.echo(f"Note: {doubt}", err=True)
            if doubts:
                cure = f"Make a new forecast (forecaster route {folder}), or say --yes to accept this one."
                agreed("Put this plan in force all the same?", yes=yes, cure=cure)
            number = _put_in_force(desk, ledger, state, event, plan, sites)
            warn(ledger.notices)
        typer.echo(f"Recorded as event {number}. {_plan_words(plan)}")
        typer.echo(f"  To take it back: forecaster undo {folder} {number}")

    def again(
        self,
        folder: Folder,
        run: Annotated[
            int, typer.Argument(metavar="RUN", help="Number of the forecast.", show_default=False)
        ],
        json_file: Annotated[
            Path | None, typer.Option("--json", metavar="FILE", help="Write it to a file; default: show it.")
        ] = None,
    ) -> None:
        """Make a recorded forecast again from what it was made from, the same to the last byte.

        Example: forecaster again my-season 57 --json again.json
        """
        from forecaster.files import write_text
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_file import check_folder
        from forecaster.season.ledger_runs import again

        check_folder(folder)
        ledger = open_ledger(folder, readonly=True, clock=self.clock)
        if ledger is None:
            text = f"no forecast was recorded in {folder} yet. Make one: forecaster route {folder}"
            raise BadInput(Problem(f"run {run}", text))
        with ledger:
            text = again(folder, ledger, run, self.forecast_json, version=__version__)
        if json_file is None:
            typer.echo(text, nl=False)
        else:
            write_text(json_file, text)
            typer.echo(f"Run {run} made again, identical. Written: {json_file}", err=True)

    def _run_now(self, desk: Desk, ledger: Ledger, as_of: str) -> int:
        """Make and record a forecast; its number."""
        from forecaster.season.ledger_runs import folder_inputs
        from forecaster.season.settings import read_settings

        known, inputs = ledger.last_event_id(), folder_inputs(desk.folder)
        day = desk.day(as_of, where="--as-of")
        output = self.forecast_json(desk.folder, day)
        return ledger.record_run(
            inputs=inputs,
            as_of=day,
            seed=read_settings(desk.folder).season.seed,
            version=__version__,
            output=output,
            last_event_id=known,
            who=desk.who,
        )


def _read_sheet(folder: Path) -> tuple[Any, ...]:
    from forecaster.season.settings import read_settings
    from forecaster.season.sheet import read_sites

    settings = read_settings(folder)
    return read_sites(folder, crew_names=[crew.name for crew in settings.crews])[0]


def _doubts(desk: Desk, state: SeasonState, run: Event, sites: tuple[Any, ...]) -> list[str]:
    """Why the plan of a run should be looked at before it is put in force."""
    from forecaster.season.changes import sheet_changes
    from forecaster.season.ledger_runs import folder_inputs, input_digests
    from forecaster.season.state import DATA_KINDS

    doubts = []
    known = int(run.facts["last_event_id"])
    later = [e for e in state.events if e.event_id > known and e.kind in (*DATA_KINDS, "undo")]
    if later:
        counts = ", ".join(f"{count} {kind}" for kind, count in Counter(e.kind for e in later).items())
        doubts.append(f"this plan was made before {len(later)} later events ({counts}).")
    present, then = input_digests(folder_inputs(desk.folder)), run.facts["digests"]
    names = [name for name in ("settings", "sites", "readings") if present.get(name) != then.get(name)]
    if names:
        doubts.append(f"{' and '.join(names)} changed since this plan was made.")
    if run.day < desk.today and not later and not names:
        doubts.append(f"this plan was made as of {run.day}, today is {desk.today}.")
    last = state.plan_event
    if last is not None and last.event_id > run.event_id:
        doubts.append(f"{last.who} put another plan in force since (event {last.event_id}).")
    changes = sheet_changes(state.sheet, sites, units=desk.basics.units)
    doubts += [f"the site sheet changed: {change.notice()}" for change in changes if change.serious]
    return doubts


def _put_in_force(
    desk: Desk, ledger: Ledger, seen: SeasonState, run: Event, plan: dict[str, Any], sites: tuple[Any, ...]
) -> int:
    """Record plan and confirmed sheet in one piece, unless somebody was quicker with another plan."""
    from forecaster.season.changes import sheet_entry, sheet_snapshot
    from forecaster.season.events import Entry, pack

    def decide(events: tuple[Event, ...]) -> list[Entry]:
        newer = [e for e in events if e.event_id > seen.last_event_id and e.kind == "plan"]
        if newer:
            text = (
                f"{newer[-1].who} just put another plan in force (event {newer[-1].event_id}). See it first."
            )
            raise BadInput(Problem("accept", text))
        facts = {"last_event_id": run.facts["last_event_id"], "run_id": run.event_id}
        entries = [Entry("plan", run.day, facts, document=pack(plan))]
        if seen.sheet != sheet_snapshot(sites):
            entries.append(sheet_entry(sites, desk.today))
        return entries

    return ledger.write(decide, who=desk.who)[0].event.event_id


def _plan_words(plan: dict[str, Any]) -> str:
    days = [crew_day for crew_day in plan.get("crew_days", ()) if crew_day["stops"]]
    if not days:
        return "A plan without any crew-day is in force."
    stops = sum(len(crew_day["stops"]) for crew_day in days)
    first, last = min(day["date"] for day in days), max(day["date"] for day in days)
    return f"The plan is in force: {stops} sites on {len(days)} crew-days, {first} to {last}."


def pipeline_json(folder: Path, as_of: date) -> str:
    """The forecast of a season folder as JSON text."""
    try:
        from forecaster.pipeline import forecast_json
    except ImportError as error:
        raise ForecasterError(
            f"A part of the program is missing ({error.name}). Install it again."
        ) from error
    return forecast_json(folder, as_of)


def register_plan(app: typer.Typer, clock: Clock, forecast_json: ForecastJson) -> None:
    """Add the commands to `app`."""
    commands = PlanCommands(clock, forecast_json)
    app.command("accept")(commands.accept)
    app.command("again")(commands.again)
