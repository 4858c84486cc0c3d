"""Evidence: did the forecasts keep their promises in past seasons, and what was the advice worth?

For the analyst, in the field's terms with their meaning below. It shows the last replay that is kept; a new
one is started here and runs beside the pages.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from forecaster.report.backtest_page import TERMS
from forecaster.report.backtest_text import outlook_words
from forecaster.web.evidence_store import Evidence, NoEvidence, evidence_stamp, read_evidence
from forecaster.web.evidence_view import TABLES, WORST_SHOWN, Shown, choices, shown, table_csv
from forecaster.web.forms import read_form
from forecaster.web.page import made_ago, render
from forecaster.web.record import desk_of
from forecaster.web.replay import Replayer
from forecaster.web.security import Refused

DAY = re.compile(r"(\d{2})-(\d{2})")
OUTLOOKS = {"none": "none, only past seasons", "emulated": "emulated from the weather that came"}
Choice = tuple[str | None, tuple[int, int] | None]


def evidence_page(request: Request) -> Response:
    """The report for the chosen station and morning."""
    replayer = _replayer(request)
    desk = desk_of(request)
    common: dict[str, Any] = {
        "running": replayer.running(),
        "said": replayer.said(),
        "outlooks": OUTLOOKS,
        "reload_when_new": False,
    }
    try:
        evidence = _kept(desk.folder, evidence_stamp(desk.folder))
    except NoEvidence as error:
        return render(request, "evidence.html.j2", evidence=None, why=str(error), **common)
    choice = _choice(request)
    stations, days = choices(evidence)
    return render(
        request,
        "evidence.html.j2",
        evidence=evidence,
        years=evidence.about.summary.years,
        outlook=outlook_words(evidence.about),
        replayed=made_ago(evidence.replayed_at, desk.clock()),
        shown=_found(evidence, choice),
        stations=stations,
        days=days,
        station=choice[0] or "",
        day=f"{choice[1][0]:02d}-{choice[1][1]:02d}" if choice[1] else "",
        query=_query(choice),
        tables=TABLES,
        WORST_SHOWN=WORST_SHOWN,
        terms=TERMS,
        **common,
    )


def evidence_table(request: Request) -> Response:
    """The data behind a picture, as CSV."""
    desk = desk_of(request)
    name = request.path_params["name"]
    try:
        evidence = _kept(desk.folder, evidence_stamp(desk.folder))
    except NoEvidence as error:
        raise Refused(404, f"{error} Start a replay on the page Evidence.") from None
    station, day = _choice(request)
    try:
        pieces = table_csv(evidence, name, station, day)
    except KeyError:
        raise Refused(404, _no_such(evidence)) from None
    return StreamingResponse(
        pieces,
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="evidence-{name}.csv"'},
    )


def begin_replay(request: Request) -> Response:
    """Start a replay, unless one runs."""
    form = read_form(request, right="change")
    outlook = form.text("outlook") or "none"
    if outlook not in OUTLOOKS:
        raise Refused(422, f"The outlook may be {' or '.join(OUTLOOKS)}. Open the page again.")
    _replayer(request).start(outlook=outlook, money=form.text("money") == "yes")
    return RedirectResponse("/evidence", status_code=303)


def _replayer(request: Request) -> Replayer:
    found = request.app.state.replayer
    assert isinstance(found, Replayer)
    return found


@lru_cache(maxsize=2)
def _kept(folder: Path, stamp: str) -> Evidence:
    """The kept replay; `stamp` changes with it."""
    return read_evidence(folder)


@lru_cache(maxsize=16)
def _shown(evidence: Evidence, choice: Choice) -> Shown:
    return shown(evidence, *choice)


def _found(evidence: Evidence, choice: Choice) -> Shown:
    try:
        return _shown(evidence, choice)
    except KeyError:
        raise Refused(404, _no_such(evidence)) from None


def _choice(request: Request) -> Choice:
    """Station and morning of the address; empty means all.

    Raises:
        Refused: The day is none.
    """
    day = request.query_params.get("day", "")
    found = DAY.fullmatch(day)
    if day and found is None:
        raise Refused(404, "The morning is written like 10-04. Choose one on the page Evidence.")
    return request.query_params.get("station") or None, (int(found[1]), int(found[2])) if found else None


def _query(choice: Choice) -> str:
    station, day = choice
    parts = {"station": station, "day": f"{day[0]:02d}-{day[1]:02d}" if day else None}
    text = urlencode({name: value for name, value in parts.items() if value})
    return f"?{text}" if text else ""


def _no_such(evidence: Evidence) -> str:
    stations, days = choices(evidence)
    return (
        f"The last replay has the stations {', '.join(stations)} and the mornings "
        f"{', '.join(text for _, text in days)}. Choose one of them on the page Evidence."
    )


ROUTES = [
    Route("/evidence", evidence_page),
    Route("/evidence/replay", begin_replay, methods=["POST"]),
    Route("/evidence/{name}.csv", evidence_table),
]
