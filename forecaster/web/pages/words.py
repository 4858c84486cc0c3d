"""The customers' messages, to read, copy, or open in one's own mail program. Nothing is sent from here."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.report.words_for_customer import Message, messages
from forecaster.report.words_for_customer_files import ABOUT_WORDS, messages_csv
from forecaster.report.words_for_customer_templates import Form, read_templates
from forecaster.visit.customer_words import NotWritten, customer_facts
from forecaster.visit.kit import kit_of
from forecaster.web.contact import contact_of
from forecaster.web.page import render
from forecaster.web.pages.site import shown_plan
from forecaster.web.record import desk_of
from forecaster.web.shown_plan import ShownPlan
from forecaster.web.snapshot import Snapshot

FORMS: tuple[Form, ...] = get_args(Form)
LONGEST_LINK = 1800
"""Letters of a link that mail programs still take whole [from memory]; a longer text is copied by hand."""


def words(request: Request) -> Response:
    """All messages in one form, by day."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    form = _form(request)
    made, without = _messages(request, *state, form)
    reasons: dict[str, list[str]] = {}
    for one in without:
        reasons.setdefault(one.why, []).append(one.site.site_id)
    return render(
        request,
        "words.html.j2",
        messages=made,
        without=reasons,
        forms=FORMS,
        message_form=form,
        about_words=ABOUT_WORDS,
    )


def one(request: Request) -> Response:
    """The message to one customer."""
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    site_id, form = request.path_params["site_id"], _form(request)
    made, without = _messages(request, *state, form)
    found = next((message for message in made if message.facts.site.site_id == site_id), None)
    silent = next((one for one in without if one.site.site_id == site_id), None)
    if found is None and silent is None:
        raise HTTPException(404)
    return render(
        request,
        "words_one.html.j2",
        message=found,
        silent=silent,
        site=found.facts.site if found else silent.site if silent else None,
        forms=FORMS,
        message_form=form,
        link=_link(found) if found else "",
        about_words=ABOUT_WORDS,
    )


def mail_merge(request: Request) -> Response:
    """All messages as `forecaster words FOLDER --csv` writes them."""
    state = shown_plan(request)
    if state is None:
        raise HTTPException(503, "The first forecast is being made. Ask again.")
    form = _form(request)
    made, _ = _messages(request, *state, form)
    name = f'attachment; filename="words-{form}.csv"'
    return Response(
        messages_csv(made), media_type="text/csv; charset=utf-8", headers={"content-disposition": name}
    )


def _form(request: Request) -> Form:
    said = request.query_params.get("form", "email")
    if said not in FORMS:
        raise HTTPException(404)
    return said


def _messages(
    request: Request, snapshot: Snapshot, shown: ShownPlan, form: Form
) -> tuple[tuple[Message, ...], tuple[NotWritten, ...]]:
    """The messages of what is shown now: with dates and closings recorded since the forecast."""
    closed = {site_id: event.day for site_id, event in shown.state.closed.items()}
    forecast = replace(
        shown.forecast,
        sites=tuple(site for site in shown.forecast.sites if site.site.site_id not in closed),
        closed=tuple(
            site for site in snapshot.known.sites if site.site_id in closed and site.winter != "runs"
        ),
    )
    kits = {site.site_id: kit_of(site)[0] for site in snapshot.known.sites}
    facts, without = customer_facts(forecast, kits, closed)
    made = messages(
        facts,
        read_templates(desk_of(request).folder),
        form=form,
        settings=snapshot.known.settings,
        today=forecast.as_of,
    )
    return made, without


def _link(message: Message) -> str:
    """A link that opens the message in the reader's own program; "" where there is nobody to write to, or
    where it is too long for a link."""
    contact = contact_of(message.facts.site)
    body = quote(message.body.rstrip("\n").replace("\n", "\r\n"), safe="")
    if message.form == "email" and contact.mail:
        link = f"{contact.mail}?subject={quote(message.subject, safe='')}&body={body}"
    elif message.form == "text" and contact.tel:
        number = contact.tel.removeprefix("tel:").split(";")[0]
        link = f"sms:{number}?body={body}"
    else:
        return ""
    return link if len(link) <= LONGEST_LINK else ""


ROUTES = [
    Route("/words", words),
    Route("/words.csv", mail_merge),
    Route("/words/{site_id:path}", one),
]
