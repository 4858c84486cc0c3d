"""Who is asking: sessions, log-in with a limit on failures, roles, and the audit file."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from forecaster.errors import ForecasterError
from forecaster.web.passwords import Person, Role, is_right, read_people

SESSION_HOURS = 14.0
"""A log-in lasts a working day."""

MOST_SESSIONS = 2000
MOST_WAITING = 8
"""Log-ins that wait for the one whose password is checked; more are sent away for a moment."""

FAILURES_ALLOWED, FAILURES_WITHIN_S = 5, 300.0
"""So many wrong passwords from one address, then none is looked at until the oldest is so old [s]."""

NAME_FAILURES_ALLOWED, NAME_FAILURES_WITHIN_S = 20, 900.0
"""The same for one name from all addresses together: slows many machines, and ends by itself."""

RIGHTS: dict[Role, frozenset[str]] = {
    "office": frozenset({"look", "enter", "change"}),
    "crew": frozenset({"look", "enter"}),
    "viewer": frozenset({"look"}),
}


@dataclass(frozen=True)
class Session:
    """One browser that may come in: the person's name ("" on this computer without passwords) and role."""

    name: str
    role: Role
    csrf: str
    ends: float

    def may(self, right: str) -> bool:
        """Whether the role holds a right: look, enter (readings, closings) or change (everything)."""
        return right in RIGHTS[self.role]


class TooMany(Exception):
    """Too many wrong passwords; `seconds` until the next one is looked at."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        super().__init__(f"wait {seconds:.0f} s")


@dataclass
class Access:
    """The people and sessions of one season folder. Safe to ask from many threads.

    `kept`: FOLDER/.pages. `local_name`: who records changes where no password is set. `must_log_in`: nobody
    comes in without a password, also if the file of passwords is lost while the server runs. `monotonic` and
    `clock`: given by tests.
    """

    kept: Path
    local_name: str = ""
    must_log_in: bool = False
    monotonic: Callable[[], float] = time.monotonic
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    _sessions: dict[str, Session] = field(default_factory=dict)
    _failures: dict[str, deque[float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _hashing: threading.Lock = field(default_factory=threading.Lock)
    _queue: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(MOST_WAITING))
    _people: dict[str, Person] = field(default_factory=dict)
    _people_changed: int = -1
    _damaged: bool = False

    def people(self) -> dict[str, Person]:
        """Those who may log in; read again when the file has changed."""
        try:
            changed = (self.kept / "people.json").stat().st_mtime_ns
        except OSError:
            changed = 0
        if changed != self._people_changed:
            try:
                self._people, self._damaged = read_people(self.kept), False
            except ForecasterError:
                self._people, self._damaged = {}, True
            self._people_changed = changed
        return self._people

    def needs_password(self) -> bool:
        """True where anybody has a password: then everybody needs one. A damaged file lets nobody in."""
        return bool(self.people()) or self._damaged or self.must_log_in

    def session(self, token: str) -> Session | None:
        """The session of a cookie, None where it is unknown or over, or its person has lost the role."""
        with self._lock:
            found = self._sessions.pop(_digest(token), None)
            if found is not None:
                self._sessions[_digest(token)] = found  # the last used stands last, the first one goes first
        if found is None or found.ends < self.monotonic():
            return None
        if found.name or self.needs_password():
            person = self.people().get(found.name.casefold())
            if person is None or person.role != found.role:
                return None
        return found

    def begin(self, name: str, role: Role) -> tuple[str, Session]:
        """A new session and the token for its cookie."""
        token = secrets.token_urlsafe(32)
        session = Session(name, role, secrets.token_hex(32), self.monotonic() + SESSION_HOURS * 3600)
        with self._lock:
            if len(self._sessions) >= MOST_SESSIONS:
                self._sessions.pop(next(iter(self._sessions)))
            self._sessions[_digest(token)] = session
        return token, session

    def begin_local(self) -> tuple[str, Session]:
        """The session of whoever sits at this computer, where no password is set."""
        return self.begin("", "office")

    def end(self, token: str) -> None:
        """Log out."""
        with self._lock:
            self._sessions.pop(_digest(token), None)

    def log_in(self, name: str, password: str, address: str) -> Person | None:
        """The person, None where name or password are wrong.

        Raises:
            TooMany: Too many wrong ones before; this one was not looked at.
        """
        name = " ".join(name.split()).casefold()[:100]
        counted = (
            (f"address {address}", FAILURES_ALLOWED, FAILURES_WITHIN_S),
            (f"name {name}", NAME_FAILURES_ALLOWED, NAME_FAILURES_WITHIN_S),
        )
        if not self._queue.acquire(blocking=False):
            raise TooMany(5.0)
        try:
            with self._hashing:  # one at a time: guesses cannot take the processor
                for key, allowed, within_s in counted:
                    self._check(key, allowed, within_s)
                person = self.people().get(name)
                if is_right(person, password):
                    self._failures.pop(counted[0][0], None)
                    return person
                for key, allowed, _ in counted:
                    self._failures.setdefault(key, deque(maxlen=allowed)).append(self.monotonic())
                return None
        finally:
            self._queue.release()

    def _check(self, key: str, allowed: int, within_s: float) -> None:
        failures, now = self._failures.get(key), self.monotonic()
        while failures and now - failures[0] > within_s:
            failures.popleft()
        if failures is not None and not failures:
            del self._failures[key]
        elif failures is not None and len(failures) >= allowed:
            raise TooMany(within_s - (now - failures[0]))
        if len(self._failures) > 10_000:  # many addresses: forget the quiet ones
            self._failures = {k: f for k, f in self._failures.items() if f and now - f[-1] < within_s}

    def audit(self, who: str, address: str, what: str) -> None:
        """One line for a change: when, who, from where, what. A full disk must not stop the work."""
        line = {"at": self.clock().isoformat(timespec="seconds"), "who": who, "from": address, "what": what}
        try:
            path = self.kept / "audit.log"
            new = not path.exists()
            with self._lock, path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line, ensure_ascii=False) + "\n")
            if new:
                path.chmod(0o600)
        except OSError:
            return


def masked(csrf: str) -> str:
    """The token as a page shows it, another text each time: compression tells nothing."""
    mask = secrets.token_bytes(32)
    return mask.hex() + bytes(a ^ b for a, b in zip(mask, bytes.fromhex(csrf), strict=True)).hex()


def is_token(said: str, csrf: str) -> bool:
    """Whether a form's token is that of the session."""
    try:
        raw = bytes.fromhex(said)
    except ValueError:
        return False
    if len(raw) != 64:
        return False
    unmasked = bytes(a ^ b for a, b in zip(raw[:32], raw[32:], strict=True))
    return hmac.compare_digest(unmasked, bytes.fromhex(csrf))


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()
