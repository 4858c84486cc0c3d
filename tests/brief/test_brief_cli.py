"""The commands as the user runs them: text, files, sending, dry run, refusals, and no secret anywhere."""

from __future__ import annotations

import base64
import json
import os
import ssl
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest
from brief_servers import MailServer, WebServer, make_certificate

from forecaster.season import events
from forecaster.season.ledger import open_ledger

PASSWORD = "open sesame 7391"
TOKEN = "tok-4f1e-2d7a"
DAY = ("--as-of", "2025-10-06")


@dataclass
class Done:
    """How a command ended."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Done]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command through the program's own entry, in this process, in a clean environment."""
    from forecaster.cli import main

    for name in [name for name in os.environ if name.startswith("FORECASTER_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("XDG_CONFIG_HOME", "/nowhere")

    def _run(*arguments: object, **environment: str) -> Done:
        for name, value in environment.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr(sys, "argv", ["forecaster", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        code = ended.value.code
        return Done(code if isinstance(code, int) else int(bool(code)), said.out, said.err)

    return _run


def add(folder: Path, text: str) -> None:
    path = folder / "season.toml"
    toml = path.read_text(encoding="utf-8")
    path.write_text(toml.replace("[thresholds]", f"{text}\n[thresholds]", 1), encoding="utf-8")


def mail_table(port: int, security: str = "none") -> str:
    return (
        f'[mail]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "{security}"\n'
        'sender = "office@example.org"\nto = ["owner@example.org"]\n'
        "[brief]\nquiet_from = 06:00\nquiet_to = 06:00\n"  # no quiet hours: the test runs at any time
    )


def test_shown_once_then_nothing_to_tell(run, season, tmp_path):
    json_file, html_file = tmp_path / "b.json", tmp_path / "b.html"
    first = run("brief", season, *DAY, "--json", json_file, "--html", html_file)
    assert first.returncode == 0, first.stderr
    assert "The first brief." in first.stdout
    assert "Take care" in first.stdout
    assert json.loads(json_file.read_text(encoding="utf-8"))["as_of"] == "2025-10-06"
    assert html_file.read_text(encoding="utf-8").startswith("<!doctype html>")
    again = run("brief", season, *DAY)
    assert again.returncode == 0
    assert again.stdout.startswith("Nothing to tell. ")
    assert not (season / "season.sqlite").exists()  # a folder without a ledger gets none


def test_a_dry_run_sends_and_writes_nothing(run, season, mail_server: MailServer):
    add(season, mail_table(mail_server.port))
    before = sorted(path.name for path in season.rglob("*"))
    done = run("brief", season, *DAY, "--send", "--dry-run")
    assert done.returncode == 0, done.stderr
    assert "Would be sent to owner@example.org: " in done.stderr
    assert "The first brief." in done.stdout
    assert sorted(path.name for path in season.rglob("*")) == before
    assert mail_server.box.got == []


@pytest.mark.skipif(sys.platform == "win32", reason="mode bits and SSL_CERT_FILE")
def test_sent_by_mail_and_post_with_secrets_that_show_nowhere(run, season, web_server: WebServer, tmp_path):
    certificate, key = make_certificate(tmp_path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    server = MailServer(tls=context, login=True)
    secrets = tmp_path / "secrets.toml"
    secrets.write_text(
        f'mail_password = "{PASSWORD}"\n[channels]\nboard = "http://127.0.0.1:{web_server.port}/{TOKEN}"\n',
        encoding="utf-8",
    )
    secrets.chmod(0o600)
    add(season, mail_table(server.port, "starttls") + 'channels = ["mail", "board"]')
    with open_ledger(season) as ledger:
        ledger.append(events.note(date(2025, 10, 5), "begun"), who="test")
    known = {"FORECASTER_SECRETS": str(secrets), "SSL_CERT_FILE": str(certificate)}
    web_server.answers = [500]
    said = ""
    try:
        failed = run("brief", season, *DAY, "--send", **known)
        said += failed.stdout + failed.stderr
        assert failed.returncode == 1
        assert "Sent to owner@example.org: " in failed.stderr
        assert "Waits for board (answers 500)" in failed.stderr
        for command in (("watch", season, "--once", *DAY), ("history", season)):
            done = run(*command, **known)
            said += done.stdout + done.stderr
    finally:
        server.stop()
    assert len(server.box.got) == 1
    assert server.box.logins == [("office@example.org", PASSWORD)]
    shapes = [PASSWORD, TOKEN, base64.b64encode(PASSWORD.encode()).decode()]
    kept = b"".join(path.read_bytes() for path in season.rglob("*") if path.is_file())
    got = b"".join(server.box.got)
    for shape in shapes:
        assert shape not in said
        assert shape.encode() not in kept
        assert shape.encode() not in got
    with open_ledger(season, readonly=True) as ledger:  # type: ignore[union-attr]
        messages = [event.facts for event in ledger.events() if event.kind == "message"]
    places = [(facts["channel"], facts["state"]) for facts in messages]
    assert places == [("owner@example.org", "sent"), ("board", "sent")]
    assert len(web_server.taken) == 1


def test_refusals_say_all_at_once_and_change_nothing(run, season):
    done = run("brief", season, *DAY, "--send")
    assert done.returncode == 2
    assert "3 problems, nothing was changed." in done.stderr
    assert not (season / ".brief").exists()
    add(season, '[brief]\nchannels = ["owner_phone"]')
    named = run("brief", season, *DAY, "--send")
    assert named.returncode == 2
    assert "FORECASTER_CHANNEL_OWNER_PHONE" in named.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("brief", "no-such-folder"), "no such folder"),
        (("watch", "no-such-folder"), "no such folder"),
        (("watch", "FOLDER", "--every", "1m"), "5m to 24h"),
        (("watch", "FOLDER", "--every", "soon"), "3h or 90m"),
        (("watch", "FOLDER", "--as-of", "2025-10-06"), "needs --once"),
        (("brief", "FOLDER", "--json", "no/such/folder/x.json"), "there is no folder"),
        (("brief", "FOLDER", "--as-of", "2025-05-01"), "outside a season"),
    ],
)
def test_bad_input_ends_with_2(run, season, arguments, said):
    done = run(*(season if word == "FOLDER" else word for word in arguments))
    assert done.returncode == 2, done.stdout
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_watch_once_then_health(run, season):
    sick = run("watch", season, "--health")
    assert sick.returncode == 1
    assert sick.stdout == "Not well: no round has ended yet. Start it: forecaster watch FOLDER\n"
    once = run("watch", season, "--once", *DAY)
    assert once.returncode == 0, once.stdout + once.stderr
    assert "Nobody is told" in once.stderr
    assert "Brief: " in once.stdout
    old = run("watch", season, "--health")  # its round stood in October 2025
    assert old.returncode == 1
    assert "the last round ended" in old.stdout


def test_help_starts_fast_and_shows_examples(run):
    for command in ("brief", "watch"):
        done = run(command, "--help")
        assert done.returncode == 0
        assert f"forecaster {command} my-season" in done.stdout
    heavy = "{'apprise', 'statsmodels', 'smtplib'}"
    code = f"import sys; import forecaster.cli; assert not {heavy} & set(sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
