"""Errors of outlooks: by hand, by simulation with known truth, and without a look ahead."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.weather.outlook_errors import (
    PRIOR_OUTLOOKS,
    TYPICAL_MEAN_SD_C,
    TYPICAL_MEMORY,
    TYPICAL_MIN_SD_C,
    learn_errors,
    outlook_mean_c,
    typical_sd_c,
)
from forecaster.weather.stations import Outlook, Station, Weather

FIRST = date(2024, 8, 1)


def weather_of(tmin: np.ndarray, tmean: np.ndarray, filled: np.ndarray | None = None) -> Weather:
    count = tmin.shape[0]
    return Weather(
        stations=tuple(Station(f"S{at}", f"S{at}", 43.0 + at / 10, -89.0, 250.0) for at in range(count)),
        first_day=FIRST,
        tmin_c=tmin,
        tmax_c=2 * tmean - tmin,
        tmean_c=tmean,
        filled=np.zeros(tmin.shape, dtype=bool) if filled is None else filled,
        last_observed=(FIRST + timedelta(days=tmin.shape[1] - 1),) * count,
    )


def simulated(
    issues: int, *, bias: float, sd: np.ndarray, memory: float, stations: int = 2, seed: int = 5
) -> tuple[Weather, list[Outlook]]:
    """Truth and outlooks whose errors have the given bias, spread by lead and memory between leads."""
    random = np.random.default_rng(seed)
    leads = sd.size
    days = issues * 3 + leads
    mean = 8.0 + random.normal(0.0, 4.0, (stations, days))
    low = mean - 5.0
    outlooks = []
    for issue in range(issues):
        start = issue * 3  # three days apart: errors of one issue and the next are independent
        for station in range(stations):
            z = random.standard_normal(leads)
            for lead in range(1, leads):
                z[lead] = memory * z[lead - 1] + np.sqrt(1 - memory**2) * z[lead]
            error = bias + sd * z
            at = slice(start, start + leads)
            outlooks.append(
                Outlook(
                    f"S{station}",
                    FIRST + timedelta(days=start),
                    tuple(FIRST + timedelta(days=start + lead) for lead in range(leads)),
                    low[station, at] + error,
                    low[station, at] + error + 10.0,
                    source="nws",
                    tmean_c=mean[station, at] + error,
                )
            )
    return weather_of(low, mean), outlooks


# --- hand arithmetic


def test_nothing_kept_gives_typical_errors() -> None:
    weather = weather_of(np.zeros((1, 10)), np.full((1, 10), 5.0))
    errors = learn_errors([], weather, source="nws", leads=12)["S0"]
    np.testing.assert_array_equal(errors.sd_mean_c[:10], TYPICAL_MEAN_SD_C)
    np.testing.assert_array_equal(errors.sd_min_c[:10], TYPICAL_MIN_SD_C)
    assert errors.sd_mean_c[11] == TYPICAL_MEAN_SD_C[-1]
    assert (errors.bias_min_c == 0).all()
    assert (errors.count == 0).all()
    assert errors.memory == TYPICAL_MEMORY
    assert np.isnan(errors.mae_min_c).all()


def test_one_outlook_counts_as_one_against_thirty() -> None:
    weather = weather_of(np.zeros((1, 10)), np.full((1, 10), 5.0))
    outlook = Outlook("S0", FIRST, (FIRST,), np.array([3.1]), np.array([np.nan]), source="nws")
    errors = learn_errors([outlook], weather, source="nws", leads=2)["S0"]
    share = 1 / (1 + PRIOR_OUTLOOKS)  # 1/31, once for the source and once more for the station
    source_bias = share * 3.1
    assert errors.bias_min_c[0] == pytest.approx(source_bias + share * (3.1 - source_bias))
    source_sd2 = (1 - share) * TYPICAL_MIN_SD_C[0] ** 2 + share * (3.1 - source_bias) ** 2
    off = 3.1 - errors.bias_min_c[0]
    assert errors.sd_min_c[0] == pytest.approx(np.sqrt((1 - share) * source_sd2 + share * off**2))
    assert errors.sd_min_c[1] == TYPICAL_MIN_SD_C[1]
    assert errors.bias_mean_c[0] == 0.0  # no maximum, so no mean was forecast
    assert errors.count.tolist() == [1, 0]
    assert errors.mae_min_c[0] != errors.mae_min_c[0]  # too short a record to know what is usual


def test_the_mean_of_an_outlook_is_its_own_else_the_middle() -> None:
    outlook = Outlook(
        "S0", FIRST, (FIRST, FIRST), np.array([0.0, 2.0]), np.array([10.0, 12.0]),
        tmean_c=np.array([4.0, np.nan]),
    )  # fmt: skip
    assert outlook_mean_c(outlook).tolist() == [4.0, 7.0]


def test_filled_days_are_no_truth() -> None:
    filled = np.zeros((1, 10), dtype=bool)
    filled[0, 0] = True
    weather = weather_of(np.zeros((1, 10)), np.full((1, 10), 5.0), filled)
    outlook = Outlook("S0", FIRST, (FIRST,), np.array([3.1]), np.array([4.0]), source="nws")
    assert learn_errors([outlook], weather, source="nws")["S0"].count.sum() == 0


# --- known truth


def test_many_outlooks_teach_their_own_errors() -> None:
    sd = np.array([0.8, 1.2, 1.6, 2.4, 4.0])
    weather, outlooks = simulated(600, bias=0.7, sd=sd, memory=0.6)
    errors = learn_errors(outlooks, weather, source="nws", leads=5)["S1"]
    # Three standard errors of a mean over 600, and 5 % of 0.7 for what the prior still holds back.
    assert (np.abs(errors.bias_min_c - 0.7) < 3 * sd / np.sqrt(600) + 0.05).all()
    np.testing.assert_allclose(errors.sd_mean_c, sd, rtol=0.1)
    assert errors.memory == pytest.approx(0.6, abs=0.06)
    assert errors.shared > 0.95
    assert (errors.count == 600).all()


def test_few_outlooks_stay_near_the_typical_ones() -> None:
    weather, outlooks = simulated(5, bias=0.0, sd=np.full(5, 0.1), memory=0.0)
    errors = learn_errors(outlooks, weather, source="nws", leads=5)["S0"]
    typical = typical_sd_c(TYPICAL_MEAN_SD_C, 5)
    assert (errors.sd_mean_c < typical).all()
    assert (errors.sd_mean_c > 0.8 * typical).all()


def test_a_stations_own_bias_is_told_from_its_sources() -> None:
    weather, outlooks = simulated(300, bias=0.0, sd=np.full(3, 1.0), memory=0.3)
    moved = [
        Outlook(o.station_id, o.issued, o.days, o.tmin_c + 2.0, o.tmax_c + 2.0, source=o.source)
        if o.station_id == "S0"
        else o
        for o in outlooks
    ]
    errors = learn_errors(moved, weather, source="nws", leads=3)
    np.testing.assert_allclose(errors["S0"].bias_min_c, 2.0, atol=0.3)
    np.testing.assert_allclose(errors["S1"].bias_min_c, 0.0, atol=0.3)


def test_sources_are_kept_apart() -> None:
    weather, outlooks = simulated(100, bias=3.0, sd=np.full(3, 1.0), memory=0.3)
    errors = learn_errors(outlooks, weather, source="met-norway", leads=3)["S0"]
    assert (errors.bias_min_c == 0).all()


def test_outlooks_with_shared_errors_count_less() -> None:
    days = 200
    weather = weather_of(np.zeros((1, days)), np.full((1, days), 5.0))
    wave = np.repeat([2.0, -2.0], days // 2)[: days - 1]  # one error for a hundred days, then another

    def outlook(at: int, error: float) -> Outlook:
        day = FIRST + timedelta(days=at)
        return Outlook("S0", day, (day,), np.array([error]), np.array([error]), source="nws")

    slow = [outlook(at, float(error)) for at, error in enumerate(wave)]
    quick = [outlook(at, 2.0 * (-1) ** at) for at in range(days - 1)]
    typical = TYPICAL_MIN_SD_C[0]
    drawn = [learn_errors(o, weather, source="nws", leads=1)["S0"].sd_min_c[0] for o in (slow, quick)]
    assert abs(drawn[0] - typical) < abs(drawn[1] - typical)  # both have errors of 2 °C


# --- nothing looks ahead


def test_days_after_the_record_change_nothing() -> None:
    weather, outlooks = simulated(40, bias=0.5, sd=np.full(4, 1.5), memory=0.5)
    cut = 60
    known = weather_of(weather.tmin_c[:, :cut], weather.tmean_c[:, :cut])
    scrambled = [
        Outlook(
            o.station_id,
            o.issued,
            o.days,
            np.where([known.index_of(d) >= cut for d in o.days], 99.0, o.tmin_c),
            np.where([known.index_of(d) >= cut for d in o.days], 99.0, o.tmax_c),
            source=o.source,
            tmean_c=None
            if o.tmean_c is None
            else np.where([known.index_of(d) >= cut for d in o.days], 99.0, o.tmean_c),
        )
        for o in outlooks
    ]
    one = learn_errors(outlooks, known, source="nws", leads=4)
    two = learn_errors(scrambled, known, source="nws", leads=4)
    for station in one:
        np.testing.assert_array_equal(one[station].sd_min_c, two[station].sd_min_c)
        np.testing.assert_array_equal(one[station].bias_mean_c, two[station].bias_mean_c)
