"""`weather update` and what a forecast then reads, against an invented archive on a local server."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from invented_archive import InventedArchive, InventedStation, invented_year
from weather_server import Answer, WeatherServer

from forecaster.errors import BadInput, ForecasterError
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.http_limits import HttpLimits
from forecaster.weather.kept import KeptFiles, one_at_a_time
from forecaster.weather.load import load_weather
from forecaster.weather.records import MissingWeather, read_about
from forecaster.weather.update import UpdateReport, explain_stations, update_weather

NOW = datetime(2025, 10, 6, 12, tzinfo=UTC)  # 7 a.m. in Chicago
TODAY = date(2025, 10, 6)
YEARS = range(2004, 2026)
SITES = (
    Site("P-01", "Invented", 43.02, -89.02, 0.8, row=2, elevation_m=260.0),
    Site("P-02", "Invented", 43.30, -89.30, 0.6, row=3),
)
NEAR = (
    InventedStation("AA001", 43.00, -89.00, 250.0),
    InventedStation("AA002", 43.20, -89.20, 300.0),
    InventedStation("AA003", 43.35, -89.35, 280.0),
)


class Season:
    """A season folder whose archive is a local server."""

    def __init__(self, folder: Path, server: WeatherServer) -> None:
        self.folder, self.server, self.now = folder, server, NOW
        self.waits: list[float] = []
        self.steps: list[tuple[int, int, str]] = []
        self.more: dict[str, object] = {}

    @property
    def settings(self) -> Settings:
        weather = {
            "source": "meteostat", "base_url": self.server.url, "stations_per_site": 2,
            "whole_records_url": f"{self.server.url}/by_station",
            "seasons": 15, "contact": "office@example.org", **self.more,
        }  # fmt: skip
        season = {"year": 2025, "timezone": "America/Chicago", "name": "t"}
        return Settings.model_validate({"season": season, "weather": weather})

    def update(self, sites: tuple[Site, ...] = SITES) -> UpdateReport:
        return update_weather(
            self.folder, self.settings, sites, now=self.now, sleep=self.waits.append,
            progress=lambda *step: self.steps.append(step), limits=HttpLimits(timeout_s=2.0),
        )  # fmt: skip

    def load(self, as_of: date = TODAY):  # type: ignore[no-untyped-def]
        return load_weather(self.folder, self.settings, as_of=as_of, sites=SITES)

    @property
    def records(self) -> Path:
        return self.folder / "weather" / "kept"

    @property
    def kept(self) -> Path:
        return self.folder / ".weather"


@pytest.fixture(scope="module")
def one_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[WeatherServer, Path]]:
    """A server with the usual archive, and a season folder updated from it, for copies."""
    server = WeatherServer()
    InventedArchive(NEAR).serve(server, YEARS)
    usual = Season(tmp_path_factory.mktemp("usual"), server)
    usual.update()
    yield server, usual.folder
    server.kill()


@pytest.fixture
def server(one_server: tuple[WeatherServer, Path]) -> Iterator[WeatherServer]:
    """The server as it was at first."""
    running, _ = one_server
    routes = dict(running.routes)
    running.forget()
    yield running
    running.kill()
    running.start()
    running.routes, running.fallback = routes, Answer(b"no such file", status=404)


@pytest.fixture
def season(tmp_path: Path, server: WeatherServer) -> Season:
    """An empty season folder."""
    return Season(tmp_path, server)


@pytest.fixture
def updated(tmp_path: Path, one_server: tuple[WeatherServer, Path], server: WeatherServer) -> Season:
    """A season folder whose records are of this morning."""
    shutil.copytree(one_server[1], tmp_path / "season")
    return Season(tmp_path / "season", server)


@pytest.fixture
def archive(server: WeatherServer) -> Callable[..., InventedArchive]:
    """Put another archive into the place of the usual one."""

    def make(*stations: InventedStation, **more: object) -> InventedArchive:
        server.routes.clear()
        made = InventedArchive(stations or NEAR, **more)  # type: ignore[arg-type]
        made.serve(server, YEARS)
        return made

    return make


def texts(notices: object) -> str:
    return "\n".join(str(notice) for notice in notices)  # type: ignore[attr-defined]


# --- the ordinary case


def test_records_arrive_as_the_archive_has_them(
    season: Season, archive: Callable[..., InventedArchive]
) -> None:
    archive()
    report = season.update()
    weather = season.load()
    assert report.records is not None
    assert [s.station_id for s in weather.stations] == ["AA001", "AA002", "AA003"]
    assert weather.last_day == date(2025, 10, 5)
    assert weather.first_day == date(2006, 1, 1)  # 15 seasons and four to spare
    low, mean, high = invented_year("AA002", 2013)
    day = weather.index_of(date(2013, 1, 1)) + np.arange(365)
    np.testing.assert_allclose(weather.tmin_c[1, day], np.round(low[:365], 1), atol=1e-9)
    np.testing.assert_allclose(weather.tmean_c[1, day], np.round(mean[:365], 1), atol=1e-9)
    np.testing.assert_allclose(weather.tmax_c[1, day], np.round(high[:365], 1), atol=1e-9)
    assert not weather.filled.any()
    assert "checked" not in texts(weather.notices)  # the records are of the as-of date: no age to tell
    assert season.steps[-1][0] == season.steps[-1][1]
    assert season.steps == sorted(season.steps, key=lambda s: s[0] / s[1])


def test_stations_that_noaa_does_not_hold_cost_one_request_a_file_and_the_second_update_none(
    season: Season, server: WeatherServer
) -> None:
    many = tuple(
        InventedStation(f"BB{at:03}", 43.0 + 0.02 * at, -89.0, 250.0, source="ghcnd") for at in range(3)
    )
    sites = tuple(Site(f"P-{at:02}", "x", 43.0 + 0.02 * at, -89.0, 0.7, row=at + 2) for at in range(3))
    InventedArchive(many, same_for_all=True).serve(server, range(1990, 2026))
    season.more = {"stations_per_site": 1, "seasons": 30}
    report = season.update(sites)
    assert report.records is not None
    assert len(report.records.about.records) == 3
    # The archive has one file a station and year: 3 x 35, and the list.
    assert server.count("/daily/") == 3 * 35
    assert server.count("/stations.db") == 1
    assert server.count() == 106

    server.forget()
    season.now = NOW + timedelta(hours=2)
    again = season.update(sites)
    assert again.records is not None
    assert server.count() == 0
    assert again.records.unchanged == 3 * 35

    server.forget()
    make_copies_older(season, days=3)
    season.now = NOW + timedelta(days=3)
    season.update(sites)
    assert server.count("/daily/2025/") == 3  # the running year, with its ETag: nothing is sent again
    assert server.count("/daily/") == 3
    assert all("If-None-Match" in asked.headers for asked in server.asked if "/daily/" in asked.path)


def test_only_what_changed_is_read_again(
    updated: Season, archive: Callable[..., InventedArchive], server: WeatherServer
) -> None:
    later = tuple(
        InventedStation(s.station_id, s.latitude, s.longitude, s.elevation, last=date(2025, 10, 8))
        for s in NEAR
    )
    archive(*later)
    make_copies_older(updated, days=3)
    updated.now = NOW + timedelta(days=3)
    updated.update()
    weather = updated.load(as_of=date(2025, 10, 9))
    assert weather.last_day == date(2025, 10, 8)
    assert weather.last_observed == (date(2025, 10, 8),) * 3
    low, _, _ = invented_year("AA001", 2025)
    np.testing.assert_allclose(
        weather.tmin_c[0, weather.index_of(date(2025, 1, 1)) :], np.round(low[:281], 1), atol=1e-9
    )
    older = weather.index_of(date(2013, 7, 1))
    assert weather.tmin_c[0, older] == pytest.approx(round(invented_year("AA001", 2013)[0][181], 1))


def test_a_year_that_the_archive_lacks_is_asked_once(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer
) -> None:
    archive(InventedStation("AA001", missing_years=frozenset({2009, 2010})), *NEAR[1:])
    season.update()
    server.forget()
    season.update()
    assert server.count("/daily/") == 0
    said = texts(season.load().notices)
    assert "AA001.csv: the archive holds nothing for 2009, 2010." in said


# --- modelled values are no observations


def test_values_of_a_model_are_left_out_and_told(
    season: Season, archive: Callable[..., InventedArchive]
) -> None:
    archive(model_from=date(2025, 10, 4), model_until=date(2025, 10, 16), mixed=frozenset({date(2025, 9, 1)}))
    season.update()
    weather = season.load()
    assert weather.last_observed == (date(2025, 10, 3),) * 3
    said = texts(weather.notices)
    assert "AA001.csv: values of 2 days came from a weather model, not from a thermometer" in said
    assert "(last 2025-10-05)" in said
    assert "AA001.csv: values of 1 day hold some hours of a weather model" in said
    about = read_about(season.folder / "weather")
    assert about is not None
    # Days that were not over when they were fetched are not even written down.
    assert max(last for record in about.records for _, last in record.modelled) == "2025-10-05"
    kept = (season.records / "AA001.csv").read_text()
    assert "2025-10-04" not in kept


def test_nothing_is_said_of_days_after_the_as_of_date(
    season: Season, archive: Callable[..., InventedArchive]
) -> None:
    archive(model_from=date(2025, 10, 4), model_until=date(2025, 10, 16))
    season.update()
    said = texts(season.load(as_of=date(2025, 10, 4)).notices)
    assert "model" not in said


# --- a dead network


def make_copies_older(season: Season, days: float) -> None:
    """Let the copies of the session be older, as if the update had run so many days ago."""
    from weather_ages import make_older

    from forecaster.weather.http import Fetcher, HttpSettings

    with Fetcher(season.kept, HttpSettings()) as fetcher:
        make_older(fetcher, days)


def test_with_the_server_killed_the_kept_records_serve_and_their_age_is_said(
    updated: Season, server: WeatherServer
) -> None:
    before = updated.load()
    server.kill()
    make_copies_older(updated, days=9)
    updated.now = NOW + timedelta(days=9)
    report = updated.update()
    said = texts(report.notices)
    assert "station AA001: the records of 2025-10-06 are used: the server cannot be reached." in said
    after = updated.load()
    np.testing.assert_array_equal(before.tmin_c, after.tmin_c)
    late = updated.load(as_of=date(2025, 10, 15))
    told = texts(late.notices)
    assert (
        "records of AA001, AA002, AA003 were last checked with the archive on 2025-10-06, "
        "9 days before the as-of date (the server cannot be reached)." in told
    )


def test_the_age_counts_from_the_last_time_the_server_stood_by_the_copy(
    updated: Season, server: WeatherServer
) -> None:
    make_copies_older(updated, days=2)
    updated.now = NOW + timedelta(days=2)
    updated.update()  # not modified: the content is of the 6th, but it was right on the 8th
    server.kill()
    make_copies_older(updated, days=3)
    updated.now = NOW + timedelta(days=5)
    updated.update()
    said = texts(updated.load(as_of=date(2025, 10, 11)).notices)
    assert "last checked with the archive on 2025-10-08, 3 days before the as-of date" in said


def test_with_the_server_killed_and_no_copy_the_message_says_what_to_do(
    season: Season, server: WeatherServer
) -> None:
    server.kill()
    with pytest.raises(MissingWeather, match=r"list of weather stations is missing.*weather add") as caught:
        season.update()
    assert caught.value.exit_code == 1
    with pytest.raises(MissingWeather, match=r"no station records are kept yet.*weather update"):
        season.load()


def test_where_one_stations_files_cannot_be_had_the_others_suffice(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer
) -> None:
    archive()
    for path in list(server.routes):
        if path.endswith("AA002.csv.gz"):
            server.routes[path] = Answer(b"", status=500)
    report = season.update()
    assert "station AA002: not used: none of its files could be had." in texts(report.notices)
    assert server.count("AA002") == 3 * 3  # three files, three times each; then the station is left alone
    assert [s.station_id for s in season.load().stations] == ["AA001", "AA003"]
    archive()
    season.update()
    assert [s.station_id for s in season.load().stations] == ["AA001", "AA002", "AA003"]


def test_one_file_that_is_a_log_in_page_is_fetched_next_time(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer
) -> None:
    archive()
    path = "/daily/2014/AA001.csv.gz"
    good = server.routes[path]
    server.routes[path] = Answer(b"<html>Welcome to our hotel</html>", kind="text/html")
    report = season.update()
    assert "station AA001: 2014 could not be had: the answer is not a daily file" in texts(report.notices)
    weather = season.load()
    assert weather.filled[0, weather.index_of(date(2014, 7, 1))]  # from the neighbours
    server.routes[path] = good
    server.forget()
    season.update()
    assert [asked.path for asked in server.asked] == [path]
    weather = season.load()
    assert weather.tmin_c[0, weather.index_of(date(2014, 7, 1))] == pytest.approx(
        round(invented_year("AA001", 2014)[0][181], 1)
    )


@pytest.mark.parametrize(
    "bad",
    [
        Answer(b"<html></html>", kind="text/html"),
        Answer(b"\x1f\x8b\x08\x00damaged", kind="application/gzip"),
        Answer(b"year,month,day,temp\n2003,1,1,3.0\n", cut_after=20),
        Answer(b"year,month,day,temp\n1903,1,1,3.0\n"),
        Answer(b"", status=500),
    ],
)
def test_a_bad_answer_for_the_running_year_leaves_the_last_good_file(
    updated: Season, server: WeatherServer, bad: Answer
) -> None:
    before = updated.load()
    server.routes["/daily/2025/AA001.csv.gz"] = bad
    make_copies_older(updated, days=1)
    updated.now = NOW + timedelta(days=1)
    report = updated.update()
    assert "station AA001: the records of 2025-10-06 are used" in texts(report.notices)
    np.testing.assert_array_equal(updated.load().tmin_c, before.tmin_c)


# --- damage on disk


@pytest.mark.parametrize("damage", ["cut", "changed", "gone"])
def test_a_damaged_raw_file_is_fetched_again_and_never_read(
    updated: Season, server: WeatherServer, damage: str
) -> None:
    before = updated.load()
    path = updated.kept / "daily" / "2014" / "AA001.csv.gz"
    whole = path.read_bytes()
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(whole[: len(whole) // 2] if damage == "cut" else whole[:50] + b"x" + whole[51:])
    (updated.records / "AA001.csv").write_text("date,tmin,tavg,tmax\n2004-01-01,99,99,99\n")
    with pytest.raises(MissingWeather, match="AA001 are missing or were changed since the last update"):
        updated.load()
    report = updated.update()
    assert "2014/AA001.csv.gz" in texts(report.notices)
    np.testing.assert_array_equal(updated.load().tmin_c, before.tmin_c)
    assert path.read_bytes() == whole


@pytest.mark.parametrize("name", ["index.sqlite", "http.sqlite", "about.json", "stations.db"])
@pytest.mark.parametrize("how", ["noise", "empty"])
def test_a_damaged_kept_file_of_any_kind_is_made_good_by_the_next_update(
    updated: Season, name: str, how: str
) -> None:
    before = updated.load()
    path = updated.records / "about.json" if name == "about.json" else updated.kept / name
    path.write_bytes(b"\x00\xa5" * 4000 if how == "noise" else b"")
    updated.update()
    np.testing.assert_array_equal(updated.load().tmin_c, before.tmin_c)


def test_damage_without_a_network_is_told_and_not_forecast_from(
    updated: Season, server: WeatherServer
) -> None:
    server.kill()
    (updated.records / "AA001.csv").write_bytes(b"half a fi")
    updated.update()  # the raw files are whole: the record is made again from them
    assert updated.load().stations[0].station_id == "AA001"


def test_two_updates_never_meet(season: Season, archive: Callable[..., InventedArchive]) -> None:
    archive()
    with one_at_a_time(season.kept), pytest.raises(ForecasterError, match="another update is running"):
        season.update()
    season.update()


# --- hostile station lists


def test_a_station_id_that_is_a_path_is_left_out(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer, tmp_path: Path
) -> None:
    archive(InventedStation("../../../evil", 43.01, -89.01), InventedStation("..", 43.0, -89.0), *NEAR)
    season.update()
    assert [s.station_id for s in season.load().stations] == ["AA001", "AA002", "AA003"]
    assert not any("evil" in asked.path for asked in server.asked)
    assert {path.name for path in tmp_path.parent.iterdir()} >= {tmp_path.name}
    assert not list(tmp_path.parent.rglob("evil*"))


def test_kept_names_cannot_leave_their_folder(tmp_path: Path) -> None:
    kept = KeptFiles(tmp_path / "kept")
    for name in ("../x", "/etc/passwd", "a/../../x", "C:\\x", "a\\..\\x"):
        with pytest.raises(ValueError, match="not the name of a kept file"):
            kept.path(name)
    kept.close()


@pytest.mark.parametrize(
    "statements",
    [
        ["drop table inventory"],
        ["drop table stations", "create view stations as select 1 as id"],
        ["alter table stations drop column timezone"],
    ],
)
def test_a_list_that_is_not_the_list_is_refused(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer, tmp_path: Path,
    statements: list[str],
) -> None:  # fmt: skip
    made = archive()
    path = tmp_path / "list.db"
    path.write_bytes(made.stations_db())
    base = sqlite3.connect(path)
    for statement in statements:
        base.execute(statement)
    base.commit()
    base.close()
    server.routes["/stations.db"] = Answer(path.read_bytes())
    with pytest.raises(MissingWeather, match="list of weather stations is missing"):
        season.update()


# --- choice of stations


def test_the_choice_is_explained(season: Season, archive: Callable[..., InventedArchive]) -> None:
    archive(
        *NEAR,
        InventedStation("CC001", 43.01, -89.01, 255.0, last=date(2019, 5, 1)),
        InventedStation("CC002", 43.03, -89.03, 255.0, first=date(2018, 1, 1)),
        InventedStation("CC003", 43.03, -89.02, 255.0, parameters=("tmax",)),
        InventedStation("CC004", 43.02, -89.02, None),
        InventedStation("CC005", 43.02, -89.03, 2250.0),
    )
    choices, _ = explain_stations(season.folder, season.settings, SITES, now=NOW)
    first = choices[0]
    assert first.taken == ("AA001", "AA002")
    reasons = {option.station_id: option.reason for option in first.options}
    assert reasons["CC001"] == "its record ends on 2019-05-01"
    assert reasons["CC002"] == "only 8 years of record (15 are needed)"
    assert reasons["CC003"] == "measures no minima"
    assert reasons["CC004"] == "its elevation is not known"
    assert reasons["AA001"] == "record since 1980, 97% of its days"
    assert first.options[0].distance_km == pytest.approx(2.76, abs=0.05)
    assert first.options[0].climb_m == pytest.approx(10.0)


def test_the_choice_can_be_overridden(season: Season, archive: Callable[..., InventedArchive]) -> None:
    archive()
    season.more = {"exclude_stations": ["AA001"]}
    assert explain_stations(season.folder, season.settings, SITES, now=NOW)[0][0].taken == ("AA002", "AA003")
    season.more = {"stations": ["AA003"]}
    season.update()
    assert [s.station_id for s in season.load().stations] == ["AA003"]
    season.more = {"stations": ["AA03"]}
    with pytest.raises(BadInput, match=r"no station AA03 in the list\. Did you mean AA003"):
        season.update()


def test_a_station_whose_list_entry_promised_too_much_is_replaced(
    season: Season, archive: Callable[..., InventedArchive], server: WeatherServer
) -> None:
    class Promising(InventedStation):
        pass

    archive(*NEAR, InventedStation("DD001", 43.02, -89.02, 260.0))
    for path in list(server.routes):
        if path.endswith("DD001.csv.gz") and "/2025/" not in path:
            del server.routes[path]  # the list says 1980, the archive holds one year
    report = season.update()
    assert "station DD001: not used: minima of only 1 years came (15 are needed)." in texts(report.notices)
    assert [s.station_id for s in season.load().stations] == ["AA001", "AA002", "AA003"]


def test_a_site_without_any_station_is_named(season: Season, archive: Callable[..., InventedArchive]) -> None:
    archive()
    far = Site("P-99", "x", 35.0, -100.0, 0.7, row=9)
    with pytest.raises(MissingWeather, match="No station record for P-99") as caught:
        season.update((*SITES, far))
    assert caught.value.exit_code == 1


# --- what a forecast reads


def test_a_station_with_a_hole_just_before_the_as_of_date_is_left_out_where_others_suffice(
    season: Season, archive: Callable[..., InventedArchive]
) -> None:
    hole = {("AA002", date(2025, 9, day)): ("", "", "") for day in range(5, 25)}
    archive(edits=hole)
    season.update()
    weather = season.load()
    assert [s.station_id for s in weather.stations] == ["AA001", "AA003"]
    assert "AA002.csv: the station is not used: no daily mean and no minimum from 2025-09-05" in texts(
        weather.notices
    )


def test_records_too_old_for_the_as_of_date_say_how_to_fetch_newer_ones(updated: Season) -> None:
    with pytest.raises(BadInput, match=r"they were fetched on 2025-10-06.*weather update") as caught:
        updated.load(as_of=date(2025, 11, 1))
    assert caught.value.exit_code == 2


def test_loading_asks_nothing_and_writes_nothing(updated: Season, server: WeatherServer) -> None:
    server.forget()
    before = {path: path.read_bytes() for path in updated.folder.rglob("*") if path.is_file()}
    updated.load()
    after = {path: path.read_bytes() for path in updated.folder.rglob("*") if path.is_file()}
    assert before == after
    assert server.count() == 0


def test_a_new_site_is_told_to_need_an_update(
    season: Season, archive: Callable[..., InventedArchive]
) -> None:
    archive()
    season.update(SITES[:1])
    assert "P-02 were not in the sheet at the last update" in texts(season.load().notices)
