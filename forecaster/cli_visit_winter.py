"""Commands for the winter after: energy, winter watch, words for the customer, store list."""

from __future__ import annotations

import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable

    from forecaster.known import Known
    from forecaster.report.words_for_customer_templates import Form
    from forecaster.season.state import SeasonState

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
OneSite = Annotated[
    str | None,
    typer.Argument(metavar="[SITE]", help="Only this site: its site_id, or part of the customer's name."),
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
    known, state = _start(folder, as_of, json_file, csv_file)
    from forecaster.report.energy_text import energy_csv, energy_json, energy_text
    from forecaster.visit.energy import route_energy
    from forecaster.visit.kit import kits_of

    only = _site_id(known, site)
    found = route_energy(known, kits_of(known.sites), closed_days(state), price=price, only=only)
    _write(
        {json_file: energy_json(found) if json_file else "", csv_file: energy_csv(found) if csv_file else b""}
    )
    typer.echo(energy_text(found, unicode=_unicode()), nl=False)
    _written(json_file, csv_file)


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
    known, state = _start(folder, as_of, json_file)
    from forecaster.report.winter_text import winter_json, winter_text
    from forecaster.visit.kit import kits_of
    from forecaster.visit.winter_watch import winter_watch

    only = _site_id(known, site)
    watch = winter_watch(known, kits_of(known.sites), closed_days(state), every=every, only=only)
    _write({json_file: winter_json(watch) if json_file else ""})
    typer.echo(winter_text(watch, unicode=_unicode(), detail=only is not None), nl=False)
    _written(json_file)


def words(
    folder: Folder,
    site: OneSite = None,
    as_of: AsOf = None,
    form: Annotated[
        str, typer.Option("--form", metavar="FORM", help="email, text (a phone message) or letter.")
    ] = "email",
    limit: Annotated[
        int, typer.Option("--limit", metavar="N", help="Letters that a text may have: 160 or 320.")
    ] = 320,
    csv_file: Csv = None,
    templates: Annotated[
        bool,
        typer.Option("--write-templates", help="Leave the usual messages in FOLDER/words, to edit; no more."),
    ] = False,
) -> None:
    """A message for each customer: the day, why, what to prepare, what changed. Nothing is ever sent.

    Example: forecaster words my-season V-03 --form text

    Example: forecaster words my-season --form letter --csv letters.csv

    Example: forecaster words my-season --write-templates
    """
    from forecaster.report.words_for_customer_templates import read_templates, write_templates

    chosen = _form(form, limit)
    if templates:
        if not (folder / "season.toml").is_file():
            raise BadInput(Problem(str(folder), "is no season folder: it has no season.toml."))
        for path in write_templates(folder):
            typer.echo(f"Written: {path}")
        typer.echo(f"The messages are in {folder / 'words'}; those that were there are as they were.")
        return
    known, state = _start(folder, as_of, csv_file)
    texts = read_templates(folder)
    from forecaster.build import forecast_route
    from forecaster.report.words_for_customer import messages
    from forecaster.report.words_for_customer_files import message_text, messages_csv, messages_text
    from forecaster.visit.customer_words import customer_facts
    from forecaster.visit.kit import kits_of

    only = _site_id(known, site)
    facts, without = customer_facts(forecast_route(known), kits_of(known.sites), closed_days(state))
    facts = tuple(one for one in facts if only in (None, one.site.site_id))
    made = messages(facts, texts, form=chosen, settings=known.settings, today=known.as_of, text_limit=limit)
    _write({csv_file: messages_csv(made) if csv_file else b""})
    if only is not None and made:
        typer.echo(message_text(made[0]), nl=False)
    else:
        missing = tuple(one for one in without if only in (None, one.site.site_id))
        typer.echo(messages_text(made, missing, unicode=_unicode()), nl=False)
    if not known.settings.office.name:
        typer.echo("Note: no name is set in [office], so the messages sign as Your pond crew.", err=True)
    _written(csv_file)


def _form(said: str, limit: int) -> Form:
    from forecaster.report.words_for_customer import TEXT_LIMITS

    problems = []
    if said not in ("email", "text", "letter"):
        hint = did_you_mean(said, ("email", "text", "letter")) or " Write email, text or letter."
        problems.append(Problem("--form", f'"{said}" is no form of message.{hint}'))
    if limit not in TEXT_LIMITS:
        problems.append(Problem("--limit", f"{limit} letters are not offered. Write 160 or 320."))
    if problems:
        raise BadInput(problems)
    return cast("Form", said)


def closed_days(state: SeasonState | None) -> dict[str, date]:
    """Site -> the day of its closing, as the ledger has it."""
    return {} if state is None else {site_id: event.day for site_id, event in state.closed.items()}


def _start(folder: Path, as_of: datetime | None, *targets: Path | None) -> tuple[Known, SeasonState | None]:
    """What is known and what the ledger holds; the one place where the clock is read for it."""
    from forecaster.files import check_targets
    from forecaster.pipeline import ledger_state, load_known

    check_targets(*targets)
    named = [path.resolve() for path in targets if path is not None]
    if len(set(named)) < len(named):
        raise BadInput(Problem("files", "two outputs have the same file name. Name them apart."))
    day = as_of.date() if as_of else date.today()
    return load_known(folder, day), ledger_state(folder, day)


def _site_id(known: Known, said: str | None) -> str | None:
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


def _write(contents: dict[Path | None, str | bytes]) -> None:
    from forecaster.files import write_bytes, write_text

    for path, content in contents.items():
        if path is None:
            continue
        if isinstance(content, str):
            write_text(path, content)
        else:
            write_bytes(path, content)


def _written(*paths: Path | None) -> None:
    for path in paths:
        if path is not None:
            typer.echo(f"Written: {path}", err=True)


def _warn(notices: Iterable[object]) -> None:
    for notice in notices:
        typer.echo(f"Note: {notice}", err=True)


def _unicode() -> bool:
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf") and sys.stdout.isatty()


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    app.command("energy")(energy)
    app.command("winter")(winter)
    app.command("words")(words)
