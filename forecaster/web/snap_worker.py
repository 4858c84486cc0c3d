"""The process that computes the snap for its page: `python -m forecaster.web.snap_worker FOLDER DATE FILE`.

It writes one JSON file, whole or not at all: the parts of the page, or {"problem": "..."} in plain words. A
process of its own with less priority, because it takes seconds and a request must not.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from forecaster.season.sites import Site

POLITE = 10
"""Added to the process's niceness, so that pages go first where the cores are few."""


def made(folder: Path, as_of: date) -> dict[str, Any]:
    """The parts of the page, or what is wrong."""
    from forecaster.errors import ForecasterError
    from forecaster.report.snap_page import snap_page, snap_parts
    from forecaster.web.contact import contact_of
    from forecaster.web.snap_folder import snap_of_folder

    try:
        report = snap_of_folder(folder, as_of)

        def call(site: Site) -> str:
            return contact_of(site).tel

        page = snap_page(report, made_at=datetime.now(ZoneInfo(report.timezone)), call=call)
        return {**snap_parts(report, call=call), "page": page}
    except ForecasterError as error:
        return {"problem": str(error)}
    except Exception as error:
        traceback.print_exc()
        return {
            "problem": f"The look at the snap stopped at an error of the program ({type(error).__name__})."
        }


def main(arguments: list[str]) -> None:
    """Do the one job."""
    from forecaster.files import write_text

    with suppress(OSError, AttributeError):
        os.nice(POLITE)
    folder, as_of, target = arguments
    write_text(Path(target), json.dumps(made(Path(folder), date.fromisoformat(as_of))))


if __name__ == "__main__":
    main(sys.argv[1:])
