"""Everything that may be used on the as-of date, and what follows from it. Pure: no files, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import BadInput, Notice, Problem
from forecaster.events import Limits
from forecaster.falls import FALL_DAYS, fall_day, fall_of, fall_start
from forecaster.scenarios import FEWEST_FALLS, Members, make_members
from forecaster.season.readings import Reading
from forecaster.season.settings import Crew, Settings, crews_for_fall
from forecaster.season.sites import Site
from forecaster.season.travel_times import TravelTimes
from forecaster.water.evidence import Rows, rows_of
from forecaster.water.lagged import WARM_UP_DAYS, SiteSeries
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond
from forecaster.weather.fall_blocks import usable_falls
from forecaster.weather.site_air import AirMatrices, SiteAir, air_matrices, site_air
from forecaster.weather.stations import Weather

FALLS_ADVISED = 15
"""With fewer earlier seasons than this the spread of the forecast is itself unsure; the user is told."""


@dataclass(frozen=True, eq=False)
class Known:
    """What is known on the morning of `as_of`: nothing later is in here.

    `sites` are all sites of the sheet with the dates that hold in the forecast's fall; `closed` the ids
    already closed; `in_force` is the plan in force, site -> (day, crew);
    `taken_hours` [h] what other visits take of a crew's day. `readings` were taken up to the
    as-of date. `weather` ends the day before at most. `travel_times` are the office's own.
    `last_event_id`: of the ledger, 0 without one.
    """

    settings: Settings
    sites: tuple[Site, ...]
    readings: tuple[Reading, ...]
    weather: Weather
    as_of: date
    fall: int
    crews: tuple[Crew, ...]
    closed: frozenset[str]
    notices: tuple[Notice, ...]
    in_force: Mapping[str, tuple[date, str]] = field(default_factory=dict)
    taken_hours: Mapping[tuple[str, date], float] = field(default_factory=dict)
    travel_times: TravelTimes = field(default_factory=TravelTimes)
    last_event_id: int = 0

    @property
    def as_of_day(self) -> int:
        """Day index of the as-of date."""
        return fall_day(self.as_of, self.fall)

    @property
    def limits(self) -> Limits:
        """Thresholds of the events."""
        t = self.settings.thresholds
        return Limits(t.start_c, t.sustained_c, t.hold_days, t.freeze_c, t.hard_freeze_c, t.plumbing_freeze_c)


def fall_for(as_of: date) -> int:
    """The fall that is forecast on `as_of`.

    Raises:
        BadInput: From 1 February to 31 July there is none.
    """
    fall = fall_of(as_of)
    if fall is None:
        text = f"{as_of} lies outside a season; allowed are 1 August to 31 January. Name another date."
        raise BadInput(Problem("--as-of", text))
    return fall


def known_on(
    as_of: date,
    *,
    settings: Settings,
    sites: Sequence[Site],
    readings: Sequence[Reading],
    weather: Weather,
    closed: frozenset[str] = frozenset(),
    in_force: Mapping[str, tuple[date, str]] | None = None,
    taken_hours: Mapping[tuple[str, date], float] | None = None,
    travel_times: TravelTimes | None = None,
    notices: Sequence[Notice] = (),
    last_event_id: int = 0,
) -> Known:
    """Put together what is known; dates of another year's sheet are moved or dropped, and said so."""
    fall = fall_for(as_of)
    said = [*notices, *_out_of_season(readings, as_of), *weather.notices]
    crews = settings.crews
    kept = tuple(sites)
    if fall != settings.season.year:
        crews = crews_for_fall(settings.crews, settings.season.year, fall)
        kept = tuple(_in_fall(site, fall - settings.season.year) for site in sites)
        said.append(
            Notice(
                "season.toml [season] year",
                f"the as-of date lies in the fall of {fall}, the settings speak of {settings.season.year}: "
                "crew dates are moved to it, booked and told dates are left out.",
            )
        )
    return Known(
        settings=settings,
        sites=kept,
        readings=tuple(r for r in readings if r.day <= as_of),
        weather=weather,
        as_of=as_of,
        fall=fall,
        crews=crews,
        closed=closed,
        notices=tuple(said),
        in_force=in_force or {},
        taken_hours=taken_hours or {},
        travel_times=travel_times or TravelTimes(),
        last_event_id=last_event_id,
    )


