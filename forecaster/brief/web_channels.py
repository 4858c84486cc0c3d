"""Two more ways to tell people: a POST to an address of the web, and the notification library's services.

A POST carries the key of the matter as `Idempotency-Key`: a server that honours it takes the same message
once, however often it comes. The library's services know no such key; a crash while one is asked may double.
"""

from __future__ import annotations

import logging
import warnings
from dataclasses import dataclass
from typing import Any

from forecaster.brief.outbox import Message
from forecaster.brief.outcome import Handing, Outcome
from forecaster.brief.secrets import Secrets
from forecaster.errors import Problem
from forecaster.season.addresses import origin_of

TIMEOUT_S = (10.0, 60.0)
LATER = (408, 409, 425, 429)
"""Answers below 500 after which trying again is right (RFC 9110; 409: the same key is being worked on)."""
LONGEST_WAIT_S = 3600.0


@dataclass(frozen=True, repr=False)
class PostSender:
    """Posts JSON to an address of the web; https, or http for this machine. Timeouts [s]: connect, answer."""

    url: str
    secrets: Secrets
    folder_id: str
    timeout_s: tuple[float, float] = TIMEOUT_S

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        """See `outcome.Sender`; `target` is not used."""
        import requests

        record = {
            "key": message.key,
            "kind": message.kind,
            "date": message.day.isoformat(),
            "title": message.subject,
            "text": message.text,
            "sites": list(message.sites),
        }
        headers = {"Idempotency-Key": f"{self.folder_id}:{message.key}", "User-Agent": "forecaster"}
        handing()
        try:
            answer = requests.post(
                self.url,
                json=record,
                headers=headers,
                timeout=self.timeout_s,
                allow_redirects=False,
                stream=True,
            )
        except requests.ConnectTimeout:
            return Outcome("later", "no connection in time")
        except requests.exceptions.SSLError:
            return Outcome("later", "the server's certificate is not valid")
        except requests.Timeout:
            return Outcome("unclear", "no answer in time", safe=True)
        except requests.RequestException as error:
            return Outcome("unclear", f"the line was cut ({type(error).__name__})", safe=True)
        with answer:
            wait = answer.headers.get("Retry-After", "")
            return _of_status(answer.status_code, float(wait) if wait.isdigit() else 0.0)


def _of_status(status: int, wait_s: float) -> Outcome:
    if 200 <= status < 300:
        return Outcome("sent", f"{status}")
    if status in LATER or status >= 500:
        return Outcome("later", f"answers {status}", wait_s=min(wait_s, LONGEST_WAIT_S))
    return Outcome("refused", f"answers {status}")


@dataclass(frozen=True, repr=False)
class NotifySender:
    """One address of a notification service that the library apprise knows."""

    url: str

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        """See `outcome.Sender`; `target` is not used."""
        service = _service(self.url)
        if service is None:
            return Outcome("refused", "the library does not know this kind of address")
        handing()
        try:
            taken = service.notify(title=message.subject, body=message.text)
        except Exception as error:  # its plug-ins raise what they like; the text may hold the address
            return Outcome("later", f"the library failed ({type(error).__name__})")
        return Outcome("sent") if taken else Outcome("later", "the service did not take it")


def check_channel(name: str, url: str) -> list[Problem]:
    """What is wrong with a channel's address, without showing it; empty where nothing is."""
    where = f"channel {name}"
    if url.startswith(("http://", "https://")):
        try:
            origin_of(url)
        except ValueError:
            text = (
                "its address must be https:// (http:// for this machine) without a name and password in it."
            )
            return [Problem(where, text)]
        return []
    if _service(url) is None:
        return [Problem(where, "the notification library does not know this kind of address. Correct it.")]
    return []


def _service(url: str) -> Any:
    """The library's service for an address, None for none. Its log is silenced: it may show the address."""
    import apprise

    log = logging.getLogger("apprise")
    log.setLevel(logging.CRITICAL + 1)
    log.propagate = False
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of modules that its plug-ins load
        return apprise.Apprise.instantiate(url, suppress_exceptions=True)
