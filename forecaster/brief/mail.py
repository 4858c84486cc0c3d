"""Mail by SMTP (RFC 5321): one message to one address, the moment of handing over kept short.

A server takes responsibility when it answers the end of the text ("."). Everything before is certain: no mail
was taken. So the text is sent without its end, `handing` is written, then the end. Only a line that is cut,
or a machine that dies, between that end and its answer leaves it unclear (RFC 1047). The answer is waited for
as long as RFC 5321 (4.5.3.2.6) asks, ten minutes, so that slow servers do not get doubles.

Text and HTML in one message; Message-ID from the matter's key, the same for every try, so the bytes are too.
Certificates are always checked; without encryption no password is sent, except to this machine.
"""

from __future__ import annotations

import hashlib
import re
import smtplib
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from forecaster.brief.outbox import Message
from forecaster.brief.outcome import Handing, Outcome
from forecaster.brief.secrets import Secrets
from forecaster.errors import Problem
from forecaster.report.words import clean
from forecaster.season.addresses import is_this_machine
from forecaster.season.message_settings import MailSettings

TIMEOUT_S = 30.0
END_TIMEOUT_S = 600.0
LONGEST_SUBJECT = 120


@dataclass(frozen=True, repr=False)
class MailSender:
    """Sends by one mail server. `folder_id` keeps the Message-IDs of two offices apart; times in [s]."""

    settings: MailSettings
    secrets: Secrets
    folder_id: str
    timeout_s: float = TIMEOUT_S
    end_timeout_s: float = END_TIMEOUT_S

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        """See `outcome.Sender`; `target` is the mail address."""
        content = mail_bytes(message, self.settings.sender, target, self.folder_id)
        handed = False

        def hand() -> None:
            nonlocal handed
            handing()
            handed = True

        try:
            server = self._connected()
            try:
                self._secured(server)
                return self._handed_over(server, content, target, hand)
            finally:
                _leave(server)
        except smtplib.SMTPResponseException as error:
            return _of_answer(error.smtp_code, self._words(error.smtp_error))
        except (OSError, smtplib.SMTPException) as error:
            return Outcome("unclear" if handed else "later", self._trouble(error))

    def _connected(self) -> smtplib.SMTP:
        host, port = self.settings.host, self.settings.port
        if self.settings.security == "ssl":
            context = ssl.create_default_context()
            return smtplib.SMTP_SSL(host, port, timeout=self.timeout_s, context=context)
        return smtplib.SMTP(host, port, timeout=self.timeout_s)

    def _secured(self, server: smtplib.SMTP) -> None:
        server.ehlo_or_helo_if_needed()
        if self.settings.security == "starttls":
            server.starttls(context=ssl.create_default_context())
        if self.secrets.mail_password:
            server.login(self.settings.user or self.settings.sender, self.secrets.mail_password)

    def _handed_over(self, server: smtplib.SMTP, content: bytes, target: str, handing: Handing) -> Outcome:
        for answer in (server.mail(self.settings.sender), server.rcpt(target), server.docmd("DATA")):
            code, text = answer
            if code not in (250, 251, 354):
                return _of_answer(code, self._words(text))
        server.send(_dotted(content))
        handing()
        if server.sock is not None:
            server.sock.settimeout(self.end_timeout_s)
        server.send(b".\r\n")
        code, text = server.getreply()
        if code == 250:
            return Outcome("sent", self._words(text))
        if code < 0:  # the server hung up without an answer
            return Outcome("unclear", "the line was cut after the text")
        return _of_answer(code, self._words(text))

    def _words(self, text: bytes | str) -> str:
        said = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
        return self.secrets.hide(clean(said))[:200]

    def _trouble(self, error: Exception) -> str:
        where = f"{self.settings.host}:{self.settings.port}"
        if isinstance(error, ssl.SSLCertVerificationError):
            return f"{where}: the server's certificate is not valid ({self._words(error.verify_message)})"
        if isinstance(error, TimeoutError):
            return f"{where}: no answer in time"
        if isinstance(error, ConnectionRefusedError):
            return f"{where}: refuses the connection"
        if isinstance(error, socket.gaierror):
            return f"{where}: no such host, or no network"
        if isinstance(error, smtplib.SMTPNotSupportedError):
            return f"{where}: {self._words(str(error))}"
        return f"{where}: the line was cut ({type(error).__name__})"


def mail_bytes(message: Message, sender: str, target: str, folder_id: str) -> bytes:
    """The message as it goes over the line, the same bytes for every try.

    Header texts pass `clean`: a line break in a customer's name cannot make a header of its own.
    """
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = clean(message.subject)[:LONGEST_SUBJECT]
    mail["From"] = sender
    mail["To"] = target
    mail["Date"] = format_datetime(message.created_at)
    mail["Message-ID"] = message_id(message.key, sender, folder_id)
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: out-of-office answers stay away
    mail.set_content(message.text, cte="quoted-printable")
    mail.add_alternative(message.html, subtype="html", cte="quoted-printable")
    mail.set_boundary(f"=_{_digest(message.key, folder_id)}")
    return mail.as_bytes()


def message_id(key: str, sender: str, folder_id: str) -> str:
    """The Message-ID of a matter.

    >>> message_id("hard_freeze/2025/1", "office@example.org", "a1") == message_id(
    ...     "hard_freeze/2025/1", "office@example.org", "a1")
    True
    """
    return f"<{_digest(key, folder_id)}@{sender.partition('@')[2] or 'localhost'}>"


def check_mail(settings: MailSettings, secrets: Secrets) -> list[Problem]:
    """What keeps mail from being sent with these settings; empty where nothing does."""
    problems = []
    where = "season.toml [mail]"
    for name, value in (("host", settings.host), ("sender", settings.sender), ("to", settings.to)):
        if not value:
            problems.append(Problem(f"{where} {name}", 'missing, and "mail" is one of the channels. Add it.'))
    if settings.security == "none" and secrets.mail_password and not is_this_machine(settings.host):
        text = 'no password is sent without encryption. Write security = "starttls" or "ssl".'
        problems.append(Problem(f"{where} security", text))
    if settings.user and not secrets.mail_password:
        text = "there is a user but no password: set FORECASTER_MAIL_PASSWORD, or take the user out."
        problems.append(Problem(f"{where} user", text))
    return problems


def _leave(server: smtplib.SMTP) -> None:
    """Say goodbye without waiting: its answer could not change what became of the mail."""
    with suppress(OSError, smtplib.SMTPException):
        server.send(b"QUIT\r\n")
    server.close()


def _of_answer(code: int, text: str) -> Outcome:
    """A server's answer other than 250: 4xx passes, 5xx does not (RFC 5321, 4.2.1)."""
    state = "refused" if 500 <= code < 600 else "later"
    return Outcome(state, f"{code} {text}".strip())  # type: ignore[arg-type]


def _dotted(content: bytes) -> bytes:
    """The text with CRLF at its end and dots at line starts doubled (RFC 5321, 4.5.2), without its end."""
    lines = re.sub(rb"\r\n|\r|\n", b"\r\n", content)
    lines = re.sub(rb"(?m)^\.", b"..", lines)
    return lines if lines.endswith(b"\r\n") else lines + b"\r\n"


def _digest(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:32]
