"""Members: possible courses of the rest of the season, the same one for all stations and sites.

A member is one earlier season, moved by some days and by the shrunk warming since, at every station at once
(`moved_falls.py`): cold snaps hit the whole route together. It is then joined to this season: what the last
days were warmer or colder than the member's own carries on and fades (`carrying.py`). The first days come
from the latest outlook plus its error, joined likewise to the days after. Recipe and its measured skill:
DEVELOPERS.md, Members. Limit: daily minima and means only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.anomalies import carried_on
from forecaster.carrying import carried
from forecaster.falls import FALL_DAYS, fall_day
from forecaster.moved_falls import RECIPE, MovedFalls, Recipe, moved_falls
from forecaster.outlook_head import OutlookError, learned_error, outlook_head
from forecaster.weather.fall_blocks import WIDEST_MARGIN_DAYS, fall_block
from forecaster.weather.outlook_errors import learn_errors
from forecaster.weather.outlook_spread import today_errors
from forecaster.weather.stations import Outlook, Weather

Floats = NDArray[np.float64]

FEWEST_FALLS = 5
"""With fewer earlier seasons than this there is no forecast."""
TAIL_DAYS = 20
"""Days after the outlook over which a member finds back to its own season."""


@dataclass(frozen=True, eq=False)
class Members:
    """The ensemble of one forecast.

    `first_day`: day index of the first day that nobody has observed. `source_fall`, `shift_days`, `base`:
    per member (m,), the season it comes from, its shift and its row in `tmean_base_c`, `tmin_base_c` (base,
    station, day) over all days of the fall. `tmean_head_c`, `tmin_head_c` (m, station, head) replace the
    first days where an outlook is known; `head_from` is their first day. Minima of a station without any
    are NaN.
    """

    fall: int
    first_day: int
    source_fall: NDArray[np.int64]
    shift_days: NDArray[np.int64]
    base: NDArray[np.int64]
    tmean_base_c: Floats
    tmin_base_c: Floats
    head_from: int
    tmean_head_c: Floats
    tmin_head_c: Floats

    @property
    def count(self) -> int:
        """Number of members."""
        return len(self.base)


def make_members(
    weather: Weather,
    falls: Sequence[int],
    *,
    fall: int,
    as_of: date,
    count: int,
    seed: int,
    outlooks: Sequence[Outlook] = (),
    recipe: Recipe = RECIPE,
    outlook_errors: Mapping[str, OutlookError] | None = None,
) -> Members:
    """The ensemble as known on `as_of`.

    Args:
        weather: Cut at the as-of date and filled.
        falls: Earlier falls that are complete at every station (see `usable_falls`), at least FEWEST_FALLS.
        fall: The fall to forecast.
        as_of: Morning on which the forecast stands.
        count: Number of members; each earlier season and shift is used about equally often.
        seed: Of the outlook's errors.
        outlooks: Any kept outlooks; the latest of each station issued by `as_of` is used.
        recipe: How seasons become members.
        outlook_errors: By station; without them they are learnt from the outlooks and the weather.
    Raises:
        ValueError: Fewer than FEWEST_FALLS falls.
    """
    if len(falls) < FEWEST_FALLS:
        raise ValueError(f"{len(falls)} earlier falls are complete, {FEWEST_FALLS} are needed")
    years = np.array(falls)
    blocks = [fall_block(weather, year, margin_days=WIDEST_MARGIN_DAYS) for year in falls]
    now = fall_block(weather, fall, margin_days=WIDEST_MARGIN_DAYS)
    first_day = _first_unobserved(weather, fall, as_of)
    mean = moved_falls(np.stack([b.tmean_c for b in blocks]), now.tmean_c, years, fall, recipe)
    low = moved_falls(np.stack([b.tmin_c for b in blocks]), now.tmin_c, years, fall, recipe)
    order = _spread_order(len(falls), len(mean.base_c), count)
    latest = [_latest(outlooks, station.station_id, as_of) for station in weather.stations]
    heads = outlook_head(
        latest,
        fall=fall,
        first_day=first_day,
        count=count,
        rng=np.random.default_rng([seed, fall, 7]),
        usual_sd_mean_c=mean.usual_sd_c,
        usual_sd_min_c=low.usual_sd_c,
        errors=_errors(weather, outlooks, latest) if outlook_errors is None else outlook_errors,
    )
    both = (mean, low)
    bases = _joined(both, first_day, recipe)
    ends = _with_tail(both, bases, heads, order, first_day, recipe)
    return Members(
        fall=fall,
        first_day=first_day,
        source_fall=years[order % len(falls)],
        shift_days=np.array(recipe.shifts_days)[order // len(falls)],
        base=order,
        tmean_base_c=bases[0],
        tmin_base_c=bases[1],
        head_from=first_day,
        tmean_head_c=ends[0],
        tmin_head_c=ends[1],
    )


def _joined(both: Sequence[MovedFalls], first_day: int, recipe: Recipe) -> list[Floats]:
    """Moved seasons pulled to what was observed before `first_day`, (base, station, 184) a variable."""
    front = both[0].front
    joined = [courses.fall_days().copy() for courses in both]
    ahead = np.arange(first_day, FALL_DAYS)
    known_day = np.arange(max(first_day - recipe.joined_days, -front), first_day)
    for station in range(joined[0].shape[1]):
        gaps = [
            courses.observed_c[station, known_day + front] - courses.base_c[:, station, known_day + front]
            for courses in both
        ]
        pulls = _pulls(both, station, gaps, known_day, ahead, recipe)
        for values, pull in zip(joined, pulls, strict=True):
            values[:, station, first_day:] += pull
    return joined


def _pulls(
    both: Sequence[MovedFalls],
    station: int,
    gaps: Sequence[Floats],
    known_day: NDArray[np.int64],
    ahead: NDArray[np.int64],
    recipe: Recipe,
) -> list[Floats]:
    """What the gaps of mean and minimum on the known days add to the days ahead."""
    if recipe.linked:
        return carried(gaps, [courses.anomaly_c[:, station] for courses in both], known_day, ahead)
    known = [np.isfinite(gap).all(axis=0) for gap in gaps]
    return [carried_on(gap[:, days], known_day[days], ahead) for gap, days in zip(gaps, known, strict=True)]


def _with_tail(
    both: Sequence[MovedFalls],
    bases: Sequence[Floats],
    heads: Sequence[Floats],
    order: NDArray[np.int64],
    first_day: int,
    recipe: Recipe,
) -> list[Floats]:
    """The outlook's days and those over which a member finds back to its season: (m, station, day) each."""
    length, front = heads[0].shape[2], both[0].front
    if length == 0:
        return list(heads)
    after = first_day + length
    end = min(after + (TAIL_DAYS if recipe.joined_days else 0), FALL_DAYS)
    ends = [base[order][:, :, first_day:end] for base in bases]
    for whole, head in zip(ends, heads, strict=True):
        whole[:, :, :length] = np.where(np.isnan(head), whole[:, :, :length], head)
    known_day = np.arange(max(after - recipe.joined_days, -front), after)
    plain = [courses.base_c[order] for courses in both]
    for station in range(heads[0].shape[1]):
        gaps = []
        for courses, own, whole in zip(both, plain, ends, strict=True):
            seen = np.broadcast_to(courses.observed_c[station], own[:, station].shape).copy()
            seen[:, front + first_day : front + after] = whole[:, station, :length]
            gaps.append((seen - own[:, station])[:, known_day + front])
        pulls = _pulls(both, station, gaps, known_day, np.arange(after, end), recipe)
        for own, whole, pull in zip(plain, ends, pulls, strict=True):
            whole[:, station, length:] = own[:, station, front + after : front + end] + pull
    return ends


