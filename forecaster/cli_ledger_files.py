"""The commands about whole folders and lists: new, import, export, history, restore, next-season."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.cli_ledger_desk import Folder, Who, Yes, agreed, login, open_desk, warn
from forecaster.errors import BadInput, Problem

if TYPE_CHECKING:
    from forecaster.season.known_sites import Basics
    from forecaster.season.ledger import Clock
    from forecaster.season.new_toml import NewSeason
    from forecaster.season.state import SeasonState

OWN_DOINGS = ("run", "outlook")  # the program's own, shown with --all only


class FileCommands:
    """The commands, with the clock that they go by."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock

    def new(
        self,
        folder: Annotated[
            Path, typer.Argument(metavar="FOLDER", help="The folder to make.", show_default=False)
        ],
        sheet: Annotated[
            Path | None,
            typer.Option(
                "--sheet", metavar="FILE", help="A list of addresses with coordinates (.csv, .xlsx)."
            ),
        ] = None,
        year: Annotated[
            int | None, typer.Option("--year", help="Year of its August; default this one.")
        ] = None,
        timezone: Annotated[str, typer.Option("--timezone", help="Like America/Chicago.")] = "",
        name: Annotated[str, typer.Option("--name", help="What the season is called.")] = "",
        units: Annotated[str, typer.Option("--units", help="us or metric.")] = "",
        weather: Annotated[str, typer.Option("--weather", help="files or meteostat.")] = "files",
        crew: Annotated[
            list[str] | None, typer.Option("--crew", metavar="NAME", help="A crew; may be repeated.")
        ] = None,
        yes: Yes = False,
    ) -> None:
        """Make the folder of a new season: settings with comments, and the site sheet from your list.

        Example: forecaster new fall-2025 --sheet customers.csv --timezone America/Chicago --crew North
        """
        from forecaster.season.new import check_new_folder, make_season, read_addresses

        check_new_folder(folder)
        asks = sys.stdin.isatty() and not yes
        season = self._season(
            year=year, timezone=timezone, name=name, units=units, weather=weather, asks=asks
        )
        crews = crew or []
        if asks and not crews:
            said = typer.prompt(
                "Names of your crews, with commas (empty: later)", default="", show_default=False
            )
            crews = [part.strip() for part in said.split(",") if part.strip()]
        addresses = read_addresses(sheet, units=season.units) if sheet else None
        questions = addresses.questions() if addresses else []
        if addresses and questions:
            typer.echo(f"{sheet}: {len(addresses.table.rows)} sites. Its columns are taken like this:")
            for line in questions:
                typer.echo(f"  {line}")
            cure = "Look at the columns above, then say --yes, or rename columns in your list."
            agreed("Is this right?", yes=yes or not addresses.renamed, cure=cure)
        to_do = make_season(folder, season, addresses, crew_names=crews)
        typer.echo(f"Made {folder} with season.toml and sites.csv. Still to do:")
        for notice in to_do:
            typer.echo(f"  {notice}")
        typer.echo(f"Then: forecaster check {folder}")

    def _season(
        self, *, year: int | None, timezone: str, name: str, units: str, weather: str, asks: bool
    ) -> NewSeason:
        """What the new season needs, asked for where it was not said and somebody is there."""
        from forecaster.season.new import season_year
        from forecaster.season.new_toml import NewSeason

        usual = season_year(self.clock().date())
        if asks:
            year = year or typer.prompt("Year of the season (of its August)", default=usual, type=int)
            timezone = timezone or typer.prompt("Time zone", default=_own_zone() or "America/Chicago")
            units = units or typer.prompt("Units, us or metric", default="us")
        year, units = year or usual, (units or "us").casefold()
        problems = []
        if not timezone:
            problems.append(Problem("--timezone", "is needed. Write it like --timezone America/Chicago"))
        if units not in ("us", "metric"):
            problems.append(Problem("--units", f'"{units}" is neither us nor metric. Write one of them.'))
        if weather not in ("files", "meteostat"):
            problems.append(Problem("--weather", f'"{weather}" is neither files nor meteostat.'))
        if problems:
            raise BadInput(problems)
        return NewSeason(name or f"Fall {year}", year, timezone, units, weather)

    def import_(
        self,
        folder: Folder,
        file: Annotated[
            Path, typer.Argument(metavar="FILE", help="A list, .csv or .xlsx.", show_default=False)
        ],
        name: Annotated[
            str,
            typer.Option(
                "--list", metavar="LIST", help="readings, closings, bookings ...; default: its columns."
            ),
        ] = "",
        who: Who = "",
    ) -> None:
        """Record a list: readings, closings, bookings. The same list twice adds nothing.

        Example: forecaster import my-season closings.csv
        """
        from forecaster.season.exchange import import_list
        from forecaster.season.ledger import open_ledger

        desk = open_desk(folder, who, self.clock)
        with open_ledger(folder, clock=self.clock) as ledger:
            done = import_list(ledger, file, desk.basics, who=desk.who, name=name or None)
            warn([*ledger.notices, *done.notices])
        there = f", {done.there} were there before" if done.there else ""
        typer.echo(f"{file.name}, {done.name}: {len(done.added)} added{there}.")
        if done.added:
            first, last = done.added[0].event_id, done.added[-1].event_id
            events = f"{first}" if first == last else f"{first}-{last}"
            typer.echo(f"  To take them back: forecaster undo {folder} {events}")

    def export(
        self,
        folder: Folder,
        to: Annotated[Path, typer.Argument(metavar="TO", help="The folder to write to.", show_default=False)],
        fmt: Annotated[str, typer.Option("--format", metavar="FORMAT", help="csv or xlsx.")] = "csv",
    ) -> None:
        """Write everything that was recorded as lists that any spreadsheet program opens.

        Example: forecaster export my-season lists
        """
        from forecaster.season.exchange_export import export_folder

        if fmt not in ("csv", "xlsx"):
            raise BadInput(Problem("--format", f'"{fmt}" is neither csv nor xlsx. Write one of them.'))
        found = self._read(folder)
        if found is None:
            return
        state, basics = found
        written = export_folder(state, basics, to, fmt="xlsx" if fmt == "xlsx" else "csv")
        typer.echo(f"Written to {to}: {', '.join(path.name for path in written)}")

    def history(
        self,
        folder: Folder,
        site: Annotated[
            str, typer.Argument(metavar="[SITE]", help="Only this site.", show_default=False)
        ] = "",
        last: Annotated[int, typer.Option("--last", metavar="N", help="How many, 0 for all.", min=0)] = 50,
        everything: Annotated[
            bool, typer.Option("--all", help="Also forecasts and outlooks that the program kept.")
        ] = False,
    ) -> None:
        """Show what was recorded, when and by whom, the latest last.

        Example: forecaster history my-season V-03
        """
        from forecaster.season.event_words import event_words
        from forecaster.season.known_sites import find_site

        found = self._read(folder)
        if found is None:
            return
        state, basics = found
        site_id = find_site(site, basics.sites).site_id if site.strip() else None
        events = [
            event
            for event in state.events
            if (site_id is None or event.site_id == site_id) and (everything or event.kind not in OWN_DOINGS)
        ]
        shown = events[-last:] if last else events
        if len(shown) < len(events):
            typer.echo(f"The last {len(shown)} of {len(events)} events; all of them with --last 0.")
        for event in shown:
            stamp = event.recorded_at.astimezone(basics.zone)
            name = basics.name_of(event.site_id) if event.site_id else "season"
            words = event_words(event, basics)
            undone = "  [undone]" if event.event_id in state.undone else ""
            who = event.who or "?"
            typer.echo(f"{event.event_id:>5}  {stamp:%Y-%m-%d %H:%M}  {who}  {name}: {words}{undone}")
        if not shown:
            typer.echo("Nothing was recorded yet.")

    def restore(
        self,
        folder: Folder,
        copy: Annotated[
            str,
            typer.Argument(
                metavar="[COPY]",
                help="Day of a copy, like 2025-10-14, or a file; default: show the copies.",
                show_default=False,
            ),
        ] = "",
        yes: Yes = False,
    ) -> None:
        """Show the daily copies of the ledger, or put one back; the present one is kept beside them.

        Example: forecaster restore my-season 2025-10-14
        """
        from forecaster.season.backup import copies, restore
        from forecaster.season.ledger_file import check_folder

        check_folder(folder)
        if not copy.strip():
            found = copies(folder)
            for day, path in found:
                typer.echo(f"{day}  {path.stat().st_size / 1024:,.0f} kB  {path}")
            typer.echo(
                f"To put one back: forecaster restore {folder} DAY" if found else "There are no copies yet."
            )
            return
        source = _copy_named(folder, copy.strip())
        question = f"Put back the ledger of {source.name}?"
        agreed(question, yes=yes, cure="What was recorded since leaves the ledger, but is kept. Say --yes.")
        done = restore(folder, source, now=self.clock())
        typer.echo(f"Put back {source.name}: {done.events} events.")
        if done.kept_as is not None:
            count = "damaged" if done.events_before is None else f"{done.events_before} events"
            typer.echo(f"  The ledger of before ({count}) is {done.kept_as}")

    def next_season(
        self,
        folder: Folder,
        to: Annotated[Path, typer.Argument(metavar="TO", help="The folder to make.", show_default=False)],
        year: Annotated[
            int | None, typer.Option("--year", help="Year of its August; default the year after.")
        ] = None,
        who: Who = "",
    ) -> None:
        """Make next season's folder: sites, weather, readings and all that was learnt are carried on.

        Example: forecaster next-season fall-2025 fall-2026
        """
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_file import check_folder
        from forecaster.season.next_season import next_season

        check_folder(folder)
        ledger = open_ledger(folder, readonly=True, clock=self.clock)
        try:
            done = next_season(folder, to, ledger, who=who or login(), year=year)
        finally:
            if ledger is not None:
                ledger.close()
        typer.echo(f"Made {to} for the fall of {done.year}, with {done.events} events of the seasons before.")
        for notice in done.notices:
            typer.echo(f"  {notice}")

    def _read(self, folder: Path) -> tuple[SeasonState, Basics] | None:
        """State and basics of a folder for commands that only read; None, and a word, without a ledger."""
        from forecaster.season.known_sites import read_basics
        from forecaster.season.ledger import open_ledger
        from forecaster.season.ledger_file import check_folder, readonly_notice

        check_folder(folder)
        basics = read_basics(folder)
        notice = readonly_notice(folder)
        warn([notice] if notice else [])
        ledger = open_ledger(folder, readonly=True, clock=self.clock)
        if ledger is None:
            typer.echo("Nothing was recorded in this folder yet.")
            return None
        with ledger:
            return ledger.state(), basics


def _copy_named(folder: Path, said: str) -> Path:
    """The copy that is meant: by its day, its name in `backups/`, or as a file anywhere."""
    from forecaster.season.backup import FOLDER_NAME, copies

    found = dict(copies(folder))
    try:
        return found[date.fromisoformat(said)]
    except (ValueError, KeyError):
        pass
    for path in (folder / FOLDER_NAME / said, Path(said)):
        if path.is_file():
            return path
    days = ", ".join(str(day) for day in found) or "none yet"
    raise BadInput(Problem(said, f"there is no such copy. Copies of these days are kept: {days}."))


def _own_zone() -> str:
    """The time zone of this computer, "" where it does not tell its name."""
    _, found, zone = str(Path("/etc/localtime").resolve()).partition("zoneinfo/")
    return zone if found and "/" in zone else ""


def register_files(app: typer.Typer, clock: Clock) -> None:
    """Add the commands to `app`."""
    commands = FileCommands(clock)
    named: dict[str, Callable[..., None]] = {
        "new": commands.new,
        "import": commands.import_,
        "export": commands.export,
        "history": commands.history,
        "restore": commands.restore,
        "next-season": commands.next_season,
    }
    for name, command in named.items():
        app.command(name)(command)
