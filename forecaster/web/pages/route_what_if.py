"""What if a crew is ill, it rains, a crew more comes, a visit moves: planned beside, shown when done."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from forecaster.errors import BadInput
from forecaster.report.words import clean, dollars
from forecaster.route.what_if import apply_what_if, as_in_force
from forecaster.web import route_view
from forecaster.web.forms import Form, read_form
from forecaster.web.page import render
from forecaster.web.pages.route import common
from forecaster.web.pages.site import shown_plan
from forecaster.web.record import desk_of, who_of
from forecaster.web.security import Refused
from forecaster.web.what_if_jobs import Busy, WhatIfs

LONGEST = 300
KINDS = ("ill", "rain", "extra", "text")


def what_ifs_of(request: Request) -> WhatIfs:
    """The what-ifs of this server."""
    found = getattr(request.app.state, "what_ifs", None)
    if found is None:
        found = request.app.state.what_ifs = WhatIfs()
    assert isinstance(found, WhatIfs)
    return found


def ask(request: Request) -> Response:
    """The form, and the latest what-ifs."""
    return _shown(request, Form({"kind": "rain", "first": desk_of(request).as_of().isoformat()}))


def begin(request: Request) -> Response:
    """Read what is asked; have it planned."""
    form = read_form(request, right="look")
    state = shown_plan(request)
    if state is None:
        raise HTTPException(404)
    snapshot, _ = state
    text = _text(form)
    if not form.problems:
        try:
            apply_what_if(as_in_force(snapshot.known, snapshot.forecast), text)
        except BadInput as error:
            form.problem("text", " ".join(problem.text for problem in error.problems))
    if form.problems:
        return _shown(request, form, status=422)
    try:
        number = what_ifs_of(request).start(text, who=who_of(request), state=desk_of(request).kept / "state")
    except Busy:
        raise Refused(429, "Several what-ifs are being planned already. Wait for one of them.") from None
    return RedirectResponse(f"/route/what-if/{number}", status_code=303)


def result(request: Request) -> Response:
    """How far a what-if is, or what came out of it."""
    job = what_ifs_of(request).get(int(request.path_params["number"]))
    if job is None:
        raise HTTPException(404)
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    step = 0.0 if job.result is None else job.result["loss_after"] - job.result["loss_before"]
    return render(
        request,
        "route_what_if_done.html.j2",
        view="what-if",
        reload_when_new=False,
        job=job,
        change=_change_words(step),
        dollars=dollars,
        clean_text=clean,
        **common(request, *state),
    )


def _change_words(step: float) -> str:
    if round(step) == 0:
        return "no more and no less"
    return f"{dollars(abs(step))} {'more' if step > 0 else 'less'}"


def _text(form: Form) -> str:
    """The change in the words of the command line, from the fields of the form."""
    kind = form.text("kind")
    if kind not in KINDS:
        form.problem("kind", "is none of the choices.")
        return ""
    if kind == "text":
        text = form.cleaned("text")
        if not text:
            form.problem("text", "is empty. Write a change, like rain 2025-10-14.")
        elif len(text) > LONGEST:
            form.problem("text", f"is longer than {LONGEST} letters. Ask for less at once.")
        return text
    first, last = form.day("first"), form.day("last")
    form.needed("first", first, "Choose the day.")
    crew = form.text("crew")
    if kind != "rain" and not crew:
        form.problem("crew", "is needed. Choose the crew.")
    days = f"{first}..{last}" if last is not None else f"{first}"
    return f"rain {days}" if kind == "rain" else f"{kind} {crew} {days}"


def _shown(request: Request, form: Form, *, status: int = 200) -> Response:
    state = shown_plan(request)
    if state is None:
        return render(request, "first.html.j2")
    return render(
        request,
        "route_what_if.html.j2",
        status=status,
        view="what-if",
        reload_when_new=False,
        form=form,
        latest=what_ifs_of(request).latest(),
        money=route_view.money,
        **common(request, *state),
    )


ROUTES = [
    Route("/route/what-if", ask, methods=["GET"]),
    Route("/route/what-if", begin, methods=["POST"]),
    Route("/route/what-if/{number:int}", result),
]
