"""The server of the pages: where it may listen, who it lets in, how it starts and ends."""

from __future__ import annotations

import ipaddress
import socket
import webbrowser
from collections.abc import Callable
from datetime import date
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.season.ledger_file import check_folder
from forecaster.web.access import Access
from forecaster.web.app import create_app
from forecaster.web.desk import KEPT_FOLDER, Desk
from forecaster.web.passwords import read_people
from forecaster.web.security import Door, own_names

Say = Callable[[str], None]


def run(
    folder: Path,
    *,
    as_of: date | None,
    host: str,
    port: int,
    names: tuple[str, ...],
    proxy: str,
    local_name: str,
    open_browser: bool,
    say: Say,
) -> None:
    """Serve the season until Ctrl-C.

    Raises:
        BadInput: No season folder, or an address that needs passwords where none are set.
        ForecasterError: The port is taken.
    """
    check_folder(folder)
    access = Access(folder / KEPT_FOLDER, local_name=local_name)
    check_door(folder, access, host=host, names=names, proxy=proxy)
    read_people(access.kept)  # says so now if it is damaged
    access.must_log_in = access.needs_password()
    listening = _listen(host, port)
    bound = listening.getsockname()[1]
    door = Door(names=own_names() | frozenset(names), proxy=proxy, cookie=f"season-{bound}")
    app = create_app(Desk(folder, as_of), access, door)
    address = f"http://{_shown(host)}:{bound}/"
    say(f"The season is at {address}  (end with Ctrl-C)")
    if open_browser:
        webbrowser.open(address)
    server = server_of(app)
    try:
        server.run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()
    say("Ended.")


def server_of(app: Starlette) -> uvicorn.Server:
    """The HTTP server of an application, with limits that a slow or rude caller meets."""
    return uvicorn.Server(
        uvicorn.Config(
            app,
            access_log=False,
            log_level="error",
            server_header=False,
            proxy_headers=False,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=3,
            limit_concurrency=500,
            h11_max_incomplete_event_size=32 * 1024,
            ws="none",
            http="h11",
        )
    )


def check_door(folder: Path, access: Access, *, host: str, names: tuple[str, ...], proxy: str) -> None:
    """Refuse to open the season to others without passwords.

    Raises:
        BadInput: An address that is none, or one that needs passwords.
    """
    problems = []
    for option, value in (("--host", host), ("--proxy", proxy)):
        if value and value != "localhost" and not _is_address(value):
            text = f'"{value}" is no address in figures, like 127.0.0.1 or 0.0.0.0. Host names go to --name.'
            problems.append(Problem(option, text))
    if problems:
        raise BadInput(problems)
    why = ""
    if host != "localhost" and not ipaddress.ip_address(host).is_loopback:
        why = f"{host} can be reached from other computers"
    elif proxy or names:
        why = "behind a web server, or by another name, it can be reached from other computers"
    if why and not access.needs_password():
        cure = f"Set one first: forecaster password {folder} --role office"
        raise BadInput(
            Problem(
                "--host" if not (proxy or names) else "--name", f"{why}, and nobody has a password. {cure}"
            )
        )


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        text = (
            f"{host} port {port} cannot be used ({error.strerror}). Name another with --port, or 0 for any."
        )
        raise ForecasterError(text) from error
    return listening


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _shown(host: str) -> str:
    """An address that the browser of this computer can open."""
    if host in ("0.0.0.0", "::"):
        return "127.0.0.1"
    return f"[{host}]" if ":" in host else host
