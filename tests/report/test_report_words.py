"""Numbers in words: hand values, and no chance that is called 0, certain, or by more than two figures."""

from __future__ import annotations

import re
from datetime import date

import pytest

from forecaster.report import words

OCT14, OCT28, NOV9 = date(2025, 10, 14), date(2025, 10, 28), date(2025, 11, 9)


# --- hand values
@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.0, "less than 1 in 100"),
        (0.009, "less than 1 in 100"),
        (0.01, "1 in 100"),
        (0.034, "1 in 30"),
        (0.12, "1 in 8"),  # 1/8 = 0.125 is nearer than 1/9 = 0.111
        (0.26, "1 in 4"),
        (0.31, "3 in 10"),
        (0.33, "1 in 3"),
        (0.5, "1 in 2"),
        (0.67, "2 in 3"),
        (0.9, "9 in 10"),
        (0.99, "99 in 100"),
        (0.991, "more than 99 in 100"),
        (1.0, "more than 99 in 100"),
    ],
)
def test_odds(p: float, said: str) -> None:
    assert words.odds(p) == said


@pytest.mark.parametrize("p", [-0.01, 1.01, float("nan")])
def test_what_is_no_probability_is_refused(p: float) -> None:
    for say in (words.odds, words.percent, words.chance):
        with pytest.raises(ValueError, match="not a probability"):
            say(p)


def test_unknown_chance_is_said() -> None:
    assert words.chance(None) == "not known"
    assert words.percent(None) == "-"


@pytest.mark.parametrize(
    ("p10", "p50", "p90", "p_not", "said"),
    [
        (OCT14, OCT28, NOV9, 0.0, "28 Oct (14 Oct to 9 Nov)"),
        (OCT14, OCT28, NOV9, None, "28 Oct (14 Oct to 9 Nov)"),
        (OCT14, OCT28, NOV9, 0.08, "28 Oct (14 Oct to 9 Nov); 8 % of falls: not by 31 Jan"),
        (OCT14, OCT28, NOV9, 0.001, "28 Oct (14 Oct to 9 Nov); less than 1 % of falls: not by 31 Jan"),
        (OCT14, OCT28, None, 0.2, "28 Oct (14 Oct to later than 31 Jan); 20 % of falls: not by 31 Jan"),
        (OCT14, None, None, 0.7, "70 % of falls: not by 31 Jan (1 fall in 10 by 14 Oct)"),
        (None, None, None, 1.0, "more than 99 % of falls: not by 31 Jan"),
    ],
)
def test_never_reached_is_said(
    p10: date | None, p50: date | None, p90: date | None, p_not: float | None, said: str
) -> None:
    assert words.crossing(p10, p50, p90, fall=2025, p_not_reached=p_not) == said


def test_windows() -> None:
    assert words.window(OCT14, OCT28) == "14-28 Oct"
    assert words.window(OCT28, NOV9) == "28 Oct-9 Nov"
    assert words.window(OCT14, OCT14) == "14 Oct"
    assert words.window(date(2025, 12, 30), date(2026, 1, 3)) == "30 Dec-3 Jan"
    assert words.window(None, OCT14) == "-"


@pytest.mark.parametrize(
    ("water_c", "sd_c", "units", "said"),
    [
        (11.1, 1.3, "us", "about 52 °F (49 to 55)"),  # 51.98; 1.2816 x 1.3 x 1.8 = 3.0
        (11.1, 1.3, "metric", "about 11 °C (9 to 13)"),
        (0.2, 1.0, "us", "about 32 °F (32 to 35)"),  # water does not go below freezing
        (-0.01, None, "metric", "about 0 °C"),  # never "-0"
        (7.2, 0.01, "us", "about 45 °F"),
        (None, None, "us", "not known"),
    ],
)
def test_temperatures(water_c: float | None, sd_c: float | None, units: str, said: str) -> None:
    assert words.about(water_c, sd_c, units) == said


def test_age_of_the_weather() -> None:
    assert words.weather_age([date(2025, 10, 5)], date(2025, 10, 6)) == "weather to 5 Oct"
    assert words.weather_age([date(2025, 10, 4)], date(2025, 10, 6)) == "weather to 4 Oct, 1 day old"
    assert words.weather_age([], date(2025, 10, 6)) == "no weather station"


def test_money() -> None:
    assert [words.dollars(x) for x in (1234.5, 0.49, 0.0, -0.2, -3.0)] == [
        "$1,234",
        "under $1",
        "$0",
        "$0",
        "-$3",
    ]
    with pytest.raises(ValueError, match="not an amount"):
        words.dollars(float("nan"))


# --- invariants
def test_a_chance_is_never_zero_or_certain_nor_has_three_figures() -> None:
    for thousandth in range(1001):
        p = thousandth / 1000
        assert not re.search(r"\b0 in|\b(\d+) in \1\b", words.odds(p))
        assert not re.search(r"\.|\b0 %|100 %", words.percent(p))
        top, bottom = map(int, re.findall(r"\d+", words.odds(p)))
        assert top < 100
        assert bottom <= 100


def test_a_larger_chance_is_never_said_smaller() -> None:
    def value(p: float) -> float:
        top, bottom = map(int, re.findall(r"\d+", words.odds(p)))
        return top / bottom

    said = [value(thousandth / 1000) for thousandth in range(1001)]
    assert said == sorted(said)
    assert len(set(said)) > 20


def test_clean_leaves_no_sign_that_moves_a_cursor_or_turns_a_line() -> None:
    assert words.clean("a\x1b[31m\u202eb\r\nc\u2028d\x00e\tf") == "a [31m b c d e f"
