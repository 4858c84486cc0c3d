"""The watch over a season folder: weather, forecast, alarms, brief, again and again.

A round that fails in one part goes on with the others and says so in its heartbeat; nothing is kept in memory
between rounds, so a restart loses nothing. Two clocks: a round is due when the clock on the wall has passed
its time (a computer that slept wakes into a due round) or when the interval has passed on the steady clock (a
wall clock that was set back does not stop it). One watch a folder, held by a lock.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from forecaster.brief.channels import addressees, senders
from forecaster.brief.delivery import Manners, report_lines, troubles
from forecaster.brief.fetch import fetch_weather
from forecaster.brief.heartbeat import Heartbeat, write_heartbeat
from forecaster.brief.lock import Busy, held
from forecaster.brief.outbox import BRIEF_FOLDER, Outbox
from forecaster.brief.round import (
    SENT,
    queue_alarms,
    queue_brief,
    queue_no_forecast,
    situation_in,
)
from forecaster.brief.secrets import Secrets
from forecaster.brief.sending import Post, send_all
from forecaster.errors import BadInput, ForecasterError
from forecaster.falls import fall_of
from forecaster.season.settings import Settings, read_settings

TICK_S = 5.0
"""How long the watch sleeps at a time [s], so that it sees a changed clock or a wish to end soon."""
RETRY = timedelta(minutes=2)
"""While messages wait for another try, the outbox is looked after so often."""
WATCH_LOCK = "watch.lock"
LOCK_PATIENCE_S = 2.0
"""A health check holds the lock for a moment; a watch that stays does not let go of it [s]."""

Clock = Callable[[], datetime]
Say = Callable[[str], None]


class Stopped(BaseException):
    """Somebody asked the watch to end; no `except Exception` on the way may swallow it."""


@dataclass
class Stop:
    """The wish to end: at once while `idle` or computing, after the message at hand while sending."""

    wished: bool = False
    careful: bool = False

    def wish(self, *_: object) -> None:
        """Ask to end; the handler of SIGTERM and SIGINT.

        Raises:
            Stopped: Nothing that must be finished is at hand.
        """
        self.wished = True
        if not self.careful:
            raise Stopped

    @contextmanager
    def finishing(self) -> Iterator[None]:
        """A block that is finished before the watch ends."""
        self.careful = True
        try:
            yield
        finally:
            self.careful = False
        if self.wished:
            raise Stopped


@dataclass
class Watch:
    """What a watch needs. `day`: stands on this date instead of today. `steady`: seconds that only grow.

    `secrets` are read at each round by the caller's function, so that a new password needs no restart.
    """

    folder: Path
    every: timedelta
    secrets: Callable[[], Secrets]
    say: Say
    clock: Clock = lambda: datetime.now(UTC)
    steady: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    stop: Stop = field(default_factory=Stop)
    day: date | None = None
    environment: Mapping[str, str] = field(default_factory=lambda: os.environ)
    fetch: bool = True

    def run(self, *, once: bool) -> bool:
        """Rounds until asked to end, or one; True where the last round went well.

        Raises:
            Busy: Another watch holds the folder.
        """
        (self.folder / BRIEF_FOLDER).mkdir(exist_ok=True)
        lock, who = self.folder / BRIEF_FOLDER / WATCH_LOCK, f"a watch over {self.folder}"
        with held(lock, who=who, patience_s=LOCK_PATIENCE_S):
            well = True
            try:
                while True:
                    try:
                        well = self.round(once=once)
                    except (ForecasterError, OSError) as error:  # a full disk today, room tomorrow
                        if once:
                            raise
                        self.say(str(error))
                    if once:
                        return well
                    self._rest()
            except Stopped:
                self.say("Ended as asked.")
                return True

    def round(self, *, once: bool) -> bool:
        """One round; True where a forecast could be made and nothing is left undelivered."""
        try:
            settings = read_settings(self.folder)
            secrets = self.secrets()
        except BadInput as error:
            self.say(str(error))
            self._beat(Heartbeat(self.clock(), self.every.total_seconds(), once, str(error)))
            return False
        as_of = self.day or self.clock().astimezone(ZoneInfo(settings.season.timezone)).date()
        if fall_of(as_of) is None:
            self.say(f"{as_of} lies outside a season (1 August to 31 January): nothing to do.")
            self._look_after()
            self._beat(Heartbeat(self.clock(), self.every.total_seconds(), once, idle=True))
            return True
        weather_trouble = ""
        if self.fetch:
            weather_trouble = fetch_weather(self.folder, settings, self.clock, self.environment)
            if weather_trouble:
                self.say(f"Weather: {weather_trouble}")
        with Outbox(self.folder) as outbox:
            beat, all_sent = self._tell(
                outbox, settings, secrets, as_of, once=once, weather_trouble=weather_trouble
            )
        self._beat(beat)
        return all_sent and not (beat.forecast_trouble or beat.sending_trouble)

    def _tell(
        self,
        outbox: Outbox,
        settings: Settings,
        secrets: Secrets,
        as_of: date,
        *,
        once: bool,
        weather_trouble: str,
    ) -> tuple[Heartbeat, bool]:
        """The round's heartbeat, and whether nothing is left undelivered."""
        to = addressees(settings)
        forecast_trouble, weather_hours = "", None
        try:
            now = situation_in(
                self.folder, as_of, moment=self.clock(), troubles=troubles(outbox, self.clock())
            )
            weather_hours = now.weather_hours
            with self.stop.finishing():
                for matter in queue_alarms(outbox, now, to):
                    self.say(f"Alarm: {matter.title}.")
                if self._brief_is_due(outbox, settings, as_of):
                    brief = queue_brief(outbox, now, to, written_at=self.clock())
                    self.say(f"Brief: {len(brief.matters)} matters.")
        except Exception as error:  # whatever it is, the watch goes on and somebody is told
            reasons = _reasons(error)
            forecast_trouble = "; ".join(reasons)
            self.say(f"No forecast: {forecast_trouble}")
            with self.stop.finishing():
                queue_no_forecast(outbox, reasons, settings, to, as_of=as_of, now=self.clock())
        sending_trouble, waiting = self._send(outbox, settings, secrets)
        return Heartbeat(
            self.clock(),
            self.every.total_seconds(),
            once,
            forecast_trouble,
            weather_trouble,
            sending_trouble,
            weather_hours,
        ), waiting == 0

    def _brief_is_due(self, outbox: Outbox, settings: Settings, as_of: date) -> bool:
        """One brief a day, in the first round at or after its time."""
        memory = outbox.memory(SENT, as_of)
        if memory is not None and memory[0] == as_of:
            return False
        shown = self.clock().astimezone(ZoneInfo(settings.season.timezone)).time()
        return self.day is not None or shown >= settings.brief.at

    def _send(self, outbox: Outbox, settings: Settings, secrets: Secrets) -> tuple[str, int]:
        """What went wrong, and how many messages wait that are not held back on purpose."""
        ways = senders(settings, secrets, outbox.folder_id())
        post = Post(ways, Manners.of(settings), self.clock, lambda: self.stop.wished)
        try:
            with self.stop.finishing():
                report = send_all(self.folder, outbox, post)
        except Busy as error:
            return str(error), 0
        except ForecasterError as error:
            self.say(str(error))
            return str(error), 0
        for line in report_lines(report):
            self.say(line)
        return "", sum(why not in ("quiet hours", "enough alarms for a day") for _, why in report.waiting)

    def _rest(self) -> None:
        """Sleep until the next round is due, by either clock; look after waiting messages in between."""
        settings = self._settings()
        started, steady = self.clock(), self.steady()
        due = next_round(started, self.every, settings)
        looked = steady
        while self.clock() < due and self.steady() - steady < self.every.total_seconds():
            self.sleep(TICK_S)
            if self.stop.wished:
                raise Stopped
            if self.steady() - looked >= RETRY.total_seconds():
                looked = self.steady()
                self._look_after()

    def _look_after(self) -> None:
        """Another try for the messages that wait, without a new forecast."""
        try:
            settings, secrets = read_settings(self.folder), self.secrets()
            with Outbox(self.folder) as outbox:
                if outbox.deliveries("waiting", "handing"):
                    self._send(outbox, settings, secrets)
        except ForecasterError as error:
            self.say(str(error))

    def _settings(self) -> Settings | None:
        try:
            return read_settings(self.folder)
        except BadInput:
            return None

    def _beat(self, beat: Heartbeat) -> None:
        try:
            write_heartbeat(self.folder, beat)
        except ForecasterError as error:
            self.say(str(error))


def next_round(now: datetime, every: timedelta, settings: Settings | None) -> datetime:
    """When the next round is due: after the interval, or at the time of the brief if that comes first."""
    due = now + every
    if settings is None:
        return due
    zone = ZoneInfo(settings.season.timezone)
    today = now.astimezone(zone).date()
    for day in (today, today + timedelta(days=1)):
        at = datetime.combine(day, settings.brief.at, zone).astimezone(UTC)
        if now < at < due:
            return at
    return due


def _reasons(error: Exception) -> tuple[str, ...]:
    """Why no forecast could be made, a line each."""
    if isinstance(error, BadInput):
        return tuple(str(problem) for problem in error.problems)
    if isinstance(error, ForecasterError):
        return (str(error),)
    return (f"an error of the program itself ({type(error).__name__}: {str(error)[:200]})",)
