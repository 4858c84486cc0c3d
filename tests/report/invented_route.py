"""A forecast made by hand: invented sites, invented curves, no pipeline behind it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import NOT_REACHED, date_of
from forecaster.forecast import (
    CrewDay,
    Plan,
    RouteForecast,
    SeasonCurves,
    SiteForecast,
    StationUse,
    Stop,
    WorstFall,
)
from forecaster.season.sites import Site

AS_OF = date(2025, 10, 6)
FALL = 2025
NAMES = ("Hazel Court", "Birch Lane", "Old Mill", "Sedge Hollow", "Ridge House", "Willow Walk", "Fern Yard")


def curves(
    middle: float, spread: float, *, freeze_day: float = 88.0, seen: tuple[date, ...] = ()
) -> SeasonCurves:
    """Water settles about `middle` days after 1 September, frost comes about `freeze_day` after 1 August."""
    days = np.arange(153)
    settled = 1 / (1 + np.exp(-(days - middle) / spread))
    frost = np.exp(-(((days - freeze_day + 31) / 9.0) ** 2) / 2)
    frost[: (AS_OF - date(FALL, 9, 1)).days] = 0
    loss = np.where(days < 35, np.nan, 40 + 0.2 * (days - middle) ** 2)
    return SeasonCurves(date(FALL, 9, 1), settled, 0.97 * frost / frost.sum(), seen, loss)


def site_forecast(rank: int, rng: np.random.Generator, **changes: object) -> SiteForecast:
    """One invented site; the more urgent, the earlier its water settles."""
    middle = float(25 + 0.3 * rank + rng.uniform(0, 8))
    at = lambda z: date_of(31 + middle + z if 31 + middle + z < 184 else NOT_REACHED, FALL)  # noqa: E731
    ready = rank <= 6
    best = AS_OF + timedelta(days=int(max(0, middle - 32)))
    planned = AS_OF + timedelta(days=1 + rank // 4)
    site = Site(
        site_id=f"L-{rank:02d}",
        customer=f"{NAMES[rank % len(NAMES)]} {rank}",
        latitude=43.1,
        longitude=-88.0,
        mean_depth_m=0.6,
        row=rank + 1,
        address=f"{rank} Invented Lane",
        told_date=planned if rank % 5 == 0 else None,
        access="gate code from the office" if rank % 3 == 0 else "",
    )
    made = SiteForecast(
        site=site,
        rank=rank,
        station_id="LS1",
        state="ready" if ready else "waiting",
        water_now_c=float(7 + 0.05 * rank + rng.uniform(0, 1)),
        water_now_sd_c=1.3,
        start_p10=at(-16),
        start_p50=at(-9),
        start_p90=at(1),
        sustained_p10=at(-10),
        sustained_p50=at(0),
        sustained_p90=at(11),
        p_not_reached=0.02 if rank % 4 else 0.0,
        p_hard_freeze_first=float(rng.uniform(0.01, 0.4)),
        p_plumbing_freeze_first=0.004,
        p_ice_first=0.03 if rank % 7 else 0.2,
        p_hard_freeze_14d=float(max(0.05, 0.6 - 0.02 * rank)),
        p_rebound=0.6,
        p_start_by_recommended=0.85,
        recommended_date=best,
        window_start=max(AS_OF, best - timedelta(days=4)),
        window_end=best + timedelta(days=6),
        planned_date=planned,
        planned_crew="North" if rank % 2 else "South",
        p_hard_freeze_before_planned=0.55 if rank == 3 else 0.06,
        expected_loss=41.5 + rank,
        loss_parts={"warm_day": 12.0, "hard_freeze": 15.5, "plumbing_freeze": 10.0, "ice": 4.0},
        date_shifts={"warm_day": (-4, 4), "hard_freeze": (2, -2), "plumbing_freeze": (1, -2), "ice": (0, -1)},
        frost_nights=2,
        first_hard_freeze_seen=None,
        reason=(
            f"Water reaches 50 °F by {best.day} October in 17 falls of 20, and waiting a week longer would "
            "raise the chance of a hard freeze before the visit from 1 in 15 to 1 in 6."
        ),
        curves=curves(middle, 5.0),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def route_forecast(count: int = 24, *, units: str = "us") -> RouteForecast:
    """An invented route of `count` sites, the last of them a fountain without a water forecast."""
    rng = np.random.default_rng(7)
    sites = [site_forecast(rank, rng) for rank in range(1, count + 1)]
    if count > 8:
        sites[-1] = site_forecast(
            count,
            rng,
            state="no_forecast",
            water_now_c=None,
            water_now_sd_c=None,
            p_not_reached=None,
            p_hard_freeze_first=None,
            p_rebound=None,
            planned_date=None,
            planned_crew=None,
            curves=None,
        )
        sites[1] = replace(
            sites[1],
            first_hard_freeze_seen=date(2025, 10, 4),
            curves=curves(24, 5, seen=(date(2025, 10, 4),)),
        )
        sites[8] = replace(sites[8], sustained_p90=None, p_not_reached=0.2)
    crew_days: dict[tuple[date, str], list[Stop]] = {}
    for site in sites:
        if site.planned_date is not None and site.planned_crew is not None:
            stops = crew_days.setdefault((site.planned_date, site.planned_crew), [])
            stops.append(Stop(site.site.site_id, time(8 + 3 * len(stops), 5), time(10 + 3 * len(stops), 5)))
    return RouteForecast(
        season_name="Invented route",
        fall=FALL,
        as_of=AS_OF,
        units=units,
        seed=7,
        members=1500,
        stations=(
            StationUse("LS1", "Lakeshore", date(1990, 1, 1), date(2025, 10, 5), 12),
            StationUse("HB2", "Hill Base", date(1995, 1, 1), date(2025, 10, 3), 40),
        ),
        outlook_text="outlook issued 2025-10-06, 10 days",
        sites=tuple(sites),
        closed=(replace(sites[0].site, site_id="C-01"), replace(sites[0].site, site_id="C-02")),
        runs_all_winter=(replace(sites[0].site, site_id="W-01"),),
        crew_days=tuple(
            CrewDay(day, crew, tuple(stops), 2.0 * len(stops), 1.25)
            for (day, crew), stops in sorted(crew_days.items())
        ),
        plan=Plan(
            1,
            4,
            date(2025, 10, 13),
            1234.5,
            0.008,
            (sites[-1].site.site_id,) if count > 8 else (),
            caught_limit=4,
            caught_limit_set=True,
            worst=(WorstFall(1991, 0, 5, 4000.0),),
        ),
        measure_next=((sites[min(7, count - 1)].site.site_id, 14.2), (sites[0].site.site_id, 9.8))
        if sites
        else (),
        warnings=(
            Notice("weather/HB2.csv", "2 days since 3 Oct are missing and were filled from LS1."),
            Notice("sites.csv row 9, mean_depth_in", "not given for a fall without pond; no water forecast."),
        ),
        settings_text={
            "thresholds": "start 50 °F, sustained 45 °F for 5 days",
            "costs": "warm day 10, hard freeze 60",
        },
    )
