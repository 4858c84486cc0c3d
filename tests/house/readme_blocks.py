"""Runs README's console blocks and compares what they print; `--write` puts the real output in.

A block marked ```bash is run in the checkout's root; a ```text block right after it holds the first lines
of what it must print ("..." as last line: more follows). The two set-up commands are run by the CI script.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAIR = re.compile(r"```bash\n(?P<command>[^`]+)```\n+```text\n(?P<text>.*?)```", re.S)


def run(command: str, folder: Path) -> str:
    """Standard output of one block, run in `folder` with this Python's `forecaster` in front."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = {**os.environ, "PATH": path, "PYTHONIOENCODING": "utf-8", "COLUMNS": "100"}
    done = subprocess.run(
        ["bash", "-ec", command], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{command}\n{done.stderr}"
    return done.stdout


def blocks(text: str) -> list[re.Match[str]]:
    return list(PAIR.finditer(text))


def shown(output: str, lines: int) -> str:
    """The first lines of an output, with "..." where it goes on."""
    whole = output.rstrip("\n").split("\n")
    if len(whole) <= lines:
        return "\n".join(whole) + "\n"
    return "\n".join([*whole[: lines - 1], "..."]) + "\n"


def main() -> None:
    path = ROOT / "README.md"
    text = path.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        for match in blocks(text):
            output = run(match["command"], Path(folder))
            lines = max(len(match["text"].splitlines()), 3)
            text = text.replace(match["text"], shown(output, lines), 1)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__" and "--write" in sys.argv:
    main()
