"""Local servers that receive real messages: mail (aiosmtpd, and one by hand that misbehaves) and the web.

All listen on this machine only, on a port of the system's choice.
"""

from __future__ import annotations

import json
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

GOOD = ("owner@example.org", "boss@example.org")


@dataclass
class MailBox:
    """Keeps what comes. `rcpt`, `data`: answers to give instead of 250, one a message, first first; "cut":
    the line is cut after the text, "take and cut": likewise, but the message was taken."""

    got: list[bytes] = field(default_factory=list)
    to: list[str] = field(default_factory=list)
    rcpt: list[str] = field(default_factory=list)
    data: list[str] = field(default_factory=list)
    logins: list[tuple[str, str]] = field(default_factory=list)

    async def handle_RCPT(self, server, session, envelope, address, options):  # type: ignore[no-untyped-def]
        answer = self.rcpt.pop(0) if self.rcpt else "250 OK"
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):  # type: ignore[no-untyped-def]
        answer = self.data.pop(0) if self.data else "250 taken"
        if answer.startswith("250") or answer == "take and cut":
            self.got.append(envelope.content)
            self.to.append(envelope.rcpt_tos[0])
        if answer.endswith("cut"):
            server.transport.abort()
            return "421 gone"
        return answer

    def mails(self) -> list[EmailMessage]:
        """What came, parsed."""
        return [message_from_bytes(raw, policy=policy.default) for raw in self.got]  # type: ignore[misc]

    def ids(self) -> list[str]:
        return [str(mail["Message-ID"]) for mail in self.mails()]


class MailServer:
    """A running aiosmtpd server with its box."""

    def __init__(
        self, *, tls: ssl.SSLContext | None = None, at_once: bool = False, login: bool = False
    ) -> None:
        self.box = MailBox()
        options: dict[str, Any] = {}
        if tls and not at_once:
            options = {"tls_context": tls, "require_starttls": True}
        if login:
            options |= {"authenticator": self._login, "auth_required": True}
        self.controller = Controller(
            self.box, hostname="127.0.0.1", port=free_port(), ssl_context=tls if at_once else None, **options
        )
        self.controller.start()

    @property
    def port(self) -> int:
        return int(self.controller.port)

    def stop(self) -> None:
        self.controller.stop()

    def _login(self, server, session, envelope, mechanism, data):  # type: ignore[no-untyped-def]
        assert isinstance(data, LoginPassword)
        self.box.logins.append((data.login.decode(), data.password.decode()))
        return AuthResult(success=data.password == b"open sesame 7391", handled=False)


class RoughServer:
    """A mail server by hand: `script(conversation)` may hang up, wait or stay silent where it likes."""

    def __init__(self, script: Callable[[Conversation], None]) -> None:
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.port = int(self.socket.getsockname()[1])
        self.script = script
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        while True:
            try:
                line, _ = self.socket.accept()
            except OSError:
                return
            with line, suppress(OSError, EOFError):
                self.script(Conversation(line))

    def stop(self) -> None:
        self.socket.shutdown(socket.SHUT_RDWR)
        self.socket.close()
        self.thread.join(5)


class Conversation:
    """One connection, line by line."""

    def __init__(self, line: socket.socket) -> None:
        self.line, self.rest = line, b""

    def say(self, text: str) -> None:
        self.line.sendall(text.encode() + b"\r\n")

    def hear(self, end: bytes = b"\r\n") -> bytes:
        while end not in self.rest:
            more = self.line.recv(65536)
            if not more:
                raise EOFError
            self.rest += more
        heard, _, self.rest = self.rest.partition(end)
        return heard

    def up_to_data(self) -> None:
        """Everything until the client may send its text."""
        self.say("220 rough")
        for answer in ("250 rough", "250 ok", "250 ok", "354 go on"):  # EHLO, MAIL, RCPT, DATA
            self.hear()
            self.say(answer)


@dataclass
class Posted:
    """One request that the web server took."""

    path: str
    headers: dict[str, str]
    body: dict[str, Any]


class WebServer:
    """Takes posts; honours Idempotency-Key as it should: the same key is taken once. `answers`: statuses to
    give instead of 200, first first; "cut": take it and hang up."""

    def __init__(self) -> None:
        self.posts: list[Posted] = []
        self.taken: dict[str, Posted] = {}
        self.answers: list[int | str] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                post = Posted(self.path, dict(self.headers), json.loads(body or b"{}"))
                answer = outer.answers.pop(0) if outer.answers else 200
                if answer in (200, "cut"):
                    outer.posts.append(post)
                    outer.taken.setdefault(post.headers.get("Idempotency-Key", str(len(outer.posts))), post)
                if answer == "cut":
                    self.connection.shutdown(socket.SHUT_RDWR)
                    return
                self.send_response(int(answer))
                if answer == 302:
                    self.send_header("Location", "http://127.0.0.1:1/elsewhere")
                if answer == 429:
                    self.send_header("Retry-After", "600")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join(5)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def make_certificate(folder: Path, host: str = "127.0.0.1") -> tuple[Path, Path]:
    """A certificate for `host` that is its own authority, and its key, made now by openssl."""
    if shutil.which("openssl") is None:
        pytest.skip("needs openssl to make a certificate")
    certificate, key = folder / f"{host}.pem", folder / f"{host}.key"
    kind = "IP" if host[0].isdigit() else "DNS"
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1"),
            *("-nodes", "-days", "30", "-subj", f"/CN={host}", "-addext", f"subjectAltName={kind}:{host}"),
            *("-keyout", str(key), "-out", str(certificate)),
        ],
        check=True,
        capture_output=True,
    )
    return certificate, key
