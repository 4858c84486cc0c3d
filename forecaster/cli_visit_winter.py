"""Commands for the winter after: energy and winter watch; `register` adds words and store too."""

from __future__ import annotations

from typing import Annotated

import typer

from forecaster.cli_visit_shared import (
    AsOf,
    Csv,
    Folder,
    Json,
    OneSite,
    closed_days,
    site_id,
    start,
    unicode,
    write,
    written,
)
from forecaster.errors import BadInput, Problem


def energy(
    folder: Folder,
    site: OneSite = None,
    as_of: AsOf = None,
    price: Annotated[
        float | None,
        typer.Option("--price", metavar="DOLLARS", help="Price of a kWh, instead of [winter] kwh_price."),
    ] = None,
    json_file: Json = None,
    csv_file: Csv = None,
) -> None:
    """What de-icers and aerators will use and cost this winter, with its range.

    Example: forecaster energy my-season --price 0.16

    Example: forecaster energy my-season V-03 --as-of 2025-10-06 --csv energy.csv
    """
    if price is not None and not 0 <= price <= 10:
        raise BadInput(Problem("--price", f"{price:g} is no price of a kWh (0 to 10). Write it like 0.16"))
    known, state = start(folder, as_of, json_file, csv_file)
    from forecaster.report.credit_lines import credit_lines
    from forecaster.report.energy_text import energy_csv, energy_json, energy_text
    from forecaster.visit.energy import route_energy
    from forecaster.visit.kit import kits_of

    only = site_id(known, site)
    found = route_energy(known, kits_of(known.sites), closed_days(state), price=price, only=only)
    write(
        {json_file: energy_json(found) if json_file else "", csv_file: energy_csv(found) if csv_file else b""}
    )
    typer.echo(energy_text(found, unicode=unicode()), nl=False)
    typer.echo(credit_lines(known.weather.credits, unicode=unicode()), nl=False)
    written(json_file, csv_file)


def winter(
    folder: Folder,
    site: OneSite = None,
    as_of: AsOf = None,
    every: Annotated[bool, typer.Option("--all", help="Show the ponds that are still open too.")] = False,
    json_file: Json = None,
) -> None:
    """After the closing: when feeding ends, when ice comes and stays, and when to look again.

    Example: forecaster winter my-season --as-of 2025-11-20

    Example: forecaster winter my-season V-03
    """
    known, state = start(folder, as_of, json_file)
    from forecaster.report.credit_lines import credit_lines
    from forecaster.report.winter_text import winter_json, winter_text
    from forecaster.season.snow_file import read_snow
    from forecaster.visit.kit import kits_of
    from forecaster.visit.winter_watch import winter_watch

    only = site_id(known, site)
    visits = () if state is None else state.visits
    stations = [station.station_id for station in known.weather.stations]
    snow = read_snow(folder, station_ids=stations, as_of=known.as_of)
    watch = winter_watch(
        known, kits_of(known.sites), closed_days(state), snow=snow, visits=visits, every=every, only=only
    )
    write({json_file: winter_json(watch) if json_file else ""})
    typer.echo(winter_text(watch, unicode=unicode(), detail=only is not None), nl=False)
    typer.echo(credit_lines(known.weather.credits, unicode=unicode()), nl=False)
    written(json_file)


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    from forecaster import cli_visit_store, cli_visit_words

    app.command("energy")(energy)
    app.command("winter")(winter)
    cli_visit_words.register(app)
    cli_visit_store.register(app)
