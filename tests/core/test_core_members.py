"""Members: the usual course, shifts, half the trend, and first days from an outlook."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from forecaster.anomalies import carried_on, memory, shrunk_trend, usual_course
from forecaster.falls import FALL_DAYS, fall_start
from forecaster.moved_falls import RECIPE, Recipe
from forecaster.outlook_head import (
    LARGEST_ERROR_SHARE,
    LEAD_MEMORY,
    SHARED_ERROR,
    OutlookError,
    capped_error,
)
from forecaster.scenarios import FEWEST_FALLS, TAIL_DAYS, Members, make_members
from forecaster.weather.fall_blocks import MARGIN_DAYS, usable_falls
from forecaster.weather.outlook_errors import TYPICAL_MEAN_SD_C, TYPICAL_MIN_SD_C
from forecaster.weather.stations import Outlook, Station, Weather

Floats = NDArray[np.float64]

FALL = 2025
AS_OF = date(2025, 10, 20)
FIRST = date(2009, 1, 1)
FALLS = tuple(range(2009, 2025))
SHIFTS = RECIPE.shifts_days
PLAIN = Recipe(joined_days=0)
AXIS = np.arange(np.datetime64(FIRST), np.datetime64(AS_OF))
STATIONS = tuple(Station(name, name, 43.0, -88.0, 200.0) for name in ("ALDER", "BIRCH"))


def season_day(days: NDArray[np.datetime64]) -> Floats:
    """Days since the 1 August before, as the blocks of falls count them."""
    years = days.astype("datetime64[Y]").astype(int) + 1970
    august = np.array([np.datetime64(f"{year}-08-01") for year in years])
    last = np.array([np.datetime64(f"{year - 1}-08-01") for year in years])
    return np.where(days >= august - 40, days - august, days - last).astype(float)


def cosine(days: NDArray[Any]) -> Floats:
    return np.asarray(9.0 + 14.0 * np.cos(2 * np.pi * (days + 15) / 365.25))


def linked_noise(seed: int = 1, sd: float = 3.0, memory_of_a_day: float = 0.7) -> Floats:
    """A course of the year with noise that fades from day to day."""
    away = np.random.default_rng(seed).normal(0.0, sd, len(AXIS))
    for day in range(1, len(AXIS)):
        away[day] = memory_of_a_day * away[day - 1] + np.sqrt(1 - memory_of_a_day**2) * away[day]
    return cosine(season_day(AXIS)) + away


def invented_weather(tmean_c: Floats, *, spread_c: float = 5.0, tmin: bool = True) -> Weather:
    """Two stations, the second a degree colder, on AXIS; `tmean_c` (day,) or (station, day)."""
    means = np.stack([tmean_c, tmean_c - 1.0]) if tmean_c.ndim == 1 else tmean_c
    lows = means - spread_c
    if not tmin:
        lows = lows.copy()
        lows[1] = np.nan
    return Weather(
        stations=STATIONS,
        first_day=FIRST,
        tmin_c=lows,
        tmax_c=means + spread_c,
        tmean_c=means,
        filled=np.zeros(means.shape, np.bool_),
        last_observed=(AS_OF - timedelta(days=1),) * 2,
    )


def noisy(seed: int = 1, sd: float = 3.0) -> Floats:
    """A course of the year with day-to-day noise."""
    return cosine(season_day(AXIS)) + np.random.default_rng(seed).normal(0.0, sd, len(AXIS))


def members_of(
    weather: Weather, *, count: int = 160, seed: int = 5, as_of: date = AS_OF, **more: object
) -> Members:
    return make_members(weather, FALLS, fall=FALL, as_of=as_of, count=count, seed=seed, **more)  # type: ignore[arg-type]


def outlook(
    station: str,
    issued: date,
    tmin_c: float,
    *,
    days: int = 10,
    first: date | None = None,
    spread_c: float = 8.0,
) -> Outlook:
    first = first or issued
    return Outlook(
        station,
        issued,
        tuple(first + timedelta(days=n) for n in range(days)),
        np.full(days, tmin_c),
        np.full(days, tmin_c + spread_c),
    )


# --- the usual course, the trend and the memory of anomalies


def test_usual_course_of_a_pure_cosine_is_that_cosine() -> None:
    day = np.arange(-MARGIN_DAYS, FALL_DAYS + MARGIN_DAYS)
    blocks = np.stack([np.stack([cosine(day), cosine(day) - 3.0])] * 4)
    course = usual_course(blocks, margin_days=MARGIN_DAYS, fit_margin_days=MARGIN_DAYS)
    assert course == pytest.approx(blocks[0], abs=1e-9)


def test_usual_course_goes_on_beyond_the_days_it_is_fitted_on() -> None:
    day = np.arange(-20, FALL_DAYS + 20)
    blocks = np.stack([cosine(day)[None, :]] * 3)
    blocks[..., :10] = blocks[..., -10:] = np.nan
    course = usual_course(blocks, margin_days=20, fit_margin_days=10)
    assert course[0] == pytest.approx(cosine(day), abs=1e-6)


def test_usual_course_smooths_the_days_but_keeps_their_mean() -> None:
    day = np.arange(-MARGIN_DAYS, FALL_DAYS + MARGIN_DAYS)
    blocks = cosine(day) + np.random.default_rng(1).normal(0.0, 4.0, (30, 1, len(day)))
    course = usual_course(blocks, margin_days=MARGIN_DAYS, fit_margin_days=MARGIN_DAYS)[0]
    assert np.abs(course - cosine(day)).max() < 1.0
    assert course.mean() == pytest.approx(blocks.mean(), abs=1e-9)


def test_trend_by_hand() -> None:
    # Falls of 2000, 2001, 2004 at 5, 6 and 8 degrees; y = -5/3, -2/3, 7/3: slope 19/3 / (26/3) = 0.7308.
    level, years = np.array([5.0, 6.0, 8.0]), np.array([2000, 2001, 2004])
    assert shrunk_trend(level, years, trend_sd=np.inf) == pytest.approx(19 / 26)
    # Its error: the fit misses by -3/26 x (1, -4/3, 1/3) -> one degree of freedom over sum y² = 26/3.
    fitted = 19 / 3 + 19 / 26 * np.array([-5 / 3, -2 / 3, 7 / 3])
    error2 = ((level - fitted) ** 2).sum() / 1 / (26 / 3)
    shrunk = shrunk_trend(level, years, trend_sd=0.1)
    assert shrunk == pytest.approx(19 / 26 * 0.01 / (0.01 + error2))
    assert shrunk_trend(level, years, trend_sd=0.0) == 0.0


def test_trend_of_several_stations() -> None:
    straight = np.stack([np.array([0.04, -0.01]) * year for year in FALLS])
    assert shrunk_trend(straight, np.array(FALLS)) == pytest.approx([0.04, -0.01])


def test_a_short_noisy_record_keeps_little_of_its_trend() -> None:
    random = np.random.default_rng(3)
    kept = {}
    for count in (10, 40, 160):
        years = np.arange(count)
        level = 0.03 * years + random.normal(0.0, 1.2, count)
        kept[count] = float(shrunk_trend(level, years) / shrunk_trend(level, years, trend_sd=np.inf))
    assert 0 < kept[10] < 0.15 < kept[40] < 0.95 < kept[160] < 1.0


def test_what_a_difference_lets_expect_is_a_conditional_mean() -> None:
    # Two known days, gaps 2 and 4, by the formula of two correlated normals.
    known, ahead = np.array([5, 8]), np.array([9, 20])
    near, far = memory(known[1] - ahead), memory(known[0] - ahead)
    r = float(memory(np.array(3)))
    weight_8 = (near - r * far) / (1 - r * r)
    weight_5 = (far - r * near) / (1 - r * r)
    found = carried_on(np.array([[2.0, 4.0]]), known, ahead)
    assert found[0] == pytest.approx(2 * weight_5 + 4 * weight_8)


def test_a_known_day_is_kept_and_a_far_one_forgets() -> None:
    gap, known = np.array([[1.0, -2.0, 3.0]]), np.array([10, 11, 12])
    assert carried_on(gap, known, known)[0] == pytest.approx(gap[0])
    assert np.abs(carried_on(gap, known, np.array([400]))).max() < 0.01
    fading = carried_on(np.array([[3.0]]), np.array([12]), np.arange(13, 60))[0]
    assert (np.diff(fading) < 0).all()
    assert (fading > 0).all()
    assert carried_on(gap[:, :0], known[:0], known).tolist() == [[0.0, 0.0, 0.0]]


def test_no_weight_of_a_known_day_is_negative() -> None:
    # So a colder day in the outlook can make no later day warmer.
    for length in (1, 5, 10, 16):
        weights = carried_on(
            np.eye(50 + length), np.arange(-50, length), np.arange(length, length + TAIL_DAYS)
        )
        assert weights.min() >= 0.0


# --- members from earlier falls


def test_members_of_weather_that_never_varies_are_all_alike() -> None:
    members = members_of(invented_weather(cosine(season_day(AXIS))))
    day = np.arange(FALL_DAYS)
    for base in members.tmean_base_c:
        assert base[0] == pytest.approx(cosine(day), abs=1e-6)
        assert base[1] == pytest.approx(cosine(day) - 1.0, abs=1e-6)
    assert members.tmin_base_c == pytest.approx(members.tmean_base_c - 5.0, abs=1e-6)


def test_a_share_of_the_trend_moves_each_fall_to_the_present_one() -> None:
    slope = 0.05
    warming = slope * np.array([FALLS[n] if 0 <= n < len(FALLS) else FALL for n in _fall_index()])
    recipe = Recipe(joined_days=0, trend_share=0.5)
    members = members_of(invented_weather(cosine(season_day(AXIS)) + warming), recipe=recipe)
    day = np.arange(FALL_DAYS)
    for base, fall in enumerate(FALLS):  # the first falls have no shift
        expected = cosine(day) + slope * fall + 0.5 * slope * (FALL - fall)
        assert members.tmean_base_c[base, 0] == pytest.approx(expected, abs=1e-6)


def _fall_index() -> list[int]:
    """Position in FALLS of the fall to which each day of AXIS is nearest (its year, from March on)."""
    years = AXIS.astype("datetime64[Y]").astype(int) + 1970
    months = AXIS.astype("datetime64[M]").astype(int) % 12 + 1
    return [int(y) - FALLS[0] - (m <= 2) for y, m in zip(years, months, strict=True)]


def test_a_shifted_member_holds_the_anomalies_of_other_days() -> None:
    weather = invented_weather(noisy())
    members = members_of(weather, recipe=Recipe(joined_days=0, trend_share=0.0))
    blocks = _blocks(weather)
    course = usual_course(blocks, margin_days=MARGIN_DAYS, fit_margin_days=MARGIN_DAYS)
    course = course[0, MARGIN_DAYS:-MARGIN_DAYS]
    anomaly = members.tmean_base_c[:, 0] - course
    falls = len(FALLS)
    for n, shift in enumerate(SHIFTS):
        moved, kept = anomaly[n * falls : (n + 1) * falls], anomaly[:falls]
        if shift > 0:
            assert moved[:, :-shift] == pytest.approx(kept[:, shift:], abs=1e-9)
        elif shift < 0:
            assert moved[:, -shift:] == pytest.approx(kept[:, :shift], abs=1e-9)


def _blocks(weather: Weather) -> Floats:
    blocks = []
    for fall in FALLS:
        start = (fall_start(fall) - FIRST).days - MARGIN_DAYS
        blocks.append(weather.tmean_c[:, start : start + FALL_DAYS + 2 * MARGIN_DAYS])
    return np.stack(blocks)


def test_minimum_mean_and_stations_of_a_member_come_from_one_fall() -> None:
    weather = invented_weather(noisy())
    members = members_of(weather)
    apart = members.tmean_base_c - members.tmin_base_c
    assert apart == pytest.approx(5.0, abs=1e-6)
    assert members.tmean_base_c[:, 0] - members.tmean_base_c[:, 1] == pytest.approx(1.0, abs=1e-6)
    member = 100
    fall, shift = int(members.source_fall[member]), int(members.shift_days[member])
    assert members.base[member] == SHIFTS.index(shift) * len(FALLS) + FALLS.index(fall)


@pytest.mark.parametrize("count", [80, 100, 200, 1500])
def test_falls_and_shifts_are_used_about_equally(count: int) -> None:
    members = members_of(invented_weather(noisy()), count=count)
    used = np.bincount(members.base, minlength=80)
    assert members.count == count
    assert used.max() - used.min() <= 1


@pytest.mark.parametrize("count", [40, 20])
def test_few_members_still_come_from_every_fall(count: int) -> None:
    members = members_of(invented_weather(noisy()), count=count)
    assert len(set(members.base.tolist())) == count
    assert set(members.shift_days.tolist()) == set(SHIFTS)
    assert set(members.source_fall.tolist()) == set(FALLS)


def test_too_few_falls() -> None:
    with pytest.raises(ValueError, match="4 earlier falls are complete, 5 are needed"):
        make_members(
            invented_weather(noisy()), FALLS[: FEWEST_FALLS - 1], fall=FALL, as_of=AS_OF, count=9, seed=1
        )


def test_a_station_without_minima_leaves_the_others_minima_alone() -> None:
    full, part = (members_of(invented_weather(noisy(), tmin=tmin)) for tmin in (True, False))
    assert np.isnan(part.tmin_base_c[:, 1]).all()
    assert part.tmin_base_c[:, 0] == pytest.approx(full.tmin_base_c[:, 0], abs=1e-9)
    assert part.tmean_base_c[:, 0].tolist() == full.tmean_base_c[:, 0].tolist()
    assert np.isfinite(part.tmean_base_c[:, 1]).all()


def test_usable_falls_are_the_complete_ones() -> None:
    tmean_c = noisy()
    gap = (date(2015, 11, 3) - FIRST).days
    tmean_c[gap] = np.nan
    assert usable_falls(invented_weather(tmean_c), FALL) == tuple(f for f in FALLS if f != 2015)


# --- joined to the season at hand


def test_a_warm_season_lifts_the_days_to_come_and_fades() -> None:
    tmean_c = noisy()
    tmean_c[-60:] += 4.0
    weather = invented_weather(tmean_c)
    plain, joined = (members_of(weather, recipe=recipe).tmean_base_c for recipe in (PLAIN, RECIPE))
    start = (AS_OF - fall_start(FALL)).days
    lift = (joined - plain).mean(axis=0)[0]
    assert (lift[:start] == 0.0).all()
    assert lift[start] > 1.5
    assert lift[start : start + 5].mean() > lift[start + 10 : start + 20].mean() > lift[start + 60] > 0.0


def test_every_member_is_pulled_by_its_own_difference() -> None:
    weather = invented_weather(noisy())
    alone = Recipe(linked=False)
    plain, joined = (members_of(weather, recipe=recipe).tmean_base_c for recipe in (PLAIN, alone))
    start = (AS_OF - fall_start(FALL)).days
    known, ahead = np.arange(start - RECIPE.joined_days, start), np.arange(start, FALL_DAYS)
    begin = (fall_start(FALL) - FIRST).days
    observed = weather.tmean_c[0, begin + known[0] : begin + start]
    between, across = memory(known[:, None] - known), memory(known[:, None] - ahead)
    for member in (0, 17, 79):
        gap = observed - plain[member, 0, known]
        expected = plain[member, 0, ahead] + across.T @ np.linalg.inv(between) @ gap
        assert joined[member, 0, ahead] == pytest.approx(expected, abs=1e-8)


def test_a_memory_of_a_day_is_learnt_from_the_station_itself() -> None:
    long, none = linked_noise(), noisy()
    for tmean_c, least, most in ((long, 0.55, 0.85), (none, -0.05, 0.25)):
        tmean_c[-3:] = cosine(season_day(AXIS))[-3:] + 8.0
        weather = invented_weather(tmean_c)
        plain, joined = (members_of(weather, recipe=recipe).tmean_base_c for recipe in (PLAIN, RECIPE))
        start = (AS_OF - fall_start(FALL)).days
        pull = (joined - plain)[:, 0, start].mean() / 8.0
        assert least < pull < most


def test_a_minimum_is_foretold_better_when_the_mean_speaks_too() -> None:
    """Minima that only follow yesterday's mean: alone they say little of tomorrow, together a lot."""
    rng = np.random.default_rng(4)
    away = linked_noise(seed=3, sd=4.0) - cosine(season_day(AXIS))
    means = cosine(season_day(AXIS)) + away
    lows = means - 5.0
    lows[1:] += 0.8 * away[:-1] - away[1:] + rng.normal(0.0, 1.0, len(away) - 1)
    errors = {}
    for name, recipe in (("linked", RECIPE), ("alone", Recipe(linked=False))):
        found = []
        for back in range(1, 41):
            weather = invented_weather(means)
            both = np.stack([lows, lows])
            cut = len(AXIS) - back
            weather = replace(
                weather,
                tmin_c=both[:, :cut],
                tmax_c=weather.tmax_c[:, :cut],
                tmean_c=weather.tmean_c[:, :cut],
                filled=weather.filled[:, :cut],
            )
            as_of = AS_OF - timedelta(days=back)
            members = members_of(weather, as_of=as_of, recipe=recipe)
            found.append(members.tmin_base_c[:, 0, members.first_day].mean() - lows[cut])
        errors[name] = float(np.std(found))
    assert errors["linked"] < 0.6 * errors["alone"]


