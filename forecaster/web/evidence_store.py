"""The last replay of past seasons, kept beside the season's pages, so that the analyst may cut it by station
and morning without replaying it.

    FOLDER/.pages/evidence/CURRENT           name of the folder that holds the last whole replay
    FOLDER/.pages/evidence/NAME/about.json   what was asked, policies, notices; which station serves each site
    FOLDER/.pages/evidence/NAME/1998.npz     the result of one season: arrays only, no code

A replay is written beside the last one, and CURRENT is turned to it when it is whole.
"""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.backtest.contract import Backtest
from forecaster.backtest.inputs import Asked, BacktestInput, read_backtest
from forecaster.backtest.policies import PolicyRow
from forecaster.backtest.result import SeasonResult, from_bytes, to_bytes
from forecaster.backtest.run import backtest_of
from forecaster.backtest.summary import Summary
from forecaster.errors import ForecasterError, Notice
from forecaster.files import write_bytes, write_text
from forecaster.weather.site_air import site_air

PLACE = Path(".pages") / "evidence"
POINTER = "CURRENT"
OLDEST_KEPT = 1
"""Replays kept besides the current one: a page that is being read may still need it."""


class NoEvidence(ForecasterError):
    """No replay is kept, or what is kept cannot be read: replay again."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """A kept replay. `results` by season; `stations`: site -> nearest station; `replayed_at`: aware, UTC."""

    about: Backtest
    results: tuple[SeasonResult, ...]
    stations: Mapping[str, str]
    replayed_at: datetime
    version: str

    def chosen(self, *, station: str | None = None, as_of_day: tuple[int, int] | None = None) -> Backtest:
        """The same backtest over some sites and mornings only; money stays that of the whole route.

        Args:
            station: Keep the sites that this station serves; None for all.
            as_of_day: Keep this (month, day); None for all.
        Raises:
            KeyError: No site has that station, or no morning is on that day.
        """
        days = self.about.summary.as_of_days
        cases = [at for at, day in enumerate(days) if as_of_day in (None, day)]
        ids = self.results[0].site_ids
        sites = [at for at, name in enumerate(ids) if station in (None, self.stations.get(name))]
        if not cases or not sites:
            raise KeyError(station if cases else as_of_day)
        summary = Summary(tuple(days[at] for at in cases))
        for result in self.results:
            summary.add(part_of(result, cases, sites))
        return replace(self.about, summary=summary)


def part_of(result: SeasonResult, cases: Sequence[int], sites: Sequence[int]) -> SeasonResult:
    """The result of some as-of days and sites; money is left out, because it is of the whole route.

    Args:
        result: One season.
        cases: Positions of the as-of days to keep.
        sites: Positions of the sites to keep.
    """
    changed: dict[str, Any] = {
        "days": tuple(result.days[at] for at in cases),
        "site_ids": tuple(result.site_ids[at] for at in sites),
        "observed": result.observed[sites],
        "measured": result.measured[sites],
        "done": result.done[cases],
        "outlook": result.outlook[cases],
    }
    whole = (len(result.days), len(result.site_ids))
    for entry in fields(result):
        value = getattr(result, entry.name)
        if entry.name not in changed and isinstance(value, np.ndarray) and value.shape[:2] == whole:
            changed[entry.name] = value[np.ix_(cases, sites)]
    return replace(result, **changed)


def keep_evidence(
    folder: Path,
    asked: Asked,
    *,
    now: datetime,
    version: str,
    workers: int = 1,
    keep_in: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
    each: Callable[[SeasonResult], object] = lambda result: None,
) -> Backtest:
    """Replay past seasons and keep the result for the pages; the last one stays until this one is whole.

    Raises:
        BadInput: The folder or the wishes cannot be used; nothing is kept then.
        CannotWrite: The disk refuses.
    """
    base = folder / PLACE
    name = f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
    place = base / name
    kept: list[int] = []

    def keep(result: SeasonResult) -> None:
        place.mkdir(parents=True, exist_ok=True)
        write_bytes(place / f"{result.season}.npz", to_bytes(result))
        kept.append(result.season)
        each(result)

    try:
        given = read_backtest(folder, asked)
        done = backtest_of(given, workers=workers, keep_in=keep_in, say=say, each=keep)
        about = _about(done, kept, _stations_of(given), now, version)
        write_text(place / "about.json", json.dumps(about, indent=1, allow_nan=False) + "\n")
        write_text(base / POINTER, name + "\n")
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    _tidy(base, name)
    return done


def read_evidence(folder: Path) -> Evidence:
    """The last whole replay.

    Raises:
        NoEvidence: There is none, or it is damaged.
    """
    base = folder / PLACE
    try:
        name = (base / POINTER).read_text(encoding="utf-8").strip()
    except OSError:
        raise NoEvidence("No replay of past seasons is kept yet.") from None
    try:
        if Path(name).name != name:
            raise ValueError(f"{name!r} is no name of a replay")
        about = json.loads((base / name / "about.json").read_text(encoding="utf-8"))
        results = tuple(from_bytes((base / name / f"{year}.npz").read_bytes()) for year in about["seasons"])
        return _evidence(about, results)
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        raise NoEvidence(f"The kept replay cannot be read ({type(error).__name__}).") from error


def evidence_stamp(folder: Path) -> str:
    """What changes when another replay is kept; "" where none is."""
    try:
        return (folder / PLACE / POINTER).read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def _about(
    done: Backtest, seasons: Sequence[int], stations: Mapping[str, str], now: datetime, version: str
) -> dict[str, Any]:
    return {
        "version": version,
        "replayed_at": now.astimezone(UTC).isoformat(timespec="seconds"),
        "seasons": list(seasons),
        "as_of_days": [list(day) for day in done.summary.as_of_days],
        "site_stations": dict(stations),
        "season_name": done.season_name,
        "asked": asdict(done.asked),
        "members": done.members,
        "seed": done.seed,
        "stations": list(done.stations),
        "hold_days": done.hold_days,
        "start_c": done.start_c,
        "sustained_c": done.sustained_c,
        "units": done.units,
        "skipped": [[notice.where, notice.text] for notice in done.skipped],
        "policies": [asdict(row) for row in done.policies],
        "money_notes": list(done.money_notes),
        "warnings": [[notice.where, notice.text] for notice in done.warnings],
    }


def _evidence(about: dict[str, Any], results: tuple[SeasonResult, ...]) -> Evidence:
    days = tuple((int(month), int(day)) for month, day in about["as_of_days"])
    summary = Summary(days)
    for result in results:
        summary.add(result)
    asked = dict(about["asked"])
    if asked["seasons"] is not None:
        asked["seasons"] = tuple(asked["seasons"])
    if asked["as_of_days"] is not None:
        asked["as_of_days"] = tuple((int(month), int(day)) for month, day in asked["as_of_days"])
    return Evidence(
        about=Backtest(
            season_name=about["season_name"],
            asked=Asked(**asked),
            members=about["members"],
            seed=about["seed"],
            stations=tuple(about["stations"]),
            hold_days=about["hold_days"],
            start_c=about["start_c"],
            sustained_c=about["sustained_c"],
            units=about["units"],
            summary=summary,
            skipped=tuple(Notice(*pair) for pair in about["skipped"]),
            policies=tuple(PolicyRow(**row) for row in about["policies"]),
            money_notes=tuple(about["money_notes"]),
            warnings=tuple(Notice(*pair) for pair in about["warnings"]),
        ),
        results=results,
        stations=about["site_stations"],
        replayed_at=datetime.fromisoformat(about["replayed_at"]),
        version=about["version"],
    )


def _stations_of(given: BacktestInput) -> dict[str, str]:
    """The nearest of the stations that serve each site."""
    stations = [record.station for record in given.records]
    airs = site_air(
        given.sites,
        stations,
        stations_per_site=given.settings.weather.stations_per_site,
        has_tmin=[True] * len(stations),
    )
    return {air.site_id: air.station_id for air in airs}


def _tidy(base: Path, current: str) -> None:
    """Remove replays that no page reads any more."""
    names = sorted(path.name for path in base.glob("20*") if path.is_dir() and path.name != current)
    for name in names[: max(0, len(names) - OLDEST_KEPT)]:
        shutil.rmtree(base / name, ignore_errors=True)
