"""Which ponds the winter asks somebody to look at today or tomorrow, for Today; and one pond's lines."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import timedelta

from forecaster.report.winter_text import watch_lines, why
from forecaster.season.sites import Site
from forecaster.visit.winter_watch import WinterWatch
from forecaster.web.snapshot import Snapshot

WITHIN_DAYS = 1


def watched(snapshot: Snapshot, closed: Collection[str]) -> WinterWatch | None:
    """The watch over the ponds that are closed or run all winter."""
    watch = snapshot.winter
    if watch is None:
        return None
    kept = tuple(site for site in watch.sites if site.site.site_id in closed or site.site.winter == "runs")
    return replace(watch, sites=kept, others_open=len(watch.sites) - len(kept))


def due_today(snapshot: Snapshot) -> dict[str, list[Site]]:
    """Why to look, and at which ponds; empty where nothing is due."""
    watch = watched(snapshot, snapshot.known.closed)
    due: dict[str, list[Site]] = {}
    for site in watch.sites if watch else ():
        last = snapshot.forecast.as_of + timedelta(days=WITHIN_DAYS)
        if watch is not None and site.look_kind != "nothing due" and site.look_again <= last:
            due.setdefault(why(site.look_kind, watch), []).append(site.site)
    return due


def lines_of(snapshot: Snapshot, site_id: str) -> tuple[str, ...]:
    """What a site's page says of its winter, () where no water is forecast."""
    return () if snapshot.winter is None else watch_lines(snapshot.winter, site_id)
