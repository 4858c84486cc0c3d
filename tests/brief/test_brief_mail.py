"""Real mails to a local server: what arrives, what a refusal or a cut line means, and no forged headers."""

from __future__ import annotations

import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from brief_servers import Conversation, MailServer, RoughServer, free_port, make_certificate

from forecaster.brief.mail import MailSender, check_mail, mail_bytes
from forecaster.brief.outbox import Message
from forecaster.brief.outcome import Outcome
from forecaster.brief.secrets import Secrets
from forecaster.season.message_settings import MailSettings

PASSWORD = "open sesame 7391"
TO = "owner@example.org"


def sender(port: int, *, security: str = "none", password: str = "", wait_s: float = 2.0) -> MailSender:
    settings = MailSettings(
        host="127.0.0.1",
        port=port,
        security=security,
        sender="office@example.org",
        to=[TO],  # type: ignore[arg-type]
    )
    return MailSender(settings, Secrets(password), "folder1", timeout_s=wait_s, end_timeout_s=wait_s)


@contextmanager
def rough(script: Callable[[Conversation], None]) -> Iterator[RoughServer]:
    server = RoughServer(script)
    yield server
    server.stop()


def send(way: MailSender, message: Message, to: str = TO) -> tuple[Outcome, int]:
    """The outcome, and how often `handing` was called."""
    handed: list[float] = []
    outcome = way.send(message, to, lambda: handed.append(time.time()))
    return outcome, len(handed)


def test_text_and_html_arrive_with_the_matter_as_subject(mail_server, make_message):
    outcome, handed = send(sender(mail_server.port), make_message())
    assert (outcome.state, handed) == ("sent", 1)
    (mail,) = mail_server.box.mails()
    assert mail["Subject"] == "Hard freeze about Thu 9 Oct, up to 7 in 10: 14 open sites"
    assert mail["From"] == "office@example.org"
    assert mail["To"] == TO
    assert mail["Date"] == "Mon, 06 Oct 2025 12:00:00 +0000"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail.get_content_type() == "multipart/alternative"
    text, html = mail.iter_parts()
    assert text.get_content().splitlines() == make_message().text.splitlines()  # a dot stays one dot
    assert html.get_content().splitlines() == make_message().html.splitlines()
    assert mail_server.box.to == [TO]


def test_every_try_sends_the_same_bytes_and_each_matter_has_its_own_id(mail_server, make_message):
    way = sender(mail_server.port)
    send(way, make_message())
    send(way, make_message())
    send(way, make_message(key="hard_freeze/2025/1/2"))
    first, again, _ = mail_server.box.got
    assert first == again
    ids = mail_server.box.ids()
    assert ids[0] == ids[1] != ids[2]
    elsewhere = mail_bytes(make_message(), "office@example.org", TO, "folder2")
    assert ids[0].encode() not in elsewhere  # two offices never share an id


@pytest.mark.parametrize(
    "attack", ["\r\nBcc: thief@example.org", "\nX-Evil: 1\n\nbody", "\u2028Bcc: a@b", "\r\n\r\n<x>"]
)
def test_a_customers_name_cannot_make_header_lines(mail_server, make_message, attack):
    outcome, _ = send(sender(mail_server.port), make_message(subject=f"Pond of Hazel{attack}"))
    assert outcome.state == "sent"
    (mail,) = mail_server.box.mails()
    assert "Bcc" not in mail
    assert "X-Evil" not in mail
    assert str(mail["Subject"]).startswith("Pond of Hazel ")
    assert mail_server.box.to == [TO]


def test_a_long_title_and_foreign_letters_stay_one_header(mail_server, make_message):
    send(sender(mail_server.port), make_message(subject="Étang de la Forêt éé " * 40))
    (mail,) = mail_server.box.mails()
    assert str(mail["Subject"]) == ("Étang de la Forêt éé " * 40)[:120]
    assert all(len(line) <= 998 for line in mail_server.box.got[0].split(b"\r\n"))  # RFC 5322, 2.1.1


@pytest.mark.parametrize(
    ("rcpt", "data", "state", "handed"),
    [
        (["451 greylisted"], [], "later", 0),
        (["550 no such person"], [], "refused", 0),
        ([], ["451 try again"], "later", 1),
        ([], ["554 looks like spam"], "refused", 1),
        ([], ["cut"], "unclear", 1),
        ([], ["take and cut"], "unclear", 1),
    ],
)
def test_what_the_server_answers_decides(mail_server, make_message, rcpt, data, state, handed):
    mail_server.box.rcpt, mail_server.box.data = [*rcpt], [*data]
    outcome, count = send(sender(mail_server.port), make_message())
    assert (outcome.state, count) == (state, handed)
    if state in ("later", "refused"):
        assert outcome.said.startswith((rcpt + data)[0][:3])


def test_nothing_listens(make_message):
    outcome, handed = send(sender(free_port()), make_message())
    assert (outcome.state, handed) == ("later", 0)
    assert "refuses the connection" in outcome.said


def test_no_such_host(make_message):
    way = MailSender(MailSettings(host="no-such-host.invalid", security="none", sender="a@b"), Secrets(), "x")
    outcome, handed = send(way, make_message())
    assert (outcome.state, handed) == ("later", 0)


