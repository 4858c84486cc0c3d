"""What closed ponds ask for in the winter, as a source of the brief: who should be looked at now. Pure."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from forecaster.brief.situation import Situation
from forecaster.matters import Matter
from forecaster.report.winter_text import winter_matters

WITHIN_DAYS = 1
"""Ponds to look at today or tomorrow are told [days]."""


def winter(now: Situation, told: dict[str, Any] | None) -> tuple[list[Matter], dict[str, Any]]:
    """Ponds to look at, each once a reason, and again after the longest wait of the settings.

    Told: by site its reason and the day on which it was told.
    """
    if now.winter is None:
        return [], told or {}
    before, as_of = told or {}, now.forecast.as_of
    wait_days = now.settings.winter.look_again_days
    fresh, after = [], dict(before)
    for site in now.winter.sites:
        kind, day = before.get(site.site.site_id, (None, None))
        if site.look_kind == kind and (as_of - date.fromisoformat(day)).days < wait_days:
            continue
        fresh.append(site)
    found = list(winter_matters(replace(now.winter, sites=tuple(fresh)), within_days=WITHIN_DAYS))
    named = {site_id for matter in found for site_id in matter.sites}
    for site in fresh:
        if site.site.site_id in named:
            after[site.site.site_id] = [site.look_kind, as_of.isoformat()]
    return found, after
