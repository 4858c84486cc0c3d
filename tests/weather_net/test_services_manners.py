"""What every service is asked with, and that no bad answer of any of them is taken for data."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_outlooks import CHICAGO
from weather_server import Answer, WeatherServer

from forecaster.weather.geocode import look_up
from forecaster.weather.http import Fetcher, FetchFailed
from forecaster.weather.outlook_met_norway import fetch_met_norway
from forecaster.weather.outlook_nws import fetch_nws
from forecaster.weather.outlook_open_meteo import fetch_open_meteo, fetch_past_open_meteo
from forecaster.weather.stations import Station

ALDER = Station("ALDER", "Alder field", 43.05, -89.4, 262.0)
Make = Callable[..., Fetcher]


def ask(name: str, fetcher: Fetcher, url: str, folder: Path, station: Station = ALDER) -> object:
    """One request to a service by its name."""
    if name == "nws":
        return fetch_nws(fetcher, station, CHICAGO, base_url=url)
    if name == "met-norway":
        return fetch_met_norway(fetcher, station, CHICAGO, url=f"{url}/met")
    if name == "open-meteo":
        return fetch_open_meteo(fetcher, station, CHICAGO, url=f"{url}/om", key="hush")
    if name == "open-meteo past":
        return fetch_past_open_meteo(fetcher, station, CHICAGO, url=f"{url}/past", key="hush")
    (folder / "sites.csv").write_text(
        "site_id,customer,address,latitude,longitude,mean_depth_in\n"
        'L-01,Invented One,"12 Mill Lane, Ambervane, WI 53000",,,24\n'
    )
    return look_up(folder, fetcher, f"{url}/batch")


SERVICES = ("nws", "met-norway", "open-meteo", "open-meteo past", "geocoder")


@pytest.mark.parametrize("name", SERVICES)
def test_every_request_says_who_asks(
    server: WeatherServer, make_fetcher: Make, tmp_path: Path, name: str
) -> None:
    server.fallback = Answer(b"no", status=404)
    with pytest.raises(FetchFailed):
        ask(name, make_fetcher(contact="office@example.org"), server.url, tmp_path)
    assert server.asked
    for asked in server.asked:
        assert asked.headers["User-Agent"].startswith("forecaster/")
        assert "(office@example.org)" in asked.headers["User-Agent"]
        assert "gzip" in asked.headers["Accept-Encoding"]


BAD = {
    "a log-in page": Answer(b"<html>Welcome to our hotel</html>", kind="text/html"),
    "another kind of data": Answer(b'{"hello": [1, 2]}', kind="application/json"),
    "no text at all": Answer(bytes(range(256)) * 20, kind="application/json"),
    "cut in the middle": Answer(b'{"hourly": {"time": [' + b"1," * 4000, cut_after=900),
    "an error": Answer(b"", status=500),
    "too many requests": Answer(b"", status=429, headers={"Retry-After": "3600"}),
    "a bomb": Answer(gzip.compress(b"\0" * 60_000_000), headers={"Content-Encoding": "gzip"}),
    "deep nesting": Answer(b"[" * 200_000, kind="application/json"),
    "numbers that are none": Answer(b'{"hourly": {"time": [1e999, NaN]}}', kind="application/json"),
}


@pytest.mark.parametrize("name", SERVICES)
@pytest.mark.parametrize("bad", BAD)
def test_a_bad_answer_of_any_service_is_refused_in_words(
    server: WeatherServer, make_fetcher: Make, tmp_path: Path, name: str, bad: str
) -> None:
    server.fallback = BAD[bad]
    fetcher = make_fetcher(max_bytes=2_000_000, timeout_s=2.0)
    with pytest.raises(FetchFailed) as caught:
        ask(name, fetcher, server.url, tmp_path)
    assert caught.value.why
    assert "Traceback" not in str(caught.value)
    assert not (tmp_path / "coordinates.csv").exists()


@pytest.mark.parametrize("name", ["met-norway", "open-meteo", "open-meteo past"])
def test_an_unknown_height_is_not_sent(
    server: WeatherServer, make_fetcher: Make, tmp_path: Path, name: str
) -> None:
    server.fallback = Answer(b"no", status=404)
    for height in (262.0, np.nan):
        with pytest.raises(FetchFailed):
            ask(name, make_fetcher(), server.url, tmp_path, replace(ALDER, elevation_m=height))
    sent = [asked.query.get("altitude", asked.query.get("elevation")) for asked in server.asked]
    assert sent == [["262"], None]
