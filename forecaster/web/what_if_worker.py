"""The process that plans a what-if: one line of JSON in, one out. Reads the kept state, changes nothing.

{"state": FILE, "text": "rain 2025-10-14"}  ->  {"done": {...}} or {"problem": "..."}
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from contextlib import suppress
from pathlib import Path
from typing import Any

POLITE = 12
"""Added to the process's niceness: after the pages and after their own forecasts."""


def answer(job: dict[str, str]) -> dict[str, Any]:
    """Plan the change and compare; whatever goes wrong is said in plain words."""
    from forecaster.errors import ForecasterError
    from forecaster.web.keep import read_record

    try:
        return {"done": compared(read_record(Path(job["state"])), job["text"])}
    except ForecasterError as error:
        return {"problem": str(error)}
    except Exception as error:
        traceback.print_exc()
        return {"problem": f"The what-if stopped at an error of the program ({type(error).__name__})."}


def compared(snapshot: Any, text: str) -> dict[str, Any]:
    """The plan with the change beside the plan without it, both from the plan as shown."""
    from forecaster.build import forecast_route
    from forecaster.report.plan_words import move_line
    from forecaster.route.what_if import apply_what_if, as_in_force, difference

    base = as_in_force(snapshot.known, snapshot.forecast)
    changed = apply_what_if(base, text)
    before = snapshot.forecast if snapshot.forecast.plan.gap_exact else forecast_route(base)
    found = difference(text, before, forecast_route(changed))
    return {
        "loss_before": found.loss_before,
        "loss_after": found.loss_after,
        "caught_before": found.caught_before,
        "caught_after": found.caught_after,
        "unplaced": [name for name in found.unplaced_after if name not in found.unplaced_before],
        "moves": [[move.site_id, move_line(move)] for move in found.moves],
    }


def main() -> None:
    """Answer the one line of stdin; whatever prints goes to stderr."""
    with suppress(OSError, AttributeError):
        os.nice(POLITE)
    answers, sys.stdout = sys.stdout, sys.stderr
    answers.write(json.dumps(answer(json.loads(sys.stdin.readline()))) + "\n")
    answers.flush()


if __name__ == "__main__":
    main()