# --- the first unobserved day


def test_members_begin_after_the_last_day_known_everywhere() -> None:
    whole = invented_weather(noisy())
    as_of_day = (AS_OF - fall_start(FALL)).days
    assert members_of(whole).first_day == as_of_day
    late = whole.tmean_c.copy()
    late[1, -3:] = np.nan
    assert members_of(replace(whole, tmean_c=late)).first_day == as_of_day - 3


# --- the outlook


def head_day(members: Members, day: date) -> int:
    return (day - fall_start(FALL)).days - members.head_from


def test_without_an_outlook_there_is_no_head() -> None:
    members = members_of(invented_weather(noisy()))
    assert members.tmean_head_c.shape == (160, 2, 0)


TYPICAL = np.array(TYPICAL_MEAN_SD_C), np.array(TYPICAL_MIN_SD_C)


def own_errors(freedom: float = np.inf, bias: float = 0.0) -> dict[str, OutlookError]:
    """Errors of half a degree on lead day 1, rising by a tenth."""
    sd = 0.5 + 0.1 * np.arange(10.0)
    error = OutlookError(sd, 2 * sd, np.full(10, bias), np.full(10, -bias), freedom)
    return {"ALDER": error, "BIRCH": error}


def test_an_outlook_is_no_worse_than_knowing_the_season() -> None:
    assert capped_error(np.array([1.0, 4.0]), np.array([3.0, 3.0])).tolist() == [1.0, 3 * LARGEST_ERROR_SHARE]


