"""A season folder with six invented ponds at one real station, for worked tables of snaps.

Every pond stands at the station, so that its blend is the station's own minimum plus its offset. They
differ in one thing each: `bare` still water, all pipes above ground; `falls` the same with water running;
`buried` few pipes above ground; `hollow` 4 °F colder than the station; `fish` shallow, fish, few pipes;
`deep` 72 inches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.pipeline import load_known
from forecaster.snap.build import SnapAsked, snap_report
from forecaster.snap.records import SnapReport

SETTINGS = """[season]
year = {year}
timezone = "America/Chicago"
members = 400

[[crew]]
name = "One"
latitude = {latitude}
longitude = {longitude}
start_time = 08:00
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
first_day = {year}-09-01
last_day = {year}-12-31
"""
COLUMNS = (
    "site_id,customer,latitude,longitude,mean_depth_in,waterfall,fish,plumbing_exposure,"
    "minimum_offset_f,hours_on_site"
)
PONDS = """bare,Invented,{at},24,no,no,1.0,0,2
falls,Invented,{at},24,yes,no,1.0,0,2
buried,Invented,{at},24,no,no,0.3,0,2
hollow,Invented,{at},24,no,no,0.6,-4,1.5
fish,Invented,{at},12,no,yes,0.3,0,2
deep,Invented,{at},72,no,no,0.6,0,2
"""


AT_STAKE = {"bare": 1.0, "falls": 0.5, "buried": 0.3, "hollow": 0.6, "fish": 0.3, "deep": 0.6}
"""Exposure times the running share: 1.0, but half of it where water runs, and as in the sheet elsewhere."""
OFFSET_C = {"hollow": -4 / 1.8}
PLUMBING_C = -20 / 3 + 0.05
PLACE_SD_C, NIGHT_SD_C = 0.9, 1.7  # of one station alone: the usual spread, see snap/spread.py
NEAR = 0.04
"""Chances of 400 members are held to this: their sampling error and the last digit of the table."""


@dataclass(frozen=True)
class Row:
    """One line of a worked table, in the order of the page.

    Chances: 20 °F so far, 20 °F new, 28 °F new, ice new, long cover, and days of warm water, as the page says
    them (two decimals): a regression, no independent evidence. Dollars are arithmetic on them, printed once:
    pipes 400 x stake x new, leak 100 x stake x so far, fish 250 x cover, ice 150 x new (closings only), hard
    frost 60 x new, warm water -10 x days.
    """

    site_id: str
    chances: tuple[float, float, float, float, float, float]
    dollars: tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class Case:
    """A real snap: the morning, what kind, its days by the sites, the visit advised, the hand's table."""

    name: str
    as_of: date
    first_day: date
    last_day: date
    action: str
    rows: tuple[Row, ...]


def hand_order(case: Case) -> list[list[str]]:
    """Sites by the hand's dollars an hour; those within the table's error of each other share a place."""
    rate = {row.site_id: sum(row.dollars) / _hours(case, row.site_id) for row in case.rows}
    close = {
        row.site_id: 400 * AT_STAKE[row.site_id] * NEAR / 2 / _hours(case, row.site_id) for row in case.rows
    }
    groups: list[list[str]] = []
    for site_id in sorted(rate, key=lambda s: -rate[s]):
        if groups and rate[groups[-1][-1]] - rate[site_id] <= max(close[groups[-1][-1]], close[site_id]):
            groups[-1].append(site_id)
        else:
            groups.append([site_id])
    return groups


def _hours(case: Case, site_id: str) -> float:
    if case.action == "quick":
        return 25 / 60
    return 1.5 if site_id == "hollow" else 2.0


def check(case: Case, report: SnapReport) -> None:
    """Assert that the page agrees with the hand's table, and its chances with plain arithmetic."""
    assert (report.first_day, report.last_day) == (case.first_day, case.last_day)
    assert report.plan.action == case.action
    order = [site.site.site_id for site in report.sites]
    by_hand = hand_order(case)
    at = 0
    for group in by_hand:
        assert set(order[at : at + len(group)]) == set(group), (case.name, order, by_hand)
        at += len(group)
    known, dollars = chances(report), parts(report)
    for row in case.rows:
        np.testing.assert_allclose(known[row.site_id][:5], row.chances[:5], atol=NEAR, err_msg=row.site_id)
        stake = AT_STAKE[row.site_id]
        coefficient = np.array([400 * stake, 100 * stake, 250.0, 150.0, 60.0, 10.0])
        off = np.abs(dollars[row.site_id] - np.array(row.dollars))
        assert (off <= NEAR * coefficient + [0.1, 0.1, 0.1, 0.1, 0.1, 2.0]).all(), (case.name, row, off)
        low, high = so_far_bounds(report, row.site_id)
        assert low - NEAR <= known[row.site_id][0] <= high + NEAR, (case.name, row.site_id, low, high)


