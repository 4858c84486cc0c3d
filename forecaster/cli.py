"""The command line: `forecaster COMMAND FOLDER`. Imports what a command needs only when it runs.

Text goes to stdout, progress and warnings to stderr. Exit codes: 0 done, 2 bad input (nothing was written),
1 anything else.
"""

from __future__ import annotations

import io
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster import __version__
from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.files import check_targets

if TYPE_CHECKING:
    from forecaster.known import Known
    from forecaster.season.sites import Site

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="When to close each pond of a fall route: water temperature, freeze risk and crew plan.\n\n"
    "Begin with `forecaster demo`; then `forecaster route FOLDER` with a season folder of your own.",
)

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
AsOf = Annotated[
    datetime | None,
    typer.Option(
        "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default today."
    ),
]


def _version(value: bool) -> None:
    if value:
        typer.echo(f"forecaster {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options of every command."""


def _day(as_of: datetime | None) -> date:
    """The as-of date; the one place where the clock is read for it."""
    return as_of.date() if as_of else date.today()


def _known(folder: Path, as_of: datetime | None) -> Known:
    from forecaster.pipeline import load_known

    return load_known(folder, _day(as_of))


def _say(text: str) -> None:
    typer.echo(text, err=True)


def _unicode() -> bool:
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf") and sys.stdout.isatty()


@app.command()
def demo(
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FOLDER", help="Leave an editable copy of the demo here.")
    ] = None,
) -> None:
    """Run the route on the embedded demo season, or leave a copy of it to play with.

    Example: forecaster demo

    Example: forecaster demo --to my-season
    """
    from forecaster.demo import DEMO_AS_OF, copy_demo, demo_folder

    if to is not None:
        copy_demo(to)
        typer.echo(f"A copy of the demo season is in {to}. Try:")
        typer.echo(f"  forecaster route {to} --as-of {DEMO_AS_OF}")
        return
    from forecaster.pipeline import forecast_folder
    from forecaster.report.text import route_text

    forecast = forecast_folder(demo_folder(), DEMO_AS_OF)
    typer.echo(route_text(forecast, unicode=_unicode()))
    typer.echo("This was the invented demo season. For an editable copy: forecaster demo --to FOLDER")


@app.command()
def check(folder: Folder, as_of: AsOf = None) -> None:
    """List everything wrong or doubtful in a season folder, in one go.

    Example: forecaster check my-season

    Example: forecaster check my-season --as-of 2025-10-06
    """
    from forecaster.report.check_text import check_text
    from forecaster.route.conflicts import check_plan
    from forecaster.waters import route_water

    known = _known(folder, as_of)
    problems = check_plan(known)
    if problems:
        raise BadInput(problems)
    water = route_water(known)
    typer.echo(check_text(water, unicode=_unicode()), nl=False)


@app.command()
def route(
    folder: Folder,
    as_of: AsOf = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the forecast as JSON.")
    ] = None,
    html_file: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write one self-contained page to mail or print."),
    ] = None,
    show_all: Annotated[bool, typer.Option("--all", help="List every site, not only the first.")] = False,
    xlsx: Annotated[
        Path | None, typer.Option("--xlsx", metavar="FILE", help="Write the plan as a workbook.")
    ] = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", metavar="FILE", help="Write calendars: one file, or one a crew into a folder."),
    ] = None,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the plan, one visit a row.")
    ] = None,
    map_file: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Draw the next crew-days as a map (.svg).")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Draw windows, plan and risk of the season (.svg)."),
    ] = None,
    with_access: Annotated[
        bool, typer.Option("--with-access", help="Put access notes into workbook, calendars and CSV.")
    ] = False,
    suppose: Annotated[
        str | None,
        typer.Option("--what-if", metavar="TEXT", help="Show what a change would do; changes nothing."),
    ] = None,
    gap: Annotated[
        float, typer.Option("--gap", metavar="SHARE", help="How near the best plan to search, 0-1.")
    ] = 0.05,
) -> None:
    """Which ponds to close first, when, with which crew, and why.

    Example: forecaster route my-season

    Example: forecaster route my-season --as-of 2025-10-06 --json route.json --html route.html

    Example: forecaster route my-season --xlsx plan.xlsx --ics plan.ics --map map.svg

    Example: forecaster route my-season --what-if "ill Heron 2025-10-14"
    """
    from forecaster.cli_route import RouteFiles, check_gap, route_outputs, what_if

    check_gap(gap)
    check_targets(json_file, html_file)
    RouteFiles(xlsx, ics, csv_file, map_file, picture).check()
    from forecaster.build import forecast_route
    from forecaster.files import write_text
    from forecaster.report.contract import route_json
    from forecaster.report.text import route_text

    ledger = last_event(folder)
    known = _known(folder, as_of)
    forecast = forecast_route(known, gap=gap)
    if suppose is not None:
        typer.echo(what_if(known, forecast, suppose, gap=gap, unicode=_unicode()))
        return
    text = route_json(forecast)
    if json_file:
        write_text(json_file, text)
    if html_file:
        from forecaster.report.page import route_page

        write_text(html_file, route_page(forecast))
    written = route_outputs(
        forecast,
        xlsx=xlsx,
        ics=ics,
        csv=csv_file,
        map=map_file,
        picture=picture,
        with_access=with_access,
    )
    typer.echo(route_text(forecast, unicode=_unicode(), limit=None if show_all else 15))
    for path in (json_file, html_file, *written):
        if path:
            _say(f"Written: {path}")
    if ledger is not None:
        _record_run(folder, forecast.as_of, forecast.seed, text, ledger)


