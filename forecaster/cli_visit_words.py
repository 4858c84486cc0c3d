"""The command that writes the messages for the customers. Nothing is sent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, cast

import typer

from forecaster.cli_visit_shared import (
    AsOf,
    Csv,
    Folder,
    OneSite,
    closed_days,
    site_id,
    start,
    unicode,
    write,
    written,
)
from forecaster.errors import BadInput, Problem, did_you_mean

if TYPE_CHECKING:
    from forecaster.forecast import CrewDay
    from forecaster.report.words_for_customer_templates import Form
    from forecaster.season.state import SeasonState


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
    known, state = start(folder, as_of, csv_file)
    texts = read_templates(folder)
    from forecaster.build import forecast_route
    from forecaster.report.words_for_customer import messages
    from forecaster.report.words_for_customer_files import message_text, messages_csv, messages_text
    from forecaster.visit.customer_words import customer_facts
    from forecaster.visit.kit import kits_of

    only = site_id(known, site)
    facts, without = customer_facts(
        forecast_route(known), kits_of(known.sites), closed_days(state), _plan_in_force(state)
    )
    facts = tuple(one for one in facts if only in (None, one.site.site_id))
    made = messages(facts, texts, form=chosen, settings=known.settings, today=known.as_of, text_limit=limit)
    write({csv_file: messages_csv(made) if csv_file else b""})
    if only is not None and made:
        typer.echo(message_text(made[0]), nl=False)
    else:
        missing = tuple(one for one in without if only in (None, one.site.site_id))
        typer.echo(messages_text(made, missing, unicode=unicode()), nl=False)
    if not known.settings.office.name:
        typer.echo("Note: no name is set in [office], so the messages sign as Your pond crew.", err=True)
    written(csv_file)


def _plan_in_force(state: SeasonState | None) -> tuple[CrewDay, ...] | None:
    """The crew-days of the plan in force, None where there is none or dates moved since: as on the sheets."""
    from forecaster.report.sheet_plan import CHANGES_THE_DAYS, crew_days_of

    plan = state.plan_event if state is not None else None
    if state is None or plan is None or state.plan is None:
        return None
    moved = any(
        event.event_id > plan.event_id
        and event.kind in CHANGES_THE_DAYS
        and event.event_id not in state.undone
        for event in state.events
    )
    return None if moved else crew_days_of(state.plan)


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


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("words")(words)
