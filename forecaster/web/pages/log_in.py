"""Logging in and out. Where nobody has a password there is nothing to log in to."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from forecaster.web.access import TooMany
from forecaster.web.forms import Form, form_fields, read_form
from forecaster.web.page import render
from forecaster.web.security import cookie_line


def log_in_form(request: Request) -> Response:
    """The page on which somebody logs in."""
    if request.state.session is not None:
        return RedirectResponse("/", status_code=303)
    back = _inside(request.query_params.get("to", "/"))
    return render(request, "log_in.html.j2", reload_when_new=False, back=back, wrong="")


def log_in(request: Request) -> Response:
    """Check name and password; a right one begins a new session.

    No token is asked for: the guard lets in only forms of this server (Origin, Sec-Fetch-Site), and there is
    no session yet that somebody could misuse.
    """
    access, form = request.app.state.access, Form(form_fields(request))
    back = _inside(form.text("to"))
    name, address = form.text("name")[:100], request.state.address
    try:
        person = access.log_in(name, form.fields.get("password", "")[:1000], address)
    except TooMany as error:
        wait = f"{int(error.seconds // 60) + 1} min"
        text = f"Too many wrong passwords. Wait {wait}, then try again."
        answer = render(
            request, "log_in.html.j2", status=429, reload_when_new=False, back=back, wrong=text, form=form
        )
        answer.headers["retry-after"] = f"{error.seconds:.0f}"
        return answer
    if person is None:
        access.audit("", address, "log-in refused")
        text = "Name or password is wrong."
        return render(
            request, "log_in.html.j2", status=403, reload_when_new=False, back=back, wrong=text, form=form
        )
    token, _ = access.begin(person.name, person.role)
    access.audit(person.name, address, "logged in")
    answer = RedirectResponse(back, status_code=303)
    answer.headers["set-cookie"] = cookie_line(request.app.state.door.cookie, token, request)
    return answer


def log_out(request: Request) -> Response:
    """End the session."""
    read_form(request, right="look")
    access = request.app.state.access
    access.audit(request.state.session.name, request.state.address, "logged out")
    access.end(request.state.token)
    answer = RedirectResponse("/log-in", status_code=303)
    answer.headers["set-cookie"] = cookie_line(request.app.state.door.cookie, "", request)
    return answer


def _inside(to: str) -> str:
    """A page of this server to go on to, whatever was sent.

    >>> _inside("/site/V-03"), _inside("//evil.example"), _inside("/\\\\evil.example"), _inside("")
    ('/site/V-03', '/', '/', '/')
    """
    parts = urlsplit(to) if to.isprintable() and "\\" not in to else None
    if parts is None or parts.scheme or parts.netloc or not to.startswith("/") or to.startswith("//"):
        return "/"
    return to


ROUTES = [
    Route("/log-in", log_in_form, methods=["GET"]),
    Route("/log-in", log_in, methods=["POST"]),
    Route("/log-out", log_out, methods=["POST"]),
]
