"""What an answer from the network may do: where it may come from, how large and how slow it may be.

Everything is decided before an answer is kept: a wrong host, a body over the limit (as sent or unpacked), an
answer cut off or of the wrong kind raises `AnswerRefused`, on which the copy of last time is served instead.
Limits: gzip and deflate only, one request at a time.
"""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from io import BytesIO
from typing import Any

import requests
import urllib3
from requests.adapters import HTTPAdapter

CHUNK_BYTES = 65_536
RETRIED_CODES = frozenset({429, 500, 502, 503, 504})
TOO_MANY = 429
USUAL_WAIT_S = 5.0
"""Wait [s] where a busy server names none: what the US weather service asks for."""

Check = Callable[[bytes, Mapping[str, str]], None]
"""Looks at a body and its headers and raises ValueError, with a reason, where they cannot be the data."""


class AnswerRefused(requests.exceptions.RequestException):
    """An answer came and must not be used; the message says why."""


@dataclass(frozen=True)
class HttpLimits:
    """How the program behaves towards servers, and what it takes from them.

    `timeout_s` [s] may pass without a byte, `total_s` [s] for a whole answer. `max_bytes` bounds an answer
    as sent and as unpacked. A busy server is asked `attempts` times in all, and never waited for longer than
    `longest_wait_s` [s]: a longer Retry-After ends the requests to that host for this run.
    """

    timeout_s: float = 20.0
    total_s: float = 180.0
    max_bytes: int = 16_000_000
    attempts: int = 3
    longest_wait_s: float = 60.0


def unpacked(body: bytes, encoding: str, max_bytes: int) -> bytes:
    """The body of an answer unpacked, never more than `max_bytes` in memory.

    Args:
        body: As sent.
        encoding: Its Content-Encoding; "", "identity", "gzip", "x-gzip" or "deflate".
        max_bytes: Most bytes after unpacking.
    Raises:
        AnswerRefused: Another encoding, damaged or cut off, or more than `max_bytes`.

    >>> import gzip
    >>> unpacked(gzip.compress(b"3,4"), "gzip", 100)
    b'3,4'
    """
    name = encoding.strip().casefold()
    if name in ("", "identity"):
        return body
    if name not in ("gzip", "x-gzip", "deflate"):
        raise AnswerRefused(f"the answer is packed as {encoding[:20]!r}, which was not asked for")
    unpacker = zlib.decompressobj(zlib.MAX_WBITS | 32)
    try:
        whole = unpacker.decompress(body, max_bytes + 1)
    except zlib.error as error:
        raise AnswerRefused(f"the answer cannot be unpacked ({error})") from None
    if len(whole) > max_bytes or unpacker.unconsumed_tail:
        raise AnswerRefused(f"the answer unpacks to more than {max_bytes:,} bytes")
    if not unpacker.eof:
        raise AnswerRefused("the answer is cut off")
    if unpacker.unused_data:
        raise AnswerRefused("something follows the packed answer")
    return whole