def test_first_days_scatter_around_the_outlook_by_their_lead() -> None:
    both = [outlook(s.station_id, AS_OF, 4.0) for s in STATIONS]
    count = 20_000
    members = members_of(invented_weather(noisy(sd=6.0)), count=count, outlooks=both)
    mean, low = members.tmean_head_c[:, :, :10], members.tmin_head_c[:, :, :10]
    assert members.tmean_head_c.shape == (count, 2, 10 + TAIL_DAYS)
    assert members.head_from == (AS_OF - fall_start(FALL)).days
    for found, centre, sd in ((mean, 8.0, TYPICAL[0]), (low, 4.0, TYPICAL[1])):
        assert np.abs(found.mean(axis=0) - centre).max() < 5 * sd.max() / np.sqrt(count)
        assert found.std(axis=0) == pytest.approx(np.stack([sd, sd]), rel=0.06)
    z, z_low = ((each - each.mean(axis=0)) / each.std(axis=0) for each in (mean, low))
    assert (z[:, :, 1:] * z[:, :, :-1]).mean(axis=0) == pytest.approx(LEAD_MEMORY, abs=0.06)
    assert (z * z_low).mean(axis=0) == pytest.approx(SHARED_ERROR, abs=0.06)
    assert (z[:, 0] * z[:, 1]).mean(axis=0) == pytest.approx(SHARED_ERROR**2, abs=0.06)
    assert (z**4).mean() > 3.5  # heavier-tailed than a normal


