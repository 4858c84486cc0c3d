"""Commands of the visit itself: the kit of each site, and the sheets of a crew's day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.cli_visit_shared import Csv, Folder, Json, OneSite, closed_days, unicode, write, written
from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from forecaster.forecast import RouteForecast
    from forecaster.report.sheet_stop import DaySheets
    from forecaster.season.settings import Settings
    from forecaster.season.sites import Site
    from forecaster.season.state import SeasonState

AsOf = Annotated[
    datetime | None,
    typer.Option("--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning."),
]


def kit(
    folder: Folder,
    site: OneSite = None,
    json_file: Json = None,
    csv_file: Csv = None,
) -> None:
    """Each site's equipment by the sheet, and what to look at or to ask about it.

    Example: forecaster kit my-season

    Example: forecaster kit my-season V-03 --json kit.json
    """
    from forecaster.files import check_targets
    from forecaster.report.kit_text import kit_csv, kit_json, kit_text
    from forecaster.season.known_sites import find_site, read_known_sites
    from forecaster.season.settings import read_settings
    from forecaster.season.sheet import read_sites
    from forecaster.visit.kit import KIT_COLUMNS, kits_of

    check_targets(json_file, csv_file)
    settings = read_settings(folder)
    sites, notices = read_sites(
        folder, crew_names=[crew.name for crew in settings.crews], extra_columns=KIT_COLUMNS
    )
    kits = kits_of(sites)
    if site is not None:
        wanted = find_site(site, read_known_sites(folder)).site_id
        sites = tuple(found for found in sites if found.site_id == wanted)
    units = settings.season.units
    write(
        {
            json_file: kit_json(sites, kits, units=units) if json_file else "",
            csv_file: kit_csv(sites, kits, units=units) if csv_file else b"",
        }
    )
    text = kit_text(sites, kits, season_name=settings.season.name, units=units, detail=site is not None)
    typer.echo(text if unicode() else _ascii(text), nl=False)
    for notice in notices:
        typer.echo(f"Note: {notice}", err=True)
    written(json_file, csv_file)


def sheets(
    folder: Folder,
    day: Annotated[
        datetime | None,
        typer.Option("--day", metavar="DATE", formats=["%Y-%m-%d"], help="The crew's day; default today."),
    ] = None,
    crew: Annotated[
        str | None, typer.Option("--crew", metavar="NAME", help="Only this crew; default all that go.")
    ] = None,
    site: Annotated[
        str | None, typer.Option("--site", metavar="SITE", help="The sheet of one site, planned or not.")
    ] = None,
    as_of: AsOf = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE", help="Write them as a PDF; several crews: a folder."),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write them as a page; several crews: a folder."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="letter or a4.")] = "letter",
) -> None:
    """The sheets of a crew's day: one side a stop, its kit in steps, the cautions beside them.

    They follow the plan in force; where none is, a plan made as of that morning (or of --as-of).

    Example: forecaster sheets my-season --day 2025-10-08 --crew Heron --pdf heron.pdf

    Example: forecaster sheets my-season --site V-10 --html v10.html --paper a4
    """
    from forecaster.report.sheet_page import sheets_page
    from forecaster.report.sheet_pdf import PAGES, sheets_pdf

    if paper not in PAGES:
        hint = did_you_mean(paper, PAGES) or " Write letter or a4."
        raise BadInput(Problem("--paper", f'"{paper}" is not one of letter, a4.{hint}'))
    _check_targets(pdf, html)
    wanted = day.date() if day else date.today()
    season = _read(folder, as_of.date() if as_of else min(wanted, date.today()))
    made = _one_site(season, site) if site else _day(season, wanted, crew)
    targets = [path for path in (pdf, html) if path is not None]
    for path in targets:
        if len(made) > 1 and not path.is_dir():
            names = ", ".join(made)
            text = f'"{path.name}" is no folder, but {len(made)} crews go ({names}). Name a folder or --crew.'
            raise BadInput(Problem(str(path), text))
    contents: dict[Path | None, str | bytes] = {}
    for name, found in made.items():
        if pdf is not None:
            contents[_target(pdf, name, wanted, ".pdf")] = sheets_pdf(found, paper=paper)
        if html is not None:
            contents[_target(html, name, wanted, ".html")] = sheets_page(found, paper=paper)
    write(contents)
    from forecaster.report.sheet_text import sheets_text

    text = sheets_text(list(made.values()), full=not targets)
    typer.echo(text if unicode() else _ascii(text), nl=False)
    written(*contents)


@dataclass(frozen=True)
class _Season:
    """What sheets need of a season folder; no weather."""

    folder: Path
    as_of: date
    settings: Settings
    sites: tuple[Site, ...]
    state: SeasonState | None

    @property
    def closed(self) -> dict[str, date]:
        """Site -> the day of its closing."""
        return closed_days(self.state)


def _read(folder: Path, as_of: date) -> _Season:
    from forecaster.pipeline import ledger_state
    from forecaster.season.settings import read_settings
    from forecaster.season.sheet import read_sites
    from forecaster.season.state_sheet import apply_state

    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "there is no such folder. Name the season's folder."))
    settings = read_settings(folder)
    sites, _ = read_sites(folder, crew_names=[crew.name for crew in settings.crews])
    state = ledger_state(folder, as_of)
    return _Season(folder, as_of, settings, apply_state(sites, state) if state else sites, state)


def _check_targets(pdf: Path | None, html: Path | None) -> None:
    """Refuse wrong endings and folders that are not there before any work is done."""
    from forecaster.files import check_targets

    problems = []
    for option, path, ending in (("--pdf", pdf, ".pdf"), ("--html", html, ".html")):
        if path is not None and not path.is_dir() and path.suffix.lower() != ending:
            text = f'"{path.name}" must end in {ending}, or be a folder that is there already.'
            problems.append(Problem(option, text))
    if problems:
        raise BadInput(problems)
    check_targets(*(path for path in (pdf, html) if path is not None and not path.is_dir()))


def _day(season: _Season, day: date, crew: str | None) -> dict[str, DaySheets]:
    """The sheets of each crew that goes on a day."""
    from forecaster.report.sheet_plan import crew_days_on
    from forecaster.report.sheet_stop import day_sheets
    from forecaster.visit.kit import kits_of

    def forecast() -> RouteForecast:
        from forecaster.pipeline import forecast_folder

        return forecast_folder(season.folder, season.as_of)

    crew = _crew_name(crew, [found.name for found in season.settings.crews])
    days, source, others = crew_days_on(season.state, day, forecast)
    days = tuple(found for found in days if crew is None or found.crew == crew)
    if not days:
        who = f"{crew} has no stops" if crew else "no crew has a stop"
        near = f" Days with stops: {', '.join(others)}." if others else ""
        raise BadInput(Problem("--day", f"{who} on {day} ({source}).{near}"))
    going = {stop.site_id for found in days for stop in found.stops}
    kits = kits_of(found for found in season.sites if found.site_id in going)
    return {
        found.crew: day_sheets(
            found,
            {site.site_id: site for site in season.sites},
            kits,
            season_name=season.settings.season.name,
            units=season.settings.season.units,
            crews=season.settings.crews,
            closed=season.closed,
            source=source,
        )
        for found in days
    }


def _crew_name(said: str | None, names: list[str]) -> str | None:
    """The crew as the settings spell it."""
    if said is None:
        return None
    for name in names:
        if name.casefold() == said.strip().casefold():
            return name
    hint = did_you_mean(said, names) or f" The crews are {', '.join(names) or 'none'}."
    raise BadInput(Problem("--crew", f'"{said}" is not a crew of season.toml.{hint}'))


def _one_site(season: _Season, said: str) -> dict[str, DaySheets]:
    from forecaster.report.sheet_stop import DaySheets, stop_sheet
    from forecaster.season.known_sites import find_site, read_known_sites
    from forecaster.visit.kit import kits_of

    wanted = find_site(said, read_known_sites(season.folder)).site_id
    found = next(one for one in season.sites if one.site_id == wanted)
    units = season.settings.season.units
    sheet = stop_sheet(
        found,
        kits_of([found])[found.site_id],
        number=1,
        count=0,
        when="Day and crew: ____________",
        units=units,
        closed=season.closed.get(found.site_id),
    )
    title = f"{found.customer}, {found.site_id}"
    return {found.site_id: DaySheets(season.settings.season.name, title, "", units, (sheet,))}


def _target(path: Path, name: str, day: date, ending: str) -> Path:
    """The file itself, or one in a folder that is called after day and crew."""
    if not path.is_dir():
        return path
    safe = "".join(sign if sign.isalnum() or sign in "-_" else "_" for sign in name) or "crew"
    return path / f"{day.isoformat()}-{safe}{ending}"


def _ascii(text: str) -> str:
    from forecaster.report.table import ascii_only

    return ascii_only(text)


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    app.command("kit")(kit)
    app.command("sheets")(sheets)