def _silent(talk: Conversation) -> None:
    talk.hear(b"never")


def _busy(talk: Conversation) -> None:
    talk.say("421 too busy")


def _cut_before_end(talk: Conversation) -> None:
    talk.up_to_data()
    talk.hear(b"Subject:")


def _silent_after_end(talk: Conversation) -> None:
    talk.up_to_data()
    talk.hear(b"\r\n.\r\n")
    talk.hear(b"never")


@pytest.mark.parametrize(
    ("script", "state", "handed"),
    [(_silent, "later", 0), (_busy, "later", 0), (_silent_after_end, "unclear", 1)],
)
def test_silence_and_hanging_up(make_message, script, state, handed):
    with rough(script) as server:
        outcome, count = send(sender(server.port, wait_s=0.3), make_message())
    assert (outcome.state, count) == (state, handed)


def test_a_line_cut_in_the_text_never_counts_as_taken(make_message):
    """The end of the text is not sent before `handing`: who hears it finds the delivery in that state."""
    heard: list[bytes] = []

    def script(talk: Conversation) -> None:
        talk.up_to_data()
        heard.append(talk.hear(b"\r\n.\r\n"))
        talk.say("250 taken")

    with rough(script) as server:
        handed_before: list[int] = []
        way = sender(server.port)
        outcome = way.send(make_message(), TO, lambda: (time.sleep(0.2), handed_before.append(len(heard))))
        assert outcome.state == "sent"
    assert handed_before == [0]
    with rough(_cut_before_end) as server:
        outcome, _ = send(sender(server.port), make_message(text="x" * 3_000_000))
        assert outcome.state in ("later", "unclear")


def test_goodbye_may_fail_after_the_mail_was_taken(make_message):
    def script(talk: Conversation) -> None:
        talk.up_to_data()
        talk.hear(b"\r\n.\r\n")
        talk.say("250 taken")
        talk.hear()  # QUIT
        talk.say("451 I will not let you go")

    with rough(script) as server:
        outcome, _ = send(sender(server.port), make_message())
    assert outcome.state == "sent"


# --- encryption and passwords


@pytest.fixture
def tls(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ssl.SSLContext:
    certificate, key = make_certificate(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    return context


def test_starttls_with_login(tls, make_message):
    server = MailServer(tls=tls, login=True)
    try:
        outcome, _ = send(sender(server.port, security="starttls", password=PASSWORD), make_message())
        assert outcome.state == "sent"
        assert server.box.logins == [("office@example.org", PASSWORD)]
        wrong, handed = send(sender(server.port, security="starttls", password="wrong 5512"), make_message())
        assert (wrong.state, handed) == ("refused", 0), wrong.said
        assert "wrong 5512" not in wrong.said
    finally:
        server.stop()
    assert len(server.box.got) == 1


def test_a_server_without_encryption_gets_no_password_and_no_mail(mail_server, make_message):
    outcome, handed = send(sender(mail_server.port, security="starttls", password=PASSWORD), make_message())
    assert (outcome.state, handed) == ("later", 0)
    assert mail_server.box.got == []
    assert mail_server.box.logins == []


def test_a_strange_certificate_is_not_accepted(tls, tmp_path, monkeypatch, make_message):
    other, _ = make_certificate(tmp_path, "mail.example.org")
    monkeypatch.setenv("SSL_CERT_FILE", str(other))
    server = MailServer(tls=tls, login=True)
    try:
        outcome, handed = send(sender(server.port, security="starttls", password=PASSWORD), make_message())
    finally:
        server.stop()
    assert (outcome.state, handed) == ("later", 0)
    assert "certificate is not valid" in outcome.said
    assert server.box.logins == []


def test_encrypted_from_the_first_byte(tls, make_message):
    certificate_server = RoughTls(tls)
    try:
        outcome, _ = send(sender(certificate_server.port, security="ssl"), make_message())
    finally:
        certificate_server.stop()
    assert outcome.state == "sent"
    assert b"Hard freeze" in certificate_server.heard[0]


class RoughTls(RoughServer):
    """Speaks TLS at once."""

    def __init__(self, context: ssl.SSLContext) -> None:
        self.heard: list[bytes] = []

        def script(talk: Conversation) -> None:
            talk.line = context.wrap_socket(talk.line.dup(), server_side=True)
            talk.up_to_data()
            self.heard.append(talk.hear(b"\r\n.\r\n"))
            talk.say("250 taken")
            talk.hear()
            talk.line.close()

        super().__init__(script)


def test_settings_that_cannot_send_are_named_all_at_once():
    problems = check_mail(MailSettings(security="none", user="office"), Secrets())
    assert [problem.where.split()[-1] for problem in problems] == ["host", "sender", "to", "user"]
    open_line = MailSettings(host="mail.example.org", security="none", sender="a@b.c", to=["d@e.f"])
    assert "without encryption" in check_mail(open_line, Secrets(PASSWORD))[0].text
    assert check_mail(open_line, Secrets()) == []
    assert PASSWORD not in repr(MailSender(open_line, Secrets(PASSWORD), "x"))
