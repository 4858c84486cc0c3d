"""Seasons over the cores: same results for any number of workers, kept between runs until all are there.

Each season is computed alone in a child process with one thread of linear algebra, and comes back in the
order of the seasons. Finished seasons are kept under the fingerprint of exactly this input, so that a run
that was stopped goes on where it was, and a changed file begins anew.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from datetime import date
from multiprocessing import get_context
from pathlib import Path

from forecaster.backtest.inputs import BacktestInput, fingerprint
from forecaster.backtest.money import season_money
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import replay_season
from forecaster.backtest.result import SeasonResult, from_bytes, to_bytes
from forecaster.backtest.schedule import Schedule
from forecaster.files import CannotWrite, write_bytes

THREAD_SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
AHEAD = 2
"""Seasons a worker may be ahead of the one that is written: memory stays flat."""
Progress = Callable[[str], None]


class _Worker:
    """What one child process keeps between seasons."""

    given: BacktestInput
    model: PastModel
    cache: FallCache


def _start(given: BacktestInput) -> None:
    _Worker.given, _Worker.model, _Worker.cache = given, PastModel.of(given), FallCache()


def _one(season: int, days: list[date]) -> bytes:
    result = replay_season(_Worker.given, _Worker.model, season, days, _Worker.cache)
    if _Worker.given.asked.money:
        result = season_money(_Worker.given, _Worker.model, result, _Worker.cache)
    return to_bytes(result)


def run_seasons(
    given: BacktestInput,
    schedule: Schedule,
    *,
    workers: int,
    version: str,
    keep_in: Path | None = None,
    say: Progress = lambda text: None,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[SeasonResult]:
    """Results of every season, in order.

    Args:
        given: Everything a replay may use.
        schedule: Seasons and as-of days.
        workers: Child processes, 1 or more.
        version: Of the program; kept seasons of another one are not used.
        keep_in: Folder for finished seasons; None keeps nothing. It is emptied of them at the end.
        say: Receives a line of progress after each season.
        clock: Seconds, for the time left.
    """
    kept = _Kept(None if keep_in is None else keep_in / fingerprint(given, version))
    missing = [season for season in schedule.seasons if kept.read(season) is None]
    found = len(schedule.seasons) - len(missing)
    if found:
        say(f"{found} of {len(schedule.seasons)} seasons are there from a run that was stopped.")
    began, computed = clock(), 0
    with _one_thread(), _pool(given, min(workers, max(len(missing), 1))) as pool:
        waiting: dict[int, Future[bytes]] = {}
        queue = list(missing)
        for number, season in enumerate(schedule.seasons, start=1):
            while queue and len(waiting) < workers * AHEAD:
                following = queue.pop(0)
                waiting[following] = pool.submit(_one, following, schedule.days_of(following))
            content = kept.read(season)
            if content is None:
                content = waiting.pop(season).result()
                kept.write(season, content)
                computed += 1
                left = (clock() - began) / computed * (len(missing) - computed)
                say(f"season {season}: {number} of {len(schedule.seasons)} done{_left(left)}")
            yield from_bytes(content)
    kept.clear()


def _left(seconds: float) -> str:
    if seconds < 1.0:
        return ""
    return f", about {seconds:.0f} s left" if seconds < 90.0 else f", about {seconds / 60.0:.0f} min left"


@contextmanager
def _one_thread() -> Iterator[None]:
    """Children inherit the environment: one thread of linear algebra each, whatever the number of workers."""
    before = {name: os.environ.get(name) for name in THREAD_SETTINGS}
    os.environ.update(dict.fromkeys(THREAD_SETTINGS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextmanager
def _pool(given: BacktestInput, workers: int) -> Iterator[ProcessPoolExecutor]:
    pool = ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_start, initargs=(given,)
    )
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Kept:
    """Finished seasons on disk; a folder that cannot be written only means that nothing is kept."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        if folder is not None:
            try:
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            except OSError:
                self._folder = None

    def read(self, season: int) -> bytes | None:
        if self._folder is None:
            return None
        try:
            content = (self._folder / f"{season}.npz").read_bytes()
            from_bytes(content)
        except (OSError, ValueError):
            return None
        return content

    def write(self, season: int, content: bytes) -> None:
        if self._folder is not None:
            try:
                write_bytes(self._folder / f"{season}.npz", content)
            except CannotWrite:
                self._folder = None

    def clear(self) -> None:
        if self._folder is None:
            return
        for path in self._folder.glob("*.npz"):
            path.unlink(missing_ok=True)
        try:
            self._folder.rmdir()
        except OSError:
            return
