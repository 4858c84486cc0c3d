"""What de-icers and aerators will use this winter, in every member: hours x watts x duty / 1000 = kWh.

A de-icer counts the hours in which its thermostat may heat (`winter_collectors.Thermostat`), an aerator every
hour of the winter. Limit: a de-icer that warms the water around it rests in between, so without a measured
`deicer_duty` the sum is an upper end. No price of electricity is built in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import fall_day
from forecaster.known import Known
from forecaster.risk import fall_quantile
from forecaster.season.sites import Site
from forecaster.visit.kit import Kit
from forecaster.visit.winter_collectors import HOURS_A_DAY
from forecaster.visit.winter_run import PondWinter, Winter, run_winter

SMALL_WATTS, LARGE_WATTS = 300.0, 1500.0
"""The two usual sizes that are compared [W]; common practice, no source."""

StartKind = Literal["closed", "booked", "told", "planned", "when the water settles"]


@dataclass(frozen=True)
class Spread:
    """Middle value of the members, and the ends between which 8 in 10 lie."""

    p10: float
    p50: float
    p90: float

    def times(self, factor: float) -> Spread:
        """The same in another unit; `factor` is 0 or more."""
        return Spread(self.p10 * factor, self.p50 * factor, self.p90 * factor)


@dataclass(frozen=True)
class DeviceUse:
    """One device over the winter: power [W] None where not known, hours [h], energy [kWh], cost [$].

    Energy is None without watts, cost without a price too.
    """

    device: Literal["de-icer", "aerator"]
    watts: float | None
    hours: Spread
    kwh: Spread | None
    cost: Spread | None


@dataclass(frozen=True)
class SiteEnergy:
    """One site: from when its winter devices run, what they use, and a de-icer of 300 and of 1,500 W there
    ([kWh], None where no de-icer is asked for). `notes`: what could not be counted, and why."""

    site: Site
    start: date | None
    start_kind: StartKind
    devices: tuple[DeviceUse, ...]
    small_kwh: Spread | None
    large_kwh: Spread | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class RouteEnergy:
    """The route's winter to `last_day`: `total_kwh` over all devices with known watts, joint over members."""

    season_name: str
    units: str
    as_of: date
    last_day: date
    price: float | None
    duty: float
    sites: tuple[SiteEnergy, ...]
    total_kwh: Spread
    total_cost: Spread | None
    notices: tuple[Notice, ...]


def closing_days(known: Known, closed: Mapping[str, date]) -> dict[str, tuple[date, StartKind]]:
    """Site -> the day from which its winter gear runs, and what that rests on; only sites that have one.

    Args:
        known: What is known on the as-of date; its sites hold the dates that stand.
        closed: Days of the closings that were done.
    """
    found: dict[str, tuple[date, StartKind]] = {}
    for site in known.sites:
        planned = known.in_force.get(site.site_id)
        for day, kind in (
            (closed.get(site.site_id), "closed"),
            (site.booked_date, "booked"),
            (site.told_date, "told"),
            (planned[0] if planned else None, "planned"),
        ):
            if day is not None and site.winter != "runs":
                found[site.site_id] = (day, kind)  # type: ignore[assignment]
                break
    return found


def start_days(known: Known, closed: Mapping[str, date]) -> dict[str, int]:
    """Site -> the day of the fall from which its winter gear runs, as `run_winter` takes it."""
    starts = closing_days(known, closed)
    return {site_id: max(fall_day(day, known.fall), 0) for site_id, (day, _) in starts.items()}


