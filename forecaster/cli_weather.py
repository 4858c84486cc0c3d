"""`forecaster weather ...`: stations, update, add, outlook, export, geocode; each imports what it needs.

The only commands that ask the network are update, outlook, stations and geocode, and they say so.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from forecaster.errors import Notice
    from forecaster.season.settings import Settings
    from forecaster.season.sites import Site

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
AsOf = Annotated[
    datetime | None,
    typer.Option(
        "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default today."
    ),
]
weather_app = typer.Typer(
    no_args_is_help=True,
    help="Weather that arrives by itself: stations, records, outlooks, own files, places for addresses.\n\n"
    "Begin with `forecaster weather stations FOLDER`, then `forecaster weather update FOLDER`.",
)


class Unit(StrEnum):
    """Units in which own files may be."""

    FAHRENHEIT = "f"
    CELSIUS = "c"
    TENTHS = "tenths"


def register(app: typer.Typer) -> None:
    """Add the weather commands to the program."""
    app.add_typer(weather_app, name="weather")


@weather_app.command()
def stations(
    folder: Folder,
    show_all: Annotated[bool, typer.Option("--all", help="Also the stations that are not taken.")] = False,
) -> None:
    """Which weather stations serve each site, and why; fetches the list of stations if it is a week old.

    Override the choice in season.toml: [weather] stations = ["72640"] or exclude_stations = ["72641"].

    Example: forecaster weather stations my-season

    Example: forecaster weather stations my-season --all
    """
    from forecaster.report.weather_text import stations_text
    from forecaster.weather.credits import STATION_LIST
    from forecaster.weather.update import explain_stations

    settings, sites = _season(folder)
    choices, notices = explain_stations(folder, settings, sites, now=datetime.now(UTC))
    text = stations_text(choices, sites, units=settings.season.units, unicode=_unicode(), show_all=show_all)
    typer.echo(f"{text}\n{STATION_LIST}")
    _say_all(notices)


@weather_app.command()
def update(folder: Folder) -> None:
    """Fetch station records and the outlook, as the settings name them, and keep them in the folder.

    What is over for good is asked once; without a network the last good copies stay.

    Example: forecaster weather update my-season
    """
    from forecaster.report.weather_text import update_text
    from forecaster.weather.credits import credits_of
    from forecaster.weather.update import update_weather

    settings, sites = _season(folder)
    with _Kept(folder) as keep:
        report = update_weather(
            folder, settings, sites, now=datetime.now(UTC), progress=_progress(), keep=keep
        )
    typer.echo(update_text(report, credits_of(folder, settings)), nl=False)
    _say_all(report.notices)


@weather_app.command()
def outlook(
    folder: Folder,
    as_of: AsOf = None,
    offline: Annotated[bool, typer.Option("--offline", help="Show what is kept; ask no service.")] = False,
) -> None:
    """The coming days at each station with their range, and how good past outlooks were.

    Fetches the current outlook first, unless --offline or --as-of is given.

    Example: forecaster weather outlook my-season

    Example: forecaster weather outlook my-season --offline --as-of 2025-10-06
    """
    from forecaster.report.weather_text import outlook_text
    from forecaster.weather.credits import credits_of
    from forecaster.weather.load import load_weather
    from forecaster.weather.outlook_errors import learn_errors
    from forecaster.weather.update import update_only_outlooks

    settings, _ = _season(folder)
    notices: list[Notice] = []
    if not offline and as_of is None:
        with _Kept(folder) as keep:
            report = update_only_outlooks(
                folder, settings, now=datetime.now(UTC), progress=_progress(), keep=keep
            )
        notices += report.notices if report is not None else ()
    day = as_of.date() if as_of else date.today()
    weather = load_weather(folder, settings, as_of=day)
    source = settings.weather.outlook
    errors = learn_errors(weather.outlooks, weather, source=source)
    text = outlook_text(
        weather, errors, settings, as_of=day, unicode=_unicode(), credit=credits_of(folder, settings)
    )
    typer.echo(text, nl=False)
    _say_all([*notices, *(n for n in weather.notices if n.where.startswith("outlook"))])


@weather_app.command()
def add(
    folder: Folder,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="GHCN-Daily (.dly, CSV) or a private CSV.")],
    station_id: Annotated[str, typer.Option("--station-id", metavar="ID", help="Its id in the folder.")] = "",
    name: Annotated[str, typer.Option("--name", metavar="TEXT", help="Its name for people.")] = "",
    latitude: Annotated[float | None, typer.Option("--latitude", help="Degrees north.")] = None,
    longitude: Annotated[float | None, typer.Option("--longitude", help="Degrees; west is minus.")] = None,
    elevation_m: Annotated[float | None, typer.Option("--elevation-m", help="Metres above the sea.")] = None,
    elevation_ft: Annotated[float | None, typer.Option("--elevation-ft", help="The same in feet.")] = None,
    unit: Annotated[Unit | None, typer.Option("--unit", help="Where the file does not say it.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="New values replace the old of a day.")] = False,
) -> None:
    """Put an own record into the weather folder: an open archive's file, or a private station's CSV.

    Then set source = "files" in season.toml. Values that failed the archive's own checks are left out.

    Example: forecaster weather add my-season field.dly --latitude 43.1 --longitude -89.4 --elevation-ft 860

    Example: forecaster weather add my-season yard.csv --station-id YARD
    """
    from forecaster.units import M_PER_FOOT
    from forecaster.weather.add_station import add_record, read_own_file

    settings = _settings(folder)
    record = read_own_file(file, timezone=settings.season.timezone, unit=unit.value if unit else "")
    if elevation_m is None and elevation_ft is not None:
        elevation_m = elevation_ft * M_PER_FOOT
    added = add_record(
        folder / settings.weather.folder, record, station_id=station_id, name=name, latitude=latitude,
        longitude=longitude, elevation_m=elevation_m, replace_days=replace,
    )  # fmt: skip
    station = added.station.station_id
    typer.echo(f"{station}: {added.new_days} days added, {added.replaced_days} replaced "
               f"({added.first_day} to {added.last_day} in the file).")  # fmt: skip
    if not added.in_list_already:
        typer.echo(f"{station} was added to {settings.weather.folder}/stations.csv.")
    if settings.weather.source != "files":
        typer.echo('To forecast from own files, set source = "files" in [weather] of season.toml.')
    _say_all(added.notices)


@weather_app.command()
def export(
    folder: Folder,
    to: Annotated[Path, typer.Argument(metavar="TO", help="A new folder for the weather files.")],
    as_of: AsOf = None,
) -> None:
    """Write the exact weather that a forecast uses, so that it can be made again years later.

    Example: forecaster weather export my-season my-season/weather-2025-10-06 --as-of 2025-10-06
    """
    from forecaster.weather.export import export_weather

    settings, sites = _season(folder)
    day = as_of.date() if as_of else date.today()
    done = export_weather(folder, settings, as_of=day, to=to, sites=sites)
    what = f"{len(done.stations)} stations, {done.days} days and {done.outlooks} outlooks"
    typer.echo(f"{what} are in {done.folder}.")
    typer.echo("To forecast from them, put into season.toml (folder is counted from the season's folder):")
    for line in done.settings_lines:
        typer.echo(f"  {line}")


@weather_app.command()
def geocode(
    folder: Folder,
    confirm: Annotated[
        list[str] | None,
        typer.Option("--confirm", metavar="SITE", help="Confirm this place; `all` without a question."),
    ] = None,
) -> None:
    """Look up places for addresses of the sheet (US Census Bureau), to be confirmed on a map picture.

    Sends the addresses, and nothing else, to the public service of the Bureau. Writes coordinates.csv and
    coordinates.svg beside the sheet, never the sheet itself. A doubtful match is a question.

    Example: forecaster weather geocode my-season

    Example: forecaster weather geocode my-season --confirm all
    """
    from forecaster.report.weather_text import places_text
    from forecaster.weather import geocode as places
    from forecaster.weather.http import Fetcher, HttpSettings
    from forecaster.weather.kept import CACHE_FOLDER

    settings = _settings(folder)
    if confirm:
        done = places.confirm(folder, confirm)
        typer.echo(f"Confirmed: {', '.join(place.site_id for place in done) or 'none'}.")
        return
    with Fetcher(folder / CACHE_FOLDER, HttpSettings(settings.weather.contact)) as fetcher:
        found = places.look_up(folder, fetcher, settings.weather.geocoder_url)
    typer.echo(places_text(found, folder=str(folder)), nl=False)


class _Kept:
    """Hands new outlooks to the season's ledger where there is one; use it as a context manager."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._ledger: Any = None

    def __enter__(self) -> Callable[[Any], None]:
        from forecaster.season.ledger import open_ledger

        probe = open_ledger(self._folder, readonly=True)
        if probe is not None:
            probe.close()
            self._ledger = open_ledger(self._folder)
        return self._keep

    def _keep(self, outlook: Any) -> None:
        if self._ledger is not None:
            self._ledger.keep_outlook(outlook)

    def __exit__(self, *error: object) -> None:
        if self._ledger is not None:
            self._ledger.close()


def _settings(folder: Path) -> Settings:
    from forecaster.errors import BadInput, Problem
    from forecaster.season.settings import read_settings

    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "there is no such folder. Name the season's folder."))
    return read_settings(folder)


def _season(folder: Path) -> tuple[Settings, tuple[Site, ...]]:
    from forecaster.season.sheet import read_sites

    settings = _settings(folder)
    sites, _ = read_sites(folder, crew_names=[crew.name for crew in settings.crews])
    return settings, sites


def _progress() -> Callable[[int, int, str], None]:
    """Progress on stderr: one line that changes on a terminal, a line every now and then elsewhere."""
    live = sys.stderr.isatty()

    def show(done: int, total: int, text: str) -> None:
        if live:
            ending = "\n" if done >= total else ""
            typer.echo(f"\r{done}/{total} {text:<40.40}{ending}", err=True, nl=False)
        elif total and (done >= total or done % 50 == 0):
            typer.echo(f"{done}/{total} {text}", err=True)

    return show


def _say_all(notices: Iterable[Notice]) -> None:
    from forecaster.report.weather_text import notice_lines

    for line in notice_lines(notices):
        typer.echo(line, err=True)


def _unicode() -> bool:
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf") and sys.stdout.isatty()
