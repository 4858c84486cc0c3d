"""The command after a cold snap: what happened, who goes first, what can be protected before dark."""

from __future__ import annotations

import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
DAY = ["%Y-%m-%d"]


def snap(
    folder: Folder,
    since: Annotated[
        datetime | None,
        typer.Option("--since", metavar="DATE", formats=DAY, help="Look from this day on; default 10 days."),
    ] = None,
    as_of: Annotated[
        datetime | None,
        typer.Option("--as-of", metavar="DATE", formats=DAY, help="Stand on this morning; default today."),
    ] = None,
    crews: Annotated[
        int | None,
        typer.Option("--crews", metavar="N", help="Crews that can come today; default by their calendar."),
    ] = None,
    low: Annotated[
        list[str] | None,
        typer.Option("--low", metavar="STATION=19", help="This morning's lowest as you read it; may repeat."),
    ] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write everything as JSON.")
    ] = None,
    html_file: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write one self-contained page to save on the phone."),
    ] = None,
    show_all: Annotated[bool, typer.Option("--all", help="List every site, not only the first.")] = False,
) -> None:
    """After a cold snap: which open sites were hit, who goes first, what can be protected before dark.

    Example: forecaster snap my-season

    Example: forecaster snap my-season --crews 3 --html snap.html

    Example: forecaster snap my-season --low FLOOR=19

    Example: forecaster snap my-season --as-of 2025-11-12 --since 2025-11-05 --json snap.json
    """
    from forecaster.files import check_targets, write_text
    from forecaster.report.snap_json import snap_json
    from forecaster.report.snap_text import snap_text
    from forecaster.web.snap_folder import snap_of_folder

    check_targets(json_file, html_file)
    report = snap_of_folder(
        folder,
        as_of.date() if as_of else date.today(),
        since=since.date() if since else None,
        crews=crews,
        lows=low or (),
    )
    if json_file:
        write_text(json_file, snap_json(report))
    if html_file:
        from forecaster.report.snap_page import snap_page
        from forecaster.web.contact import contact_of

        page = snap_page(
            report, made_at=datetime.now(ZoneInfo(report.timezone)), call=lambda site: contact_of(site).tel
        )
        write_text(html_file, page)
    fancy = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf") and sys.stdout.isatty()
    typer.echo(snap_text(report, unicode=fancy, at_most=None if show_all else 10), nl=False)
    for path in (json_file, html_file):
        if path:
            typer.echo(f"Written: {path}", err=True)


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("snap")(snap)
