"""What every request passes before a page sees it, and what every answer carries. Plain ASGI.

In this order: the Host header (a foreign name is how another site reaches a server on this computer), the
size of the request, the session, and for every change its origin and its token. Pages never look at raw
bodies or cookies themselves.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import ipaddress
import socket
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forecaster.web.access import Access, Session, TooMany

POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
LARGEST_BODY = 64 * 1024
"""Bytes of a request; the longest note fills a tenth of it."""

BODY_WITHIN_S = 20.0
"""A form that takes longer to arrive is given up [s]."""

LONGEST_HEAD = 16 * 1024
METHODS = frozenset({"GET", "HEAD", "POST"})
OPEN_PATHS = ("/static/", "/log-in", "/favicon.ico")
"""Reached without a log-in."""


@dataclass(frozen=True)
class Door:
    """How the server is reached. `names`: host names it may be called by, beside addresses in figures;
    `proxy`: address of the one proxy whose word about the caller is believed, "" for none; `cookie`."""

    names: frozenset[str] = frozenset()
    proxy: str = ""
    cookie: str = "season"


def own_names() -> frozenset[str]:
    """Names by which this computer is called at home."""
    name = socket.gethostname().casefold()
    return frozenset({"localhost", name, f"{name}.local"})


class Refused(Exception):
    """The request is not let in; `status` and what to tell."""

    def __init__(self, status: int, text: str) -> None:
        self.status = status
        super().__init__(text)


ErrorPage = Callable[[Request, int, str], Response]


class Guard:
    """The ASGI layer around all pages; gives them `request.state.session`, `.token`, `.address`, `.body`."""

    def __init__(self, app: ASGIApp, access: Access, door: Door, error_page: ErrorPage) -> None:
        self.app = app
        self.access = access
        self.door = door
        self.error_page = error_page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        state = request.state
        state.session, state.token, state.new_token, state.body = None, "", "", b""
        state.address, state.secure = self._caller(request)
        answer: ASGIApp = self.app
        try:
            self._check_head(request)
            state.body = await _body(request)
            found = await run_in_threadpool(self._identify, request)
            if found is not None:
                answer = found
        except Refused as refusal:
            answer = self.error_page(request, refusal.status, str(refusal))
        await answer(scope, receive, _sender(send, request, self.door.cookie))

    def _caller(self, request: Request) -> tuple[str, bool]:
        """Address of the caller and whether TLS is used; only the trusted proxy is believed."""
        peer = request.client.host if request.client else ""
        if not self.door.proxy or peer != self.door.proxy:
            return peer, request.url.scheme == "https"
        told = request.headers.get("x-forwarded-for", "").split(",")[-1].strip()
        with suppress(ValueError):
            peer = str(ipaddress.ip_address(told))
        return peer, request.headers.get("x-forwarded-proto", "").strip().lower() == "https"

    def _check_head(self, request: Request) -> None:
        headers = request.headers
        if request.method not in METHODS:
            raise Refused(405, "The pages only answer reading and sending of forms.")
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not is_own_host(hosts[0], self.door.names):
            raise Refused(421, "This server does not go by that name. Use the address you were given.")
        if sum(len(key) + len(value) for key, value in headers.raw) > LONGEST_HEAD:
            raise Refused(431, "The request's head is too large.")
        if len(request.url.path) + len(request.url.query) > 4096:
            raise Refused(414, "That address is too long.")
        if request.method == "POST":
            _check_origin(headers, hosts[0])

    def _identify(self, request: Request) -> ASGIApp | None:
        """Put the session into the request; an answer where it may not go on."""
        state, path = request.state, request.url.path
        state.token = _cookie(request, self.door.cookie)
        state.session = self.access.session(state.token) if state.token else None
        if state.session is None and not self.access.needs_password():
            if path.startswith("/data/"):  # programs keep no cookie
                state.session = Session("", "viewer", "", 0.0)
                return None
            state.new_token, state.session = self.access.begin_local()
            if request.method == "POST":
                text = "This page was opened before the program was started anew. Open it again, then send."
                raise Refused(403, text)
        if state.session is not None or path.startswith(OPEN_PATHS):
            return None
        if path.startswith("/data/"):
            return self._identify_program(request)
        if request.method == "POST":
            raise Refused(403, "You are not logged in any more. Log in, then send it again.")
        back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/log-in?to={quote(back, safe='/')}", status_code=303)

    def _identify_program(self, request: Request) -> ASGIApp | None:
        """Other programs read the data with a name and password in each request (RFC 7617)."""
        ask = {"www-authenticate": 'Basic realm="season", charset="UTF-8"'}
        kind, _, said = request.headers.get("authorization", "").partition(" ")
        if kind.lower() != "basic":
            return PlainTextResponse("Log in, or send a name and password.\n", 401, ask)
        try:
            name, _, password = base64.b64decode(said, validate=True).decode().partition(":")
            person = self.access.log_in(name, password, request.state.address)
        except (binascii.Error, UnicodeDecodeError, ValueError):
            person = None
        except TooMany as error:
            wait = {"retry-after": f"{error.seconds:.0f}"}
            return PlainTextResponse("Too many wrong passwords.\n", 429, wait)
        if person is None:
            return PlainTextResponse("Name or password is wrong.\n", 401, ask)
        request.state.session = Session(person.name, "viewer", "", 0.0)
        return None


def is_own_host(host: str, names: Iterable[str]) -> bool:
    """Whether a Host header is one that this server goes by: an address in figures, or one of its names.

    >>> is_own_host("127.0.0.1:8180", ()), is_own_host("[::1]", ()), is_own_host("evil.example", ())
    (True, True, False)
    """
    try:
        name = urlsplit(f"//{host}").hostname or ""
        _ = urlsplit(f"//{host}").port
    except ValueError:
        return False
    if any(sign in host for sign in "/\\@?# \t"):
        return False
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name.casefold().rstrip(".") in {known.casefold() for known in names}
    return True


def _check_origin(headers: Headers, host: str) -> None:
    """A form must come from a page of this server.

    Pages are sent with `no-referrer`, so browsers give their forms the origin "null" (Fetch standard, "append
    a request `Origin` header"); then Sec-Fetch-Site decides, and in any case the token.
    """
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if origin not in (None, "null") and urlsplit(origin or "").netloc.casefold() != host.casefold():
        raise Refused(403, "That form came from another site. Nothing was changed.")
    if site not in (None, "same-origin", "none"):
        raise Refused(403, "That form came from another site. Nothing was changed.")


async def _body(request: Request) -> bytes:
    """The whole body, refused as soon as it is too large."""
    told = request.headers.get("content-length", "0")
    if not told.isdigit() or int(told) > LARGEST_BODY:
        raise Refused(413, f"That is more than a form may hold ({LARGEST_BODY // 1024} kB).")
    try:
        async with asyncio.timeout(BODY_WITHIN_S):
            return await _whole_body(request)
    except TimeoutError:
        raise Refused(408, "The form took too long to arrive. Send it again.") from None


async def _whole_body(request: Request) -> bytes:
    body = b""
    while True:
        message = await request.receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "The request ended early.")
        body += message.get("body", b"")
        if len(body) > LARGEST_BODY:
            raise Refused(413, f"That is more than a form may hold ({LARGEST_BODY // 1024} kB).")
        if not message.get("more_body", False):
            return body


def _cookie(request: Request, name: str) -> str:
    try:
        jar = SimpleCookie(request.headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""


def _sender(send: Send, request: Request, cookie: str) -> Callable[[Message], Any]:
    """Adds the headers that every answer carries."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["content-security-policy"] = POLICY
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "no-referrer"
            headers["cross-origin-opener-policy"] = "same-origin"
            headers["cross-origin-resource-policy"] = "same-origin"
            headers["permissions-policy"] = "camera=(), microphone=(), geolocation=(), payment=()"
            if "cache-control" not in headers:
                headers["cache-control"] = "no-store"
            if request.state.secure:
                headers["strict-transport-security"] = "max-age=31536000"
            if request.state.new_token:
                headers.append("set-cookie", cookie_line(cookie, request.state.new_token, request))
        await send(message)

    return sent


def cookie_line(name: str, token: str, request: Request) -> str:
    """The Set-Cookie line of a session; an empty token removes it."""
    ends = "" if token else "; Max-Age=0"
    secure = "; Secure" if request.state.secure else ""
    return f"{name}={token}; Path=/; HttpOnly; SameSite=Strict{secure}{ends}"
