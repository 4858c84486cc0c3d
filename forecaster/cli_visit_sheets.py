"""Commands of the visit itself: the kit of each site, and the sheets of a crew's day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.cli_visit_shared import Csv, Folder, Json, OneSite, start, unicode, write, written
from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from forecaster.known import Known
    from forecaster.report.sheet_stop import DaySheets
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
    wanted = day.date() if day else date.today()
    stand_on = as_of or datetime.combine(min(wanted, date.today()), datetime.min.time())
    targets = [path for path in (pdf, html) if path is not None]
    known, state = start(folder, stand_on, *(path for path in targets if not path.is_dir()))
    made = _one_site(known, site, state) if site else _day(known, state, wanted, crew)
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


def _day(known: Known, state: SeasonState | None, day: date, crew: str | None) -> dict[str, DaySheets]:
    """The sheets of each crew that goes on a day."""
    from forecaster.report.sheet_plan import crew_days_on
    from forecaster.report.sheet_stop import day_sheets
    from forecaster.visit.kit import kits_of

    names = [found.name for found in known.crews]
    if crew is not None and crew not in names:
        same = [name for name in names if name.casefold() == crew.casefold()]
        if not same:
            hint = did_you_mean(crew, names) or f" The crews are {', '.join(names) or 'none'}."
            raise BadInput(Problem("--crew", f'"{crew}" is not a crew of season.toml.{hint}'))
        crew = same[0]
    days, source, others = crew_days_on(known, state, day)
    days = tuple(found for found in days if crew is None or found.crew == crew)
    if not days:
        who = f"{crew} has no stops" if crew else "no crew has a stop"
        near = f" Days with stops: {', '.join(others)}." if others else ""
        raise BadInput(Problem("--day", f"{who} on {day} ({source}).{near}"))
    going = {stop.site_id for found in days for stop in found.stops}
    sites = {found.site_id: found for found in known.sites}
    kits = kits_of(found for found in known.sites if found.site_id in going)
    return {
        found.crew: day_sheets(
            found,
            sites,
            kits,
            season_name=known.settings.season.name,
            units=known.settings.season.units,
            crews=known.crews,
            closed=_closed(state),
            source=source,
        )
        for found in days
    }


def _one_site(known: Known, said: str, state: SeasonState | None) -> dict[str, DaySheets]:
    from forecaster.cli_visit_shared import site_id
    from forecaster.report.sheet_stop import DaySheets, stop_sheet
    from forecaster.visit.kit import kits_of

    wanted = site_id(known, said)
    found = next(one for one in known.sites if one.site_id == wanted)
    season = known.settings.season
    sheet = stop_sheet(
        found,
        kits_of([found])[found.site_id],
        number=1,
        count=0,
        when="Day and crew: ____________",
        units=season.units,
        closed=_closed(state).get(found.site_id),
    )
    title = f"{found.customer}, {found.site_id}"
    return {found.site_id: DaySheets(season.name, title, "", season.units, (sheet,))}


def _closed(state: SeasonState | None) -> Mapping[str, date]:
    return {} if state is None else {site_id: event.day for site_id, event in state.closed.items()}


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