class BoundedAdapter(HTTPAdapter):
    """Sends requests, waits where a server asks for it, and reads answers within the limits.

    `check` looks at the body of the next answers before anything keeps them; None for no look. `why` and
    `last_status` tell how the last request ended where it brought nothing usable.
    """

    check: Check | None
    max_bytes: int
    why: str
    last_status: int | None

    def __init__(
        self,
        limits: HttpLimits,
        sleep: Callable[[float], None] = time.sleep,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        super().__init__(max_retries=0)
        self.limits, self.check, self.max_bytes = limits, None, limits.max_bytes
        self.why, self.last_status = "", None
        self._sleep, self._now = sleep, now

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> requests.Response:
        """One answer, whole and checked, or an exception of `requests`."""
        self.why, self.last_status = "", None
        try:
            answer = self._patiently(request, *args, **kwargs)
        except requests.exceptions.RequestException as error:
            self.why = why_failed(error)
            raise
        self.last_status = answer.status_code
        if answer.status_code >= 400:
            self.why = status_in_words(answer)
        return answer

    def _patiently(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> requests.Response:
        """Asks again where a second time may help."""
        kwargs["stream"] = True
        kwargs["timeout"] = self.limits.timeout_s
        for attempt in range(1, self.limits.attempts + 1):
            try:
                answer = self._whole(request, super().send(request, *args, **kwargs))
            except (requests.exceptions.ConnectionError, requests.exceptions.ChunkedEncodingError) as error:
                refused = isinstance(error, requests.exceptions.ConnectTimeout) or _nobody_there(error)
                if attempt == self.limits.attempts or refused:
                    raise
                self._sleep(min(float(attempt), self.limits.longest_wait_s))
                continue
            wait_s = self._wait_s(answer, attempt)
            if wait_s is None or attempt == self.limits.attempts:
                return answer
            self._sleep(wait_s)
        raise AssertionError("unreachable: the last attempt returns or raises")

    def _wait_s(self, answer: requests.Response, attempt: int) -> float | None:
        """Seconds to wait before asking again [s], None where that has no point."""
        if answer.status_code not in RETRIED_CODES:
            return None
        named = retry_after_s(answer.headers.get("Retry-After", ""), self._now())
        busy = answer.status_code in (TOO_MANY, 503)
        wait_s = named if named is not None else USUAL_WAIT_S if busy else float(attempt)
        return wait_s if wait_s <= self.limits.longest_wait_s else None

    def _whole(self, request: requests.PreparedRequest, answer: requests.Response) -> requests.Response:
        """The answer with its body read, unpacked and checked; the connection is free again."""
        raw, done = answer.raw, False
        try:
            if request.method == "HEAD" or answer.status_code in (204, 304):
                body = b""
            else:
                body = self._body(raw, answer.headers)
                if answer.status_code in (200, 203) and self.check is not None:
                    self.check(body, answer.headers)
            done = True
        except ValueError as error:
            raise AnswerRefused(str(error), request=request) from None
        except urllib3.exceptions.HTTPError as error:
            raise requests.exceptions.ChunkedEncodingError(
                f"the answer is cut off ({type(error).__name__})", request=request
            ) from None
        finally:
            if done:
                raw.release_conn()
            else:
                raw.close()
        headers = {
            name: value
            for name, value in answer.headers.items()
            if name.casefold()
            not in ("content-encoding", "content-length", "transfer-encoding", "set-cookie")
        }
        whole = urllib3.HTTPResponse(
            body=BytesIO(body), headers=headers, status=answer.status_code, reason=answer.reason,
            version=11, preload_content=False, request_method=request.method, request_url=request.url,
        )  # fmt: skip
        return self.build_response(request, whole)

    def _body(self, raw: urllib3.BaseHTTPResponse, headers: Mapping[str, str]) -> bytes:
        """All bytes of an answer, unpacked."""
        limit, end = self.max_bytes, time.monotonic() + self.limits.total_s
        announced = headers.get("Content-Length", "")
        if announced.isdigit() and int(announced) > limit:
            raise AnswerRefused(f"the answer has {int(announced):,} bytes, more than {limit:,}")
        parts: list[bytes] = []
        size = 0
        some = getattr(raw, "read1", None)  # what is there; `read` waits for the whole chunk
        read = some or raw.read
        while part := read(CHUNK_BYTES if some else 1024, decode_content=False):
            parts.append(part)
            size += len(part)
            if size > limit:
                raise AnswerRefused(f"the answer has more than {limit:,} bytes")
            if time.monotonic() > end:
                raise AnswerRefused(f"the answer is not complete after {self.limits.total_s:g} seconds")
        return unpacked(b"".join(parts), headers.get("Content-Encoding", ""), limit)


def retry_after_s(text: str, now: datetime) -> float | None:
    """Seconds that a Retry-After header asks to wait [s], None where it holds nothing usable.

    Args:
        text: Seconds, or a date as in HTTP (RFC 9110, 10.2.3).
        now: The moment of the answer, with its zone.

    >>> retry_after_s("120", datetime(2025, 10, 6, tzinfo=UTC))
    120.0
    >>> retry_after_s("Mon, 06 Oct 2025 00:00:30 GMT", datetime(2025, 10, 6, tzinfo=UTC))
    30.0
    """
    text = text.strip()
    if text.isdigit():
        return float(text)
    try:
        return max(0.0, (parsedate_to_datetime(text) - now).total_seconds())
    except (ValueError, TypeError):
        return None


def status_in_words(answer: requests.Response) -> str:
    """What a status other than success means for the reader."""
    code = answer.status_code
    if code == 404:
        return "the server has no such file (404)"
    if code == TOO_MANY:
        wait = answer.headers.get("Retry-After", "")
        when = f"; it asks to wait {wait} seconds" if wait.isdigit() else "; it asks to wait"
        return f"too many requests (429){when}"
    if code in (401, 403):
        return f"the server refuses us ({code}); check [weather] contact, and the key if it needs one"
    return f"the server answers {code}"


def why_failed(error: Exception) -> str:
    """What went wrong with a request, in words without the URL."""
    if isinstance(error, AnswerRefused | ValueError) and not isinstance(
        error, requests.exceptions.InvalidURL | requests.exceptions.InvalidSchema
    ):
        return str(error)
    if isinstance(error, requests.exceptions.SSLError):
        return "the encryption of the connection cannot be trusted"
    if isinstance(error, requests.exceptions.Timeout):
        return "the server does not answer in time"
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return "the answer is cut off"
    if isinstance(error, requests.exceptions.TooManyRedirects):
        return "it sends us in circles"
    if isinstance(error, requests.exceptions.ConnectionError):
        return "the server cannot be reached"
    return f"the request failed ({type(error).__name__})"


def _nobody_there(error: Exception) -> bool:
    """True where the machine was not reached at all: asking again at once has no point."""
    reason = getattr(error.args[0], "reason", None) if error.args else None
    return isinstance(reason, urllib3.exceptions.NewConnectionError | urllib3.exceptions.NameResolutionError)
