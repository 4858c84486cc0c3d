"""The main numbers of a state, small enough to keep many: what changed, how an estimate moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from forecaster.report import view
from forecaster.web.snapshot import Snapshot


@dataclass(frozen=True)
class SiteDigest:
    """One open site: water [°C], chances 0-1, dates; None as in the forecast. `risk`: its group's chance."""

    rank: int
    state: str
    water_now_c: float | None
    water_now_sd_c: float | None
    risk: float | None
    act_now: bool
    recommended_date: date | None
    planned_date: date | None
    planned_crew: str | None


@dataclass(frozen=True, eq=False)
class Digest:
    """The open sites of one state, by id; and the route's number of caught ponds (nine falls in ten)."""

    as_of: date
    last_event_id: int
    sites: Mapping[str, SiteDigest]
    closed: frozenset[str]
    caught_p90: int | None


def digest_of(snapshot: Snapshot) -> Digest:
    """The main numbers of a state."""
    forecast = snapshot.forecast
    sites = {
        site.site.site_id: SiteDigest(
            rank=site.rank,
            state=site.state,
            water_now_c=site.water_now_c,
            water_now_sd_c=site.water_now_sd_c,
            risk=view.risk(site),
            act_now=bool(view.act_now(site)),
            recommended_date=site.recommended_date,
            planned_date=site.planned_date,
            planned_crew=site.planned_crew,
        )
        for site in forecast.sites
    }
    closed = frozenset(site.site_id for site in forecast.closed)
    return Digest(forecast.as_of, snapshot.last_event_id, sites, closed, forecast.plan.caught_p90)
