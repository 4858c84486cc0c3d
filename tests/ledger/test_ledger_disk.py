"""A full disk, a quota, a folder that may only be read: a clear word, and nothing lost."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from ledger_office import is_root, make_folder

from forecaster.season import events as ev
from forecaster.season.ledger import open_ledger
from forecaster.season.ledger_file import LedgerFault

DAY = date(2025, 10, 6)
NOTE = ev.note(DAY, "first")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="rights and quotas of another kind")


def mounted(path: Path, size: str) -> bool:
    path.mkdir()
    if not is_root() or shutil.which("mount") is None:
        return False
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", path], capture_output=True)
    return done.returncode == 0


def test_full_disk(tmp_path):
    disk = tmp_path / "disk"
    if not mounted(disk, "300k"):
        pytest.skip("a small disk can only be mounted by the administrator")
    try:
        folder = make_folder(disk / "fall")
        with open_ledger(folder) as ledger:
            ledger.append(NOTE, who="Ann")
            recorded, words = 1, ""
            while not words:
                try:
                    ledger.append(ev.note(DAY, f"{recorded} " * 500), who="Ann")
                    recorded += 1
                except LedgerFault as error:
                    words = str(error)
            assert "the disk is full. Nothing was recorded and nothing is lost." in words
            assert len(ledger.events()) == recorded
        with open_ledger(folder, readonly=True) as again:
            assert len(again.events()) == recorded
        shutil.rmtree(folder / "backups", ignore_errors=True)
        with open_ledger(folder) as later:  # space was made
            later.append(ev.note(DAY, "goes on"), who="Ann")
            assert len(later.events()) == recorded + 1
        with sqlite3.connect(folder / "season.sqlite") as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.close()
    finally:
        subprocess.run(["umount", "-l", disk], check=True)


LIMITED = textwrap.dedent("""
    import resource, sys
    from datetime import date
    from pathlib import Path
    from forecaster.season import events as ev
    from forecaster.season.ledger import open_ledger
    from forecaster.season.ledger_file import LedgerFault
    resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, 120_000))
    recorded = 0
    with open_ledger(Path(sys.argv[1])) as ledger:
        try:
            while True:
                ledger.append(ev.note(date(2025, 10, 6), f"{recorded} " * 500), who="Ann")
                recorded += 1
        except LedgerFault as error:
            print(recorded, error)
""")


def test_a_quota_is_told_and_loses_nothing(folder):
    """A limit on the size of a file, as a quota sets it, works without being the administrator."""
    done = subprocess.run([sys.executable, "-c", LIMITED, folder], capture_output=True, text=True, check=True)
    recorded, _, words = done.stdout.partition(" ")
    assert "Nothing was recorded and nothing is lost" in words
    with open_ledger(folder, readonly=True) as ledger:
        assert len(ledger.events()) == int(recorded) > 10


READ = textwrap.dedent("""
    import os, sys
    from datetime import date
    from pathlib import Path
    from forecaster.season import backup, events as ev
    from forecaster.season.ledger import open_ledger
    from forecaster.season.ledger_file import LedgerFault, readonly_notice
    if os.geteuid() == 0:  # rights do not bind the administrator
        os.setgid(65534); os.setuid(65534)
    folder = Path(sys.argv[1])
    print(readonly_notice(folder))
    with open_ledger(folder, readonly=True) as ledger:
        print(len(ledger.events()))
    try:
        with open_ledger(folder) as ledger:
            ledger.append(ev.note(date(2025, 10, 6), "x"), who="Ann")
    except LedgerFault as error:
        print(error.exit_code, error)
""")


@pytest.fixture
def shared() -> Iterator[Path]:
    """A season folder in a place that everybody may reach."""
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        yield make_folder(Path(place) / "fall")


def read_only(folder: Path) -> list[str]:
    """What somebody sees who may only read the folder."""
    for path in folder.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    folder.chmod(0o555)
    try:
        done = subprocess.run([sys.executable, "-c", READ, folder], capture_output=True, text=True)
    finally:
        folder.chmod(0o755)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_read_only_folder(shared):
    with open_ledger(shared) as ledger:
        ledger.append(NOTE, who="Ann")
    notice, count, error = read_only(shared)
    assert "may only be read here: answers are given, but nothing is recorded" in notice
    assert count == "1"
    assert error.startswith("1 season.sqlite: cannot be written in")


def test_read_only_folder_with_a_write_that_was_cut_off(shared):
    """A process is killed inside a transaction whose pages are on the disk already: a hot journal remains."""
    with open_ledger(shared) as ledger:
        ledger.append(NOTE, who="Ann")
    script = textwrap.dedent("""
        import os, sqlite3, sys
        c = sqlite3.connect(sys.argv[1], isolation_level=None)
        c.execute("PRAGMA cache_size = 1"); c.execute("PRAGMA cache_spill = 1")
        c.execute("BEGIN IMMEDIATE")
        for number in range(2000):
            c.execute("INSERT INTO event (kind, day, site_id, who, recorded_at, facts, source, document, "
                      "digest) VALUES ('note', '2025-10-06', '', '', '2025-10-06T00:00:00.000000Z', ?, '', "
                      "x'', ?)", ('{"text":"' + 'x' * 900 + '"}', f"{number:032}"))
        os.kill(os.getpid(), 9)
    """)
    subprocess.run([sys.executable, "-c", script, shared / "season.sqlite"])
    assert (shared / "season.sqlite-journal").stat().st_size > 0
    assert (shared / "season.sqlite").stat().st_size > 100_000
    _, count, _ = read_only(shared)
    assert count == "1"
    for path in shared.iterdir():
        path.chmod(0o644)
    with open_ledger(shared) as ledger:
        assert len(ledger.events()) == 1
    assert not (shared / "season.sqlite-journal").exists()
