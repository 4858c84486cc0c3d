"""Whom the data ask to name stands on every text, page, sheet and file that is made from them."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import openpyxl
import pytest
from invented_archive import InventedArchive, InventedStation
from weather_server import WeatherServer

from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.build import forecast_route
from forecaster.forecast import RouteForecast
from forecaster.pipeline import load_known
from forecaster.report.contract import route_json
from forecaster.report.page import route_page
from forecaster.report.text import route_text
from forecaster.report.water_text import water_text
from forecaster.report.workbook import route_workbook
from forecaster.season.settings import read_settings
from forecaster.season.sheet import read_sites
from forecaster.waters import route_water
from forecaster.weather.credits import credits_of
from forecaster.weather.export import export_weather
from forecaster.weather.http_limits import HttpLimits
from forecaster.weather.update import update_weather

AS_OF = date(2025, 10, 6)
RECORDS = "Station records: Meteostat (meteostat.net), CC BY 4.0"
NOAA = "NOAA NCEI, GHCN-Daily (public domain"
OUTLOOK = "Outlook: MET Norway (api.met.no), CC BY 4.0."


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season folder whose records came from a local archive."""
    folder = tmp_path_factory.mktemp("credited")
    server = WeatherServer()
    InventedArchive((InventedStation("AA001"),)).serve(server, range(2004, 2026))
    (folder / "season.toml").write_text(
        '[season]\nyear = 2025\ntimezone = "America/Chicago"\nmembers = 100\n'
        f'[weather]\nsource = "meteostat"\nseasons = 15\nbase_url = "{server.url}"\noutlook = "met-norway"\n'
        '[[crew]]\nname = "North"\nlatitude = 43.05\nlongitude = -89.05\nhours_per_day = 8\n'
        'work_days = ["mon", "tue", "wed", "thu", "fri"]\nfirst_day = 2025-09-15\nlast_day = 2025-12-05\n'
    )
    (folder / "sites.csv").write_text(
        "site_id,customer,latitude,longitude,mean_depth_in\nP-01,Invented,43.02,-89.02,24\n"
    )
    settings = read_settings(folder)
    records_only = settings.model_copy(
        update={"weather": settings.weather.model_copy(update={"outlook": "none"})}
    )
    update_weather(
        folder, records_only, read_sites(folder, crew_names=["North"])[0],
        now=datetime(2025, 10, 6, 12, tzinfo=UTC), limits=HttpLimits(timeout_s=2.0),
    )  # fmt: skip
    server.kill()
    return folder


@pytest.fixture(scope="module")
def forecast(season: Path) -> RouteForecast:
    return forecast_route(load_known(season, AS_OF))


def test_the_forecast_carries_them(forecast: RouteForecast) -> None:
    assert [text[:25] for text in forecast.credits] == [
        RECORDS[:25],
        f"Behind them: {NOAA}"[:25],
        OUTLOOK[:25],
    ]
    assert json.loads(route_json(forecast))["credits"] == list(forecast.credits)


def test_every_report_names_them(season: Path, forecast: RouteForecast) -> None:
    text = " ".join(route_text(forecast, width=100, unicode=False, color=False, limit=3).split())
    page = " ".join(route_page(forecast).split())
    book = openpyxl.load_workbook(io.BytesIO(route_workbook(forecast)))
    cells = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
    water = " ".join(water_text(route_water(load_known(season, AS_OF)), unicode=False).split())
    for shown in (text, page, cells, water):
        for named in (RECORDS, NOAA, OUTLOOK):
            assert named in shown


def test_without_credits_nothing_is_added(forecast: RouteForecast) -> None:
    bare = replace(forecast, credits=())
    assert "Weather data" not in route_text(bare, width=100, unicode=False, color=False, limit=3)
    assert json.loads(route_json(bare))["credits"] == []


def test_exported_files_keep_them(season: Path, tmp_path: Path) -> None:
    settings = read_settings(season)
    copy = tmp_path / "again"
    export_weather(season, settings, as_of=AS_OF, to=copy / "weather")
    assert RECORDS in (copy / "weather" / "credits.txt").read_text()
    files = settings.model_copy(
        update={"weather": settings.weather.model_copy(update={"source": "files", "outlook": "none"})}
    )
    assert credits_of(copy, files) == credits_of(season, settings)


def test_own_files_are_credited_as_the_office_writes(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text('[season]\nyear = 2025\ntimezone = "America/Chicago"\n')
    settings = read_settings(tmp_path)
    assert credits_of(tmp_path, settings) == ()
    (tmp_path / "weather").mkdir()
    (tmp_path / "weather" / "credits.txt").write_text("Data: an invented club, CC BY 4.0.\n\n\x1b[31mred\n")
    assert credits_of(tmp_path, settings) == ("Data: an invented club, CC BY 4.0.", "[31mred")
    (tmp_path / "weather" / "credits.txt").write_bytes(b"\xff\xfe\x00bad")
    assert credits_of(tmp_path, settings) == ()


def test_a_replay_reads_the_kept_records_and_names_them(season: Path) -> None:
    given = read_backtest(season, Asked())
    assert [record.station.station_id for record in given.records] == ["AA001"]
    assert any(RECORDS in notice.text for notice in given.notices)