def _spread_order(fall_count: int, base_count: int, count: int) -> NDArray[np.int64]:
    """Which base course (shift x fall) each member takes: all in turn; where members are few, every fall
    about equally often and the shifts in turn."""
    member = np.arange(count)
    if count >= base_count:
        return member % base_count
    fall = member % fall_count if count >= fall_count else (member * fall_count) // count
    shift = (member // fall_count + fall) % (base_count // fall_count)
    return shift * fall_count + fall


def _first_unobserved(weather: Weather, fall: int, as_of: date) -> int:
    """Day index after the last day with a mean at every station, from 1 August to the as-of date."""
    known = np.isfinite(weather.tmean_c).all(axis=0)
    last = len(known) - 1 - int(np.argmax(known[::-1])) if known.any() else -1
    after = fall_day(weather.first_day, fall) + last + 1
    return int(np.clip(after, 0, fall_day(as_of, fall)))


def _latest(outlooks: Sequence[Outlook], station_id: str, as_of: date) -> Outlook | None:
    known = [o for o in outlooks if o.station_id == station_id and o.issued <= as_of]
    return max(known, key=lambda outlook: outlook.issued, default=None)


def _errors(
    weather: Weather, outlooks: Sequence[Outlook], latest: Sequence[Outlook | None]
) -> dict[str, OutlookError]:
    """Errors of each station's latest outlook, learnt from the kept ones of the same source, wider or
    narrower where the source says so of this one."""
    found: dict[str, OutlookError] = {}
    for source in sorted({outlook.source for outlook in latest if outlook is not None}):
        learned = learn_errors(outlooks, weather, source=source)
        for outlook in latest:
            if outlook is not None and outlook.source == source:
                ours = today_errors(learned[outlook.station_id], outlook, outlooks)
                found[outlook.station_id] = learned_error(ours)
    return found
