"""Every request of the program: one session, built here from one record of settings, over one cache.

The last good copy is served when the network is dead or an answer is of no use, and `Fetched` says so and
how old it is. Nothing that fails its check is ever kept. Copies are stored as JSON, not pickled: a season
folder that came by mail must not be able to run code. Limits: one request at a time; copies in one file.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Literal
from urllib.parse import urljoin, urlsplit

import requests
import requests_cache

from forecaster import __version__
from forecaster.errors import ForecasterError
from forecaster.season.addresses import is_this_machine, origin_of, shown_url
from forecaster.weather.http_limits import (
    TOO_MANY,
    AnswerRefused,
    BoundedAdapter,
    Check,
    HttpLimits,
    status_in_words,
    why_failed,
)

NEVER = timedelta(days=36_500)
"""Keep for good: a record that no longer changes."""
GIVE_UP_AT, UNREACHABLE, NO_USE = 12, 4, 1
"""A host is not asked again in this run once its failures in a row add up to 12: 4 for one that cannot be
reached (a dead network is soon known), 1 for an answer of no use (one file may be broken, others not)."""
KEY_PARAMETERS = ("apikey", "api_key", "access_token", "Authorization")
"""Names of query parameters and headers that hold a key; they are stored nowhere."""

How = Literal["new", "unchanged", "recent", "old"]


@dataclass(frozen=True)
class HttpSettings:
    """What the session is built from. `contact` (an address or page of the office) goes into the User-Agent,
    as services ask for; `honour_expires` lets a server's own dates decide how long a copy is good."""

    contact: str = ""
    honour_expires: bool = False
    limits: HttpLimits = field(default_factory=HttpLimits)

    @property
    def user_agent(self) -> str:
        """What the program calls itself.

        >>> HttpSettings("office@example.org").user_agent.split("/")[0]
        'forecaster'
        """
        contact = " ".join(self.contact.split()).encode("ascii", "ignore").decode()
        return f"forecaster/{__version__}" + (f" ({contact})" if contact else "")


@dataclass(frozen=True)
class Fetched:
    """An answer or its copy.

    `how`: "new" from the server now; "unchanged" (the server says the copy is still right); "recent" (a copy
    young enough, nothing was asked); "old" (asked in vain, `why` says what went wrong). `got_at` is when the
    content came, `checked_at` when the server last stood by it; UTC.
    """

    content: bytes
    how: How
    got_at: datetime
    checked_at: datetime
    headers: Mapping[str, str]
    status: int = 200
    why: str = ""

    @property
    def is_old(self) -> bool:
        """True where the server could not be asked: the age must be shown."""
        return self.how == "old"


class FetchFailed(ForecasterError):
    """Nothing usable came and no copy is kept. `status` is the HTTP status, None where there was none."""

    def __init__(self, url: str, why: str, status: int | None = None) -> None:
        self.url, self.why, self.status = shown_url(url), why, status
        super().__init__(f"{self.url}: {why}")


class _Session(requests_cache.CachedSession):
    """Follows redirects within one host only."""

    def get_redirect_target(self, resp: requests.Response) -> str | None:
        target: str | None = super().get_redirect_target(resp)
        if target is None:
            return None
        whole = urljoin(resp.url, target)
        try:
            same = origin_of(whole) == origin_of(resp.url)
        except ValueError:
            same = False
        if not same:
            raise AnswerRefused(
                f"it sends us to another host ({shown_url(whole)[:80]}), which is not followed"
            )
        return target


