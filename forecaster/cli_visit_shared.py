"""What the commands of the winter share: arguments, the start of each, the site that is meant, files."""

from __future__ import annotations

import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from forecaster.known import Known
    from forecaster.season.settings import Settings
    from forecaster.season.sites import Site
    from forecaster.season.state import SeasonState

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
OneSite = Annotated[
    str | None,
    typer.Argument(metavar="SITE", help="Only this site: its site_id, or part of the customer's name."),
]
AsOf = Annotated[
    datetime | None,
    typer.Option(
        "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default today."
    ),
]
Json = Annotated[
    Path | None, typer.Option("--json", metavar="FILE", help="Write it for another program, as JSON.")
]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write it as a CSV file.")]


def closed_days(state: SeasonState | None) -> dict[str, date]:
    """Site -> the day of its closing, as the ledger has it."""
    return {} if state is None else {site_id: event.day for site_id, event in state.closed.items()}


def start(folder: Path, as_of: datetime | None, *targets: Path | None) -> tuple[Known, SeasonState | None]:
    """What is known and what the ledger holds; the one place where the clock is read for it."""
    from forecaster.files import check_targets
    from forecaster.pipeline import ledger_state, load_known

    check_targets(*targets)
    apart(*targets)
    day = as_of.date() if as_of else date.today()
    return load_known(folder, day), ledger_state(folder, day)


def start_store(
    folder: Path, as_of: datetime | None, *targets: Path | None
) -> tuple[Settings, tuple[Site, ...], SeasonState | None, date]:
    """Settings, sites and what the ledger holds of the folder's season, on any day of the year: the store is
    asked for in spring too, when there is nothing to forecast."""
    from forecaster.files import check_targets
    from forecaster.season.ledger import open_ledger
    from forecaster.season.settings import read_settings
    from forecaster.season.sheet import read_sites
    from forecaster.season.state import derive

    check_targets(*targets)
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "there is no such folder. Name the season's folder."))
    apart(*targets)
    settings = read_settings(folder)
    sites, _ = read_sites(folder, crew_names=[crew.name for crew in settings.crews])
    day = as_of.date() if as_of else date.today()
    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return settings, sites, None, day
    with ledger:
        return settings, sites, derive(ledger.events(), day, season=settings.season.year), day


def apart(*targets: Path | None) -> None:
    """Refuse two outputs of one name."""
    named = [path.resolve() for path in targets if path is not None]
    if len(set(named)) < len(named):
        raise BadInput(Problem("files", "two outputs have the same file name. Name them apart."))


def site_id(known: Known, said: str | None) -> str | None:
    """The site that is meant: a site_id in any case, or a part of one customer's name."""
    if said is None:
        return None
    wanted = said.strip().casefold()
    for site in known.sites:
        if site.site_id.casefold() == wanted:
            return site.site_id
    named = [site for site in known.sites if wanted and wanted in site.customer.casefold()]
    if len(named) == 1:
        return named[0].site_id
    if named:
        ids = ", ".join(f"{site.site_id} {site.customer}" for site in named[:8])
        raise BadInput(Problem("SITE", f'"{said}" may be {ids}. Write the site_id.'))
    hint = did_you_mean(said, [site.site_id for site in known.sites]) or " Write a site_id of the sheet."
    raise BadInput(Problem("SITE", f'"{said}" is not in the site sheet.{hint}'))


def write(contents: dict[Path | None, str | bytes]) -> None:
    """Write the files that are wanted; a target of None is not."""
    from forecaster.files import write_bytes, write_text

    for path, content in contents.items():
        if path is None:
            continue
        if isinstance(content, str):
            write_text(path, content)
        else:
            write_bytes(path, content)


def written(*paths: Path | None) -> None:
    """Say which files were written."""
    for path in paths:
        if path is not None:
            typer.echo(f"Written: {path}", err=True)


def unicode() -> bool:
    """True where the output shows more than ASCII."""
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf") and sys.stdout.isatty()