def _out_of_season(readings: Sequence[Reading], as_of: date) -> list[Notice]:
    """How many readings lie in no fall, and where: they are not used."""
    out = [reading for reading in readings if reading.day <= as_of and fall_of(reading.day) is None]
    if not out:
        return []
    sites = sorted({reading.site_id for reading in out})
    named = ", ".join(sites[:5]) + (f" and {len(sites) - 5} more sites" if len(sites) > 5 else "")
    count = f"{len(out):,} reading{'' if len(out) == 1 else 's'}"
    text = (
        f"{count} from February to July at {named} {'is' if len(out) == 1 else 'are'} not used (last "
        f"{max(reading.day for reading in out)}): a fall runs from 1 August to 31 January."
    )
    return [Notice("readings", text)]


def _in_fall(site: Site, years: int) -> Site:
    def moved(day: date | None) -> date | None:
        if day is None:
            return None
        if (day.month, day.day) == (2, 29):
            day -= timedelta(days=1)
        return day.replace(year=day.year + years)

    return replace(
        site,
        booked_date=None,
        told_date=None,
        hand_placed=None,
        not_before=moved(site.not_before),
        not_after=moved(site.not_after),
    )


@dataclass(frozen=True, eq=False)
class SiteAirSoFar:
    """Each site's share of the stations, and its daily mean air until now.

    `past_mean_c`: (site, 184) [°C] by day of the fall; days that nobody has observed hold the members' mean
    where there are members, else NaN.
    """

    airs: tuple[SiteAir, ...]
    matrices: AirMatrices
    past_mean_c: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Atmosphere(SiteAirSoFar):
    """The same with the members of the rest of the season, and the earlier falls they come from."""

    members: Members
    falls: tuple[int, ...]
    notices: tuple[Notice, ...]


def air_so_far(known: Known, sites: Sequence[Site], members: Members | None = None) -> SiteAirSoFar:
    """Air over `sites` until the as-of date.

    Raises:
        BadInput: A site is too far from every station.
    """
    airs = site_air(
        sites,
        known.weather.stations,
        stations_per_site=known.settings.weather.stations_per_site,
        has_tmin=list(known.weather.has_tmin),
    )
    matrices = air_matrices(airs, len(known.weather.stations))
    return SiteAirSoFar(airs, matrices, _past_mean(known, matrices, members))


def atmosphere(known: Known, sites: Sequence[Site]) -> Atmosphere:
    """Air over `sites`: observed until now, members from now on.

    Raises:
        BadInput: A site is too far from every station, or too few earlier falls are complete.
    """
    weather, settings = known.weather, known.settings
    falls = usable_falls(weather, known.fall)[-settings.weather.seasons :]
    if len(falls) < FEWEST_FALLS:
        names = ", ".join(station.station_id for station in weather.stations)
        text = (
            f"{len(falls)} earlier falls are complete at all stations ({names}), "
            f"{FEWEST_FALLS} or more are needed. Add years, or leave out a station with a short record."
        )
        raise BadInput(Problem(settings.weather.folder, text))
    notices = []
    if len(falls) < FALLS_ADVISED:
        text = f"only {len(falls)} earlier falls are complete: chances and bands are rough."
        notices.append(Notice(settings.weather.folder, text))
    members = make_members(
        weather,
        falls,
        fall=known.fall,
        as_of=known.as_of,
        count=settings.season.members,
        seed=settings.season.seed,
        outlooks=weather.outlooks if settings.weather.outlook != "none" else (),
    )
    air = air_so_far(known, sites, members)
    return Atmosphere(
        airs=air.airs,
        matrices=air.matrices,
        past_mean_c=air.past_mean_c,
        members=members,
        falls=falls,
        notices=tuple(notices),
    )


