"""The commands `serve` and `password` as somebody types them, in processes of their own."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner
from web_server import with_passwords

from forecaster.cli import app

RUN = [sys.executable, "-m", "forecaster"]


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command, and the address that it says."""
    command = [*RUN, "serve", str(folder), "--port", "0", "--as-of", "2025-10-06", *options]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stderr is not None
        said = process.stderr.readline()
        assert "The season is at http://" in said, said + process.stderr.read()
        yield process, said.split(" at ")[1].split()[0]
    finally:
        process.kill()
        process.communicate(timeout=30)


def run(*said: str, text: str = "") -> tuple[int, str]:
    """A command in this process: exit code and what it said."""
    from forecaster.errors import ForecasterError

    done = CliRunner().invoke(app, list(said), input=text)
    if isinstance(done.exception, ForecasterError):
        return done.exception.exit_code, str(done.exception)
    return done.exit_code, done.output


def test_serve_answers_on_this_computer_only_and_ends_calmly(season: Path) -> None:
    with serving(season) as (process, address):
        assert address.startswith("http://127.0.0.1:")
        assert httpx.get(address).status_code == 200
        port = int(address.rsplit(":", 1)[1].strip("/"))
        own = {found[4][0] for found in socket.getaddrinfo(socket.gethostname(), port, socket.AF_INET)}
        for other in own - {"127.0.0.1"}:
            with pytest.raises(OSError, match=r"refused|unreachable"):
                socket.create_connection((other, port), timeout=5)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)
        assert process.returncode == 0
        assert said.strip() == "Ended."


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--host", "0.0.0.0"), "nobody has a password"),
        (("--host", "::"), "nobody has a password"),
        (("--name", "office-pc"), "nobody has a password"),
        (("--proxy", "127.0.0.1"), "nobody has a password"),
        (("--host", "office-pc"), "no address in figures"),
        (("--proxy", "nginx"), "no address in figures"),
    ],
)
def test_other_addresses_need_a_password(season: Path, options: tuple[str, str], said: str) -> None:
    code, text = run("serve", str(season), *options)
    assert code == 2
    assert said in text


def test_with_passwords_others_may_come(season: Path) -> None:
    with serving(with_passwords(season), "--host", "0.0.0.0", "--name", "office-pc") as (_, address):
        assert httpx.get(address).headers["location"] == "/log-in?to=/"
        named = {"host": "office-pc:8180"}
        assert httpx.get(address + "log-in", headers=named).status_code == 200
        (season / ".pages" / "people.json").unlink()  # lost while it runs: the door stays shut
        assert httpx.get(address).status_code == 303


def test_a_taken_port_and_no_season_are_said(season: Path, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        code, text = run("serve", str(season), "--port", str(taken.getsockname()[1]))
    assert code == 1
    assert "cannot be used" in text
    assert run("serve", str(tmp_path / "nowhere"))[0] == 2


def test_password_is_asked_kept_hashed_and_removed(season: Path) -> None:
    code, text = run("password", str(season), "--role", "crew", "--name", "Bo", text="otter swims at noon\n")
    assert (code, text.strip()) == (0, "Bo may log in as crew and may enter readings and closings.")
    kept = (season / ".pages" / "people.json").read_text(encoding="utf-8")
    assert "otter" not in kept
    assert [row["role"] for row in json.loads(kept)["people"]] == ["crew"]
    assert run("password", str(season), "--name", "Bo", "--remove")[0] == 0
    for options, said in (
        (("--role", "boss"), "is no role"),
        ((), "is needed"),
        (("--role", "office"), "letters"),
        (("--name", "Nobody", "--remove"), "is not on the list"),
    ):
        code, text = run("password", str(season), *options, text="short\n")
        assert code == 2
        assert said in text


def test_a_server_killed_outright_leaves_no_worker_behind(season: Path) -> None:
    os.utime(season / "sites.csv")  # a new state is needed, so a worker begins
    with serving(season) as (process, address):
        found: list[str] = []
        for _ in range(400):
            found = _children(process.pid)
            if found:
                break
            httpx.get(address)
        process.kill()
        process.wait(timeout=10)
        for _ in range(400):
            if not [pid for pid in found if Path("/proc", pid).exists() and "Z" not in _state(pid)]:
                return
            signal.sigtimedwait([], 0.05)
    pytest.fail(f"still there: {found}")


def _children(pid: int) -> list[str]:
    path = Path(f"/proc/{pid}/task/{pid}/children")
    if not path.exists():
        pytest.skip("this system does not list children")
    every = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        every += (task / "children").read_text().split()
    return every


def _state(pid: str) -> str:
    try:
        return Path("/proc", pid, "stat").read_text().split(")")[1].split()[0]
    except OSError:
        return "Z"
