"""The commands of the winter store: what was taken, labels, what goes back."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from forecaster.cli_ledger_desk import By, On, SiteName, Who
from forecaster.cli_visit_shared import (
    AsOf,
    Csv,
    Folder,
    start_store,
    unicode,
    write,
    written,
)
from forecaster.errors import BadInput, Problem

if TYPE_CHECKING:
    from forecaster.report.labels_pdf import Paper
    from forecaster.season.settings import Settings


def store(
    folder: Folder,
    as_of: AsOf = None,
    every: Annotated[
        bool, typer.Option("--all", help="Take the sites that are still open too: what there is to take.")
    ] = False,
    spring: Annotated[bool, typer.Option("--spring", help="Show what goes back in spring.")] = False,
    csv_file: Csv = None,
    labels: Annotated[
        Path | None, typer.Option("--labels", metavar="FILE.pdf", help="Write a sheet of labels with codes.")
    ] = None,
    paper: Annotated[
        str, typer.Option("--paper", metavar="SIZE", help="letter or a4; default by the season's units.")
    ] = "",
    skip: Annotated[
        int, typer.Option("--skip", metavar="N", help="Labels of the first sheet used already, 0-9.")
    ] = 0,
) -> None:
    """What was taken from which site into the store, labels for it, and what goes back in spring.

    Example: forecaster store my-season

    Example: forecaster store my-season --all --labels labels.pdf

    Example: forecaster store my-season --spring --csv spring.csv
    """
    _check_labels(labels, paper, skip)
    settings, sites, state, day = start_store(folder, as_of, csv_file, labels)
    from forecaster.report.store_text import spring_items, spring_text, store_csv, store_text
    from forecaster.season.gear_events import standing_gear
    from forecaster.visit.kit import kits_of
    from forecaster.visit.store import store_list

    found = store_list(
        sites,
        kits_of(sites),
        {} if state is None else state.closed,
        [] if state is None else standing_gear(state.events, state.undone, since=_begin(settings)),
        season_name=settings.season.name,
        as_of=day,
        every=every,
    )
    items = spring_items(found) if spring else found.items
    contents: dict[Path | None, str | bytes] = {csv_file: store_csv(items) if csv_file else b""}
    if labels is not None:
        from forecaster.report.labels_pdf import labels_pdf

        wanted = [item for item in items if item.status in ("taken", "not said", "to take")]
        if not wanted:
            text = "there is nothing to label: no site with gear is closed. --all makes labels ahead."
            raise BadInput(Problem("--labels", text))
        size = paper.casefold() or ("a4" if settings.season.units == "metric" else "letter")
        address = settings.office.address
        contents[labels] = labels_pdf(
            wanted, address=address, year=settings.season.year, paper=cast("Paper", size), skip=skip
        )
        if not address:
            text = "no address is set in [office], so the codes hold the site_id alone."
            typer.echo(f"Note: {text}", err=True)
    write(contents)
    show = spring_text if spring else store_text
    typer.echo(show(found, unicode=unicode()), nl=False)
    written(csv_file, labels)


def _begin(settings: Settings) -> date:
    """The first day of the season: 1 February of its year."""
    return date(settings.season.year, 2, 1)


def _check_labels(labels: Path | None, paper: str, skip: int) -> None:
    problems = []
    if labels is not None and labels.suffix.lower() != ".pdf":
        problems.append(Problem("--labels", f'"{labels.name}" must end in .pdf.'))
    if paper.casefold() not in ("", "letter", "a4"):
        problems.append(Problem("--paper", f'"{paper}" is no size of paper here. Write letter or a4.'))
    if not 0 <= skip <= 9:
        problems.append(Problem("--skip", f"{skip} is not 0 to 9: a sheet has 10 labels."))
    if problems:
        raise BadInput(problems)


def gear(
    folder: Folder,
    site: SiteName,
    items: Annotated[
        str,
        typer.Argument(metavar="THINGS", help='What, like "pump; UV unit".', show_default=False),
    ],
    to: Annotated[str, typer.Option("--to", metavar="PLACE", help="Where it is kept.")] = "",
    back: Annotated[bool, typer.Option("--back", help="It was brought back to the site.")] = False,
    on: On = "",
    by: By = "",
    who: Who = "",
) -> None:
    """Record what was taken from a site into the store, or brought back.

    Example: forecaster gear my-season V-03 "pump; UV unit" --to "shelf 3" --by Heron

    Example: forecaster gear my-season V-03 pump --back --on 2026-04-02
    """
    from forecaster.cli_ledger_desk import open_desk
    from forecaster.season import gear_events

    desk = open_desk(folder, who, lambda: datetime.now(UTC))
    site_id, day = desk.site(site).site_id, desk.day(on)
    if back:
        _check_back(folder, site_id, day)
    named = items.replace(",", ";").split(";")
    desk.record(gear_events.gear(site_id, day, named, back=back, store="" if back else to, by=by))


def _check_back(folder: Path, site_id: str, day: date) -> None:
    """Refuse a day before the things were taken: "2 Apr" is that of the season's own year."""
    from forecaster.season.gear_events import standing_gear, taken_after
    from forecaster.season.ledger import open_ledger

    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return
    with ledger:
        state = ledger.state()
    taken = taken_after(standing_gear(state.events, state.undone, since=date.min), site_id, day)
    if taken is not None:
        text = f"{day} is before {taken}, when it was taken. Write the day with its year, like 2026-04-02."
        raise BadInput(Problem("--on", text))


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    app.command("store")(store)
    app.command("gear")(gear)