def test_errors_that_were_learnt_take_the_place_of_typical_ones() -> None:
    given = [outlook("ALDER", AS_OF, 4.0)]
    members = members_of(
        invented_weather(noisy()), count=8000, outlooks=given, outlook_errors=own_errors(bias=1.0)
    )
    mean, low = members.tmean_head_c[:, 0, :10], members.tmin_head_c[:, 0, :10]
    assert mean.mean(axis=0) == pytest.approx(8.0 - 1.0, abs=0.1)  # bias is outlook less truth
    assert low.mean(axis=0) == pytest.approx(4.0 + 1.0, abs=0.2)
    assert mean.std(axis=0) == pytest.approx(0.5 + 0.1 * np.arange(10), rel=0.05)
    z = (mean - mean.mean(axis=0)) / mean.std(axis=0)
    assert (z**4).mean() == pytest.approx(3.0, abs=0.2)


def test_kept_outlooks_teach_their_bias() -> None:
    weather = invented_weather(noisy())
    kept = []
    for back in range(100, 12, -1):
        issued = AS_OF - timedelta(days=back)
        at = (issued - FIRST).days
        days = tuple(issued + timedelta(days=n) for n in range(3))
        low, high = (values[0, at : at + 3] + 3.0 for values in (weather.tmin_c, weather.tmax_c))
        kept.append(Outlook("ALDER", issued, days, low, high))
    now = outlook("ALDER", AS_OF, 4.0, days=3)
    plain, taught = (members_of(weather, outlooks=o, count=4000) for o in ([now], [*kept, now]))
    moved = (taught.tmin_head_c - plain.tmin_head_c)[:, 0, :3].mean(axis=0)
    assert (moved < -1.5).all()  # they were 3 degrees too warm; part of it is believed
    assert (moved > -3.0).all()
    assert (taught.tmean_head_c[:, 0, :3].std(axis=0) < plain.tmean_head_c[:, 0, :3].std(axis=0)).all()