def last_event(folder: Path) -> int | None:
    """Number of the ledger's last event before a forecast is made; None where there is no ledger."""
    from forecaster.season.ledger import open_ledger

    ledger = open_ledger(folder, readonly=True)
    if ledger is None:
        return None
    with ledger:
        return ledger.last_event_id()


def _record_run(folder: Path, as_of: date, seed: int, output: str, last_event_id: int) -> None:
    """Record the run in the season's ledger; a folder that cannot be written is said, not refused."""
    from forecaster.season.ledger import open_ledger
    from forecaster.season.ledger_file import readonly_notice
    from forecaster.season.ledger_runs import folder_inputs

    notice = readonly_notice(folder)
    if notice is not None:
        _say(f"{notice} This run is not recorded.")
        return
    with open_ledger(folder) as ledger:
        number = ledger.record_run(
            inputs=folder_inputs(folder),
            as_of=as_of,
            seed=seed,
            version=__version__,
            output=output,
            last_event_id=last_event_id,
        )
    _say(f"Recorded as run {number}.")


@app.command()
def water(
    folder: Folder,
    as_of: AsOf = None,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write every day's water of every pond.")
    ] = None,
    first_day: Annotated[
        datetime | None,
        typer.Option(
            "--from", metavar="DATE", formats=["%Y-%m-%d"], help="First day of the CSV; default 1 August."
        ),
    ] = None,
    filtered: Annotated[
        bool,
        typer.Option("--filtered", help="For each day of the CSV use only readings up to that day."),
    ] = False,
    site: Annotated[
        list[str] | None, typer.Option("--site", metavar="SITE", help="Only this site; may be repeated.")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE",
            help="Draw air, readings, water and band of one --site (.svg or .png).",
        ),
    ] = None,
) -> None:
    """Today's water in each pond, how sure that is, and what it rests on.

    Example: forecaster water my-season

    Example: forecaster water my-season --csv water.csv --from 2025-09-01

    Example: forecaster water my-season --site V-03 --picture v03.svg
    """
    check_targets(csv_file, picture)
    from forecaster.files import write_text
    from forecaster.report.water_text import water_csv, water_text
    from forecaster.waters import route_water, water_days

    known = _known(folder, as_of)
    chosen = _chosen_sites(known, site)
    if picture is not None:
        _check_picture(picture, [s.site_id for s in chosen if s.forecast_water] if site else None)
    if csv_file:
        start = first_day.date() if first_day else None
        if start is not None and start >= known.as_of:
            text = f"{start} is not before the as-of date {known.as_of}. Name an earlier day."
            raise BadInput(Problem("--from", text))
        wanted = {s.site_id for s in chosen}
        rows = [r for r in water_days(known, first_day=start, filtered=filtered) if r.site_id in wanted]
        write_text(csv_file, water_csv(rows))
    today = route_water(known, chosen)
    if picture is not None:
        from forecaster.report.water_picture import draw_water_picture

        draw_water_picture(today.ponds[0], known, picture)
    typer.echo(water_text(today, unicode=_unicode()), nl=False)
    for path in (csv_file, picture):
        if path:
            _say(f"Written: {path}")


def _chosen_sites(known: Known, wanted: list[str] | None) -> tuple[Site, ...]:
    from forecaster.errors import did_you_mean

    if not wanted:
        return known.sites
    ids = [site.site_id for site in known.sites]
    problems = [
        Problem("--site", f'"{name}" is not in the site sheet.{did_you_mean(name, ids)}')
        for name in wanted
        if name not in ids
    ]
    if problems:
        raise BadInput(problems)
    return tuple(site for site in known.sites if site.site_id in wanted)


def _check_picture(path: Path, ponds: list[str] | None) -> None:
    problems = []
    if path.suffix.lower() not in (".svg", ".png"):
        problems.append(Problem("--picture", f'"{path.name}" must end in .svg or .png.'))
    if ponds is None or len(ponds) != 1:
        problems.append(Problem("--picture", "draws one pond. Name it with --site (one that is not heated)."))
    if problems:
        raise BadInput(problems)


def _register_rooms() -> None:
    """Commands that live with their rooms."""
    from importlib import import_module

    for name in ROOM_COMMANDS:
        import_module(f"forecaster.{name}").register(app)


ROOM_COMMANDS = (
    "cli_route",
    "cli_backtest",
    "cli_weather",
    "cli_ledger",
    "cli_snap",
    "cli_brief",
    "cli_visit",
    "cli_serve",
)
_register_rooms()


def main() -> None:
    """Entry point: errors raised on purpose end as a message, without a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name with a sign that the console lacks
    try:
        app()
    except ForecasterError as error:
        _say(str(error))
        sys.exit(error.exit_code)
    except BrokenPipeError:
        sys.exit(1)


if __name__ == "__main__":
    main()
