"""The command `forecaster backtest`: past seasons replayed, scored, and set against what came."""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forecaster.errors import BadInput, Problem

if TYPE_CHECKING:
    from forecaster.backtest.contract import Backtest
    from forecaster.backtest.inputs import Asked

LAST_DAY = re.compile(r"(\d{1,2})-(\d{1,2})")
SPAN = re.compile(r"(\d{4})(?:-(\d{4}))?")


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(name="backtest")(backtest)


def backtest(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")
    ],
    seasons: Annotated[
        str | None,
        typer.Option("--seasons", metavar="A-B", help="First and last fall; default all that can be scored."),
    ] = None,
    as_of_days: Annotated[
        str | None,
        typer.Option(
            "--as-of-days",
            metavar="MM-DD,...",
            help="Mornings to forecast on; default weekly over the seven weeks before the median crossing.",
        ),
    ] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write every score as JSON.")
    ] = None,
    forecasts: Annotated[
        Path | None,
        typer.Option(
            "--forecasts", metavar="FILE", help="Write a CSV row a season, as-of day, site and event."
        ),
    ] = None,
    html_file: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write the report as one self-contained page."),
    ] = None,
    outlook: Annotated[
        str,
        typer.Option(
            "--outlook",
            metavar="KIND",
            help="none, emulated (made from what came, marked), perfect, or kept (else emulated); several "
            "with commas, or all for none,emulated,perfect: the first in full, then all side by side.",
        ),
    ] = "none",
    money: Annotated[bool, typer.Option("--money", help="Also play the policies, in dollars.")] = False,
    every: Annotated[
        int, typer.Option("--every", metavar="N", help="With --money: decide anew every N days.")
    ] = 1,
    closings: Annotated[
        int | None,
        typer.Option(
            "--closings",
            metavar="N",
            help="With --money: closings on a working day; default by the crews' hours.",
        ),
    ] = None,
    readings: Annotated[
        int | None,
        typer.Option("--readings", metavar="N", help="Keep only N readings of each site and fall."),
    ] = None,
    members: Annotated[
        int | None,
        typer.Option("--members", metavar="N", help="Members where any are drawn; default: settings."),
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", metavar="N", help="Processes; default one a core.")
    ] = None,
    for_pages: Annotated[
        bool, typer.Option("--for-pages", help="Keep the result in FOLDER for the page Evidence, too.")
    ] = False,
) -> None:
    """Replay past seasons with only what was known on each day, and score the forecasts.

    A run that is stopped goes on where it was when the same command is given again.

    Example: forecaster backtest my-season

    Example: forecaster backtest my-season --seasons 1995-2024 --as-of-days 09-15,10-01 --json scores.json

    Example: forecaster backtest my-season --outlook emulated --money --html report.html

    Example: forecaster backtest my-season --outlook none,emulated,perfect --html side-by-side.html
    """
    from forecaster.files import check_targets
    from forecaster.report.backtest_beside import beside_json, beside_text

    check_targets(json_file, forecasts, html_file)
    outlooks, unknown = _outlooks(outlook)
    asked = _asked(
        seasons, as_of_days, outlook=outlooks[0], money=money, every=every, closings=closings,
        readings=readings, members=members, workers=workers, problems=unknown,
    )  # fmt: skip
    from forecaster.backtest.contract import backtest_json, csv_head, csv_rows
    from forecaster.backtest.run import run_backtest
    from forecaster.files import write_bytes, write_text
    from forecaster.report.backtest_text import backtest_text

    with tempfile.TemporaryFile("w+", encoding="utf-8", newline="") as rows:
        rows.write(csv_head())
        done = (_kept_for_pages if for_pages else run_backtest)(
            folder,
            asked,
            workers=workers or os.cpu_count() or 1,
            keep_in=_keep_in(),
            say=lambda text: typer.echo(text, err=True),
            each=lambda result: rows.write(csv_rows(result)) if forecasts else None,
        )
        if forecasts:
            rows.seek(0)
            write_bytes(forecasts, rows.read().encode("utf-8"))
    runs = [done]
    for kind in outlooks[1:]:
        typer.echo(f"outlook {kind}:", err=True)
        runs.append(
            run_backtest(
                folder,
                replace(asked, outlook=kind),
                workers=workers or os.cpu_count() or 1,
                keep_in=_keep_in(),
                say=lambda text: typer.echo(text, err=True),
            )
        )
    beside = runs if len(runs) > 1 else []
    if json_file:
        write_text(json_file, backtest_json(done, side_by_side=beside_json(beside)))
    if html_file:
        from forecaster.report.backtest_page import backtest_page

        write_text(html_file, backtest_page(done, beside=beside))
    for notice in done.warnings:
        typer.echo(str(notice), err=True)
    typer.echo(backtest_text(done) + (beside_text(beside) if beside else ""), nl=False)
    for path in (json_file, forecasts, html_file):
        if path:
            typer.echo(f"Written: {path}", err=True)


