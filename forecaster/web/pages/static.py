"""The shipped style sheet and script."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from forecaster.web.page import STATIC, static_bytes

KINDS = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}
FOR_GOOD = "public, max-age=31536000, immutable"


def file(request: Request) -> Response:
    """One of the files of `static`, by its name alone."""
    name = request.path_params["name"]
    shipped = {path.name: path for path in STATIC.iterdir() if path.suffix in KINDS}
    if name not in shipped:
        raise HTTPException(404)
    kept = FOR_GOOD if request.query_params.get("v") else "no-cache"
    return Response(
        static_bytes(name), headers={"cache-control": kept}, media_type=KINDS[shipped[name].suffix]
    )


def icon(request: Request) -> Response:
    """Browsers that ask for an icon get none."""
    return Response(status_code=204, headers={"cache-control": FOR_GOOD})


ROUTES = [Route("/static/{name}", file), Route("/favicon.ico", icon)]
