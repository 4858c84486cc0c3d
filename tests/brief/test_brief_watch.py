"""The watch: rounds, both clocks, a dead network, a broken folder, one at a time, a clean end, its health."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from brief_servers import MailServer, WebServer, free_port

from forecaster.brief.heartbeat import Heartbeat, read_heartbeat, unwell, write_heartbeat
from forecaster.brief.lock import Busy, held, is_held
from forecaster.brief.outbox import Outbox
from forecaster.brief.secrets import Secrets
from forecaster.brief.watch import Stop, Stopped, Watch, next_round
from forecaster.errors import BadInput
from forecaster.season.ledger import open_ledger
from forecaster.season.settings import read_settings

SIX = datetime(2025, 10, 6, 11, 0, tzinfo=UTC)  # 6:00 in Chicago
PROCESS = Path(__file__).with_name("run_watch.py")


def add(folder: Path, text: str) -> None:
    path = folder / "season.toml"
    toml = path.read_text(encoding="utf-8")
    path.write_text(toml.replace("[thresholds]", f"{text}\n[thresholds]", 1), encoding="utf-8")


def mail_to(folder: Path, port: int, more: str = "") -> None:
    add(
        folder,
        f'[mail]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "office@example.org"\n'
        f'to = ["owner@example.org"]\n[alarms]\nhard_freeze_chance = 0.3\nhard_freeze_days = 10\n{more}',
    )


class Clock:
    """Two clocks that a test sets apart: the one on the wall, and the steady one."""

    def __init__(self, now: datetime = SIX) -> None:
        self.now, self.seconds = now, 0.0

    def wall(self) -> datetime:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)
        self.seconds += seconds


def watch(folder: Path, clock: Clock, said: list[str] | None = None, **more) -> Watch:
    heard = said if said is not None else []
    return Watch(
        folder, timedelta(hours=3), Secrets, heard.append, clock=clock.wall, steady=lambda: clock.seconds,
        sleep=clock.sleep, **more,
    )  # fmt: skip


# --- rounds on the demo season, with a real mail server


def test_a_morning_of_rounds(season, mail_server: MailServer):
    """An alarm at three, the brief at six and not again, the ledger holds both, the next morning is quiet."""
    mail_to(season, mail_server.port, 'quiet_hours = "break"')
    with open_ledger(season) as ledger:
        ledger.write(lambda _: [], who="test")
        from forecaster.season import events

        ledger.append(events.note(date(2025, 10, 5), "begun"), who="test")
    clock = Clock(SIX - timedelta(hours=3))
    watching = watch(season, clock)
    assert watching.round(once=False)
    assert len(mail_server.box.got) == 1
    assert str(mail_server.box.mails()[0]["Subject"]).startswith("Hard freeze about ")
    clock.now = SIX
    assert watching.round(once=False)
    clock.now = SIX + timedelta(hours=3)
    assert watching.round(once=False)
    subjects = [str(mail["Subject"]) for mail in mail_server.box.mails()]
    assert len(subjects) == 2
    assert subjects[1].split("; ")[-1].endswith("more")
    with open_ledger(season, readonly=True) as ledger:  # type: ignore[union-attr]
        kept = [(event.kind, event.facts.get("state")) for event in ledger.events()]
    assert kept == [("note", None), ("alarm", None), ("message", "sent"), ("message", "sent")]
    beat = read_heartbeat(season)
    assert beat is not None
    assert (beat.forecast_trouble, beat.sending_trouble, beat.weather_hours) == ("", "", 9.0)


def test_a_dead_network_and_a_dead_mail_server_lose_nothing(season, mail_server: MailServer):
    add(season, f'[mail]\nhost = "127.0.0.1"\nport = {free_port()}\nsecurity = "none"\n'
                'sender = "office@example.org"\nto = ["owner@example.org"]')  # fmt: skip
    toml = (season / "season.toml").read_text(encoding="utf-8")
    dead = f'outlook = "met-norway"\ncontact = "office@example.org"\nmet_norway_url = "http://127.0.0.1:{free_port()}/"'
    (season / "season.toml").write_text(toml.replace('outlook = "files"', dead), encoding="utf-8")
    clock, said = Clock(), list[str]()
    watching = watch(season, clock, said)
    assert not watching.round(once=False)
    assert any("Weather: " in line for line in said)
    assert any("refuses the connection" in line for line in said)
    beat = read_heartbeat(season)
    assert beat is not None
    assert beat.weather_trouble
    toml = (season / "season.toml").read_text(encoding="utf-8")
    port = toml.split("port = ")[1].split()[0]
    (season / "season.toml").write_text(toml.replace(f"port = {port}", f"port = {mail_server.port}"))
    clock.now += timedelta(minutes=2)
    watching._look_after()  # the outbox is looked after between rounds, without a new forecast
    assert len(mail_server.box.got) == 1


def test_no_forecast_is_an_alarm_and_the_watch_goes_on(season, mail_server: MailServer):
    mail_to(season, mail_server.port)
    sheet = (season / "sites.csv").read_text(encoding="utf-8")
    (season / "sites.csv").write_text(sheet.replace(",18,23,", ",18ft,23,", 1), encoding="utf-8")
    clock = Clock()
    watching = watch(season, clock)
    assert not watching.round(once=False)
    assert not watching.round(once=False)
    (mail,) = mail_server.box.mails()
    assert mail["Subject"] == "No forecast could be made"
    assert "18ft" in mail.get_body(("plain",)).get_content()
    (season / "sites.csv").write_text(sheet, encoding="utf-8")
    assert watching.round(once=False)


def test_broken_settings_do_not_end_the_watch(season):
    clock, said = Clock(), list[str]()
    watching = watch(season, clock, said)
    (season / "season.toml").write_text("[season", encoding="utf-8")
    assert not watching.round(once=False)
    assert "not valid TOML" in said[0]


def test_outside_the_season_there_is_nothing_to_do(season):
    clock = Clock(datetime(2026, 3, 1, 12, tzinfo=UTC))
    assert watch(season, clock).round(once=False)
    beat = read_heartbeat(season)
    assert beat is not None
    assert beat.idle


# --- clocks, with rounds that only count


class Counting(Watch):
    """A watch whose rounds only say when they were; ends after `most`."""

    most = 3

    def round(self, *, once: bool) -> bool:
        self.say(self.clock().isoformat())
        if self.stop.wished or len(self.said) >= self.most:
            raise Stopped
        return True

    @property
    def said(self) -> list[str]:
        return self.say.__self__  # type: ignore[attr-defined]


def counting(folder: Path, clock: Clock, sleep=None) -> list[str]:
    said: list[str] = []
    Counting(
        folder, timedelta(hours=3), Secrets, said.append, clock=clock.wall,
        steady=lambda: clock.seconds, sleep=sleep or clock.sleep,
    ).run(once=False)  # fmt: skip
    return [line[11:16] for line in said if line.startswith("2025")]


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    text = '[season]\nyear = 2025\ntimezone = "America/Chicago"\n[brief]\nat = 06:00\n'
    (tmp_path / "season.toml").write_text(text, encoding="utf-8")
    return tmp_path


def test_every_three_hours_and_at_the_time_of_the_brief(bare):
    assert counting(bare, Clock(SIX)) == ["11:00", "14:00", "17:00"]
    assert counting(bare, Clock(SIX - timedelta(hours=1))) == ["10:00", "11:00", "14:00"]


def test_a_computer_that_slept_wakes_into_a_round(bare):
    clock = Clock(SIX)

    def sleep(seconds: float) -> None:
        clock.sleep(seconds)
        if clock.now - SIX == timedelta(minutes=10):  # the lid is closed; the steady clock stands still
            clock.now += timedelta(hours=9)

    assert counting(bare, clock, sleep) == ["11:00", "20:10", "23:10"]


def test_a_wall_clock_set_back_does_not_stop_the_rounds(bare):
    clock = Clock(SIX)

    def sleep(seconds: float) -> None:
        clock.sleep(seconds)
        if clock.seconds == 600:
            clock.now -= timedelta(days=30)

    assert counting(bare, clock, sleep) == ["11:00", "14:00", "17:00"]  # by the steady clock
    assert clock.seconds == 2 * 3 * 3600


def test_next_round_when_clocks_go_back(bare):
    settings = read_settings(bare)
    before = datetime(2025, 11, 2, 10, 0, tzinfo=UTC)  # 4:00 CST, after the change
    assert next_round(before, timedelta(hours=3), settings) == datetime(2025, 11, 2, 12, 0, tzinfo=UTC)
    assert next_round(before, timedelta(hours=1), settings) == before + timedelta(hours=1)
    assert next_round(before, timedelta(hours=3), None) == before + timedelta(hours=3)


def test_a_wish_to_end_waits_for_what_must_be_finished():
    stop, reached = Stop(), list[str]()

    def send() -> None:
        with stop.finishing():
            stop.wish()
            reached.append("the end of the block")

    with pytest.raises(Stopped):
        send()
    assert reached
    with pytest.raises(Stopped):
        Stop().wish()
    assert not issubclass(Stopped, Exception)


# --- one at a time, and health


def test_one_watch_a_folder(bare):
    (bare / ".brief").mkdir()
    lock = bare / ".brief" / "watch.lock"
    assert not is_held(lock)
    with held(lock, who="a watch"):
        code = (
            "from pathlib import Path; from forecaster.brief.lock import is_held;"
            f" print(is_held(Path({str(lock)!r})))"
        )
        other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert other.stdout.strip() == "True"
        with pytest.raises(Busy, match=r"a watch over .* is running already"):
            watch(bare, Clock()).run(once=True)
    assert not is_held(lock)


def health(
    beat: Heartbeat | None, *, later: timedelta = timedelta(0), running: bool = True, **more
) -> list[str]:
    now = (beat.ended_at if beat else SIX) + later
    return unwell(beat, now=now, running=running, data_hours=72, **more)


def test_health_says_what_is_wrong():
    well = Heartbeat(SIX, 10800, False, weather_hours=9.0)
    assert health(well) == []
    assert health(well, later=timedelta(hours=6, minutes=29)) == []
    assert "ended 7 hours ago, one is due every 3 hours" in health(well, later=timedelta(hours=7))[0]
    assert "no watch is running" in health(well, running=False)[0]
    assert health(Heartbeat(SIX, 10800, True), running=False) == []  # --once: no process stays
    assert health(well, later=timedelta(hours=30), every=timedelta(hours=24)) == []
    assert "clock was set back" in health(well, later=-timedelta(hours=2))[0]
    assert "the forecast failed: x" in health(Heartbeat(SIX, 10800, False, forecast_trouble="x"))[0]
    old = Heartbeat(SIX, 10800, False, weather_trouble="no network", weather_hours=71.0)
    assert health(old) == []
    assert health(old, later=timedelta(hours=2)) == ["the weather is older than 72 hours (no network)."]
    assert health(well, troubles=["lost"]) == ["lost"]
    assert "no round has ended yet" in health(None)[0]


def test_the_heartbeat_file_is_whole_or_refused(tmp_path):
    (tmp_path / ".brief").mkdir()
    assert read_heartbeat(tmp_path) is None
    beat = Heartbeat(SIX, 600, False, "a", "b", "c", 1.5)
    write_heartbeat(tmp_path, beat)
    assert read_heartbeat(tmp_path) == beat
    (tmp_path / ".brief" / "heartbeat.json").write_text("{", encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be read"):
        read_heartbeat(tmp_path)


# --- a real process


def start(
    folder: Path, moment: datetime = SIX, *, every_s: float = 3600, faster: int = 1
) -> subprocess.Popen[str]:
    words = [sys.executable, str(PROCESS), str(folder), moment.isoformat(), str(every_s), str(faster)]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def wait_for(happened, process: subprocess.Popen[str] | None = None, seconds: float = 60) -> None:
    for _ in range(int(seconds / 0.02)):
        if happened():
            return
        assert process is None or process.poll() is None, process.stdout.read()  # type: ignore[union-attr]
        time.sleep(0.02)
    raise AssertionError("it did not happen")


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGTERM")
def test_terminated_killed_and_started_again(season, mail_server: MailServer):
    mail_to(season, mail_server.port)
    (season / ".brief").mkdir()
    lock, beat = season / ".brief" / "watch.lock", season / ".brief" / "heartbeat.json"
    process = start(season)
    wait_for(beat.is_file, process)
    assert is_held(lock)
    sent = len(mail_server.box.got)
    assert sent == 2  # an alarm and the brief
    process.send_signal(signal.SIGTERM)
    said, _ = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Ended as asked." in said
    assert "Traceback" not in said
    assert not is_held(lock)
    beat.unlink()
    process = start(season, SIX + timedelta(hours=1))
    wait_for(beat.is_file, process)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    assert not is_held(lock)  # the system dropped it
    assert len(mail_server.box.got) == sent


def _ended(folder: Path) -> datetime:
    """When the last round of the watch ended, by its own clock."""
    beat = read_heartbeat(folder)
    return beat.ended_at if beat else datetime(2025, 9, 1, tzinfo=UTC)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
def test_a_week_in_minutes_with_kills(season, web_server: WebServer, monkeypatch):
    """29 September to 6 October on a fast clock, killed at random after none or one round, the endpoint
    failing now and then: every message comes once by its key, and one brief a day at most."""
    import random

    dice = random.Random(11)
    monkeypatch.setenv("FORECASTER_CHANNEL_BOARD", f"http://127.0.0.1:{web_server.port}/hook")
    add(
        season,
        '[brief]\nchannels = ["board"]\n[alarms]\nhard_freeze_chance = 0.3\nhard_freeze_days = 10',
    )
    moment, end = datetime(2025, 9, 29, 9, tzinfo=UTC), SIX + timedelta(hours=6)
    while moment < end:
        web_server.answers = [dice.choice([200, 503, "cut", 429, 200, 200]) for _ in range(4)]
        process = start(season, moment, every_s=3 * 3600, faster=600)
        for _ in range(dice.choice([0, 1, 1, 1])):
            wait_for(lambda before=moment: _ended(season) > before, process, seconds=120)
            moment = max(moment, _ended(season))
        time.sleep(dice.uniform(0.2, 1.5))
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        moment = max(moment, _ended(season)) + timedelta(hours=dice.choice([1, 3, 5]))
    web_server.answers = []
    with Outbox(season) as outbox:
        deliveries = outbox.deliveries()
    late = {d.message.key for d in deliveries if d.state != "sent"}
    assert {d.state for d in deliveries} <= {"sent", "waiting", "handing"}
    assert all(d.message.created_at > moment - timedelta(hours=16) for d in deliveries if d.state != "sent")
    keys = {d.message.key for d in deliveries}
    taken = {post.body["key"] for post in web_server.taken.values()}
    assert keys - late <= taken <= keys
    briefs = [key for key in taken if key.startswith("brief/")]
    assert len(briefs) == len({key.split("/")[1] for key in briefs}) >= 3
    print(f"{len(keys)} messages, {len(web_server.posts)} posts, still waiting: {sorted(late)}")
