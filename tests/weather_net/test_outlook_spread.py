"""Today's spread of the service's ensemble in the outlook's error: hand values, and what must not change."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from forecaster.errors import BadInput
from forecaster.season.settings import read_settings
from forecaster.weather.export import export_weather
from forecaster.weather.files import read_weather
from forecaster.weather.outlook_days import DayValues
from forecaster.weather.outlook_errors import LeadErrors
from forecaster.weather.outlook_kept import keep_outlooks, kept_issues, make_kept, read_kept
from forecaster.weather.outlook_spread import spread_factors, today_errors
from forecaster.weather.stations import Outlook

TODAY = date(2025, 10, 6)
NAN = np.nan


def outlook(
    issued: date, spread: float | list[float] | None, *, source: str = "s", name: str = "A"
) -> Outlook:
    """Three days of an issue; `spread` of minima and means [°C]."""
    days = tuple(issued + timedelta(days=n) for n in range(3))
    flat = np.zeros(3)
    if spread is None:
        return Outlook(name, issued, days, flat, flat + 8, source)
    sd = np.broadcast_to(np.array(spread, dtype=float), 3).copy()
    return Outlook(name, issued, days, flat, flat + 8, source, spread_min_c=sd, spread_mean_c=sd / 2)


def learned() -> LeadErrors:
    three = np.array([2.0, 2.5, 3.0])
    nothing = np.zeros(3)
    return LeadErrors(
        "A", "s", nothing.astype(int), nothing, three, nothing, three / 2, 0.6, 0.85, nothing, nothing
    )


def earlier(count: int, spread: float) -> list[Outlook]:
    return [outlook(TODAY - timedelta(days=n), spread) for n in range(1, count + 1)]


# --- hand arithmetic
@pytest.mark.parametrize(
    ("issues", "today", "usual", "factor"),
    [
        (
            30,
            2.0,
            1.0,
            np.sqrt(1 + 0.25 * 3),
        ),  # half of 30 / 60 is believed; the variance is four times the usual
        (10, 2.0, 1.0, np.sqrt(1 + 0.125 * 3)),
        (30, 9.0, 1.0, np.sqrt(1 + 0.25 * 3)),  # counts as twice the usual spread
        (30, 0.5, 1.0, np.sqrt(1 - 0.25 * 0.75)),
        (30, 0.01, 1.0, np.sqrt(1 - 0.25 * 0.75)),  # and at least half of it
        (30, 1.7, 1.7, 1.0),
        (0, 2.0, 1.0, 1.0),
        (30, NAN, 1.0, 1.0),
        (30, 2.0, NAN, 1.0),
        (30, 2.0, 0.0, 1.0),
    ],
)
def test_factors(issues: int, today: float, usual: float, factor: float) -> None:
    found = spread_factors(np.array([today]), np.full((issues, 1), usual))
    assert found == pytest.approx([factor], abs=1e-12)


def test_each_lead_is_compared_with_its_own() -> None:
    usual = np.array([[1.0, 2.0, NAN], [1.0, 2.0, NAN]])
    found = spread_factors(np.array([1.0, 4.0, 4.0]), usual)
    assert found.tolist() == [1.0, pytest.approx(np.sqrt(1 + 0.5 * 2 / 32 * 3)), 1.0]


def test_the_usual_spread_is_a_mean_of_variances() -> None:
    found = spread_factors(np.array([np.sqrt(5.0)]), np.array([[1.0], [3.0]]))  # (1 + 9) / 2 = 5
    assert found.tolist() == [1.0]


def test_errors_of_minima_and_means_widen_each_by_its_own() -> None:
    latest = outlook(TODAY, [2.0, 1.0, 0.5])
    found = today_errors(learned(), latest, [latest, *earlier(30, 1.0)])
    factors = np.sqrt([1.75, 1.0, 1 - 0.1875])
    np.testing.assert_allclose(found.sd_min_c, learned().sd_min_c * factors)
    np.testing.assert_allclose(found.sd_mean_c, learned().sd_mean_c * factors)
    np.testing.assert_array_equal(found.bias_min_c, learned().bias_min_c)


# --- what must leave the learned errors as they are, to the last bit
def test_without_anything_to_compare_the_learned_errors_are_returned_themselves() -> None:
    ours = learned()
    wide = outlook(TODAY, 3.0)
    for latest, others in (
        (outlook(TODAY, None), earlier(30, 1.0)),  # no ensemble today
        (wide, [wide]),  # nothing earlier
        (wide, [replace(o, spread_min_c=None, spread_mean_c=None) for o in earlier(30, 1.0)]),
        (wide, [replace(o, source="other") for o in earlier(30, 1.0)]),
        (wide, [replace(o, station_id="B") for o in earlier(30, 1.0)]),
        (wide, [replace(o, issued=TODAY + timedelta(days=1)) for o in earlier(5, 1.0)]),
        (outlook(TODAY, 1.0), earlier(30, 1.0)),  # as usual
        (outlook(TODAY, NAN), earlier(30, 1.0)),
    ):
        assert today_errors(ours, latest, others) is ours


# --- files
def test_the_spread_is_kept_and_read_back(tmp_path: Path) -> None:
    days = [DayValues(TODAY + timedelta(days=n), -1.0, 7.0, 3.0) for n in range(2)]
    at = datetime(2025, 10, 6, 12, tzinfo=UTC)
    zone = ZoneInfo("America/Chicago")
    for name, spread in (("A", [(1.25, 0.75), (NAN, NAN)]), ("B", None)):
        kept = make_kept(name, days, source="s", issued_at=at, fetched_at=at, zone=zone, spread=spread)
        keep_outlooks(tmp_path, [kept])
    with_spread, without = (kept.with_spread for kept in read_kept(tmp_path, ["A", "B"], as_of=TODAY))
    np.testing.assert_array_equal(with_spread.spread_min_c, [1.25, NAN])
    np.testing.assert_array_equal(with_spread.spread_mean_c, [0.75, NAN])
    assert without.spread_min_c is None
    assert [o.spread_min_c is None for o in kept_issues(tmp_path, ["A", "B"], "s")] == [False, True]


def test_own_outlook_files_may_hold_it_and_nonsense_is_none(tmp_path: Path) -> None:
    days = np.arange(np.datetime64("2022-01-01"), np.datetime64("2025-10-06"))
    rows = "\n".join(f"{day},{n % 7}.0,{n % 7 + 9}.0" for n, day in enumerate(days))
    (tmp_path / "outlook").mkdir()
    (tmp_path / "stations.csv").write_text("station_id,name,latitude,longitude,elevation_m\nA,A,43,-89,200\n")
    (tmp_path / "A.csv").write_text(f"date,tmin,tmax\n{rows}\n")
    (tmp_path / "outlook" / "A.csv").write_text(
        "issued,date,tmin,tmax,tmin_sd,tmean_sd\n2025-10-06,2025-10-06,3,9,1.5,\n2025-10-06,2025-10-07,3,9,-2,99\n"
    )
    (found,) = read_weather(tmp_path, as_of=TODAY, with_outlooks=True).outlooks
    np.testing.assert_array_equal(found.spread_min_c, [1.5, NAN])
    np.testing.assert_array_equal(found.spread_mean_c, [NAN, NAN])
    (tmp_path / "outlook" / "A.csv").write_text(
        "issued,date,tmin,tmax,tmin_sd\n2025-10-06,2025-10-06,3,9,x\n"
    )
    with pytest.raises(BadInput, match="tmin_sd"):
        read_weather(tmp_path, as_of=TODAY, with_outlooks=True)


def test_an_export_keeps_it(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text(
        '[season]\nyear = 2025\ntimezone = "America/Chicago"\n[weather]\noutlook = "open-meteo"\n'
    )
    weather = tmp_path / "weather"
    weather.mkdir()
    days = np.arange(np.datetime64("2022-01-01"), np.datetime64("2025-10-06"))
    rows = "\n".join(f"{day},{n % 7}.0,{n % 7 + 9}.0" for n, day in enumerate(days))
    (weather / "stations.csv").write_text("station_id,name,latitude,longitude,elevation_m\nA,A,43,-89,200\n")
    (weather / "A.csv").write_text(f"date,tmin,tmax\n{rows}\n")
    zone = ZoneInfo("America/Chicago")
    for back, spread in ((1, 1.0), (0, 2.5)):
        issued = TODAY - timedelta(days=back)
        at = datetime(issued.year, issued.month, issued.day, 12, tzinfo=UTC)
        coming = [DayValues(issued + timedelta(days=n), -1.0, 7.0, 3.0) for n in range(3)]
        kept = make_kept(
            "A",
            coming,
            source="open-meteo",
            issued_at=at,
            fetched_at=at,
            zone=zone,
            spread=[(spread, 1.0)] * 3,
        )
        keep_outlooks(weather, [kept])
    export_weather(tmp_path, read_settings(tmp_path), as_of=TODAY, to=tmp_path / "copy")
    again = read_weather(tmp_path / "copy", as_of=TODAY, with_outlooks=True).outlooks
    assert [o.spread_min_c.tolist() for o in again if o.spread_min_c is not None] == [[1.0] * 3, [2.5] * 3]
    ours = learned()
    assert today_errors(ours, again[1], again).sd_min_c[0] == pytest.approx(
        2.0 * np.sqrt(1 + 0.5 / 31 * 3)  # 2.5 times counts as twice
    )