def route_energy(
    known: Known,
    kits: Mapping[str, Kit],
    closed: Mapping[str, date],
    *,
    price: float | None = None,
    only: str | None = None,
    winter: Winter | None = None,
) -> RouteEnergy:
    """The winter's energy of every site with a winter device, or of the site `only`.

    Args:
        known: What is known on the as-of date.
        kits: By site.
        closed: Days of the closings that were done.
        price: Dollars a kWh; None: that of the settings.
        only: A site_id.
        winter: A run to 31 March from the same `start_days` that is there already.
    """
    starts = closing_days(known, closed)
    winter = winter or run_winter(known, kits, start_days(known, closed), to_march=True)
    price = known.settings.winter.kwh_price if price is None else price
    ponds = {pond.site.site_id: pond for pond in winter.ponds}
    sites, sums = [], np.zeros(int(winter.whole.sum()))
    for site in known.sites:
        if only is not None and site.site_id != only:
            continue
        kit = kits[site.site_id]
        made, used = _site(site, kit, ponds.get(site.site_id), winter, starts.get(site.site_id), price)
        sums += used
        if made.devices or made.notes or site.site_id == only:
            sites.append(made)
    total = _spread(sums)
    return RouteEnergy(
        season_name=known.settings.season.name,
        units=known.settings.season.units,
        as_of=known.as_of,
        last_day=winter.last_day,
        price=price,
        duty=known.settings.winter.deicer_duty,
        sites=tuple(sites),
        total_kwh=total,
        total_cost=None if price is None else total.times(price),
        notices=tuple(n for n in winter.notices if n not in known.notices),
    )


def kilowatt_hours(watts: float, hours: np.ndarray, duty: float = 1.0) -> np.ndarray:
    """Energy [kWh] of `watts` [W] over `hours` [h], heating in the share `duty` of them.

    >>> kilowatt_hours(300, np.array([24.0, 24.0 * 120]))
    array([  7.2, 864. ])
    """
    return watts * hours * duty / 1000.0


def _site(
    site: Site,
    kit: Kit,
    pond: PondWinter | None,
    winter: Winter,
    start: tuple[date, StartKind] | None,
    price: float | None,
) -> tuple[SiteEnergy, np.ndarray]:
    """One site, and its energy in each whole member [kWh]."""
    whole, duty = winter.whole, winter.known.settings.winter.deicer_duty
    used = np.zeros(int(whole.sum()))
    devices, notes = list[DeviceUse](), list[str]()
    heating = None if pond is None else HOURS_A_DAY * pond.thermostat_days[whole].astype(float)
    running = _aerator_hours(site, pond, winter, start)
    for name, device, hours, share in (
        ("de-icer", kit.deicer, heating, duty),
        ("aerator", kit.aerator, running, 1.0),
    ):
        if not device.there:
            continue
        if hours is None:
            notes.append(f"{name}: {_why_not(site, name)}")
            continue
        if device.watts is None:
            notes.append(f"{name}: watts not known, so it is not in the sum. Write them in {_column(name)}.")
        else:
            used = used + kilowatt_hours(device.watts, hours, share)
        kwh = None if device.watts is None else _spread(kilowatt_hours(device.watts, hours, share))
        cost = None if kwh is None or price is None else kwh.times(price)
        devices.append(DeviceUse(name, device.watts, _spread(hours), kwh, cost))  # type: ignore[arg-type]
    asked = heating is not None and kit.deicer.there is not False and (site.fish or bool(kit.deicer.there))
    small, large = (
        _spread(kilowatt_hours(watts, heating, duty)) if asked and heating is not None else None
        for watts in (SMALL_WATTS, LARGE_WATTS)
    )
    day, kind = start if start else (None, "when the water settles")
    return SiteEnergy(site, day, kind, tuple(devices), small, large, tuple(notes)), used  # type: ignore[arg-type]


def _aerator_hours(
    site: Site, pond: PondWinter | None, winter: Winter, start: tuple[date, StartKind] | None
) -> np.ndarray | None:
    """Hours from the start to the end of the winter in each whole member; None where no start is known."""
    if start is not None:
        first: np.ndarray = np.full(int(winter.whole.sum()), float(fall_day(start[0], winter.known.fall)))
    elif pond is not None:
        first = pond.settled[winter.whole].astype(float)
    else:
        return None
    return HOURS_A_DAY * np.clip(winter.end_day - first, 0.0, float(winter.end_day))


def _why_not(site: Site, name: str) -> str:
    if name == "aerator":
        return "no closing date is known and no water is forecast here. Book or tell a date."
    return "this pond is heated, so its hours are not known." if site.heated else "no water is forecast here."


def _column(name: str) -> str:
    return "deicer_watts" if name == "de-icer" else "aerator_watts"


def _spread(values: np.ndarray) -> Spread:
    return Spread(*(fall_quantile(values, share) for share in (0.1, 0.5, 0.9)))
