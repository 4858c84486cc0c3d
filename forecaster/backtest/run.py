"""The whole backtest of a season folder: read, schedule, replay, sum up. Writes nothing but kept seasons."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from forecaster import __version__
from forecaster.backtest.contract import Backtest
from forecaster.backtest.inputs import Asked, BacktestInput, read_backtest
from forecaster.backtest.policy_table import PolicyTable, money_notes
from forecaster.backtest.result import SeasonResult
from forecaster.backtest.runner import run_seasons
from forecaster.backtest.schedule import Schedule, make_schedule
from forecaster.backtest.summary import Summary
from forecaster.errors import BadInput, Notice, Problem

MOST_NOTICES = 40


def run_backtest(
    folder: Path,
    asked: Asked,
    *,
    workers: int = 1,
    keep_in: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
    each: Callable[[SeasonResult], object] = lambda result: None,
) -> Backtest:
    """Replay the past seasons of a folder.

    Args:
        folder: The season folder.
        asked: Seasons, as-of days, outlook and the like.
        workers: Child processes; the result does not depend on their number.
        keep_in: Where finished seasons are kept until all are there, None for nowhere.
        say: Receives progress.
        each: Receives the result of each season, in order.
    Raises:
        BadInput: The files or the wishes cannot be used.
    """
    given = read_backtest(folder, asked)
    return backtest_of(given, workers=workers, keep_in=keep_in, say=say, each=each)


def backtest_of(
    given: BacktestInput,
    *,
    workers: int = 1,
    keep_in: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
    each: Callable[[SeasonResult], object] = lambda result: None,
) -> Backtest:
    """The same from inputs that are read already."""
    asked = given.asked
    if asked.money and not given.settings.crews:
        raise BadInput(Problem("season.toml [[crew]]", "no crew is given, so nothing has a price. Add one."))
    schedule = make_schedule(given)
    for notice in schedule.skipped[:5]:
        say(str(notice))
    summary, table = Summary(schedule.as_of_days), PolicyTable()
    for result in run_seasons(
        given, schedule, workers=workers, version=__version__, keep_in=keep_in, say=say
    ):
        summary.add(result)
        table.add(result)
        each(result)
    if not any(summary.cases_read()):
        raise BadInput(Problem("backtest", _nothing(schedule, summary)))
    thresholds = given.settings.thresholds
    rows = table.rows()
    return Backtest(
        season_name=given.settings.season.name,
        asked=asked,
        members=asked.members or given.settings.season.members,
        seed=given.settings.season.seed,
        stations=tuple(record.station.station_id for record in given.records),
        hold_days=thresholds.hold_days,
        start_c=thresholds.start_c,
        sustained_c=thresholds.sustained_c,
        units=given.settings.season.units,
        summary=summary,
        skipped=schedule.skipped,
        policies=rows,
        money_notes=money_notes(rows),
        warnings=tuple(_warnings(given, summary)),
    )


def _nothing(schedule: Schedule, summary: Summary) -> str:
    days = ", ".join(f"{month:02d}-{day:02d}" for month, day in schedule.as_of_days)
    first = f" First: {summary.notices[0]}" if summary.notices else ""
    return (
        f"on the as-of days {days} of {len(schedule.seasons)} seasons there was nothing to score: every "
        f"crossing had come, or fewer than 15 earlier seasons were left.{first} Choose earlier days."
    )


def _warnings(given: BacktestInput, summary: Summary) -> list[Notice]:
    said = list(given.notices)
    dry = [site.site_id for site in given.sites if not site.forecast_water]
    if dry:
        text = f"no water is forecast at {', '.join(dry)}, so there is nothing to verify there."
        said.append(Notice("sites.csv", text))
    no_minima = sum(int(season[:, :, :, 8].sum()) for season in summary.sums) == 0
    if no_minima:
        said.append(Notice("weather", "no station has minima: freeze risk is not scored."))
    if summary.too_few_earlier:
        text = f"{summary.too_few_earlier} forecasts have under 15 earlier seasons beside them: not scored."
        said.append(Notice("scores", text))
    if summary.emulated_mornings:
        text = f"{summary.emulated_mornings} mornings used emulated outlooks, made from what came."
        said.append(Notice("outlook", text))
    told = summary.notices[:MOST_NOTICES]
    more = len(summary.notices) - len(told)
    said += told
    if more:
        said.append(Notice("replay", f"{more} more mornings were left out; not listed."))
    return said