def test_an_older_outlook_is_as_wrong_as_its_age() -> None:
    issued = AS_OF - timedelta(days=3)
    members = members_of(
        invented_weather(noisy(sd=6.0)), count=5000, outlooks=[outlook("ALDER", issued, 4.0, days=10)]
    )
    found = members.tmean_head_c[:, 0]
    assert found.shape[1] == 7 + TAIL_DAYS  # three of its ten days are gone
    assert found[:, :7].std(axis=0) == pytest.approx(TYPICAL[0][3:], rel=0.1)


def test_days_after_the_outlook_follow_it_and_find_back() -> None:
    weather = invented_weather(linked_noise())
    for recipe in (RECIPE, Recipe(linked=False)):
        warm, cold = (
            members_of(weather, outlooks=[outlook("ALDER", AS_OF, value)], recipe=recipe).tmean_head_c[:, 0]
            for value in (6.0, -4.0)
        )
        fall = (warm - cold).mean(axis=0)
        assert fall[:10] == pytest.approx(10.0)
        known = np.arange(10 - RECIPE.joined_days, 10)  # alike until today, ten degrees apart in the outlook
        apart = np.where(known >= 0, 10.0, 0.0)[None, :]
        expected = carried_on(apart, known, np.arange(10, 10 + TAIL_DAYS))[0]
        # what the links of a day with memory 0.7 carry is close to what the memory of 0.65 carries
        assert fall[10:] == pytest.approx(expected, abs=1.5 if recipe.linked else 1e-6)
        assert fall[10] > fall[12] > fall[16] > fall[29] > 0.0
        assert fall[-1] < 2.5


