"""Whole records in the place of yearly files: how many requests they save, and when they are not believed."""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from invented_archive import InventedArchive, InventedStation, invented_year
from weather_ages import make_older
from weather_server import Answer, WeatherServer

from forecaster.errors import BadInput
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.ghcn import read_by_station
from forecaster.weather.http import Fetcher, HttpSettings
from forecaster.weather.http_limits import HttpLimits
from forecaster.weather.load import load_weather
from forecaster.weather.meteostat_source import DailyObserved
from forecaster.weather.records import read_about
from forecaster.weather.update import UpdateReport, update_weather
from forecaster.weather.whole_records import check_whole, cut_years, differs, lacks_means, whole_name

NOW = datetime(2025, 10, 6, 12, tzinfo=UTC)
ONE = InventedStation("AA001", noaa_id="ZZW00000001")
SITE = (Site("P-01", "Invented", 43.02, -89.02, 0.8, row=2),)
PATH = "/by_station/ZZW00000001.csv.gz"


class Season:
    """A season of 15 falls (and 4 to spare) whose archives are one local server."""

    def __init__(self, folder: Path, server: WeatherServer, **weather: object) -> None:
        self.folder, self.server, self.weather, self.now = folder, server, weather, NOW

    def update(self, sites: tuple[Site, ...] = SITE) -> UpdateReport:
        return update_weather(
            self.folder, self.settings, sites, now=self.now, sleep=lambda seconds: None,
            limits=HttpLimits(timeout_s=2.0),
        )  # fmt: skip

    @property
    def settings(self) -> Settings:
        weather = {
            "source": "meteostat", "base_url": self.server.url, "stations_per_site": 1, "seasons": 15,
            "whole_records_url": f"{self.server.url}/by_station", **self.weather,
        }  # fmt: skip
        return Settings.model_validate(
            {"season": {"year": 2025, "timezone": "America/Chicago"}, "weather": weather}
        )


def make_copies_older(season: Season, days: float) -> None:
    """Let the copies of the session be older, as if the update had run so many days ago."""
    with Fetcher(season.folder / ".weather", HttpSettings()) as fetcher:
        make_older(fetcher, days)


def served(server: WeatherServer, station: InventedStation = ONE, **whole: object) -> InventedArchive:
    """The invented archive with the whole record of one station beside it."""
    archive = InventedArchive((station,))
    archive.serve(server, range(2004, 2026))
    body = archive.whole(station, range(1995, 2026), **whole)  # type: ignore[arg-type]
    server.routes[PATH] = Answer(gzip.compress(body, mtime=0), etag='"whole-1"')
    return archive


def texts(report: UpdateReport) -> str:
    return "\n".join(map(str, report.notices))


# --- counted on the server


def test_twenty_stations_of_35_years_cost_two_requests_each_and_the_second_update_none(
    tmp_path: Path, server: WeatherServer
) -> None:
    many = tuple(
        InventedStation(f"BB{at:03}", 43.0 + 0.02 * at, -89.0, noaa_id=f"ZZW{at:08}") for at in range(20)
    )
    sites = tuple(Site(f"P-{at:02}", "x", 43.0 + 0.02 * at, -89.0, 0.7, row=at + 2) for at in range(20))
    archive = InventedArchive(many, same_for_all=True)
    archive.serve(server, range(1990, 2026))
    body = archive.whole(many[0], range(1985, 2026))
    for station in many:
        mine = body.replace(many[0].noaa_id.encode(), station.noaa_id.encode())
        server.routes[f"/by_station/{station.noaa_id}.csv.gz"] = Answer(gzip.compress(mine, 1, mtime=0))
    season = Season(tmp_path, server, seasons=30)
    report = season.update(sites)
    assert report.records is not None
    assert len(report.records.about.records) == 20
    # A whole record and the running year for each station, and the list.
    assert server.count("/by_station/") == server.count("/daily/") == server.count("/daily/2025/") == 20
    assert server.count() == report.records.requests + 1 == 41

    server.forget()
    season.now = NOW + timedelta(hours=2)
    season.update(sites)
    assert server.count() == 0


def test_the_next_spring_the_year_that_is_over_is_asked_singly(tmp_path: Path, server: WeatherServer) -> None:
    served(server)
    season = Season(tmp_path, server)
    season.update()
    later = replace(ONE, last=date(2026, 3, 9))
    InventedArchive((later,)).serve(server, range(2025, 2027))
    server.routes["/stations.db"].etag = '"list-2"'
    season.now = datetime(2026, 3, 10, 12, tzinfo=UTC)
    make_copies_older(season, days=150)
    server.forget()
    season.update()
    asked = sorted(asked.path for asked in server.asked)
    assert asked == ["/daily/2025/AA001.csv.gz", "/daily/2026/AA001.csv.gz", "/stations.db"]


