"""Passwords and addresses that hold keys: from the environment, or a file that only its owner may read.

They never stand in the season folder, and no text of this program shows them: `Secrets.hide` takes them out
of what servers and libraries say. Limit: a process of the same user can read them, as it can read the file.
"""

from __future__ import annotations

import base64
import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.channels import channel_names

PASSWORD = "FORECASTER_MAIL_PASSWORD"
CHANNEL = "FORECASTER_CHANNEL_"
FILE = "FORECASTER_SECRETS"
KEYS = ("mail_password", "channels")
HIDDEN = "(hidden)"
SHORTEST = 4
"""Parts of an address shorter than this are not taken for secrets: they would blot out half of a text."""


@dataclass(frozen=True, repr=False)
class Secrets:
    """The mail password ("" for none) and the address of each channel by its name."""

    mail_password: str = ""
    channels: Mapping[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Secrets(channels={sorted(self.channels)})"

    def hide(self, text: str) -> str:
        """`text` on one line, with every secret in it replaced, also as base64 and as part of an address."""
        for secret in sorted(self._shapes(), key=len, reverse=True):
            text = text.replace(secret, HIDDEN)
        return " ".join(text.split())

    def _shapes(self) -> Iterator[str]:
        for secret in (self.mail_password, *self.channels.values()):
            parts = {secret}
            if "://" in secret:
                try:
                    pieces = urlsplit(secret)
                except ValueError:
                    continue
                parts |= {pieces.netloc, pieces.path, pieces.query, pieces.password or ""}
                parts |= {*pieces.path.split("/"), *pieces.netloc.replace("@", ":").split(":")}
                parts |= {value for pair in pieces.query.split("&") for value in pair.split("=")[1:]}
            for part in parts:
                if len(part) >= SHORTEST:
                    yield part
                    yield quote(part, safe="")
                    yield base64.b64encode(part.encode()).decode()


def load_secrets(folder: Path, environment: Mapping[str, str] = os.environ) -> Secrets:
    """The secrets of this machine; the environment goes before the file.

    Args:
        folder: The season folder: a file of secrets in it is refused, because the folder is copied about.
        environment: FORECASTER_MAIL_PASSWORD, FORECASTER_CHANNEL_<NAME>, FORECASTER_SECRETS (the file).
    Raises:
        BadInput: The file lies in the season folder, others may read it, or it cannot be used: all at once.
    """
    path = secrets_file(environment)
    found = _read(path, folder) if path is not None else Secrets()
    channels = dict(found.channels)
    for name, value in sorted(environment.items()):
        if name.startswith(CHANNEL) and value:
            channels[name.removeprefix(CHANNEL).lower()] = value
    return Secrets(environment.get(PASSWORD, "") or found.mail_password, channels)


def secrets_file(environment: Mapping[str, str]) -> Path | None:
    """The file of secrets: the one named, else the usual one if it is there, else None."""
    if environment.get(FILE):
        return Path(environment[FILE])
    base = environment.get("XDG_CONFIG_HOME") or (
        str(Path(environment["HOME"]) / ".config") if environment.get("HOME") else ""
    )
    usual = Path(base) / "forecaster" / "secrets.toml" if base else None
    return usual if usual is not None and usual.is_file() else None


def _read(path: Path, folder: Path) -> Secrets:
    where = str(path)
    if not path.is_file():
        raise BadInput(
            Problem(where, f"there is no such file ({FILE} names it). Make it, or correct {FILE}.")
        )
    problems = []
    if path.resolve().is_relative_to(folder.resolve()):
        problems.append(Problem(where, "lies in the season folder, which is copied and mailed. Move it out."))
    problems += _open_to_others(path)
    if problems:
        raise BadInput(problems)
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        text = 'cannot be read as TOML. Write lines like mail_password = "...", and [channels] above names.'
        raise BadInput(Problem(where, text)) from None
    return _checked(raw, where)


def _open_to_others(path: Path) -> list[Problem]:
    """The file must be its owner's alone. On Windows rights are not read (they are no mode bits there)."""
    if os.name != "posix":
        return []
    status = path.stat()
    if status.st_mode & 0o077:
        text = f"may be read by others (mode {status.st_mode & 0o777:03o}). Run: chmod 600 {path}"
        return [Problem(str(path), text)]
    if status.st_uid not in (os.getuid(), 0):
        return [Problem(str(path), "belongs to somebody else. Make a file of your own.")]
    return []


def _checked(raw: dict[str, Any], where: str) -> Secrets:
    problems = []
    for key in raw:
        if key not in KEYS:
            hint = did_you_mean(key, KEYS) or f" The keys are {', '.join(KEYS)}."
            problems.append(Problem(f"{where} {key}", f"no such key.{hint}"))
    password, channels = raw.get("mail_password", ""), raw.get("channels", {})
    if not isinstance(password, str):
        problems.append(Problem(f"{where} mail_password", "is no text. Put it in double quotes."))
    if not isinstance(channels, dict):
        problems.append(
            Problem(f"{where} channels", "is no table. Write [channels] and name = address below.")
        )
        channels = {}
    for name, address in channels.items():
        try:
            channel_names([name])
        except ValueError as error:
            problems.append(Problem(f"{where} [channels] {name[:40]}", str(error)))
        if not isinstance(address, str) or "://" not in address:
            problems.append(Problem(f"{where} [channels] {name[:40]}", "is no address with :// in it."))
    if problems:
        raise BadInput(problems)
    return Secrets(password, dict(channels))
