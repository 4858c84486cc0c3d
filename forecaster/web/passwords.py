"""Who may open the pages: names, roles and hashed passwords, in FOLDER/.pages/people.json.

The file may be read by its owner only. Hashes are scrypt (RFC 7914) with N = 2^14, r = 8, p = 5: one of the
settings of the OWASP Password Storage Cheat Sheet (from memory). A password itself is never kept, logged or
shown.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.files import write_text

Role = Literal["office", "crew", "viewer"]
ROLES: tuple[Role, ...] = get_args(Role)
ROLE_WORDS: Mapping[Role, str] = {
    "office": "may change everything",
    "crew": "may enter readings and closings",
    "viewer": "may look",
}
SHORTEST, LONGEST = 10, 200
PEOPLE_FILE = "people.json"
N, R, P = 2**14, 8, 5
LONGEST_NAME = 60


@dataclass(frozen=True)
class Person:
    """One who may log in; `salt` and `hash` in hexadecimal."""

    name: str
    role: Role
    salt: str
    hash: str


def read_people(kept: Path) -> dict[str, Person]:
    """The people by their names in small letters; none where no password was ever set.

    Raises:
        ForecasterError: The file is damaged: then nobody may in, rather than everybody.
    """
    path = kept / PEOPLE_FILE
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))["people"]
        people = [Person(**row) for row in rows]
        if any(person.role not in ROLES or not person.hash for person in people):
            raise ValueError("role")
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, LookupError, TypeError) as error:
        text = f"{path} cannot be read ({type(error).__name__}). Delete it and set the passwords again."
        raise ForecasterError(text) from error
    return {person.name.casefold(): person for person in people}


def set_password(kept: Path, name: str, role: Role, password: str) -> Person:
    """Add a person, or give the one of this name a new password and role.

    Raises:
        BadInput: The name or password cannot be used; nothing is written.
        CannotWrite: The disk refuses.
    """
    name = " ".join(name.split())
    problems = [*_name_problems(name), *_password_problems(password, name)]
    if problems:
        raise BadInput(problems)
    kept.mkdir(mode=0o700, exist_ok=True)
    salt = secrets.token_bytes(16)
    person = Person(name, role, salt.hex(), hash_of(password, salt).hex())
    people = {**read_people(kept), name.casefold(): person}
    rows = [vars(one) for _, one in sorted(people.items())]
    path = kept / PEOPLE_FILE
    before = os.umask(0o077)
    try:
        write_text(path, json.dumps({"people": rows}, indent=1, ensure_ascii=False) + "\n")
        path.chmod(0o600)
    finally:
        os.umask(before)
    return person


def remove_person(kept: Path, name: str) -> None:
    """Take a person off the list.

    Raises:
        BadInput: Nobody of this name.
    """
    people = read_people(kept)
    if people.pop(" ".join(name.split()).casefold(), None) is None:
        names = ", ".join(person.name for person in people.values()) or "nobody yet"
        raise BadInput(Problem("--name", f'"{name}" is not on the list ({names}).'))
    rows = [vars(one) for _, one in sorted(people.items())]
    path = kept / PEOPLE_FILE
    write_text(path, json.dumps({"people": rows}, indent=1, ensure_ascii=False) + "\n")
    path.chmod(0o600)


def hash_of(password: str, salt: bytes) -> bytes:
    """The scrypt hash of a password, 32 bytes."""
    return hashlib.scrypt(password.encode(), salt=salt, n=N, r=R, p=P, maxmem=64 * 2**20, dklen=32)


def is_right(person: Person | None, password: str) -> bool:
    """Whether the password is the person's; takes as long for nobody as for somebody."""
    salt = bytes.fromhex(person.salt) if person else b"\0" * 16
    wanted = bytes.fromhex(person.hash) if person else b"\0" * 32
    same = hmac.compare_digest(hash_of(password[:LONGEST], salt), wanted)
    return same and person is not None


def _name_problems(name: str) -> list[Problem]:
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        text = f"is needed: 1 to {LONGEST_NAME} letters. Write it like --name Ann"
        return [Problem("--name", text)]
    return []


def _password_problems(password: str, name: str) -> list[Problem]:
    if not SHORTEST <= len(password) <= LONGEST:
        text = (
            f"has {len(password)} letters; allowed are {SHORTEST} to {LONGEST}. Three or four words do well."
        )
        return [Problem("password", text)]
    if len(set(password)) < 4 or password.casefold() == name.casefold():
        return [Problem("password", "is too easy to guess. Three or four words do well.")]
    return []