def test_the_latest_issue_counts_and_later_ones_are_not_known() -> None:
    weather = invented_weather(noisy())
    old = outlook("ALDER", AS_OF - timedelta(days=1), -9.0, first=AS_OF)  # no day of it has been seen
    new = outlook("ALDER", AS_OF, 6.0)
    unknown = outlook("ALDER", AS_OF + timedelta(days=1), -20.0)
    alone = members_of(weather, outlooks=[new])
    for others in ([old, new], [new, old], [new, unknown], [unknown, old, new]):
        assert members_of(weather, outlooks=others).tmin_head_c.tobytes() == alone.tmin_head_c.tobytes()
    assert members_of(weather, outlooks=[unknown]).tmin_head_c.size == 0


def test_a_station_without_outlook_keeps_its_own_days() -> None:
    members = members_of(invented_weather(noisy()), outlooks=[outlook("ALDER", AS_OF, -9.0)])
    start = members.head_from
    own = members.tmean_base_c[members.base][:, 1, start : start + 10]
    assert (members.tmean_head_c[:, 1, :10] == own).all()
    assert members.tmean_head_c[:, 0, :10].mean() < own.mean() - 5


def test_missing_parts_of_an_outlook() -> None:
    given = outlook("ALDER", AS_OF, 4.0, days=3)
    given.tmax_c[1] = np.nan
    given.tmin_c[2] = np.nan
    members = members_of(invented_weather(noisy()), outlooks=[given])
    start = members.head_from
    own_mean = members.tmean_base_c[members.base][:, 0, start : start + 3]
    own_low = members.tmin_base_c[members.base][:, 0, start : start + 3]
    assert (members.tmean_head_c[:, 0, 1:3] == own_mean[:, 1:]).all()
    assert (members.tmin_head_c[:, 0, 2] == own_low[:, 2]).all()
    assert (members.tmin_head_c[:, 0, 1] != own_low[:, 1]).all()
    assert np.isfinite(members.tmin_head_c).all()


