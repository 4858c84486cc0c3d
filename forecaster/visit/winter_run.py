"""Every pond's winter in all members, closed ponds too: the same members as the route, run to the end.

The route's forecast leaves closed sites out; here they are simulated by themselves, with the same fits and
draws (both depend on names and seed alone), so nothing of the route changes. Pure: `Known` in, records out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.build import fit_known
from forecaster.errors import Notice
from forecaster.events import WaterEvents
from forecaster.falls import FALL_DAYS, fall_day, fall_start
from forecaster.known import Known, atmosphere
from forecaster.season.sites import Site
from forecaster.season.snow_file import Snow
from forecaster.simulate import BLOCK_SITES, site_air_members
from forecaster.visit.kit import Kit
from forecaster.visit.late_winter import longer_draws, prolonged
from forecaster.visit.winter_collectors import FirstRun, IceCover, SnowOnIce, Thermostat
from forecaster.visit.winter_snow import SnowMembers, nearest_with_snow, snow_members
from forecaster.water.draws import draw_route, draw_water
from forecaster.water.pooling import PondFit

Reals = NDArray[np.float32]

FEWEST_WHOLE = 0.8
"""Share of the members whose source season must be known to 31 March; below it the winter ends 31 January."""


@dataclass(frozen=True, eq=False)
class PondWinter:
    """One pond's winter; arrays (m,), days since 1 August, NOT_REACHED (inf) for "not by 31 January"
    (`settled`: by the end of the run).

    `feeding`, `bacteria`: first day of the first `hold_days` at or below the limit. `settled`: the same
    at the sustained threshold. `first_ice`; `long_ice`: first day of the first ice that stays `ice_days`;
    `long_ice_ahead`: first day from the as-of date on when ice has lain that long. `ice_now`: ice on the
    evening before. `thermostat_days`: days on which the de-icer's thermostat may heat.
    `snow_on_ice`: first day on which snow covers ice, None where no station records snow; `snow_known` (m,):
    members whose source season has it.
    """

    site: Site
    feeding: Reals
    bacteria: Reals
    settled: Reals
    first_ice: Reals
    long_ice: Reals
    long_ice_ahead: Reals
    ice_now: NDArray[np.bool_]
    thermostat_days: NDArray[np.int16]
    snow_on_ice: Reals | None = None
    snow_known: NDArray[np.bool_] | None = None


@dataclass(frozen=True, eq=False)
class Winter:
    """All ponds of a run. `last_day` is the last day simulated; `whole` (m,) members that reach it."""

    known: Known
    ponds: tuple[PondWinter, ...]
    last_day: date
    whole: NDArray[np.bool_]
    source_fall: NDArray[np.int64]
    notices: tuple[Notice, ...]

    @property
    def end_day(self) -> int:
        """Day index after the last day."""
        return fall_day(self.last_day, self.known.fall) + 1


@dataclass(frozen=True, eq=False)
class _Block:
    sites: Sequence[Site]
    fits: Sequence[PondFit]
    on_c: NDArray[np.float64]
    off_c: NDArray[np.float64]
    from_day: NDArray[np.int64]


def run_winter(
    known: Known,
    kits: Mapping[str, Kit],
    start_days: Mapping[str, int],
    *,
    to_march: bool,
    snow: Snow | None = None,
) -> Winter:
    """The winter of every pond of the sheet whose water follows the weather.

    Args:
        known: What is known on the as-of date.
        kits: By site; a de-icer's own set-point counts before the setting.
        start_days: By site, day of the fall from which its winter devices run; without it, from 1 August.
        snow: Snow on the ground at stations, where somebody records it.
        to_march: Run on to 31 March where the records allow it, else (and if they do not) to 31 January.
    Raises:
        BadInput: As for the route: no station near, too few earlier falls.
    """
    air = atmosphere(known, known.sites)
    fit, notices = fit_known(known, known.sites, air)
    members, day_count, whole = air.members, FALL_DAYS, np.ones(air.members.count, bool)
    said = [*known.notices, *air.notices, *notices]
    if to_march:
        longer = prolonged(members, known.weather, air.matrices.mean.sum(axis=0) > 0)
        said += _gaps(longer.missing_falls, float(longer.whole.mean()))
        if longer.whole.mean() >= FEWEST_WHOLE:
            members, day_count, whole = longer.members, longer.day_count, longer.whole
    route = draw_route(fit, count=members.count, seed=known.settings.season.seed)
    snows: dict[str | None, SnowMembers] = {
        name: snow_members(snow or Snow(), name, members, fall=known.fall, as_of_day=known.as_of_day)
        for name in (snow.depth_m if snow else ())
    }
    rows = [n for n, site in enumerate(known.sites) if site.site_id in fit.ponds]
    ponds: list[PondWinter] = []
    for first in range(0, len(rows), BLOCK_SITES):
        at = rows[first : first + BLOCK_SITES]
        sites = [known.sites[n] for n in at]
        block = _block(known, sites, [fit.ponds[s.site_id] for s in sites], kits, start_days)
        members_air = site_air_members(members, air.matrices.of_rows(at), air.past_mean_c[at], range(len(at)))
        draws = draw_water(block.fits, route, seed=known.settings.season.seed)
        latitudes = np.array([site.latitude for site in sites])
        draws = longer_draws(draws, latitudes, fall=known.fall, day_count=day_count)
        water = WaterEvents(draws, known.limits, 0)
        white = [snows.get(nearest_with_snow(site, known.weather.stations, snow or Snow())) for site in sites]
        ponds += _run(known, block, water, members_air.mean_c, day_count, white)
    return Winter(
        known=known,
        ponds=tuple(ponds),
        last_day=fall_start(known.fall) + timedelta(days=day_count - 1),
        whole=whole,
        source_fall=members.source_fall,
        notices=tuple(said),
    )


def _block(
    known: Known,
    sites: Sequence[Site],
    fits: Sequence[PondFit],
    kits: Mapping[str, Kit],
    start_days: Mapping[str, int],
) -> _Block:
    """Set-points and first days of a block of ponds, each (site, 1)."""
    usual = known.settings.winter
    on_c, off_c = [], []
    for site in sites:
        kit = kits.get(site.site_id)
        own_c = None if kit is None else kit.deicer_on_c
        on_c.append(usual.deicer_on_c if own_c is None else own_c)
        off_c.append(on_c[-1] + usual.deicer_off_c - usual.deicer_on_c)
    from_day = [start_days.get(site.site_id, 0) for site in sites]
    return _Block(
        sites, fits, np.array(on_c)[:, None], np.array(off_c)[:, None], np.array(from_day, np.int64)[:, None]
    )


def _run(
    known: Known,
    block: _Block,
    water: WaterEvents,
    mean_c: Callable[[int], Reals],
    day_count: int,
    white: Sequence[SnowMembers | None],
) -> list[PondWinter]:
    limits, winter = known.limits, known.settings.winter
    shape = (len(block.sites), int(water.start.size) // len(block.sites))
    feeding, bacteria, settled = (FirstRun(shape, limits.hold_days) for _ in range(3))
    ice = IceCover(shape, long_days=winter.ice_days, as_of_day=known.as_of_day)
    thermostat = Thermostat(shape, block.on_c, block.off_c, block.from_day)
    bare = np.zeros((FALL_DAYS, shape[1]), bool)
    covered = (
        np.stack([bare if one is None else one.covered for one in white], axis=1)
        if any(white)
        else np.zeros((0, *shape), bool)
    )
    snow = SnowOnIce(covered)
    for day in range(day_count):
        air_c = mean_c(day)
        water_c = water.advance(day, air_c)
        for run, limit_c in (
            (feeding, winter.last_feeding_c),
            (bacteria, winter.cold_bacteria_c),
            (settled, limits.sustained_c),
        ):
            run.advance(day, water_c <= np.float32(limit_c))
        lies = ice.advance(day, water.freezing, air_c)
        thermostat.advance(day, water_c, lies)
        snow.advance(day, lies)
        if day == FALL_DAYS - 1:  # the watch ends here, however long the energy goes on
            ends = (feeding.first, bacteria.first, ice.first, ice.long, ice.long_ahead)
            until_january = [found.copy() for found in ends]
    return [
        PondWinter(
            site=site,
            feeding=until_january[0][n],
            bacteria=until_january[1][n],
            settled=settled.first[n],
            first_ice=until_january[2][n],
            long_ice=until_january[3][n],
            long_ice_ahead=until_january[4][n],
            ice_now=ice.now[n],
            thermostat_days=thermostat.days[n],
            snow_on_ice=snow.first[n] if (own := white[n]) else None,
            snow_known=own.known if own else None,
        )
        for n, site in enumerate(block.sites)
    ]


def _gaps(missing: Sequence[int], share: float) -> list[Notice]:
    """What the gaps of late winters mean, as one line; none without gaps."""
    if not missing:
        return []
    named = ", ".join(f"{fall}/{(fall + 1) % 100:02d}" for fall in missing[:8])
    named += " and more" if len(missing) > 8 else ""
    if share >= FEWEST_WHOLE:
        text = f"February or March has gaps in the winters {named}: they are left out of the sums."
    else:
        text = (
            f"February or March has gaps in the winters {named}: too many, so the sums end on 31 January. "
            "Add the missing days to the stations' records."
        )
    return [Notice("weather", text)]