# --- what is in it


def test_a_whole_record_gives_the_years_as_the_yearly_files_would(
    tmp_path: Path, server: WeatherServer
) -> None:
    served(server, means=True, flagged=frozenset({date(2013, 7, 1)}))
    season = Season(tmp_path, server)
    report = season.update()
    weather = load_weather(tmp_path, season.settings, as_of=date(2025, 10, 6), sites=SITE)
    low, mean, high = invented_year("AA001", 2013)
    day = weather.index_of(date(2013, 1, 1)) + np.arange(365)
    keep = np.arange(365) != 181  # 1 July failed a check of the archive: no value of it is used
    np.testing.assert_allclose(weather.tmin_c[0, day][keep], np.round(low[:365], 1)[keep], atol=0.051)
    np.testing.assert_allclose(weather.tmean_c[0, day][keep], np.round(mean[:365], 1)[keep], atol=0.051)
    np.testing.assert_allclose(weather.tmax_c[0, day][keep], np.round(high[:365], 1)[keep], atol=0.051)
    assert weather.filled[0, day[181]]
    assert weather.first_day == date(2006, 1, 1)
    about = read_about(tmp_path / "weather")
    assert about is not None
    assert not about.records[0].mean_of_extremes
    assert about.records[0].sources == ("ghcnd",)
    assert texts(report) == ""


def test_without_means_of_its_own_all_years_use_the_middle_of_the_extremes(
    tmp_path: Path, server: WeatherServer
) -> None:
    archive = served(server)
    lopsided = {("AA001", date(2025, 9, 1)): ("10.0", "18.0", "20.0")}
    archive.edits.update(lopsided)
    archive.serve(server, [2025])
    season = Season(tmp_path, server)
    assert "daily means of AA001 are the middle of minimum and maximum" in texts(season.update())
    weather = load_weather(tmp_path, season.settings, as_of=date(2025, 10, 6), sites=SITE)
    assert weather.tmean_c[0, weather.index_of(date(2025, 9, 1))] == 15.0  # 18.0 in the yearly file
    season.now = NOW + timedelta(hours=2)
    assert texts(season.update()) == ""  # said once


# --- when it is not believed, or not there: the yearly files stand in


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (Answer(b"no such file", status=404), ""),
        (Answer(b"<html>maintenance</html>", kind="text/html"), "the answer is not the daily record"),
        (Answer(b"", status=500), "is not used: the server answers 500"),
        (Answer(gzip.compress(b"\0" * 90_000_000)), "unpacks to more than"),
        (Answer(gzip.compress(b"ZZW00000099,20240101,TMIN,5,,,W,\n" * 9)), "is not the daily record"),
        (Answer(gzip.compress(b"ZZW00000001,20240101,TMIN,x,,,W,\n" * 9)), "cannot be read"),
        (Answer(gzip.compress(b"ZZW00000001,20240101,TMIN,5,,,W,\n")), "only 0 of its days"),
    ],
)
def test_without_a_usable_whole_record_the_years_are_asked_one_by_one(
    tmp_path: Path, server: WeatherServer, answer: Answer, said: str
) -> None:
    served(server)
    server.routes[PATH] = answer
    season = Season(tmp_path, server, contact="office@example.org")
    report = season.update()
    assert server.count("/daily/") == 20
    assert said in texts(report)
    if not said:
        assert texts(report) == ""
    server.forget()
    season.now = NOW + timedelta(hours=2)
    season.update()
    assert server.count() == 0  # nothing lacks: the whole record is not asked again


def test_a_record_that_is_another_stations_is_refused(tmp_path: Path, server: WeatherServer) -> None:
    served(server, off_c=1.6)
    report = Season(tmp_path, server).update()
    assert "its whole record at NOAA (ZZW00000001) is not used: it differs by 1.6 °C" in texts(report)
    assert server.count("/daily/") == 20


