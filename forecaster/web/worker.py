"""The process that computes forecasts for the pages: one line of JSON in, one out, results as files.

    {"folder": ..., "as_of": "2025-10-06", "to": FILE}  ->  {"done": true} or {"problem": "..."}

It is a process of its own, with less priority than the pages, because a forecast holds the interpreter for
tenths of a second, and so that nothing that goes wrong in it can take the pages down.
Ends when its input ends.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import IO

POLITE = 10
"""Added to the process's niceness, so that pages go first where the cores are few."""


def serve(asked: IO[str], answers: IO[str]) -> None:
    """Answer until the input ends."""
    for line in asked:
        answers.write(json.dumps(answer(json.loads(line))) + "\n")
        answers.flush()


def answer(job: dict[str, str]) -> dict[str, object]:
    """Do one job; whatever goes wrong is said in plain words."""
    from forecaster.errors import ForecasterError
    from forecaster.web.keep import write_record
    from forecaster.web.snapshot import make_snapshot

    try:
        made = make_snapshot(Path(job["folder"]), date.fromisoformat(job["as_of"]), made_at=datetime.now(UTC))
        write_record(Path(job["to"]), made)
    except ForecasterError as error:
        return {"problem": str(error)}
    except Exception as error:
        traceback.print_exc()
        return {"problem": f"The forecast stopped at an error of the program ({type(error).__name__})."}
    return {"done": True}


def main() -> None:
    """Serve the parent over stdin and stdout; whatever prints goes to stderr."""
    with suppress(OSError, AttributeError):
        os.nice(POLITE)
    answers, sys.stdout = sys.stdout, sys.stderr
    with suppress(KeyboardInterrupt, BrokenPipeError):
        serve(sys.stdin, answers)


if __name__ == "__main__":
    main()
