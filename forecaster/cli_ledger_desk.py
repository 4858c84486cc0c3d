"""What the ledger's commands share: who speaks, which day is meant, asking back, and the confirmation."""

from __future__ import annotations

import getpass
import os
import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from forecaster.errors import BadInput, Notice, Problem

if TYPE_CHECKING:
    from forecaster.season.events import Entry, Event
    from forecaster.season.known_sites import Basics, KnownSite
    from forecaster.season.ledger import Clock, Once
    from forecaster.season.state import SeasonState

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
SiteName = Annotated[
    str,
    typer.Argument(metavar="SITE", help="Its site_id, or a part of the customer's name.", show_default=False),
]
On = Annotated[
    str,
    typer.Option("--on", metavar="DAY", help='The day, like "14 Oct", 10/14, yesterday, tue; default today.'),
]
SaidOn = Annotated[
    str, typer.Option("--on", metavar="DAY", help="The day on which it was said; default today.")
]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="The crew or person who did it.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason.")]
Who = Annotated[
    str,
    typer.Option(
        "--who",
        metavar="NAME",
        envvar="FORECASTER_WHO",
        help="Who records it; default the name of your login.",
        show_default=False,
    ),
]
Yes = Annotated[bool, typer.Option("--yes", help="Do not ask back.")]
ForecastJson = Callable[[Path, date], str]

Value = TypeVar("Value")
_WATER = re.compile(r"([+-]?\d*\.?\d+)\s*(?:°|deg)?\s*([FfCc])?")


@dataclass(frozen=True)
class Desk:
    """A season folder that somebody sits at."""

    folder: Path
    basics: Basics
    who: str
    clock: Clock

    @property
    def today(self) -> date:
        """The date in the season's time zone."""
        return self.clock().astimezone(self.basics.zone).date()

    def site(self, said: str) -> KnownSite:
        """The site that is meant."""
        from forecaster.season.known_sites import find_site

        return find_site(said, self.basics.sites)

    def day(self, said: str, *, where: str = "--on", ahead: bool = False) -> date:
        """The day that is meant; today where nothing was said."""
        from forecaster.season.dates import parse_said_day

        today, season = self.today, self.basics.year
        day = self.cell(
            lambda text: parse_said_day(text, today=today, season=season, ahead=ahead), said, where
        )
        return today if day is None else day

    def name(self, site_id: str) -> str:
        """A site as confirmations show it."""
        return self.basics.name_of(site_id) if site_id else "season"

    def record(
        self, *entries: Entry, unless: Callable[[SeasonState], bool] | None = None
    ) -> tuple[Event, ...]:
        """Record what one command says, after the rules were asked under the ledger's lock; and confirm it.

        `unless` tells whether what is said holds already: then nothing is added.
        """
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_rules import refusal
        from forecaster.season.state import derive

        def decide(events: tuple[Event, ...]) -> list[Entry]:
            state = derive(events, season=self.basics.year)
            if unless is not None and unless(state):
                return []
            problems = []
            for entry in entries:
                text = refusal(
                    entry,
                    state,
                    today=self.today,
                    year=self.basics.year,
                    cure=f"forecaster undo {self.folder}",
                )
                if text is not None:
                    problems.append(Problem(self.name(entry.site_id), text))
            if problems:
                raise BadInput(problems)
            return list(entries)

        with open_ledger(self.folder, clock=self.clock) as ledger:
            # what was said, replaced, and is said again must be recorded again: `unless` has looked
            once: Once = "standing" if unless is None else "no"
            recorded = ledger.write(decide, who=self.who, once=once)
            warn(ledger.notices)
        for one in recorded:
            self.confirm_event(one.event, new=one.new)
        if not recorded:
            typer.echo(f"{self.name(entries[0].site_id)}: recorded already, nothing added.")
        return tuple(one.event for one in recorded)

    def confirm_event(self, event: Event, *, new: bool = True) -> None:
        """One line for one event, with the way back."""
        from forecaster.season.event_words import event_words

        words = f"{self.name(event.site_id)}: {event_words(event, self.basics)}"
        if new:
            typer.echo(f"Recorded as event {event.event_id}. {words}")
            typer.echo(f"  To take it back: forecaster undo {self.folder} {event.event_id}")
        else:
            typer.echo(f"Recorded already as event {event.event_id}, nothing added. {words}")

    def cell(self, parse: Callable[[str], Value], said: str, where: str) -> Value | None:
        """What `parse` makes of an option, None where nothing was said; `where` names it in a message."""
        from forecaster.season.tables import BadCell

        try:
            return parse(said.strip()) if said.strip() else None
        except BadCell as error:
            raise BadInput(Problem(where, str(error))) from None

    def water_c(self, said: str) -> float:
        """A water temperature [°C], said in the season's unit, or with F or C behind it."""
        from forecaster.season.quantities import TEMPERATURE_UNITS, parse_quantity
        from forecaster.season.readings_file import WATER

        unit, number = self.basics.temperature_unit, said.strip()
        found = _WATER.fullmatch(number)
        if found and found[2]:
            unit, number = TEMPERATURE_UNITS[0 if found[2].casefold() == "f" else 1], found[1]
        water_c = self.cell(lambda text: parse_quantity(text, WATER, unit), number, "water")
        if water_c is None:
            raise BadInput(Problem("water", "is empty. Write the temperature, like 52.3."))
        return water_c

    def depth_m(self, said: str) -> float | None:
        """A depth [m], said in inches or, in a metric season, centimetres; None where nothing was said."""
        from forecaster.season.quantities import LENGTH_UNITS, parse_quantity
        from forecaster.season.readings_file import READING_DEPTH

        unit = LENGTH_UNITS[0 if self.basics.units == "us" else 1]
        return self.cell(lambda text: parse_quantity(text, READING_DEPTH, unit), said, "--depth")


def open_desk(folder: Path, who: str, clock: Clock) -> Desk:
    """The desk of a season folder.

    Raises:
        BadInput: It is no season folder, or its settings or sheet cannot be used.
    """
    from forecaster.season.events import clean_text
    from forecaster.season.known_sites import read_basics
    from forecaster.season.ledger_file import check_folder

    check_folder(folder)
    return Desk(folder, read_basics(folder), clean_text(who or login(), "--who"), clock)


def login() -> str:
    """The name of the login, "" where the computer knows none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return os.environ.get("USERNAME", "")


def warn(notices: Iterable[Notice]) -> None:
    """Warnings go to stderr."""
    for notice in notices:
        typer.echo(f"Note: {notice}", err=True)


def agreed(question: str, *, yes: bool, cure: str) -> None:
    """Go on only if somebody agrees.

    Raises:
        BadInput: Nobody is there to ask (no terminal) and --yes was not given.
        typer.Exit: The answer was no.
    """
    if yes:
        return
    if not sys.stdin.isatty():
        raise BadInput(Problem("confirm", f"{question} {cure}"))
    if not typer.confirm(question, default=False):
        typer.echo("Nothing was changed.")
        raise typer.Exit(1)
