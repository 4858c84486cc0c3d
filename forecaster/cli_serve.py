"""The commands that open the season in a browser and say who may."""

from __future__ import annotations

import getpass
import os
import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from forecaster.errors import BadInput, Problem

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]


def serve(
    folder: Folder,
    as_of: Annotated[
        datetime | None,
        typer.Option(
            "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default each today."
        ),
    ] = None,
    host: Annotated[
        str,
        typer.Option("--host", metavar="ADDRESS", help="Address to listen on; default this computer only."),
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", metavar="PORT", help="0: any free one.", min=0, max=65535)
    ] = 8180,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="HOST", help="A host name by which the pages are reached; repeat it."),
    ] = None,
    proxy: Annotated[
        str, typer.Option("--proxy", metavar="ADDRESS", help="Address of the web server in front (TLS).")
    ] = "",
    open_browser: Annotated[bool, typer.Option("--open", help="Open the browser.")] = False,
) -> None:
    """Open the season in a browser: today, the route, each site, the evidence.

    Example: forecaster serve my-season --open

    Example: forecaster serve my-season --as-of 2025-10-06

    Example: forecaster serve my-season --host 0.0.0.0 --name office-pc
    """
    from forecaster.web.server import run

    run(
        folder,
        as_of=as_of.date() if as_of else None,
        host=host,
        port=port,
        names=tuple(name or ()),
        proxy=proxy,
        local_name=_login(),
        open_browser=open_browser,
        say=lambda text: typer.echo(text, err=True),
    )


def password(
    folder: Folder,
    role: Annotated[
        str, typer.Option("--role", metavar="ROLE", help="office, crew or viewer.", show_default=False)
    ] = "",
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Who logs in; default the role.", show_default=False)
    ] = "",
    remove: Annotated[bool, typer.Option("--remove", help="Take this name off the list.")] = False,
) -> None:
    """Set who may open the pages, with which role; the password is asked for, or read from stdin.

    office may change everything, crew may enter readings and closings, viewer may look. Once anybody has a
    password, everybody needs one.

    Example: forecaster password my-season --role office --name Ann

    Example: forecaster password my-season --name Ann --remove
    """
    from forecaster.errors import did_you_mean
    from forecaster.season.ledger_file import check_folder
    from forecaster.web.passwords import ROLE_WORDS, ROLES, remove_person, set_password

    check_folder(folder)
    kept = folder / ".pages"
    if remove:
        remove_person(kept, name)
        typer.echo(f"{name} may not log in any more.")
        return
    if role not in ROLES:
        found = f'"{role}" is no role.{did_you_mean(role, ROLES)}' if role else "is needed."
        raise BadInput(Problem("--role", f"{found} Write one of {', '.join(ROLES)}."))
    person = set_password(kept, name or role, role, _asked_password())
    typer.echo(f"{person.name} may log in as {person.role} and {ROLE_WORDS[person.role]}.")


def _asked_password() -> str:
    """From the terminal, twice and unseen; or the first line of stdin."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("New password: ")
    if first != getpass.getpass("The same again: "):
        raise BadInput(Problem("password", "was not the same twice. Nothing was changed."))
    return first


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return os.environ.get("USERNAME", "")


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    app.command("serve")(serve)
    app.command("password")(password)