def so_far_bounds(report: SnapReport, site_id: str) -> tuple[float, float]:
    """20 °F so far by arithmetic: at least that of the coldest measured night, at most as if all nights were
    independent, with this morning's chance as the page has it."""
    offset = OFFSET_C.get(site_id, 0.0)
    sd = math.sqrt(PLACE_SD_C**2 + (0.3 * offset) ** 2 + NIGHT_SD_C**2)
    nights = [n for n in report.station_nights if n.kind == "observed" and n.min_c is not None]
    single = [_below((PLUMBING_C - (n.min_c + offset)) / sd) for n in nights if n.min_c is not None]
    state = next(site.state for site in report.sites if site.site.site_id == site_id)
    today = next(n.p_plumbing for n in state.nights if n.day == report.as_of)
    spared = (1.0 - today) * math.prod(1.0 - p for p in single)
    return max(single), 1.0 - spared


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def write_season(
    folder: Path,
    *,
    year: int,
    station: str,
    latitude: float,
    longitude: float,
    elevation_m: float,
    record: str,
) -> Path:
    """The folder; `record` is the station's CSV (date,tmin,tmax)."""
    (folder / "weather").mkdir(parents=True)
    at = f"{latitude},{longitude}"
    (folder / "season.toml").write_text(
        SETTINGS.format(year=year, latitude=latitude, longitude=longitude), encoding="utf-8"
    )
    (folder / "sites.csv").write_text(f"{COLUMNS}\n{PONDS.format(at=at)}", encoding="utf-8")
    place = f"{station},{station},{latitude},{longitude},{elevation_m}"
    stations = f"station_id,name,latitude,longitude,elevation_m\n{place}\n"
    (folder / "weather" / "stations.csv").write_text(stations, encoding="utf-8")
    (folder / "weather" / f"{station}.csv").write_text(record, encoding="utf-8")
    return folder


def report_of(folder: Path, as_of: date, **asked: object) -> SnapReport:
    """The report of a folder without a ledger."""
    return snap_report(load_known(folder, as_of), asked=SnapAsked(**asked))  # type: ignore[arg-type]


def chances(report: SnapReport) -> dict[str, tuple[float, ...]]:
    """By pond: 20 °F so far and new, 28 °F new, ice new, long cover, days of warm water."""
    return {
        site.site.site_id: (
            site.state.p_plumbing_so_far or 0.0,
            site.state.p_plumbing_new or 0.0,
            site.state.p_hard_new or 0.0,
            site.state.p_ice_new or 0.0,
            site.state.p_covered_next or 0.0,
            site.state.warm_days,
        )
        for site in report.sites
    }


def parts(report: SnapReport) -> dict[str, np.ndarray]:
    """By pond: dollars of the six parts as the page has them, for the kind of visit that it advises."""
    quick = report.plan.action == "quick"
    return {
        site.site.site_id: np.array(
            [
                (site.quick if quick else site.close)[name]
                for name in ("pipes", "leak", "fish", "ice", "hard_freeze", "warm_day")
            ]
        )
        for site in report.sites
    }


def show(report: SnapReport) -> str:
    """The page's side of the table, to be printed beside the hand's."""
    known, dollars = chances(report), parts(report)
    lines = [f"{report.as_of}: snap {report.first_day} to {report.last_day}, {report.plan.action}"]
    for site in report.sites:
        name = site.site.site_id
        c = " ".join(f"{value:5.2f}" for value in known[name])
        d = " ".join(f"{value:6.1f}" for value in dollars[name])
        lines.append(f"  {site.order} {name:7} [{c}]  {d}  {site.per_hour(report.plan.action):7.1f} $/h")
    return "\n".join(lines)
