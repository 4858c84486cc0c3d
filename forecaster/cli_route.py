"""The command of one site, and what `route` hands over to the office's own tools."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from forecaster.forecast import RouteForecast
    from forecaster.known import Known

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]


@dataclass(frozen=True)
class RouteFiles:
    """Files that `route` is asked to write, None for those not wanted; `ics` may be a folder."""

    xlsx: Path | None = None
    ics: Path | None = None
    csv: Path | None = None
    map: Path | None = None
    picture: Path | None = None

    def check(self) -> None:
        """Refuse what cannot be written before any work is done.

        Raises:
            BadInput: A wrong ending, a folder that is not there, two outputs of one name: all at once.
        """
        from forecaster.files import check_targets

        problems = []
        endings = (("--xlsx", self.xlsx, ".xlsx"), ("--csv", self.csv, ".csv"))
        for option, path, ending in (
            *endings,
            ("--map", self.map, ".svg"),
            ("--picture", self.picture, ".svg"),
        ):
            if path is not None and path.suffix.lower() != ending:
                problems.append(Problem(option, f'"{path.name}" must end in {ending}.'))
        if self.ics is not None and not self.ics.is_dir() and self.ics.suffix.lower() != ".ics":
            text = (
                f'"{self.ics.name}" is neither a folder nor a name that ends in .ics. Make the folder first.'
            )
            problems.append(Problem("--ics", text))
        files = [p for p in (self.xlsx, self.csv, self.map, self.picture, self._ics_file) if p is not None]
        if len({path.resolve() for path in files}) < len(files):
            problems.append(Problem("route", "two outputs have the same file name. Name them apart."))
        try:
            check_targets(*files)
        except BadInput as error:
            problems += error.problems
        if problems:
            raise BadInput(problems)

    @property
    def _ics_file(self) -> Path | None:
        return None if self.ics is None or self.ics.is_dir() else self.ics


def route_outputs(
    forecast: RouteForecast,
    *,
    xlsx: Path | None = None,
    ics: Path | None = None,
    csv: Path | None = None,
    map: Path | None = None,
    picture: Path | None = None,
    with_access: bool = False,
) -> list[Path]:
    """Write what is wanted of the plan; returns the files written, in this order.

    Args:
        forecast: The finished forecast.
        xlsx: Workbook.
        ics: One calendar for all crews, or a folder that gets one calendar a crew.
        csv: One visit a row.
        map: Map of the next crew-days (.svg).
        picture: The season on one sheet (.svg).
        with_access: Put gate codes and notes into workbook, calendars and CSV.
    Raises:
        BadInput: A target cannot be written, or its name has the wrong ending; nothing is written then.
        CannotWrite: The disk refuses.
    """
    from forecaster.files import write_bytes, write_text

    files = RouteFiles(xlsx, ics, csv, map, picture)
    files.check()
    contents: dict[Path, bytes | str] = {}
    if xlsx is not None:
        from forecaster.report.workbook import route_workbook

        contents[xlsx] = route_workbook(forecast, with_access=with_access)
    if ics is not None:
        contents |= _calendars(forecast, ics, with_access=with_access)
    if csv is not None:
        from forecaster.report.handover import visits_csv

        contents[csv] = visits_csv(forecast, with_access=with_access)
    if map is not None:
        from forecaster.report.map import route_map

        contents[map] = route_map(forecast)
    if picture is not None:
        from forecaster.report.season_picture import season_picture

        contents[picture] = season_picture(forecast)
    for path, content in contents.items():
        if isinstance(content, str):
            write_text(path, content)
        else:
            write_bytes(path, content)
    return list(contents)


def _calendars(forecast: RouteForecast, ics: Path, *, with_access: bool) -> dict[Path, bytes | str]:
    from forecaster.report.calendar_file import crew_calendars, file_names, whole_calendar

    if not ics.is_dir():
        return {ics: whole_calendar(forecast, with_access=with_access)}
    calendars = crew_calendars(forecast, with_access=with_access)
    names = file_names(calendars)
    return {ics / names[crew]: content for crew, content in calendars.items()}


def what_if(known: Known, forecast: RouteForecast, text: str, *, gap: float, unicode: bool = True) -> str:
    """What the changes of `text` would do to the plan of `forecast`, as text; nothing is written.

    Both plans start from the one of `forecast`, so that none of the difference is a longer search.

    Raises:
        BadInput: A change cannot be read.
    """
    from forecaster.build import forecast_route
    from forecaster.report.what_if_text import what_if_text
    from forecaster.route.what_if import apply_what_if, as_in_force, difference

    base = as_in_force(known, forecast)
    changed = apply_what_if(base, text)
    before = forecast if forecast.plan.gap_exact else forecast_route(base, gap=gap)
    after = forecast_route(changed, gap=gap)
    return what_if_text(difference(text, before, after), unicode=unicode)


def check_gap(gap: float) -> float:
    """The target of the plan's search, 0-1.

    Raises:
        BadInput: It is no share.
    """
    if not 0.0 <= gap <= 1.0:
        raise BadInput(Problem("--gap", f"{gap:g} is no share of 0 to 1. Write 0.02 for two percent."))
    return gap


def site(
    folder: Folder,
    site_id: Annotated[str, typer.Argument(metavar="SITE", help="A site_id of the sheet.")],
    as_of: Annotated[
        datetime | None,
        typer.Option(
            "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default today."
        ),
    ] = None,
) -> None:
    """Everything about one site: readings, water, dates, what each day costs, plan, why this rank.

    Example: forecaster site my-season V-03 --as-of 2025-10-06
    """
    from forecaster.build import forecast_route
    from forecaster.pipeline import load_known
    from forecaster.report.credit_lines import credit_lines
    from forecaster.report.site_page import site_text

    known = load_known(folder, as_of.date() if as_of else date.today())
    ids = [found.site_id for found in known.sites]
    if site_id not in ids:
        hint = did_you_mean(site_id, ids) or " Write a site_id of the sheet."
        raise BadInput(Problem("SITE", f'"{site_id}" is not in the site sheet.{hint}'))
    readings = tuple(reading for reading in known.readings if reading.site_id == site_id)
    encoding = (sys.stdout.encoding or "").lower().replace("-", "")
    unicode = encoding.startswith("utf") and sys.stdout.isatty()
    typer.echo(site_text(forecast_route(known), site_id, readings, unicode=unicode), nl=False)
    typer.echo(credit_lines(known.weather.credits, unicode=unicode), nl=False)


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("site")(site)
