"""The outlook services, asked over a real line; what they answer is invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from math import cos, pi
from pathlib import Path

import numpy as np
import pytest
from invented_outlooks import CHICAGO, hours, met_norway, nws_grid, nws_point, nws_week, open_meteo
from weather_ages import make_older
from weather_server import Answer, WeatherServer

from forecaster.weather.http import Fetcher, FetchFailed
from forecaster.weather.outlook_days import day_bounds
from forecaster.weather.outlook_kept import keep_outlooks, one_a_day, read_kept
from forecaster.weather.outlook_met_norway import fetch_met_norway
from forecaster.weather.outlook_nws import fetch_nws
from forecaster.weather.outlook_open_meteo import fetch_open_meteo, fetch_past_open_meteo, key_problem
from forecaster.weather.stations import Station

ALDER = Station("ALDER", "Alder field", 43.05, -89.4, 262.0)
Make = Callable[..., Fetcher]


def nws_routes(server: WeatherServer, grid: bytes) -> None:
    server.routes["/points/43.05,-89.4"] = Answer(nws_point(f"{server.url}/gridpoints/ZZZ/1,2"))
    server.routes["/gridpoints/ZZZ/1,2"] = Answer(grid, etag='"g1"')


# --- National Weather Service


def test_nws_minima_count_for_the_morning_on_which_the_night_ends(
    server: WeatherServer, make_fetcher: Make
) -> None:
    nws_routes(
        server,
        nws_grid(
            updated="2025-10-06T09:12:00+00:00",
            # 7 p.m. on the 6th to 8 a.m. on the 7th in Chicago is 00:00 to 13:00 UTC on the 7th.
            lows=[("2025-10-07T00:00:00+00:00/PT13H", -2.22), ("2025-10-08T00:00:00+00:00/PT13H", None)],
            highs=[("2025-10-06T12:00:00+00:00/PT13H", 15.0), ("2025-10-07T12:00:00+00:00/PT13H", 11.11)],
        ),
    )
    kept, answer = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    outlook = kept.outlook
    assert outlook.days == (date(2025, 10, 6), date(2025, 10, 7))
    assert outlook.issued == date(2025, 10, 6)
    assert outlook.issued_at == datetime(2025, 10, 6, 9, 12, tzinfo=UTC)
    np.testing.assert_array_equal(outlook.tmin_c, [np.nan, -2.22])
    np.testing.assert_array_equal(outlook.tmax_c, [15.0, 11.11])
    assert outlook.source == "nws"
    assert answer.how == "new"
    assert server.asked[0].path == "/points/43.05,-89.4"  # no zeros at the end: no redirect is needed


def test_nws_issued_in_the_evening_belongs_to_that_day_at_the_station(
    server: WeatherServer, make_fetcher: Make
) -> None:
    nws_routes(server, nws_week(date(2025, 11, 1), "2025-11-01T03:00:00+00:00", [1.0, 0.0], [9.0, 8.0]))
    kept, _ = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    assert kept.outlook.issued == date(2025, 10, 31)  # 10 p.m. on Halloween
    assert kept.outlook.days == (date(2025, 11, 1), date(2025, 11, 2))


@pytest.mark.parametrize("first", [date(2025, 10, 30), date(2025, 12, 29)])
def test_nws_days_stay_in_line_over_the_end_of_daylight_time_and_the_year(
    server: WeatherServer, make_fetcher: Make, first: date
) -> None:
    lows, highs = [float(at) for at in range(7)], [10.0 + at for at in range(7)]
    nws_routes(server, nws_week(first, f"{first}T10:00:00+00:00", lows, highs))
    kept, _ = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    assert kept.outlook.days == tuple(first + timedelta(days=at) for at in range(7))
    assert kept.outlook.tmin_c.tolist() == lows
    assert kept.outlook.tmax_c.tolist() == highs


def test_nws_mean_is_taken_from_the_hours_of_a_whole_day(server: WeatherServer, make_fetcher: Make) -> None:
    start, _ = day_bounds(date(2025, 11, 2), CHICAGO)  # 25 hours: twelve of 2 °C, thirteen of 8 °C
    hourly = [(f"{at.isoformat()}/PT1H", 2.0 if n < 12 else 8.0) for n, at in enumerate(hours(start, 25))]
    hourly += [(f"{(start + timedelta(hours=25)).isoformat()}/PT5H", 1.0)]
    document = json.loads(nws_week(date(2025, 11, 2), "2025-11-02T04:00:00+00:00", [1.0, 0.0], [9.0, 8.0]))
    document["properties"]["temperature"] = {
        "uom": "wmoUnit:degC",
        "values": [{"validTime": at, "value": value} for at, value in hourly],
    }
    nws_routes(server, json.dumps(document).encode())
    kept, _ = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    assert kept.outlook.tmean_c is not None
    assert kept.outlook.tmean_c[0] == pytest.approx((12 * 2.0 + 13 * 8.0) / 25)
    assert np.isnan(kept.outlook.tmean_c[1])


def test_nws_outside_the_united_states_says_what_to_choose(server: WeatherServer, make_fetcher: Make) -> None:
    with pytest.raises(FetchFailed, match='outlook = "met-norway"'):
        fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)


def test_nws_grid_on_another_host_is_not_asked(server: WeatherServer, make_fetcher: Make) -> None:
    other = WeatherServer()
    server.routes["/points/43.05,-89.4"] = Answer(nws_point(f"{other.url}/gridpoints/ZZZ/1,2"))
    with pytest.raises(FetchFailed, match="another host"):
        fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    server.routes["/points/43.05,-89.4"] = Answer(nws_point("file:///etc/passwd"))
    fetcher = make_fetcher()
    make_older(fetcher, days=40)
    with pytest.raises(FetchFailed, match="another host"):
        fetch_nws(fetcher, ALDER, CHICAGO, base_url=server.url)
    assert other.count() == 0
    other.kill()


@pytest.mark.parametrize(
    ("grid", "why"),
    [
        (nws_grid(updated="2025-10-06T09:12:00Z", lows=[("2025-10-07T00:00:00Z/PT13H", 28.0)], highs=[],
                  uom="wmoUnit:degF"), "not in °C"),
        (nws_grid(updated="2025-10-06T09:12:00Z", lows=[("2025-10-07T00:00:00Z/PT13H", 280.0)], highs=[]),
         "no temperature"),
        (nws_grid(updated="2025-10-06T09:12:00", lows=[], highs=[]), "time zone"),
        (nws_grid(updated="2025-10-06T09:12:00Z", lows=[], highs=[]), "hold no temperatures"),
        (nws_grid(updated="2025-10-06T09:12:00Z", lows=[("tomorrow", 1.0)], highs=[]), "tomorrow"),
        (b'{"properties": {"updateTime": "2025-10-06T09:12:00Z", "minTemperature": {"uom": "wmoUnit:degC", '
         b'"values": [3, null]}}}', "no minTemperature"),
        (b"<html>log in</html>", "a page to log in"),
        (b"[" * 100_000, "not the data"),
        (b"null", "no properties"),
    ],
)  # fmt: skip
def test_nws_answers_that_are_not_the_data_are_refused_before_they_are_kept(
    server: WeatherServer, make_fetcher: Make, grid: bytes, why: str
) -> None:
    nws_routes(server, nws_week(date(2025, 10, 7), "2025-10-06T09:12:00Z", [1.0], [9.0]))
    fetcher = make_fetcher()
    fetch_nws(fetcher, ALDER, CHICAGO, base_url=server.url)
    make_older(fetcher, days=1)
    server.routes["/gridpoints/ZZZ/1,2"] = Answer(grid)
    kept, answer = fetch_nws(fetcher, ALDER, CHICAGO, base_url=server.url)
    assert answer.is_old
    assert why in answer.why
    assert kept.outlook.tmin_c.tolist() == [1.0]


# --- MET Norway


def swing(at: datetime) -> float:
    """Warmest at 21:00 UTC, coldest at 09:00 UTC."""
    return 6.0 - 5.0 * cos(2 * pi * (at.hour + at.minute / 60 - 9) / 24)


def test_met_norway_hours_and_six_hours_become_local_days(server: WeatherServer, make_fetcher: Make) -> None:
    first = datetime(2025, 10, 31, 5, tzinfo=UTC)  # midnight in Chicago
    hourly = hours(first, 61)
    later = hours(first + timedelta(hours=66), 26, 6)
    server.routes["/f"] = Answer(
        met_norway(updated="2025-10-31T04:40:00Z", hourly=hourly, later=later, course=swing)
    )
    fetcher = make_fetcher(honour_expires=True)
    kept, _ = fetch_met_norway(fetcher, ALDER, CHICAGO, url=f"{server.url}/f")
    outlook = kept.outlook
    assert outlook.issued == date(2025, 10, 30)  # 04:40 UTC is still the evening before in Chicago
    assert outlook.days[0] == date(2025, 10, 31)
    assert outlook.days[:4] == tuple(date(2025, 10, 31) + timedelta(days=at) for at in range(4))
    assert outlook.tmin_c[0] == pytest.approx(1.0)
    assert outlook.tmax_c[0] == pytest.approx(11.0)
    assert outlook.tmean_c is not None
    assert outlook.tmean_c[0] == pytest.approx(6.0, abs=0.05)
    asked = server.asked[0]
    assert asked.query == {"lat": ["43.0500"], "lon": ["-89.4000"], "altitude": ["262"]}
    assert "office@example.org" in asked.headers["User-Agent"]


def test_met_norway_stated_extremes_are_used_between_six_hourly_moments(
    server: WeatherServer, make_fetcher: Make
) -> None:
    first = datetime(2025, 10, 6, 5, tzinfo=UTC)
    body = met_norway(
        updated="2025-10-06T04:40:00Z", hourly=[], later=hours(first, 9, 6), course=lambda at: 5.0,
        extremes=lambda at: (-4.0, 6.0) if at == first else (4.0, 9.0),
    )  # fmt: skip
    server.routes["/f"] = Answer(body)
    kept, _ = fetch_met_norway(make_fetcher(honour_expires=True), ALDER, CHICAGO, url=f"{server.url}/f")
    assert kept.outlook.tmin_c.tolist() == [-4.0, 4.0]
    assert kept.outlook.tmax_c.tolist() == [9.0, 9.0]


def test_met_norway_in_another_unit_is_refused(server: WeatherServer, make_fetcher: Make) -> None:
    first = datetime(2025, 10, 6, 5, tzinfo=UTC)
    server.routes["/f"] = Answer(
        met_norway(
            updated="2025-10-06T04:40:00Z", hourly=hours(first, 30), later=[], course=swing, unit="kelvin"
        )
    )
    with pytest.raises(FetchFailed, match="not in celsius"):
        fetch_met_norway(make_fetcher(), ALDER, CHICAGO, url=f"{server.url}/f")


# --- Open-Meteo


def test_open_meteo_with_ensemble(server: WeatherServer, make_fetcher: Make) -> None:
    first = datetime(2025, 11, 1, 0, tzinfo=UTC)
    moments = hours(first, 24 * 5)
    server.routes["/f"] = Answer(open_meteo(moments, {"temperature_2m": swing}))
    members = {"temperature_2m": swing} | {
        f"temperature_2m_member{n:02d}": (lambda at, n=n: swing(at) + n) for n in range(1, 31)
    }
    server.routes["/e"] = Answer(open_meteo(moments, members))
    kept, answer = fetch_open_meteo(
        make_fetcher(), ALDER, CHICAGO, url=f"{server.url}/f", ensemble_url=f"{server.url}/e", key="hush"
    )
    assert server.asked[0].query["apikey"] == ["hush"]
    assert server.asked[0].query["timeformat"] == ["unixtime"]
    assert kept.outlook.issued_at == answer.got_at
    # All days of 2025 lie before the day of the request, so no coming day is left of these.
    assert kept.outlook.days == ()


def test_open_meteo_days_are_the_stations_own_over_the_change_of_clocks(
    server: WeatherServer, make_fetcher: Make
) -> None:
    today = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    moments = hours(today.replace(hour=0), 24 * 6)
    server.routes["/f"] = Answer(open_meteo(moments, {"temperature_2m": swing}))
    members = {f"temperature_2m_member{n:02d}": (lambda at, n=n: swing(at) + n) for n in range(1, 31)}
    server.routes["/e"] = Answer(open_meteo(moments, {"temperature_2m": swing} | members))
    kept, _ = fetch_open_meteo(
        make_fetcher(), ALDER, CHICAGO, url=f"{server.url}/f", ensemble_url=f"{server.url}/e", key="hush"
    )
    outlook = kept.outlook
    assert outlook.issued == today.astimezone(CHICAGO).date()
    whole = np.isfinite(outlook.tmin_c)
    assert whole.sum() >= 3
    np.testing.assert_allclose(outlook.tmin_c[whole], 1.0, atol=0.01)
    # Thirty-one members 1 °C apart: standard deviation of 0, 1, ..., 30 is sqrt(31 * 32 / 12).
    np.testing.assert_allclose(kept.tmin_sd_c[whole], np.sqrt(31 * 32 / 12), rtol=1e-4)


def test_open_meteo_past_forecasts_become_outlooks_of_their_days(
    server: WeatherServer, make_fetcher: Make
) -> None:
    now = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    moments = hours(now.replace(hour=0) - timedelta(days=12), 24 * 13)
    variables = {
        f"temperature_2m_previous_day{lead}": (lambda at, lead=lead: swing(at) + lead) for lead in range(1, 8)
    }
    server.routes["/p"] = Answer(open_meteo(moments, variables))
    past = fetch_past_open_meteo(make_fetcher(), ALDER, CHICAGO, url=f"{server.url}/p", key="hush")
    today = now.astimezone(CHICAGO).date()
    assert {k.kind for k in past} == {"past"}
    for kept in past:
        for day, low in zip(kept.outlook.days, kept.outlook.tmin_c, strict=True):
            lead = (day - kept.outlook.issued).days
            assert 1 <= lead <= 7
            assert day < today
            assert low == pytest.approx(1.0 + lead, abs=0.01)  # forecast that many days before
    assert sum(len(k.outlook.days) for k in past) > 50


def test_open_meteo_needs_a_key_on_its_customers_host() -> None:
    assert "api_key_env" in key_problem("https://customer-api.open-meteo.com/v1/forecast", "")
    assert key_problem("https://customer-api.open-meteo.com/v1/forecast", "hush") == ""


def test_open_meteo_in_fahrenheit_is_refused(server: WeatherServer, make_fetcher: Make) -> None:
    moments = hours(datetime(2025, 11, 1, 0, tzinfo=UTC), 72)
    server.routes["/f"] = Answer(open_meteo(moments, {"temperature_2m": swing}, unit="°F"))
    with pytest.raises(FetchFailed, match="not in °C"):
        fetch_open_meteo(make_fetcher(), ALDER, CHICAGO, url=f"{server.url}/f")


# --- what is kept


def test_an_outlook_is_kept_once_and_read_as_it_was(
    server: WeatherServer, make_fetcher: Make, tmp_path: Path
) -> None:
    nws_routes(server, nws_week(date(2025, 10, 7), "2025-10-06T09:12:00Z", [1.5, -0.25], [9.0, 8.0]))
    kept, _ = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
    assert keep_outlooks(tmp_path, [kept]) == 1
    assert keep_outlooks(tmp_path, [kept]) == 0
    (again,) = read_kept(tmp_path, ["ALDER"], as_of=date(2025, 10, 6))
    assert again.outlook.days == kept.outlook.days
    assert again.outlook.tmin_c.tolist() == [1.5, -0.25]
    assert again.outlook.issued_at == kept.outlook.issued_at
    assert (again.outlook.source, again.kind) == ("nws", "forecast")
    assert read_kept(tmp_path, ["ALDER"], as_of=date(2025, 10, 5)) == ()  # not yet issued
    assert read_kept(tmp_path, ["ALDER"], as_of=date(2025, 10, 6), source="met-norway") == ()


def test_of_two_outlooks_of_one_day_the_later_one_counts(
    server: WeatherServer, make_fetcher: Make, tmp_path: Path
) -> None:
    for hour, low in ((9, 1.0), (15, 2.0)):
        nws_routes(server, nws_week(date(2025, 10, 7), f"2025-10-06T{hour:02}:00:00Z", [low], [9.0]))
        kept, _ = fetch_nws(make_fetcher(), ALDER, CHICAGO, base_url=server.url)
        if hour == 15:
            server.routes["/gridpoints/ZZZ/1,2"] = Answer(
                nws_week(date(2025, 10, 7), "2025-10-06T15:00:00Z", [low], [9.0])
            )
            fetcher = make_fetcher()
            make_older(fetcher, days=1)
            kept, _ = fetch_nws(fetcher, ALDER, CHICAGO, base_url=server.url)
        keep_outlooks(tmp_path, [kept])
    both = read_kept(tmp_path, ["ALDER"], as_of=date(2025, 10, 6))
    assert len(both) == 2
    (last,) = one_a_day(both)
    assert last.outlook.tmin_c.tolist() == [2.0]
