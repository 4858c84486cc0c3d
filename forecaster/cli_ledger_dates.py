"""The commands about dates promised to customers, and the one that takes anything back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.cli_ledger_desk import Folder, SaidOn, SiteName, Who, Why, open_desk, warn
from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from forecaster.season.events import Entry, Event
    from forecaster.season.ledger import Clock
    from forecaster.season.state import SeasonState


class DateCommands:
    """The commands, with the clock that they go by."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock

    def told(
        self,
        folder: Folder,
        site: SiteName,
        day: Annotated[str, typer.Argument(metavar="DATE", help="The date announced.", show_default=False)],
        on: SaidOn = "",
        who: Who = "",
    ) -> None:
        """Record the date that a customer was told.

        Example: forecaster told my-season V-03 "15 Oct"
        """
        self._promise("told", folder, site, day, on, who)

    def book(
        self,
        folder: Folder,
        site: SiteName,
        day: Annotated[str, typer.Argument(metavar="DATE", help="The date agreed.", show_default=False)],
        on: SaidOn = "",
        who: Who = "",
    ) -> None:
        """Record the date agreed with a customer; the plan keeps it.

        Example: forecaster book my-season V-03 10/15
        """
        self._promise("booked", folder, site, day, on, who)

    def unbook(self, folder: Folder, site: SiteName, why: Why = "", on: SaidOn = "", who: Who = "") -> None:
        """Record that a booked or told date was called off; the plan is free again.

        Example: forecaster unbook my-season V-03 --why "customer away"
        """
        from forecaster.season import events
        from forecaster.season.ledger import open_ledger
        from forecaster.season.state import derive
        from forecaster.season.state_sheet import standing_dates

        desk = open_desk(folder, who, self.clock)
        known, day = desk.site(site), desk.day(on)
        if day > desk.today:
            raise BadInput(
                Problem("--on", f"{day} is in the future (today is {desk.today}). Correct the day.")
            )

        def decide(recorded: tuple[Event, ...]) -> list[Entry]:
            state = derive(recorded, season=desk.basics.year)
            dates = standing_dates(known.site_id, known.sheet_dates, state)
            if not dates:
                text = "has no booked or told date, so there is none to call off."
                raise BadInput(Problem(str(known), text))
            return [events.unbooked(known.site_id, day, dates=dates, reason=why)]

        with open_ledger(folder, clock=self.clock) as ledger:
            recorded = ledger.write(decide, who=desk.who)
            warn(ledger.notices)
        for one in recorded:
            desk.confirm_event(one.event)

    def move(
        self,
        folder: Folder,
        site: SiteName,
        day: Annotated[
            str, typer.Argument(metavar="[DATE]", help="The day of the visit.", show_default=False)
        ] = "",
        crew: Annotated[
            str, typer.Argument(metavar="[CREW]", help="The crew that goes.", show_default=False)
        ] = "",
        free: Annotated[bool, typer.Option("--free", help="Let the plan choose again.")] = False,
        who: Who = "",
    ) -> None:
        """Put a visit on a crew-day by hand; the plan keeps it there, the customer is not told anything.

        Example: forecaster move my-season V-03 "15 Oct" Heron
        """
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        site_id = desk.site(site).site_id
        if free == bool(day or crew):
            raise BadInput(Problem("move", "needs a date and a crew, or --free. Write V-03 10/15 Heron"))
        if free:
            desk.record(
                events.placed(site_id, desk.today, None), unless=lambda state: site_id not in state.placed
            )
            return
        names = {name.casefold(): name for name in desk.basics.crews}
        if crew.casefold() not in names:
            listed = ", ".join(names.values()) or "none in season.toml"
            hint = did_you_mean(crew, names.values()) or f" The crews: {listed}."
            raise BadInput(Problem("crew", f'"{crew}" is no crew.{hint}'))
        place = (desk.day(day, where="date", ahead=True), names[crew.casefold()])
        _check_crew_day(folder, *place)
        desk.record(
            events.placed(site_id, desk.today, *place),
            unless=lambda state: state.placed.get(site_id) == place,
        )

    def undo(
        self,
        folder: Folder,
        event: Annotated[
            str,
            typer.Argument(
                metavar="[EVENT]",
                help="Number of the event, or several like 12-31; default the last one that you entered.",
                show_default=False,
            ),
        ] = "",
        why: Why = "",
        who: Who = "",
    ) -> None:
        """Take back what was recorded by mistake; taking back an undo brings it back. Nothing is deleted.

        Example: forecaster undo my-season 17
        """
        from forecaster.season.event_words import event_words
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_rules import undo_entries

        desk = open_desk(folder, who, self.clock)
        before: dict[int, Event] = {}

        def words(found: Event) -> str:
            return f"{desk.name(found.site_id)}: {event_words(found, desk.basics)}"

        def decide(events: tuple[Event, ...]) -> list[Entry]:
            before.update({event.event_id: event for event in events})
            return undo_entries(events, event.strip(), who=desk.who, reason=why, describe=words)

        with open_ledger(folder, clock=self.clock) as ledger:
            recorded = ledger.write(decide, who=desk.who)
            warn(ledger.notices)
        for one in recorded:
            target = before[one.event.undoes or 0]
            typer.echo(f"Undone as event {one.event.event_id}: event {target.event_id}, {words(target)}")
        typer.echo(f"  To have it again: forecaster undo {folder} {recorded[0].event.event_id}")

    def _promise(self, kind: str, folder: Folder, site: str, said: str, on: str, who: str) -> None:
        from forecaster.season import events

        desk = open_desk(folder, who, self.clock)
        site_id, promised = desk.site(site).site_id, desk.day(said, where="date", ahead=True)
        make = events.told if kind == "told" else events.booked

        def holds(state: SeasonState) -> bool:
            return (state.told if kind == "told" else state.booked).get(site_id) == promised

        day = desk.day(on)
        desk.record(make(site_id, day, promised), unless=holds)
        if promised < day:
            typer.echo(f"Note: {promised} lies before {day}, the day on which it was said.", err=True)


def register_dates(app: typer.Typer, clock: Clock) -> None:
    """Add the commands to `app`."""
    commands = DateCommands(clock)
    named: dict[str, Callable[..., None]] = {
        "told": commands.told,
        "book": commands.book,
        "unbook": commands.unbook,
        "move": commands.move,
        "undo": commands.undo,
    }
    for name, command in named.items():
        app.command(name)(command)


def _check_crew_day(folder: Path, day: date, name: str) -> None:
    """Refuse a day on which the crew does not work, with the nearest days on which it does.

    Raises:
        BadInput: No crew-day.
    """
    from datetime import timedelta

    from forecaster.falls import fall_of
    from forecaster.season.settings import read_settings

    settings = read_settings(folder)
    crew = next(crew for crew in settings.crews if crew.name == name)
    if crew.works_on(day) or fall_of(day) != settings.season.year:  # another fall is refused by its own rule
        return
    around = [day + timedelta(days=n) for n in (-3, -2, -1, 1, 2, 3)]
    near = ", ".join(one.isoformat() for one in around if crew.works_on(one))
    hint = f"Near it: {near}." if near else f"It works from {crew.first_day} to {crew.last_day}."
    raise BadInput(Problem("date", f"{name} does not work on {day:%a} {day.isoformat()}. {hint}"))