@pytest.mark.parametrize(
    ("off_c", "said"), [(-0.6, "minima 0.6 °C above and maxima 0.6 °C above"), (0.2, "")]
)
def test_where_the_archives_lean_apart_it_is_told(
    tmp_path: Path, server: WeatherServer, off_c: float, said: str
) -> None:
    served(server, off_c=off_c, means=True)
    report = Season(tmp_path, server).update()
    assert server.count("/daily/") == 1
    told = f"station AA001: the running year lies with {said} NOAA's record, which fills the years before."
    assert texts(report) == (told if said else "")


def test_it_can_be_turned_off(tmp_path: Path, server: WeatherServer) -> None:
    served(server)
    Season(tmp_path, server, whole_records_url="").update()
    assert server.count("/by_station/") == 0
    assert server.count("/daily/") == 20


def test_years_that_it_lacks_are_asked_singly(tmp_path: Path, server: WeatherServer) -> None:
    archive = served(server)
    years = [year for year in range(2000, 2026) if year not in (2010, 2017)]
    server.routes[PATH] = Answer(archive.whole(ONE, years))  # not packed: either is read
    Season(tmp_path, server).update()
    asked = sorted(a.path for a in server.asked if a.path.startswith("/daily/"))
    assert asked == [f"/daily/{year}/AA001.csv.gz" for year in (2010, 2017, 2025)]


# --- hand arithmetic


def record(text: str):  # type: ignore[no-untyped-def]
    return read_by_station(text, "ZZW00000001")


def test_rows_of_the_by_station_file() -> None:
    found = record(
        "ZZW00000001,20240101,TMIN,-52,,,W,2400\n"
        "ZZW00000001,20240101,TMAX,11,,,W,2400\n"
        "ZZW00000001,20240102,TMIN,999,,X,W,2400\n"
        "ZZW00000001,20240102,TMAX,20,,,W,2400\n"
    )
    assert found.tmin_c.tolist()[0] == -5.2
    assert np.isnan(found.tmin_c[1])  # flagged X: beyond all bounds
    assert found.tmax_c.tolist() == [1.1, 2.0]
    with pytest.raises(BadInput, match="2 stations"):
        record("ZZW00000001,20240101,TMIN,1,,,W,\nZZW00000002,20240101,TMIN,1,,,W,\n")


def test_a_year_needs_300_minima_and_nine_days_in_ten_a_mean() -> None:
    def text(days: int, means: int) -> str:
        lines = []
        for at in range(days):
            day = f"{np.datetime64('2023-01-01') + at}".replace("-", "")
            lines += [f"ZZW00000001,{day},TMIN,{at},,,W,", f"ZZW00000001,{day},TMAX,{at + 100},,,W,"]
            lines += [f"ZZW00000001,{day},TAVG,{at + 40},,,W,"] * (at < means)
        return "\n".join(lines)

    assert cut_years(record(text(299, 0)), [2023]) == {}
    bare = cut_years(record(text(300, 269)), [2023])[2023]
    assert lacks_means(bare)
    assert gzip.decompress(bare).splitlines()[1] == b"2023,1,1,0.0,ghcnd,10.0,ghcnd"
    full = cut_years(record(text(300, 270)), [2023])[2023]
    assert gzip.decompress(full).splitlines()[1] == b"2023,1,1,4.0,ghcnd,0.0,ghcnd,10.0,ghcnd"


def test_thirty_common_days_within_one_degree() -> None:
    days = np.datetime64("2025-01-01") + np.arange(30)
    whole = record(
        "\n".join(
            f"ZZW00000001,{str(day).replace('-', '')},{name},0,,,W,"
            for day in days
            for name in ("TMIN", "TMAX")
        )
    )

    def known(count: int, off_c: float) -> DailyObserved:
        flat = np.full(count, off_c)
        return DailyObserved(days[:count], flat, flat, flat, (), (), ())

    assert differs(whole, known(30, 1.0)) == ""
    assert differs(whole, known(30, -1.1)) == "it differs by 1.1 °C from the station's days"
    assert differs(whole, known(29, 0.0)) == "only 29 of its days can be compared"
    assert "no day of the station" in differs(whole, None)


def test_names_and_checks_refuse_what_is_no_id() -> None:
    for name in ("../../etc", "zzw00000001", "ZZW0000000", "ZZW00000001/.."):
        with pytest.raises(ValueError, match="no id"):
            whole_name(name)
    check_whole("ZZW00000001")(b"ID,DATE,ELEMENT,DATA_VALUE\nZZW00000001,20240101,TMIN,5,,,W,\n", {})
    with pytest.raises(ValueError, match="holds no day"):
        check_whole("ZZW00000001")(b"ID,DATE,ELEMENT,DATA_VALUE\n", {})
