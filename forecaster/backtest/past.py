"""What the sites' water was in past falls, as far as it was known on a given morning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.climatology import EarlierFalls
from forecaster.backtest.inputs import BacktestInput
from forecaster.backtest.point_water import PointWater, point_water
from forecaster.backtest.station_air import WARM_UP_DAYS, SiteBlends
from forecaster.backtest.truth import (
    EVENTS,
    FREEZES,
    MeasuredFall,
    measured_falls,
    modelled_crossings,
    next_freezes,
)
from forecaster.errors import BadInput, Problem
from forecaster.events import Limits
from forecaster.falls import FALL_DAYS, fall_of, fall_start
from forecaster.known import Known, air_so_far, known_on, ponds_of
from forecaster.scenarios import Members
from forecaster.season.sites import Site
from forecaster.water.lagged import SiteSeries
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond, RouteFit, fit_route
from forecaster.weather.stations import Weather

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PastModel:
    """Sites whose water is forecast (`wet`, positions in the sheet) and what was measured there, by site
    position and fall."""

    wet: tuple[int, ...]
    limits: Limits
    measured: dict[int, dict[int, MeasuredFall]]

    @classmethod
    def of(cls, given: BacktestInput) -> PastModel:
        """From the inputs; raises BadInput where no site has water that follows the weather."""
        wet = tuple(i for i, site in enumerate(given.sites) if site.forecast_water)
        if not wet:
            text = "no site has water that follows the weather, so there is nothing to verify."
            raise BadInput(Problem("sites.csv", text))
        t = given.settings.thresholds
        limits = Limits(
            t.start_c, t.sustained_c, t.hold_days, t.freeze_c, t.hard_freeze_c, t.plumbing_freeze_c
        )
        read = {reading.site_id for reading in given.readings}
        measured = {
            position: measured_falls(given.readings, given.sites[position], limits)
            for position in wet
            if given.sites[position].site_id in read
        }
        return cls(wet, limits, {position: falls for position, falls in measured.items() if falls})


def physics_points(sites: Sequence[Site]) -> PointWater:
    """Best estimates before any reading."""
    empty = SiteSeries(date(2001, 1, 1), np.zeros(0), 0.0)
    ponds = [Pond(site.site_id, pond_prior(site), replace(empty, latitude=site.latitude)) for site in sites]
    fits = fit_route(ponds, fall=2001).ponds
    return point_water([fits[site.site_id] for site in sites])


def known_at(given: BacktestInput, weather: Weather, as_of: date) -> Known:
    """The record that the program's own forecast starts from, on one morning of the past."""
    return known_on(
        as_of, settings=given.settings, sites=given.sites, readings=given.readings, weather=weather
    )


def fit_on(known: Known, members: Members | None = None) -> RouteFit:
    """All ponds fitted with the readings known on the as-of date."""
    ponds, _ = ponds_of(known, known.sites, air_so_far(known, known.sites, members))
    return fit_route(ponds, fall=known.fall)


class FallCache:
    """Crossings and freezes of past falls, kept while air and parameters stay the same, to the last bit."""

    def __init__(self) -> None:
        self._kept: dict[tuple[int, bytes], tuple[Floats, Floats]] = {}

    def get(
        self,
        weather: Weather,
        blends: SiteBlends,
        points: PointWater,
        wet: Sequence[int],
        fall: int,
        limits: Limits,
    ) -> tuple[Floats, Floats]:
        """Crossings (site of `wet`, event) and next freezes (kind, row, 184) of one complete fall."""
        at = weather.index_of(fall_start(fall))
        days = slice(max(at - WARM_UP_DAYS, 0), at + FALL_DAYS)
        key = b"".join(
            part.tobytes()
            for part in (
                weather.tmean_c[:, days], weather.tmin_c[:, days],
                points.step, points.coefficients, points.level_c,
            )
        )  # fmt: skip
        if (fall, key) not in self._kept:
            self._kept = {k: v for k, v in self._kept.items() if k[0] != fall}
            self._kept[fall, key] = (
                modelled_crossings(points, weather, blends, wet, fall, limits),
                next_freezes(weather, blends, fall, limits),
            )
        return self._kept[fall, key]


def earlier_falls(
    model: PastModel,
    cache: FallCache,
    weather: Weather,
    blends: SiteBlends,
    points: PointWater,
    falls: Sequence[int],
) -> EarlierFalls:
    """Modelled crossings of the falls before, with the parameters of the season that is replayed."""
    both = [cache.get(weather, blends, points, model.wet, fall, model.limits) for fall in falls]
    return EarlierFalls(
        years=tuple(falls),
        crossing=np.stack([crossing for crossing, _ in both]),
        next_freeze=np.stack([freeze for _, freeze in both], axis=1),
        min_of=blends.min_of[list(model.wet)],
    )


def earlier_measured(
    model: PastModel, weather: Weather, blends: SiteBlends, position: int, season: int
) -> EarlierFalls:
    """Measured crossings of one site in the falls before `season`."""
    own = {fall: found for fall, found in sorted(model.measured[position].items()) if fall < season}
    rows = [int(blends.min_of[position])]
    freezes = [next_freezes(weather, blends, fall, model.limits)[:, rows] for fall in own]
    return EarlierFalls(
        years=tuple(own),
        crossing=np.array([found.crossing for found in own.values()]).reshape(len(own), 1, len(EVENTS)),
        next_freeze=np.moveaxis(np.array(freezes).reshape(len(own), len(FREEZES), 1, FALL_DAYS), 0, 1),
        min_of=np.zeros(1, int),
    )


def is_read_in(given: BacktestInput, fall: int, until: date) -> bool:
    """True where any reading of the fall is known by `until`."""
    return any(fall_of(reading.day) == fall and reading.day <= until for reading in given.readings)