class Fetcher:
    """Fetches and keeps. Use it as a context manager; the cache file lies in `folder`.

    Args:
        folder: Where `http.sqlite` is or will be; made if missing.
        settings: See `HttpSettings`.
        sleep: Waits so many seconds; tests count instead.
        now: The clock.
    """

    def __init__(
        self,
        folder: Path,
        settings: HttpSettings,
        *,
        sleep: Callable[[float], None] = time.sleep,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.settings, self.notes = settings, list[str]()
        self._path = folder / ("http-expires.sqlite" if settings.honour_expires else "http.sqlite")
        self._adapter = BoundedAdapter(settings.limits, sleep, now)
        self._now = now
        self._failures: dict[tuple[str, str, int], int] = {}
        self._given_up: dict[tuple[str, str, int], str] = {}
        self._session = self._open()

    def __enter__(self) -> Fetcher:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._session.close()  # type: ignore[no-untyped-call]

    def get(
        self,
        url: str,
        *,
        keep_for: timedelta,
        check: Check,
        params: Mapping[str, str] | None = None,
        headers: Mapping[str, str] | None = None,
        max_bytes: int | None = None,
    ) -> Fetched:
        """The content of a URL, from its copy while that is younger than `keep_for`.

        Args:
            url: Only https (http for this machine).
            keep_for: Age [time] up to which a copy is used unasked; a server's Expires goes first where
                the settings honour it.
            check: Raises ValueError on a body that cannot be the data; see `Check`.
            params, headers: As in `requests`.
            max_bytes: Instead of the limit of the settings.
        Raises:
            FetchFailed: Nothing usable and no copy; its `status` is 404 where the server has no such thing.
        """
        origin = self._origin(url)
        if origin in self._given_up:
            return self._copy(url, params, self._given_up[origin])
        self._adapter.check, self._adapter.max_bytes = check, max_bytes or self.settings.limits.max_bytes
        try:
            answer = self._tried(
                lambda: self._session.get(
                    url, params=params, headers=headers, expire_after=keep_for, **self._proxies(url)
                )
            )
        except (requests.exceptions.RequestException, ValueError) as error:
            why = why_failed(error)
            self._failed(origin, why, NO_USE if isinstance(error, AnswerRefused) else UNREACHABLE)
            raise FetchFailed(url, why) from None
        if answer.status_code not in (200, 203):
            why = status_in_words(answer)
            if answer.status_code != 404:
                self._failed(origin, why, GIVE_UP_AT if answer.status_code == TOO_MANY else NO_USE)
            raise FetchFailed(url, why, answer.status_code)
        return self._fetched(answer, origin)

    def forget(self, url: str) -> None:
        """Drop the copy of a URL whose content is kept elsewhere."""
        self._session.cache.delete(urls=[url])

    def post(self, url: str, *, files: Mapping[str, Any], data: Mapping[str, str], check: Check) -> bytes:
        """The answer to a form; never kept.

        Raises:
            FetchFailed: Nothing usable came.
        """
        self._origin(url)
        self._adapter.check, self._adapter.max_bytes = check, self.settings.limits.max_bytes
        try:
            answer = self._session.post(url, files=files, data=data, **self._proxies(url))
        except (requests.exceptions.RequestException, ValueError) as error:
            raise FetchFailed(url, why_failed(error)) from None
        if answer.status_code != 200:
            raise FetchFailed(url, status_in_words(answer), answer.status_code)
        return bytes(answer.content)

    def _fetched(self, answer: Any, origin: tuple[str, str, int]) -> Fetched:
        now = self._now()
        content, headers = bytes(answer.content or b""), dict(answer.headers)
        if not answer.from_cache:
            self._failures[origin] = 0
            return Fetched(content, "new", now, now, headers, answer.status_code)
        got_at = self._by_our_clock(answer.created_at)
        if answer.revalidated:
            self._failures[origin] = 0
            return Fetched(content, "unchanged", got_at, now, headers, answer.status_code)
        if answer.is_expired:
            why = self._adapter.why or "the server gave no usable answer"
            if self._adapter.last_status != 404:
                status = self._adapter.last_status
                self._failed(
                    origin,
                    why,
                    GIVE_UP_AT if status == TOO_MANY else UNREACHABLE if status is None else NO_USE,
                )
            return Fetched(content, "old", got_at, got_at, headers, answer.status_code, why)
        return Fetched(content, "recent", got_at, got_at, headers, answer.status_code)

    def _copy(self, url: str, params: Mapping[str, str] | None, why: str) -> Fetched:
        """The copy of a host that is not asked any more."""
        answer = self._tried(lambda: self._session.get(url, params=params, only_if_cached=True))
        if answer.status_code not in (200, 203):
            raise FetchFailed(url, why)
        how: How = "old" if answer.is_expired else "recent"
        at = self._by_our_clock(answer.created_at)
        return Fetched(
            bytes(answer.content or b""), how, at, at, dict(answer.headers), why=why if how == "old" else ""
        )

    def _by_our_clock(self, moment: datetime) -> datetime:
        """A time of the cache, which has a clock of its own, by the age that it means."""
        return self._now() - (datetime.now(UTC) - moment)

    def _failed(self, origin: tuple[str, str, int], why: str, weight: int) -> None:
        self._failures[origin] = self._failures.get(origin, 0) + weight
        if self._failures[origin] >= GIVE_UP_AT:
            self._given_up.setdefault(origin, why)

    def _origin(self, url: str) -> tuple[str, str, int]:
        try:
            return origin_of(url)
        except ValueError as error:
            raise FetchFailed(url, str(error)) from None

    def _proxies(self, url: str) -> dict[str, Any]:
        """No proxy for this machine itself."""
        if is_this_machine((urlsplit(url).hostname or "").casefold()):
            return {"proxies": {"http": "", "https": "", "all": ""}}
        return {}

    def _open(self) -> _Session:
        # wal, fast_save: a power cut may damage the cache, which is then seen, set aside and fetched anew
        logging.getLogger("requests_cache").setLevel(logging.ERROR)  # 40 lines for each copy that is served
        self._set_aside_if_damaged()
        session = _Session(
            str(self._path), backend="sqlite", serializer="json", use_cache_dir=False,
            wal=True, fast_save=True, expire_after=timedelta(hours=6), stale_if_error=True,
            allowable_codes=(200, 203),
            cache_control=self.settings.honour_expires, ignored_parameters=list(KEY_PARAMETERS),
        )  # fmt: skip
        session.headers.update({"User-Agent": self.settings.user_agent, "Accept-Encoding": "gzip, deflate"})
        session.max_redirects = 5
        session.auth = _no_netrc
        for scheme in ("https://", "http://"):
            session.mount(scheme, self._adapter)
        return session

    def _tried(self, ask: Callable[[], Any]) -> Any:
        """As `ask` answers; where the cache itself is damaged it is set aside and asked once more."""
        try:
            return ask()
        except sqlite3.DatabaseError as error:
            self._session.close()  # type: ignore[no-untyped-call]
            self._set_aside(str(error))
            self._session = self._open()
            return ask()

    def _set_aside_if_damaged(self) -> None:
        if not self._path.exists():
            return
        try:
            base = sqlite3.connect(self._path)
            try:
                sound = base.execute("pragma quick_check(1)").fetchone()[0] == "ok"
            finally:
                base.close()
        except sqlite3.DatabaseError:
            sound = False
        if not sound:
            self._set_aside("it fails its own check")

    def _set_aside(self, why: str) -> None:
        aside = self._path.with_suffix(".damaged")
        with suppress(OSError):
            self._path.replace(aside)
        for tail in ("-wal", "-shm", "-journal"):
            Path(f"{self._path}{tail}").unlink(missing_ok=True)
        self.notes.append(f"{self._path.name} was damaged ({why}): set aside as {aside.name}, fetched anew.")


def _no_netrc(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """No password from a file of the user's goes to a weather service."""
    return request