def _outlooks(wanted: str) -> tuple[tuple[str, ...], list[Problem]]:
    """Kinds of outlook in the order asked for, each once, and what is wrong with them; `all` is the three
    that need nothing kept."""
    from forecaster.backtest.inputs import OUTLOOK_KINDS

    kinds = ("none", "emulated", "perfect") if wanted.strip() == "all" else wanted.split(",")
    named = tuple(dict.fromkeys(kind.strip() for kind in kinds))
    allowed = ", ".join(OUTLOOK_KINDS)
    wrong = [
        Problem("--outlook", f'"{kind}" is not one of {allowed} or all.')
        for kind in named
        if kind not in OUTLOOK_KINDS
    ]
    return tuple(kind for kind in named if kind in OUTLOOK_KINDS) or ("none",), wrong


def _kept_for_pages(folder: Path, asked: Asked, **how: Any) -> Backtest:
    from forecaster import __version__
    from forecaster.web.evidence_store import keep_evidence

    return keep_evidence(folder, asked, now=datetime.now(UTC), version=__version__, **how)


def _asked(
    seasons: str | None,
    as_of_days: str | None,
    *,
    outlook: str,
    money: bool,
    every: int,
    closings: int | None,
    readings: int | None,
    members: int | None,
    workers: int | None,
    problems: Sequence[Problem],
) -> Asked:
    from forecaster.backtest.inputs import Asked

    problems = list(problems)
    span = SPAN.fullmatch(seasons.strip()) if seasons is not None else None
    if seasons is not None and span is None:
        problems.append(Problem("--seasons", f'"{seasons}" is not two years. Write like 1995-2024.'))
    days: list[tuple[int, int]] = []
    for part in (as_of_days or "").split(",") if as_of_days is not None else []:
        found = LAST_DAY.fullmatch(part.strip())
        if found is None:
            problems.append(
                Problem("--as-of-days", f'"{part}" is not a month and day. Write like 09-15,10-01.')
            )
        else:
            days.append((int(found[1]), int(found[2])))
    for name, number in (("--readings", readings), ("--workers", workers)):
        if number is not None and number < 1:
            problems.append(Problem(name, f"{number} is not 1 or more."))
    asked = Asked(
        seasons=None if span is None else (int(span[1]), int(span[2] or span[1])),
        as_of_days=tuple(days) if as_of_days is not None else None,
        outlook=outlook,
        money=money,
        members=members,
        readings_a_fall=readings,
        money_every_days=every,
        closings_a_day=closings,
    )
    if problems:
        from forecaster.backtest.inputs import asked_problems

        raise BadInput([*problems, *asked_problems(asked)])
    return asked


def _keep_in() -> Path:
    """Where a stopped run's seasons wait: the user's cache folder, never the season folder."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    home = Path(base) if base else Path.home() / ("Library/Caches" if sys.platform == "darwin" else ".cache")
    return home / "forecaster" / "backtest"
