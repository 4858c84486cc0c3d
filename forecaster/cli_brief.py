"""Commands of the morning brief, alarms and the watch."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from forecaster.errors import BadInput, ForecasterError, Problem

if TYPE_CHECKING:
    from forecaster.brief.sending import Post
    from forecaster.matters import Brief
    from forecaster.season.settings import Settings

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The season's folder (holds season.toml).")]
AsOf = Annotated[
    datetime | None,
    typer.Option(
        "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="Stand on this morning; default today."
    ),
]


class NotSent(ForecasterError):
    """A message waits for another try. Exit code 1."""


def brief(
    folder: Folder,
    as_of: AsOf = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the brief as JSON.")
    ] = None,
    html_file: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write it as one self-contained page.")
    ] = None,
    send: Annotated[bool, typer.Option("--send", help="Send it to the channels of [brief].")] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show it, and who would get it; send and remember nothing.")
    ] = False,
) -> None:
    """What changed since the last brief, and nothing where nothing matters.

    What was shown and what was sent are remembered apart: looking takes nothing away from who gets messages.

    Example: forecaster brief my-season

    Example: forecaster brief my-season --as-of 2025-10-06 --html brief.html --json brief.json

    Example: forecaster brief my-season --send --dry-run
    """
    from forecaster.files import check_targets, write_text
    from forecaster.report.brief_page import brief_page
    from forecaster.report.brief_text import brief_json, brief_text

    check_targets(json_file, html_file)
    settings = _settings(folder)
    post = _post(folder, settings, dry_run=dry_run) if send else None
    day, moment = _standing(as_of, settings)
    made, remember = _made(folder, day, moment, settings, post, sent=send)
    typer.echo(brief_text(made), nl=False)
    for path, content in ((json_file, brief_json), (html_file, brief_page)):
        if path:
            write_text(path, content(made))
            typer.echo(f"Written: {path}", err=True)
    if post is not None:
        _send(folder, post)
    elif dry_run:
        _say_dry_run(made, settings, send=send)
    else:
        _remember(folder, remember)


def watch(
    folder: Folder,
    once: Annotated[bool, typer.Option("--once", help="One round, for cron or a timer, then end.")] = False,
    every: Annotated[
        str, typer.Option("--every", metavar="TIME", help="How often, like 3h or 90m (5m to 24h).")
    ] = "3h",
    health: Annotated[
        bool, typer.Option("--health", help="Say whether the watch is well: exit code 0, or 1 with why.")
    ] = False,
    as_of: AsOf = None,
) -> None:
    """Update the weather, forecast, raise alarms and send the brief, by itself, again and again.

    End it with Ctrl-C or SIGTERM. --as-of is for trying out and needs --once.

    Example: forecaster watch my-season

    Example: forecaster watch my-season --once

    Example: forecaster watch my-season --health
    """
    interval = _interval(every)
    if as_of is not None and not once:
        raise BadInput(Problem("--as-of", "needs --once: a watch stands on today."))
    settings = _settings(folder)
    if health:
        _say_health(folder, settings, every=None if every == "3h" else interval)
        return
    _watch(folder, settings, interval, once=once, day=as_of.date() if as_of else None)


def _settings(folder: Path) -> Settings:
    from forecaster.season.ledger_file import check_folder
    from forecaster.season.settings import read_settings

    check_folder(folder)
    return read_settings(folder)


def _standing(as_of: datetime | None, settings: Settings) -> tuple[date, datetime]:
    """The as-of date and the moment: now, or the hour of the brief on the morning that was named."""
    zone = ZoneInfo(settings.season.timezone)
    if as_of is None:
        now = datetime.now(UTC)
        return now.astimezone(zone).date(), now
    day = as_of.date()
    return day, datetime.combine(day, settings.brief.at, zone).astimezone(UTC)


def _post(folder: Path, settings: Settings, *, dry_run: bool) -> Post | None:
    """What sending needs; everything that keeps it from working is said before any work is done."""
    from forecaster.brief.channels import check_channels, senders
    from forecaster.brief.delivery import Manners
    from forecaster.brief.outbox import Outbox
    from forecaster.brief.secrets import load_secrets
    from forecaster.brief.sending import Post

    secrets = load_secrets(folder)
    check_channels(settings, secrets)
    if dry_run:
        return None
    with Outbox(folder) as outbox:
        ways = senders(settings, secrets, outbox.folder_id())
    return Post(ways, Manners.of(settings), lambda: datetime.now(UTC))


def _made(
    folder: Path, day: date, moment: datetime, settings: Settings, post: Post | None, *, sent: bool
) -> tuple[Brief, Callable[[], None]]:
    """The brief, and what remembers it once it is shown; one that is to be sent lies in the outbox already.

    `sent`: since the last one sent, else since the last one shown. Without `post` nothing is written.
    """
    from dataclasses import replace

    from forecaster.brief.channels import addressees
    from forecaster.brief.delivery import troubles
    from forecaster.brief.outbox import Outbox, has_outbox
    from forecaster.brief.round import SENT, SHOWN, brief_of, queue_brief, situation_in

    now = situation_in(folder, day, moment=moment)
    memory = None
    if has_outbox(folder) and os.access(folder, os.W_OK):
        with Outbox(folder) as outbox:
            now = replace(now, troubles=troubles(outbox, moment))
            memory = outbox.memory(SENT if sent else SHOWN, day)
    if post is not None:
        with Outbox(folder) as outbox:
            queued = queue_brief(outbox, now, addressees(settings), written_at=datetime.now(UTC))
        return queued, lambda: None
    made, told = brief_of(now, memory)

    def remember() -> None:
        with Outbox(folder) as outbox:
            outbox.queue((), {}, {SHOWN: told}, as_of=day, now=moment)

    return made, remember


def _say_dry_run(made: Brief, settings: Settings, *, send: bool) -> None:
    """Who would get it."""
    from forecaster.brief.channels import addressees
    from forecaster.report.brief_text import subject

    if send and not made.matters:
        typer.echo("Nothing would be sent.", err=True)
    elif send:
        for channel, target in addressees(settings).brief:
            typer.echo(f"Would be sent to {target or channel}: {subject(made)}", err=True)
    typer.echo("Dry run: nothing was remembered.", err=True)


def _remember(folder: Path, remember: Callable[[], None]) -> None:
    from forecaster.season.ledger_file import readonly_notice

    if readonly_notice(folder) is None:
        remember()
    else:
        typer.echo(f"{folder}: may only be read here: this brief is not remembered.", err=True)


def _send(folder: Path, post: Post) -> None:
    from forecaster.brief.delivery import report_lines
    from forecaster.brief.outbox import Outbox
    from forecaster.brief.sending import send_all

    with Outbox(folder) as outbox:
        report = send_all(folder, outbox, post)
    for line in report_lines(report):
        typer.echo(line, err=True)
    held_back = ("quiet hours", "enough alarms for a day")
    late = [why for _, why in report.waiting if why not in held_back]
    if late or report.given_up:
        raise NotSent("Not everything could be sent. The next `brief --send` or `watch` tries again.")


def _interval(text: str) -> timedelta:
    found = re.fullmatch(r"(\d{1,4})\s*(h|m)", text.strip())
    span = timedelta(**{"hours" if found[2] == "h" else "minutes": int(found[1])}) if found else timedelta()
    if not timedelta(minutes=5) <= span <= timedelta(hours=24):
        raise BadInput(Problem("--every", f'"{text}" is no time from 5m to 24h. Write it like 3h or 90m.'))
    return span


def _watch(folder: Path, settings: Settings, every: timedelta, *, once: bool, day: date | None) -> None:
    import signal

    from forecaster.brief.channels import check_channels, is_set_up
    from forecaster.brief.secrets import load_secrets
    from forecaster.brief.watch import Watch

    if is_set_up(settings):
        check_channels(settings, load_secrets(folder))
    else:
        typer.echo("Nobody is told: no channel is set up in [brief] and [mail].", err=True)
    watching = Watch(folder, every, lambda: load_secrets(folder), lambda text: typer.echo(_stamped(text)))
    if day is not None:
        moment = datetime.combine(day, settings.brief.at, ZoneInfo(settings.season.timezone))
        watching.day, watching.clock = day, lambda: moment.astimezone(UTC)
    before = {number: signal.signal(number, watching.stop.wish) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        well = watching.run(once=once)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if not well:
        raise typer.Exit(1)


def _stamped(text: str) -> str:
    return f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ} {text}"


def _say_health(folder: Path, settings: Settings, *, every: timedelta | None) -> None:
    from forecaster.brief.delivery import stuck, troubles
    from forecaster.brief.heartbeat import read_heartbeat, unwell
    from forecaster.brief.lock import is_held
    from forecaster.brief.outbox import BRIEF_FOLDER, Outbox, has_outbox
    from forecaster.brief.watch import WATCH_LOCK

    now = datetime.now(UTC)
    said: list[str] = []
    if has_outbox(folder):
        with Outbox(folder) as outbox:
            said += troubles(outbox, now)
            said += [f"waits for {d.place}: {d.message.subject} ({d.said})" for d in stuck(outbox, now)]
    beat = read_heartbeat(folder)
    reasons = unwell(
        beat,
        now=now,
        running=is_held(folder / BRIEF_FOLDER / WATCH_LOCK),
        data_hours=settings.alarms.data_hours,
        troubles=said,
        every=every,
    )
    for reason in reasons:
        typer.echo(f"Not well: {reason}")
    if reasons:
        raise typer.Exit(1)
    assert beat is not None
    typer.echo(f"Well. The last round ended at {beat.ended_at:%Y-%m-%d %H:%M} UTC.")


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    app.command("brief")(brief)
    app.command("watch")(watch)
