"""The weather commands as people type them, from the list of stations to weather made again later."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import typer
from invented_archive import InventedArchive, InventedStation
from invented_outlooks import CHICAGO, hours, met_norway, nws_point, nws_week, open_meteo
from typer.testing import CliRunner
from weather_ages import make_older
from weather_server import Answer, WeatherServer

from forecaster.cli_weather import register
from forecaster.errors import BadInput, ForecasterError
from forecaster.season.settings import read_settings
from forecaster.season.sheet import read_sites
from forecaster.weather.export import export_weather
from forecaster.weather.files import read_weather
from forecaster.weather.http import Fetcher, HttpSettings
from forecaster.weather.http_limits import HttpLimits
from forecaster.weather.load import load_weather
from forecaster.weather.outlook_days import DayValues
from forecaster.weather.outlook_kept import KeptOutlook, keep_outlooks, make_kept, read_kept
from forecaster.weather.stations import Outlook
from forecaster.weather.update import update_only_outlooks, update_weather

TODAY = datetime.now(UTC).date()
YEARS = range(TODAY.year - 20, TODAY.year + 1)
NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 14, tzinfo=UTC)
PLACES = (("AA001", 43.0, -89.0), ("AA002", 43.2, -89.2))


def stations() -> list[InventedStation]:
    return [
        InventedStation(name, lat, lon, 250.0, last=TODAY - timedelta(days=1)) for name, lat, lon in PLACES
    ]


def toml(server: WeatherServer, outlook: str = "nws", more: str = "") -> str:
    return (
        f'[season]\nyear = {TODAY.year}\ntimezone = "America/Chicago"\nname = "Invented"\nmembers = 200\n'
        f'[weather]\nsource = "meteostat"\noutlook = "{outlook}"\ncontact = "office@example.org"\n'
        "seasons = 15\n"
        f'base_url = "{server.url}"\nnws_url = "{server.url}"\nmet_norway_url = "{server.url}/met"\n'
        f'open_meteo_url = "{server.url}/om"\nopen_meteo_ensemble_url = "{server.url}/ens"\n'
        f'open_meteo_past_url = "{server.url}/past"\ngeocoder_url = "{server.url}/batch"\n{more}'
    )


def nws(server: WeatherServer, first: date, issued: str, low: float) -> None:
    for name, lat, lon in PLACES:
        server.routes[f"/points/{lat:g},{lon:g}"] = Answer(nws_point(f"{server.url}/gridpoints/{name}/1,2"))
        week = nws_week(first, issued, [low] * 7, [low + 8.0] * 7)
        server.routes[f"/gridpoints/{name}/1,2"] = Answer(week)


@dataclass
class Office:
    """A season folder, and the commands typed in it."""

    folder: Path
    server: WeatherServer

    def type(self, *words: str) -> str:
        """What a command prints; errors are raised."""
        app = typer.Typer()
        app.callback()(lambda: None)
        register(app)
        done = CliRunner().invoke(app, ["weather", *words], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    def settings(self, text: str) -> None:
        (self.folder / "season.toml").write_text(text)


@pytest.fixture(scope="module")
def filled_server() -> Iterator[WeatherServer]:
    server = WeatherServer()
    InventedArchive(stations()).serve(server, YEARS)
    yield server
    server.kill()


@pytest.fixture
def office(tmp_path: Path, filled_server: WeatherServer) -> Iterator[Office]:
    server = filled_server
    routes = dict(server.routes)
    server.forget()
    made = Office(tmp_path, server)
    made.settings(toml(server))
    (tmp_path / "sites.csv").write_text(
        "site_id,customer,latitude,longitude,mean_depth_in,address\n"
        "P-01,Invented,43.05,-89.05,24,\nP-02,Invented,43.15,-89.15,30,\n"
    )
    nws(server, TODAY, f"{TODAY}T10:00:00+00:00", -1.0)
    yield made
    server.kill()
    server.start()
    server.routes = routes


def test_from_stations_to_a_forecast_made_again(office: Office) -> None:
    said = office.type("stations", str(office.folder))
    assert said.rstrip().endswith("Station list: Meteostat (meteostat.net), CC BY 4.0.")
    assert "P-01 Invented: AA001, AA002" in said
    assert "record since 1980, 97% of its days" in said
    said = office.type("update", str(office.folder))
    assert "Records of 2 stations are up to date: AA001, AA002." in said
    assert "Outlooks (nws): 2 stations fetched, 2 issues new, 0 failed." in said
    assert "Meteostat (meteostat.net), CC BY 4.0" in said
    assert "National Weather Service" in said
    said = office.type("outlook", str(office.folder), "--offline")
    assert "AA001 Field AA001: outlook nws of" in said
    assert "No past outlook of this station can be compared yet" in said
    to = office.folder / "weather-then"
    said = office.type("export", str(office.folder), str(to), "--as-of", f"{TODAY}")
    assert 'folder = "weather-then"' in said
    beside = office.folder.parent / "weather-beside"
    said = office.type("export", str(office.folder), str(beside), "--as-of", f"{TODAY}")
    assert 'folder = "../weather-beside"' in said  # as the season's folder sees it
    settings = read_settings(office.folder)
    sites, _ = read_sites(office.folder, crew_names=())
    before = load_weather(office.folder, settings, as_of=TODAY, sites=sites)
    office.settings(
        f'[season]\nyear = {TODAY.year}\ntimezone = "America/Chicago"\n[weather]\nsource = "files"\n'
        'folder = "weather-then"\noutlook = "files"\n'
    )
    after = load_weather(office.folder, read_settings(office.folder), as_of=TODAY, sites=sites)
    for name in ("tmin_c", "tmax_c", "tmean_c", "filled"):
        np.testing.assert_array_equal(getattr(before, name), getattr(after, name))
    assert before.stations == after.stations
    assert [o.issued for o in before.outlooks] == [o.issued for o in after.outlooks]
    for one, two in zip(before.outlooks, after.outlooks, strict=True):
        np.testing.assert_array_equal(one.tmin_c, two.tmin_c)
        np.testing.assert_array_equal(one.tmax_c, two.tmax_c)
    assert "weather" in (to / "about.txt").read_text().casefold()


def test_export_writes_nothing_of_the_as_of_date_and_never_over_something(office: Office) -> None:
    office.type("update", str(office.folder))
    to = office.folder / "then"
    day = TODAY - timedelta(days=30)
    office.type("export", str(office.folder), str(to), "--as-of", f"{day}")
    last = (to / "AA001.csv").read_text().splitlines()[-1]
    assert last.startswith(f"{day - timedelta(days=1)},")
    assert not (to / "outlook").exists()  # none was issued by then
    again = read_weather(to, as_of=day + timedelta(days=5))
    assert again.last_observed[0] == day - timedelta(days=1)
    with pytest.raises(BadInput, match="is there already"):
        office.type("export", str(office.folder), str(to))


def test_a_dead_network_leaves_outlooks_with_their_age(office: Office) -> None:
    office.type("update", str(office.folder))
    office.server.kill()
    settings, sites = read_settings(office.folder), read_sites(office.folder, crew_names=())[0]
    late = TODAY + timedelta(days=4)
    with Fetcher(office.folder / ".weather", HttpSettings()) as fetcher:
        make_older(fetcher, days=4)
    report = update_weather(
        office.folder, settings, sites, now=NOW + timedelta(days=4), limits=HttpLimits(timeout_s=1.0),
        sleep=lambda seconds: None,
    )  # fmt: skip
    said = "\n".join(map(str, report.notices))
    assert "none could be fetched for AA001, AA002: the server cannot be reached" in said
    weather = load_weather(office.folder, settings, as_of=late, sites=sites)
    told = "\n".join(map(str, weather.notices))
    assert f"the last one of AA001, AA002 was issued on {TODAY}, 4 days before the as-of date." in told
    assert "4 days before the as-of date (the server cannot be reached)" in told
    assert {o.issued for o in weather.outlooks} == {TODAY}


def test_no_kept_outlook_is_a_warning_not_an_end(office: Office) -> None:
    for path in list(office.server.routes):
        if path.startswith(("/points", "/gridpoints")):
            office.server.routes[path] = Answer(b"", status=500)
    settings, sites = read_settings(office.folder), read_sites(office.folder, crew_names=())[0]
    report = update_weather(office.folder, settings, sites, now=NOW, sleep=lambda seconds: None)
    assert "the server answers 500" in "\n".join(map(str, report.notices))
    weather = load_weather(office.folder, settings, as_of=TODAY, sites=sites)
    assert weather.outlooks == ()
    assert "outlook nws: none is kept up to" in "\n".join(map(str, weather.notices))


def test_every_new_issue_is_handed_on_once(office: Office) -> None:
    office.type("update", str(office.folder))
    settings = read_settings(office.folder)
    kept: list[Outlook] = []
    update_only_outlooks(office.folder, settings, now=NOW, keep=kept.append)
    assert kept == []
    nws(office.server, TODAY, f"{TODAY}T16:00:00+00:00", -5.0)
    with Fetcher(office.folder / ".weather", HttpSettings()) as fetcher:
        make_older(fetcher, days=0.1)
    update_only_outlooks(office.folder, settings, now=NOW + timedelta(hours=3), keep=kept.append)
    assert [outlook.station_id for outlook in kept] == ["AA001", "AA002"]
    assert all(outlook.issued_at is not None and outlook.issued_at.hour == 16 for outlook in kept)
    weather = load_weather(office.folder, settings, as_of=TODAY)
    assert len(weather.outlooks) == 2  # the later issue of the day
    assert weather.outlooks[0].tmin_c[0] == -5.0
    assert len(read_kept(office.folder / "weather", ["AA001"], as_of=TODAY)) == 2


def test_outlooks_go_to_the_ledger_where_there_is_one(office: Office) -> None:
    from forecaster.season.events import Entry
    from forecaster.season.ledger import open_ledger

    with open_ledger(office.folder) as ledger:
        ledger.append(Entry("note", TODAY, {"text": "the season begins"}), who="office")
    office.type("update", str(office.folder))
    office.type("update", str(office.folder))
    with open_ledger(office.folder) as ledger:
        kept = [event for event in ledger.events() if event.kind == "outlook"]
    assert sorted(event.facts["station_id"] for event in kept) == ["AA001", "AA002"]


def test_met_norway_is_asked_as_it_requires(office: Office) -> None:
    first = datetime(TODAY.year, TODAY.month, TODAY.day, 0, tzinfo=UTC)
    body = met_norway(
        updated=f"{TODAY}T05:00:00Z", hourly=hours(first, 60), course=lambda at: 3.0,
        later=hours(first + timedelta(hours=66), 20, 6),
    )  # fmt: skip
    office.server.routes["/met"] = Answer(body)
    office.settings(toml(office.server, "met-norway"))
    assert "Outlooks (met-norway): 2 stations fetched, 2 issues new" in office.type(
        "update", str(office.folder)
    )
    assert "MET Norway (api.met.no), CC BY 4.0" in office.type("outlook", str(office.folder), "--offline")
    agents = [asked.headers["User-Agent"] for asked in office.server.asked if asked.path == "/met"]
    assert len(agents) == 2
    assert all("office@example.org" in agent for agent in agents)


def test_a_service_that_wants_a_contact_or_a_key_is_not_asked_without(office: Office) -> None:
    office.type("update", str(office.folder))
    for outlook in ("nws", "met-norway"):
        office.settings(toml(office.server, outlook).replace('contact = "office@example.org"\n', ""))
        with pytest.raises(BadInput, match=r"\[weather\] contact: missing"):
            office.type("outlook", str(office.folder))
    office.settings(
        toml(office.server, "open-meteo").replace(f'open_meteo_url = "{office.server.url}/om"\n', "")
    )
    with pytest.raises(BadInput, match=r"\[weather\] api_key_env: open-meteo's free host"):
        office.type("outlook", str(office.folder))


def test_open_meteo_learns_from_its_archive_at_once_and_keeps_its_key_secret(
    office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = datetime(TODAY.year, TODAY.month, TODAY.day, 0, tzinfo=UTC)
    server = office.server
    server.routes["/om"] = Answer(open_meteo(hours(first, 24 * 8), {"temperature_2m": lambda at: 4.0}))
    members = {f"temperature_2m_member{n:02}": (lambda at, n=n: 4.0 + n / 10) for n in range(1, 31)}
    members["temperature_2m"] = lambda at: 4.0
    server.routes["/ens"] = Answer(open_meteo(hours(first, 24 * 8), members))
    past = {f"temperature_2m_previous_day{n}": (lambda at, n=n: 2.0 + n) for n in range(1, 8)}
    server.routes["/past"] = Answer(open_meteo(hours(first - timedelta(days=92), 24 * 93), past))
    office.settings(toml(server, "open-meteo", 'api_key_env = "INVENTED_WEATHER_KEY"\n'))
    monkeypatch.setenv("INVENTED_WEATHER_KEY", "hush-hush")
    office.type("update", str(office.folder))
    keys = [asked.query.get("apikey") for asked in server.asked if asked.path in ("/om", "/past", "/ens")]
    assert keys == [["hush-hush"]] * 6
    said = office.type("outlook", str(office.folder), "--offline")
    assert "How good past outlooks were here:" in said
    assert "Open-Meteo.com, CC BY 4.0" in said
    kept = b"".join(path.read_bytes() for path in office.folder.rglob("*") if path.is_file())
    assert b"hush" not in kept
    weather = load_weather(office.folder, read_settings(office.folder), as_of=TODAY + timedelta(days=1))
    assert max(o.issued for o in weather.outlooks) >= TODAY - timedelta(days=1)
    assert len({o.issued for o in weather.outlooks}) > 80
    server.forget()
    office.type("update", str(office.folder))
    assert server.count("/past") == 0  # enough is kept to learn from


def test_outlooks_put_together_later_do_not_stand_before_the_last_real_one(office: Office) -> None:
    office.type("update", str(office.folder))  # records, and an outlook of today
    office.settings(toml(office.server, "open-meteo", 'api_key_env = "INVENTED_WEATHER_KEY"\n'))
    later = TODAY + timedelta(days=6)

    def kept(issued: date, kind: str, length: int) -> KeptOutlook:
        days = [DayValues(issued + timedelta(days=at), 1.0, 9.0, 5.0) for at in range(1, length)]
        at = datetime(issued.year, issued.month, issued.day, 12, tzinfo=UTC)
        return make_kept(
            "AA001", days, source="open-meteo", issued_at=at, fetched_at=NOW, zone=CHICAGO,
            kind="past" if kind == "past" else "forecast",
        )  # fmt: skip

    old, past, early = TODAY, TODAY + timedelta(days=2), TODAY - timedelta(days=9)
    keep_outlooks(
        office.folder / "weather", [kept(old, "forecast", 16), kept(past, "past", 3), kept(early, "past", 7)]
    )
    weather = load_weather(office.folder, read_settings(office.folder), as_of=later)
    assert [o.issued for o in weather.outlooks] == [early, old]


def test_add_then_forecast_from_own_files(office: Office) -> None:
    lines = ["Date,Low (F),High (F)"]
    for at in range(400):
        day = TODAY - timedelta(days=at + 1)
        lines.append(f"{day},{40 - at % 7},{55 + at % 5}")
    (office.folder / "yard.csv").write_text("\n".join(lines) + "\n")
    said = office.type(
        "add", str(office.folder), str(office.folder / "yard.csv"), "--station-id", "YARD",
        "--latitude", "43.1", "--longitude", "-89.1", "--elevation-ft", "860",
    )  # fmt: skip
    assert "YARD: 400 days added, 0 replaced" in said
    assert "YARD was added to weather/stations.csv." in said
    assert 'set source = "files"' in said
    weather = read_weather(office.folder / "weather", as_of=TODAY)
    assert weather.stations[0].elevation_m == pytest.approx(860 * 0.3048, abs=0.05)
    assert weather.tmin_c[0, -1] == pytest.approx((40 - 32) * 5 / 9, abs=0.05)


def test_with_own_files_and_no_service_there_is_nothing_to_update(office: Office) -> None:
    office.settings(f'[season]\nyear = {TODAY.year}\ntimezone = "America/Chicago"\n')
    with pytest.raises(BadInput, match=r"nothing to fetch.*Set source"):
        office.type("update", str(office.folder))


def test_geocode_says_what_it_sends_and_what_to_do_next(office: Office) -> None:
    (office.folder / "sites.csv").write_text(
        'site_id,customer,address,mean_depth_in\nP-01,Invented,"12 Mill Lane, Ambervane, WI 53000",24\n'
    )
    office.server.routes["/batch"] = Answer(
        b'"2","12 Mill Lane, Ambervane, WI, 53000","Match","Exact","12 MILL LN, AMBERVANE, WI, 53000",'
        b'"-89.05,43.05","1","L"\n'
    )
    said = office.type("geocode", str(office.folder))
    assert "12 MILL LN" in said
    assert "--confirm all" in said
    assert "Confirmed: P-01." in office.type("geocode", str(office.folder), "--confirm", "all")
    sites, _ = read_sites(office.folder, crew_names=())
    assert (sites[0].latitude, sites[0].longitude) == (43.05, -89.05)


def test_a_folder_that_is_none_is_said(office: Office) -> None:
    for command in ("stations", "update", "outlook", "geocode"):
        with pytest.raises(BadInput, match="there is no such folder"):
            office.type(command, str(office.folder / "nowhere"))


def test_help_of_every_command_has_an_example_and_loads_nothing_heavy() -> None:
    code = (
        "import sys, typer\nfrom typer.testing import CliRunner\n"
        "from forecaster.cli_weather import register\n"
        "app = typer.Typer()\napp.callback()(lambda: None)\nregister(app)\n"
        "for name in ('stations', 'update', 'outlook', 'add', 'export', 'geocode'):\n"
        "    said = CliRunner().invoke(app, ['weather', name, '--help']).output\n"
        "    assert f'Example: forecaster weather {name}' in ' '.join(said.split()), said\n"
        "heavy = {'pandas', 'numpy', 'requests', 'requests_cache', 'meteostat', 'statsmodels'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_errors_of_the_weather_end_with_the_right_exit_code(office: Office) -> None:
    settings = read_settings(office.folder)
    with pytest.raises(ForecasterError, match="no station records are kept yet") as caught:
        export_weather(office.folder, settings, as_of=TODAY, to=office.folder / "then")
    assert caught.value.exit_code == 1
    assert json.dumps(str(caught.value))
