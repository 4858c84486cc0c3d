"""The pages put together: each module's `ROUTES`, the guard around them, calm pages for what goes wrong."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response

from forecaster.errors import BadInput, ForecasterError
from forecaster.web.access import Access
from forecaster.web.desk import Desk
from forecaster.web.forms import Stale
from forecaster.web.page import render
from forecaster.web.replay import Replayer
from forecaster.web.security import Door, Guard, Refused, own_names

PAGES = (
    *("today", "entry", "route", "route_move", "route_files", "route_what_if", "site_forms", "site"),
    *("evidence", "snap", "words", "winter", "sheets", "data", "log_in", "static"),
)
"""Modules of `forecaster.web.pages`; each holds a list `ROUTES`, asked in this order. A new page adds its
name here."""

ERROR_HEADS = {
    400: "That could not be read",
    401: "Please log in",
    403: "Not allowed",
    404: "There is no such page",
    405: "That is not how this page works",
    409: "Somebody was faster",
    413: "Too much at once",
    422: "Nothing was recorded",
    429: "Please wait",
    503: "Please try again",
}


def create_app(desk: Desk, access: Access, door: Door | None = None) -> Starlette:
    """The application; `desk` is started and stopped with it. Whoever serves it binds it to an address.

    Args:
        desk: The season behind the pages.
        access: Who may come in.
        door: How it is reached; by default from this computer only.
    """
    door = door or Door(names=own_names())
    pages = [import_module(f"forecaster.web.pages.{name}") for name in PAGES]
    replayer = Replayer(desk.folder)

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        desk.start()
        try:
            yield
        finally:
            replayer.stop()
            desk.stop()

    app = Starlette(
        routes=[route for page in pages for route in page.ROUTES],
        middleware=[
            Middleware(GZipMiddleware, minimum_size=1000, compresslevel=4),
            Middleware(Guard, access=access, door=door, error_page=error_page),
        ],
        exception_handlers={
            HTTPException: _http_error,
            Refused: _refused,
            Stale: _stale,
            BadInput: _bad_input,
            ForecasterError: _fault,
            Exception: _crash,
        },
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.state.access = access
    app.state.door = door
    app.state.replayer = replayer
    app.state.pages = frozenset(PAGES)
    return app


def error_page(request: Request, status: int, text: str, lines: tuple[str, ...] = ()) -> Response:
    """A page that says what happened and what to do next."""
    head = ERROR_HEADS.get(status, "That did not work")
    return render(
        request, "error.html.j2", status=status, reload_when_new=False, head=head, text=text, lines=lines
    )


def _http_error(request: Request, error: Any) -> Response:
    status = int(error.status_code)
    text = {
        404: "The address is mistyped, or the site is not in the sheet any more.",
        405: "Open it from the page before.",
    }.get(status, str(error.detail))
    answer = error_page(request, status, text)
    answer.headers.update(error.headers or {})
    return answer


def _refused(request: Request, error: Any) -> Response:
    return error_page(request, error.status, str(error))


def _stale(request: Request, error: Any) -> Response:
    return error_page(request, 409, str(error))


def _bad_input(request: Request, error: Any) -> Response:
    lines = tuple(str(problem) for problem in error.problems[:20])
    return error_page(request, 422, "Something in the season cannot be used as it is.", lines)


def _fault(request: Request, error: Any) -> Response:
    return error_page(request, 503, str(error))


def _crash(request: Request, error: Any) -> Response:
    """The server then logs the error itself."""
    text = "The program met an error of its own. Nothing was recorded. Go back and try again."
    return error_page(request, 500, text)