def test_no_minima_from_an_outlook_where_the_station_has_none() -> None:
    members = members_of(invented_weather(noisy(), tmin=False), outlooks=[outlook("BIRCH", AS_OF, 4.0)])
    assert np.isnan(members.tmin_head_c[:, 1]).all()
    assert np.isfinite(members.tmean_head_c).all()


@pytest.mark.parametrize("colder", [range(10), [0], [4], [9]], ids=["all days", "first", "fifth", "last"])
def test_a_colder_outlook_makes_no_member_warmer(colder: list[int]) -> None:
    weather = invented_weather(noisy())
    given = outlook("ALDER", AS_OF, 2.0)
    low, high = given.tmin_c.copy(), given.tmax_c.copy()
    low[list(colder)] -= 3.0
    high[list(colder)] -= 3.0
    warm, cold = (members_of(weather, outlooks=[o]) for o in (given, replace(given, tmin_c=low, tmax_c=high)))
    assert (cold.tmin_head_c <= warm.tmin_head_c + 1e-9).all()
    assert (cold.tmean_head_c <= warm.tmean_head_c + 1e-9).all()
    assert (cold.tmin_head_c < warm.tmin_head_c - 0.1).any()
    assert cold.tmin_base_c.tolist() == warm.tmin_base_c.tolist()
    soon_cold, soon_warm = ((m.tmin_head_c[:, 0, :14] <= -2.2).any(axis=1).mean() for m in (cold, warm))
    assert soon_cold >= soon_warm


def test_same_seed_same_members_and_another_seed_others() -> None:
    weather, given = invented_weather(noisy()), [outlook("ALDER", AS_OF, 4.0)]
    first, again, other = (members_of(weather, seed=seed, outlooks=given) for seed in (5, 5, 6))
    for name in ("tmean_base_c", "tmin_base_c", "tmean_head_c", "tmin_head_c", "base"):
        assert getattr(first, name).tobytes() == getattr(again, name).tobytes(), name
    assert first.tmean_head_c.tobytes() != other.tmean_head_c.tobytes()
    assert first.tmean_base_c.tobytes() == other.tmean_base_c.tobytes()  # only the errors are drawn


def test_an_outlook_reaches_no_further_than_january() -> None:
    end = date(2026, 1, 28)
    weather = invented_weather(noisy())
    longer = np.concatenate([weather.tmean_c, np.full((2, (end - AS_OF).days), 1.0)], axis=1)
    late = replace(
        weather, tmean_c=longer, tmin_c=longer - 5, tmax_c=longer + 5, filled=np.zeros(longer.shape, np.bool_)
    )
    members = members_of(late, as_of=end, outlooks=[outlook("ALDER", end, -9.0)])
    assert members.tmean_head_c.shape[2] == 4  # 28 to 31 January


@pytest.mark.parametrize("with_outlook", [False, True])
def test_early_august_with_the_last_observation_in_july(with_outlook: bool) -> None:
    # The as-of date may lie up to 10 days after the last observation.
    weather = invented_weather(noisy())
    keep = (date(2025, 7, 29) - FIRST).days
    cut = {name: getattr(weather, name)[:, :keep] for name in ("tmean_c", "tmin_c", "tmax_c", "filled")}
    as_of = date(2025, 8, 2)
    given = [outlook("ALDER", as_of, 15.0)] if with_outlook else []
    members = members_of(replace(weather, **cut), as_of=as_of, outlooks=given)
    assert members.count == 160
