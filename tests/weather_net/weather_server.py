"""A local server that speaks as weather services do, well and badly; it counts what it is asked.

Everything it serves is invented. It listens on this machine only.
"""

from __future__ import annotations

import gzip
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit


@dataclass
class Asked:
    """One request that the server saw."""

    method: str
    path: str
    query: dict[str, list[str]]
    headers: dict[str, str]
    body: bytes = b""


@dataclass
class Answer:
    """How the server answers one path.

    `etag` makes it answer 304 to a request that names it. `cut_after` announces the whole body and hangs up
    after so many bytes. `delay_s` waits before the first byte, `pause_s` after each byte. `endless` sends
    chunks until the other side hangs up. `packed` sends the body with Content-Encoding gzip.
    """

    body: bytes = b""
    status: int = 200
    kind: str = "application/octet-stream"
    headers: dict[str, str] = field(default_factory=dict)
    etag: str | None = None
    cut_after: int | None = None
    delay_s: float = 0.0
    pause_s: float = 0.0
    endless: Callable[[], Iterator[bytes]] | None = None
    packed: bool = False
    announced: int | None = None


Route = Answer | Callable[[Asked], Answer]


class _QuietServer(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, *args: Any) -> None:
        self.lines: set[socket.socket] = set()
        super().__init__(*args)

    def process_request(self, request: Any, client_address: Any) -> None:
        self.lines.add(request)
        super().process_request(request, client_address)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Lines that break are what is tested."""


class WeatherServer:
    """Serves `routes` by path; anything else is 404. `asked` holds every request."""

    def __init__(self) -> None:
        self.routes: dict[str, Route] = {}
        self.asked: list[Asked] = []
        self.fallback: Route = Answer(b"no such file", status=404, kind="text/plain")
        self.bytes_sent = 0
        self._port = 0
        self._server: _QuietServer | None = None
        self.start()

    @property
    def url(self) -> str:
        """Address without a path."""
        return f"http://127.0.0.1:{self._port}"

    def start(self) -> None:
        """Listen, on the same port as before if there was one."""
        server = _QuietServer(("127.0.0.1", self._port), _handler_of(self))
        self._server, self._port = server, server.server_address[1]
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()

    def kill(self) -> None:
        """Stop listening and hang up: connections are refused from now on."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            for line in list(self._server.lines):
                with suppress(OSError):
                    line.shutdown(socket.SHUT_RDWR)
            self._server = None

    def count(self, part: str = "") -> int:
        """Requests so far whose path holds `part`."""
        return sum(part in asked.path for asked in self.asked)

    def forget(self) -> None:
        """Count from zero."""
        self.asked.clear()


def _handler_of(home: WeatherServer) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        disable_nagle_algorithm = True

        def do_GET(self) -> None:
            self._answer()

        def do_POST(self) -> None:
            self._answer()

        def log_message(self, *args: object) -> None:
            pass

        def _answer(self) -> None:
            parts = urlsplit(self.path)
            body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            asked = Asked(self.command, parts.path, parse_qs(parts.query), dict(self.headers), body)
            home.asked.append(asked)
            route = home.routes.get(parts.path, home.fallback)
            answer = route(asked) if callable(route) else route
            try:
                self._send(answer)
            except (TimeoutError, BrokenPipeError, ConnectionResetError):
                self.close_connection = True

        def _send(self, answer: Answer) -> None:
            time.sleep(answer.delay_s)
            if answer.etag and self.headers.get("If-None-Match") == answer.etag:
                self.send_response(304)
                self.send_header("ETag", answer.etag)
                self.end_headers()
                return
            body = gzip.compress(answer.body) if answer.packed else answer.body
            self.send_response(answer.status)
            self.send_header("Content-Type", answer.kind)
            if answer.packed:
                self.send_header("Content-Encoding", "gzip")
            if answer.etag:
                self.send_header("ETag", answer.etag)
            for name, value in answer.headers.items():
                self.send_header(name, value)
            if answer.endless is not None:
                self.send_header("Transfer-Encoding", "chunked")
                self.end_headers()
                for chunk in answer.endless():
                    self.wfile.write(b"%x\r\n%s\r\n" % (len(chunk), chunk))
                    home.bytes_sent += len(chunk)
                return
            length = len(body) if answer.announced is None else answer.announced
            self.send_header("Content-Length", str(length))
            self.end_headers()
            if answer.cut_after is not None:
                self.wfile.write(body[: answer.cut_after])
                self.wfile.flush()
                self.connection.shutdown(socket.SHUT_RDWR)
                self.close_connection = True
                return
            if answer.pause_s:
                for byte in body:
                    self.wfile.write(bytes([byte]))
                    self.wfile.flush()
                    time.sleep(answer.pause_s)
                return
            home.bytes_sent += len(body)  # before: the asker may look as soon as it has them
            self.wfile.write(body)

    return Handler