def _past_mean(known: Known, matrices: AirMatrices, members: Members | None) -> NDArray[np.float64]:
    """Observed daily means at each site over the fall; where not observed, the members' mean."""
    start = known.weather.index_of(fall_start(known.fall))
    day = start + np.arange(FALL_DAYS)
    inside = (day >= 0) & (day < known.weather.day_count)
    station = np.full((len(known.weather.stations), FALL_DAYS), np.nan)
    station[:, inside] = known.weather.tmean_c[:, day[inside]]
    if members is not None:
        expected = members.tmean_base_c.mean(axis=0)
        head = members.tmean_head_c.mean(axis=0)
        expected[:, members.head_from : members.head_from + head.shape[1]] = head
        station = np.where(np.isnan(station), expected, station)
    used = matrices.mean.sum(axis=0) > 0  # a station that no site uses must not spread its gaps
    return np.asarray(matrices.mean[:, used] @ station[used] + matrices.mean_shift_c[:, None])


def ponds_of(
    known: Known,
    sites: Sequence[Site],
    air: SiteAirSoFar,
    *,
    fall: int | None = None,
    day_count: int | None = None,
) -> tuple[list[Pond], list[Notice]]:
    """The ponds whose water is forecast, each with its prior, air and rows of evidence.

    Args:
        known: What is known on the as-of date.
        sites: Sites in the order of `air`.
        air: Their air.
        fall: The fall that is looked at, by default that of the as-of date.
        day_count: Days of it whose readings count, by default those before the as-of date.
    """
    fall = known.fall if fall is None else fall
    day_count = known.as_of_day if day_count is None else day_count
    by_site: dict[str, dict[int, list[Reading]]] = {}
    for reading in known.readings:
        read_fall = fall_of(reading.day)
        if read_fall is not None:
            by_site.setdefault(reading.site_id, {}).setdefault(read_fall, []).append(reading)
    first_fall = min([fall, *(f for falls in by_site.values() for f in falls)])
    first_day = max(known.weather.first_day, fall_start(first_fall) - timedelta(days=WARM_UP_DAYS))
    ponds, lost = [], dict[int, int]()
    for position, site in enumerate(sites):
        if not site.forecast_water:
            continue
        series = SiteSeries(first_day, _series(known, air, position, first_day), site.latitude)
        rows: list[Rows] = []
        for read_fall, own in sorted(by_site.get(site.site_id, {}).items()):
            present = read_fall == fall
            count = day_count if present else min(FALL_DAYS, fall_day(known.as_of, read_fall))
            found = rows_of(own, site, fall=read_fall, present=present, day_count=count)
            if found and np.isnan(series.slice_from(fall_start(read_fall), found[-1].last_day + 1)).any():
                lost[read_fall] = lost.get(read_fall, 0) + 1
                continue
            rows += found
        ponds.append(Pond(site.site_id, pond_prior(site), series, tuple(rows)))
    notices = [
        Notice("readings", f"those of {year} at {count} sites are not used: the air of that fall has gaps.")
        for year, count in sorted(lost.items())
    ]
    return ponds, notices


def _series(known: Known, air: SiteAirSoFar, position: int, first_day: date) -> NDArray[np.float64]:
    """Daily mean air at one site from `first_day` to the day before the as-of date [°C]."""
    weights, shift = air.matrices.mean[position], air.matrices.mean_shift_c[position]
    used = weights > 0
    observed = weights[used] @ known.weather.tmean_c[used, known.weather.index_of(first_day) :] + shift
    start = fall_day(first_day, known.fall)
    whole = np.full(max(len(observed), known.as_of_day - start), np.nan)
    whole[: len(observed)] = observed
    this_fall = air.past_mean_c[position, max(start, 0) : known.as_of_day]
    at = slice(max(-start, 0), max(-start, 0) + len(this_fall))
    whole[at] = np.where(np.isnan(whole[at]), this_fall, whole[at])
    return whole
