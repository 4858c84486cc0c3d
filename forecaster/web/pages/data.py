"""The data for other programs: the same bytes as the command line's, at addresses that stay."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import lru_cache

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from forecaster.web.record import desk_of
from forecaster.web.snapshot import Snapshot


def route_data(request: Request) -> Response:
    """As `forecaster route FOLDER --json`."""
    return _answer(request, _route_json, "application/json")


def water_data(request: Request) -> Response:
    """As `forecaster water FOLDER --csv`."""
    return _answer(request, _water_csv, "text/csv; charset=utf-8")


def state_data(request: Request) -> Response:
    """What the pages' script asks: which state is shown, is a new one coming, did the last one fail."""
    desk = desk_of(request)
    snapshot = desk.current()
    return JSONResponse(
        {
            "state": snapshot.key if snapshot else None,
            "as_of": snapshot.forecast.as_of.isoformat() if snapshot else None,
            "made_at": snapshot.made_at.isoformat(timespec="seconds") if snapshot else None,
            "pending": desk.pending(),
            "failed": desk.problem() is not None,
        }
    )


def _answer(request: Request, make: Callable[[Snapshot], bytes], kind: str) -> Response:
    desk = desk_of(request)
    snapshot = desk.current()
    if snapshot is None:
        return PlainTextResponse("The first forecast is being made. Ask again.\n", 503, {"retry-after": "5"})
    content = make(snapshot)
    mark = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {
        "etag": mark,
        "cache-control": "private, no-cache",
        "x-season-pending": str(desk.pending()).lower(),
        "x-season-failed": str(desk.problem() is not None).lower(),
    }
    asked = request.headers.get("if-none-match", "")
    marks = {one.strip().removeprefix("W/") for one in asked.split(",")}
    if mark in marks or asked.strip() == "*":
        return Response(status_code=304, headers=headers)
    return Response(content, headers=headers, media_type=kind)


@lru_cache(maxsize=4)
def _route_json(snapshot: Snapshot) -> bytes:
    from forecaster.report.contract import route_json

    return route_json(snapshot.forecast).encode()


@lru_cache(maxsize=4)
def _water_csv(snapshot: Snapshot) -> bytes:
    from forecaster.report.water_text import water_csv
    from forecaster.waters import water_days

    return water_csv(water_days(snapshot.known)).encode()


ROUTES = [
    Route("/data/route.json", route_data),
    Route("/data/water.csv", water_data),
    Route("/data/state.json", state_data),
]
