"""What a closed pond asks for in the winter, by when, and when to look again. Dates with their spread.

Feeding ends and cold-water bacteria take over on the first of `hold_days` days at or below their limit; ice
is modelled on still water without snow (`winter_collectors`). Limits: daily means; a hole that a device keeps
open is not seen; snow only where it is recorded (snow.csv). Fish-care practice goes before any limit here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import FALL_DAYS, date_of, fall_start
from forecaster.known import Known
from forecaster.risk import fall_quantile
from forecaster.season.sites import Site
from forecaster.season.snow_file import Snow
from forecaster.season.state_records import Visit
from forecaster.visit.kit import Kit
from forecaster.visit.winter_run import PondWinter, Winter, run_winter

ICE_LIKELY = 0.5
"""From this chance on, ice is taken to lie."""

FEWEST_WITH_SNOW = 0.8
"""Share of the members whose source season must have snow on record."""

LookKind = Literal["ice lies", "first ice", "long ice", "snow on ice", "feeding", "bacteria", "nothing due"]


@dataclass(frozen=True)
class WinterDay:
    """A day with its spread: 10, 50, 90 % of the possible falls, None beyond 31 January; 0-1: the chance that
    it does not come by then, and that it has come before the as-of date."""

    p10: date | None
    p50: date | None
    p90: date | None
    p_not_reached: float
    p_come: float


@dataclass(frozen=True)
class SiteWatch:
    """One pond. `closed`: day of its closing, None while it runs. `p_ice_now`: ice on the evening before.

    `feeding` is None where there are no fish, `snow_on_ice` where no station records snow. `look_again` is
    the day, `look_kind` why; `last_look`: when somebody was there last, None where nobody recorded it.
    """

    site: Site
    closed: date | None
    feeding: WinterDay | None
    bacteria: WinterDay
    first_ice: WinterDay
    long_ice: WinterDay
    p_ice_now: float
    look_again: date
    look_kind: LookKind
    snow_on_ice: WinterDay | None = None
    last_look: date | None = None


@dataclass(frozen=True)
class WinterWatch:
    """The watch on the as-of date; `sites` by the day on which to look again.

    `feeding_c`, `bacteria_c` [°C] and `hold_days` are the limits; `left_out`: ponds without a water forecast.
    `others_open`: ponds still open, which are not in the list.
    """

    season_name: str
    units: str
    fall: int
    as_of: date
    feeding_c: float
    bacteria_c: float
    hold_days: int
    ice_days: int
    sites: tuple[SiteWatch, ...]
    left_out: tuple[Site, ...]
    others_open: int
    notices: tuple[Notice, ...]

    def site(self, site_id: str) -> SiteWatch | None:
        """One pond of the watch."""
        return next((found for found in self.sites if found.site.site_id == site_id), None)


def winter_watch(
    known: Known,
    kits: Mapping[str, Kit],
    closed: Mapping[str, date | None],
    *,
    snow: Snow | None = None,
    visits: Iterable[Visit] = (),
    every: bool = False,
    only: str | None = None,
    winter: Winter | None = None,
) -> WinterWatch:
    """The watch over the ponds that are closed or run all winter; `every`: over all ponds.

    Args:
        known: What is known on the as-of date.
        kits: By site.
        closed: Days of the closings that were done, None where the day is not known.
        snow: Snow on the ground, where somebody records it.
        visits: Visits of the season; they, readings and the closing count as looks.
        every: Take the ponds that are still open too.
        only: A site_id: this one alone, closed or not.
        winter: A run of it that is there already, with `snow`; its days after 31 January do not count.
    """
    winter = winter or run_winter(known, kits, {}, to_march=False, snow=snow)
    wanted = [
        pond
        for pond in winter.ponds
        if (pond.site.site_id == only if only is not None else every or _watched(pond.site, closed))
    ]
    looks = last_looks(known, closed, visits)
    found = [
        _site(pond, closed.get(pond.site.site_id), looks.get(pond.site.site_id), winter) for pond in wanted
    ]
    settings, shown = known.settings, {pond.site.site_id for pond in wanted}
    with_water = {pond.site.site_id for pond in winter.ponds}
    return WinterWatch(
        season_name=settings.season.name,
        units=settings.season.units,
        fall=known.fall,
        as_of=known.as_of,
        feeding_c=settings.winter.last_feeding_c,
        bacteria_c=settings.winter.cold_bacteria_c,
        hold_days=settings.thresholds.hold_days,
        ice_days=settings.winter.ice_days,
        sites=tuple(sorted(found, key=lambda site: (site.look_again, site.site.site_id))),
        left_out=tuple(
            site
            for site in known.sites
            if site.has_pond and site.site_id not in with_water and only in (None, site.site_id)
        ),
        others_open=0 if only is not None else len(with_water - shown),
        notices=tuple(n for n in winter.notices if n not in known.notices),
    )


def _watched(site: Site, closed: Mapping[str, date | None]) -> bool:
    return site.site_id in closed or site.winter == "runs"


def _site(pond: PondWinter, closed: date | None, looked: date | None, winter: Winter) -> SiteWatch:
    known = winter.known
    days = {
        name: winter_day(values, fall=known.fall, as_of_day=known.as_of_day)
        for name, values in (
            ("feeding", pond.feeding),
            ("bacteria", pond.bacteria),
            ("first_ice", pond.first_ice),
            ("long_ice", pond.long_ice),
        )
    }
    ice_now = float(pond.ice_now.mean())
    feeding = days["feeding"] if pond.site.fish else None
    ahead = winter_day(pond.long_ice_ahead, fall=known.fall, as_of_day=known.as_of_day)
    snowy = _snow_day(pond, known)
    look, kind = look_again(
        known.as_of,
        feeding=feeding,
        bacteria=days["bacteria"],
        first_ice=days["first_ice"],
        long_ice_ahead=ahead,
        snow_on_ice=snowy,
        p_ice_now=ice_now,
        ice_days=known.settings.winter.ice_days,
        at_most_days=known.settings.winter.look_again_days,
        last_look=looked,
    )
    return SiteWatch(
        site=pond.site,
        closed=closed,
        feeding=feeding,
        bacteria=days["bacteria"],
        first_ice=days["first_ice"],
        long_ice=days["long_ice"],
        p_ice_now=ice_now,
        look_again=look,
        look_kind=kind,
        snow_on_ice=snowy,
        last_look=looked,
    )


def _snow_day(pond: PondWinter, known: Known) -> WinterDay | None:
    """When snow first covers ice; None where too few source seasons have snow on record."""
    if pond.snow_on_ice is None or pond.snow_known is None or pond.snow_known.mean() < FEWEST_WITH_SNOW:
        return None
    return winter_day(pond.snow_on_ice[pond.snow_known], fall=known.fall, as_of_day=known.as_of_day)


def winter_day(days: np.ndarray, *, fall: int, as_of_day: int) -> WinterDay:
    """The spread of an event day (m,), days since 1 August; later than 31 January counts as not reached.

    >>> winter_day(np.array([1.0, 2.0, np.inf, np.inf]), fall=2025, as_of_day=2).p50
    datetime.date(2025, 8, 3)
    """
    kept = np.where(days < FALL_DAYS, days, np.inf)
    p10, p50, p90 = (date_of(fall_quantile(kept, share), fall) for share in (0.1, 0.5, 0.9))
    return WinterDay(p10, p50, p90, float(np.isinf(kept).mean()), float((kept < as_of_day).mean()))


def look_again(
    as_of: date,
    *,
    feeding: WinterDay | None,
    bacteria: WinterDay,
    first_ice: WinterDay,
    long_ice_ahead: WinterDay,
    snow_on_ice: WinterDay | None = None,
    p_ice_now: float,
    ice_days: int,
    at_most_days: int,
    last_look: date | None = None,
) -> tuple[date, LookKind]:
    """The day on which somebody should look at the pond, and why; the earliest reason counts.

    Where ice probably lies: `ice_days` after it probably began. Else the day by which 1 fall in 10 has come
    to the next thing, today where it may have come already; what has probably come is past. Never
    sooner than `ice_days` after the last look, and at most `at_most_days` after it (without one: from today).
    """
    found: list[tuple[date, LookKind]] = []
    if p_ice_now >= ICE_LIKELY:
        found.append(((first_ice.p50 or as_of) + timedelta(days=ice_days), "ice lies"))
    kinds: tuple[tuple[WinterDay | None, LookKind], ...] = (
        (None if p_ice_now >= ICE_LIKELY else long_ice_ahead, "long ice"),
        (first_ice, "first ice"),
        (snow_on_ice, "snow on ice"),
        (feeding, "feeding"),
        (bacteria, "bacteria"),
    )
    for day, kind in kinds:
        if day is not None and day.p10 is not None and day.p_come < ICE_LIKELY:
            found.append((day.p10, kind))
    found.append(((last_look or as_of) + timedelta(days=at_most_days), "nothing due"))
    soonest = as_of if last_look is None else max(as_of, last_look + timedelta(days=ice_days))
    look, kind = min(found, key=lambda item: max(item[0], soonest))
    return max(look, soonest), kind


def last_looks(known: Known, closed: Mapping[str, date | None], visits: Iterable[Visit]) -> dict[str, date]:
    """Site -> the last day on which somebody was at the pond: a reading, the closing, another visit."""
    seen = [(reading.site_id, reading.day) for reading in known.readings]
    seen += [(site_id, day) for site_id, day in closed.items() if day is not None]
    seen += [(visit.site_id, visit.day) for visit in visits]
    found: dict[str, date] = {}
    for site_id, day in seen:
        if fall_start(known.fall) <= day <= known.as_of:
            found[site_id] = max(day, found.get(site_id, day))
    return found
