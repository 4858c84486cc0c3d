"""The demo season: the files are what the generator writes, and its weather behaves like weather."""

from __future__ import annotations

import csv
import importlib.util
import os
import sys
import tomllib
from collections import Counter
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from forecaster import demo
from forecaster.demo import DEMO_AS_OF, copy_demo, demo_folder
from forecaster.errors import BadInput, ForecasterError
from forecaster.season.settings import read_settings
from forecaster.season.sheet import read_sites
from forecaster.units import M_PER_INCH, f_to_c
from forecaster.weather.files import read_weather

ROOT = Path(__file__).parents[1]
BY_HAND = {"season.toml", "sites.csv"}
FALLS = range(1989, 2025)
STATIONS = ["FLOOR", "BLUFF", "UPPER"]


def files_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def rows_of(name: str) -> list[dict[str, str]]:
    with (demo_folder() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def daily_frame(path: Path) -> pd.DataFrame:
    """tmin, tavg, tmax [°C] on every day of the file; missing days are NaN."""
    return pd.read_csv(path, index_col="date", parse_dates=True).asfreq("D")


def anomaly(series: pd.Series) -> pd.Series:
    """Series less a line and three annual waves fitted to it."""
    years = np.asarray((series.index - series.index[0]).days) / 365.25
    waves = [f(2 * np.pi * k * years) for k in (1, 2, 3) for f in (np.cos, np.sin)]
    design = np.column_stack([np.ones_like(years), years, *waves])
    there = series.notna().to_numpy()
    return series - design @ np.linalg.lstsq(design[there], series[there], rcond=None)[0]


def decade_trend(series: pd.Series) -> float:
    """Least-squares trend a decade, beside annual waves: what `anomaly` takes away, without the waves."""
    fitted = series - anomaly(series)
    yearly = fitted.groupby(fitted.index.year).mean().loc[1990:2024]
    return float(np.polyfit(yearly.index, yearly, 1)[0] * 10)


def first_days(reached: pd.Series, falls: range) -> np.ndarray:
    """Days from 1 August to the first true day of each fall [days]; each must have one by 31 January."""
    found = []
    for year in falls:
        fall = reached[f"{year}-08-01" : f"{year + 1}-01-31"].to_numpy()
        assert fall.any(), year
        found.append(int(fall.argmax()))
    return np.array(found)


@pytest.fixture(scope="module")
def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "fixtures" / "make_demo.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_demo"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def weather() -> dict[str, pd.DataFrame]:
    return {name: daily_frame(demo_folder() / f"weather/{name}.csv") for name in STATIONS}


@pytest.fixture(scope="module")
def plains() -> pd.DataFrame:
    """Daily means [°C] of a real station: Champion, Nebraska, 1982-2018, as carried by aquacrop 3.1.0."""
    spec = importlib.util.find_spec("aquacrop")
    assert spec is not None
    assert spec.origin is not None
    path = Path(spec.origin).parent / "data" / "champion_climate.txt"
    table = pd.read_csv(path, sep=r"\s+")
    table.index = pd.to_datetime(table[["Year", "Month", "Day"]])
    low, high = table["Tmin(C)"], table["Tmax(C)"]
    return pd.DataFrame({"tmin": low, "tavg": (low + high) / 2, "tmax": high}).asfreq("D")


# --- the files


def test_the_generator_writes_the_committed_files_byte_for_byte(generator: ModuleType, tmp_path: Path):
    generator.write_demo(tmp_path)
    made, committed = files_of(tmp_path), files_of(ROOT / "fixtures" / "demo")
    assert set(committed) == set(made) | BY_HAND
    assert [name for name in made if made[name] != committed[name]] == []


def test_the_files_are_small_enough_to_travel_with_the_program():
    assert sum(len(content) for content in files_of(demo_folder()).values()) < 1_500_000


def test_nothing_lies_behind_the_as_of_date(weather: dict[str, pd.DataFrame]):
    day_before = pd.Timestamp(DEMO_AS_OF) - pd.Timedelta(days=1)
    assert {str(table.index[0])[:10] for table in weather.values()} == {"1989-08-01"}
    assert {table.index[-1] for table in weather.values()} == {day_before}
    assert max(row["taken"] for row in rows_of("readings.csv")) < DEMO_AS_OF.isoformat()


def test_the_settings_carry_the_as_of_date_and_agree_with_the_sites():
    text = (demo_folder() / "season.toml").read_text(encoding="utf-8")
    settings = tomllib.loads(text)
    assert f"--as-of {DEMO_AS_OF}" in text
    assert (settings["season"]["members"], settings["season"]["year"]) == (1500, DEMO_AS_OF.year)
    assert (settings["weather"]["outlook"], settings["weather"]["stations_per_site"]) == ("files", 3)
    crews = {crew["name"]: crew for crew in settings["crew"]}
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    for row in rows_of("sites.csv"):
        assert row["crew"] in {"", *crews}
        for promised in filter(None, (row["booked_date"], row["told_date"])):
            day = date.fromisoformat(promised)
            assert any(
                days[day.weekday()] in crew["work_days"]
                and crew["first_day"] <= day <= crew["last_day"]
                and day not in crew["days_off"]
                for name, crew in crews.items()
                if row["crew"] in ("", name)
            ), row["site_id"]


def test_the_route_has_every_sort_of_site():
    sites = rows_of("sites.csv")
    assert len({row["site_id"] for row in sites}) == len(sites) == 40
    assert Counter(row["kind"] for row in sites) == {"pond": 37, "fall without pond": 2, "fountain": 1}
    assert Counter(row["winter"] for row in sites) == {"close": 33, "partly": 4, "runs": 3}
    assert [row["site_id"] for row in sites if row["heated"] == "yes"] == ["V-13"]
    depths = [float(row["mean_depth_in"]) for row in sites if row["kind"] == "pond"]
    assert (min(depths), max(depths)) == (12, 60)
    assert {row["exposure"] for row in sites} == {"sheltered", "average", "open"}
    assert {row["plumbing_exposure"] for row in sites} == {"0.3", "0.6", "1.0"}
    assert {float(row["minimum_offset_f"]) for row in sites} == {-4, -3, -2, -1, 0, 1, 2}
    assert all(1 <= float(row["hours_on_site"]) <= 3 for row in sites)
    for column in ("booked_date", "told_date", "not_before", "not_after", "weekdays", "crew", "access"):
        assert any(row[column] for row in sites), column


def test_the_old_records_have_their_blemishes(weather: dict[str, pd.DataFrame]):
    missing = {name: table.index[table["tavg"].isna()] for name, table in weather.items()}
    assert list(missing["BLUFF"]) == list(pd.date_range("1996-01-06", periods=20))
    assert [str(day)[:10] for day in missing["UPPER"]] == ["1993-11-19", "2001-03-04"]
    swapped = {name: table.index[table["tmin"] > table["tmax"]] for name, table in weather.items()}
    assert {name: [str(day)[:10] for day in days] for name, days in swapped.items()} == {
        "FLOOR": ["1991-10-22"],
        "BLUFF": [],
        "UPPER": [],
    }


def test_the_program_reads_the_season_and_reports_what_it_mends():
    settings = read_settings(demo_folder() / "season.toml")
    sites, _ = read_sites(demo_folder(), crew_names=[crew.name for crew in settings.crews])
    weather = read_weather(demo_folder() / "weather", as_of=DEMO_AS_OF, with_outlooks=True)
    assert (settings.season.members, len(settings.crews), len(sites)) == (1500, 2, 40)
    assert len(weather.outlooks) == 22 * len(STATIONS)
    assert not np.isnan(weather.tmin_c).any()
    for told in ("FLOOR.csv: 1 day", "BLUFF.csv: 20 days", "UPPER.csv: 2 days"):
        assert any(told in str(notice) for notice in weather.notices), told


# --- the weather


@pytest.mark.parametrize("name", STATIONS)
def test_the_trend_is_about_three_tenths_a_decade_and_larger_at_night(
    weather: dict[str, pd.DataFrame], name: str
):
    low, mean, high = (decade_trend(weather[name][column]) for column in ("tmin", "tavg", "tmax"))
    assert mean == pytest.approx(0.30, abs=0.08)  # sampling error of 36 years: about 0.05
    assert low > mean > high


@pytest.mark.parametrize("name", STATIONS)
def test_a_fall_varies_from_day_to_day_like_a_real_one(
    weather: dict[str, pd.DataFrame], plains: pd.DataFrame, name: str
):
    ours, real = anomaly(weather[name]["tavg"]), anomaly(plains["tavg"])
    ours_falls, real_falls = (x.where(x.index.month.isin([9, 10, 11])) for x in (ours, real))
    assert 4.0 <= ours_falls.std() <= 5.0
    assert ours_falls.std() == pytest.approx(real_falls.std(), rel=0.25)
    assert 0.65 <= ours_falls.corr(ours.shift(1)) <= 0.75
    assert ours_falls.corr(ours.shift(1)) == pytest.approx(real_falls.corr(real.shift(1)), abs=0.15)
    assert ours_falls.skew() < 0
    winter = ours[ours.index.month.isin([12, 1, 2])].std()
    summer = ours[ours.index.month.isin([6, 7, 8])].std()
    assert winter > ours_falls.std() > summer


def test_cold_comes_faster_than_it_goes(weather: dict[str, pd.DataFrame]):
    step = anomaly(weather["BLUFF"]["tavg"]).diff()
    assert step.skew() < 0
    assert step.quantile(0.01) < -step.quantile(0.99)


def test_neighbouring_stations_share_their_weather(weather: dict[str, pd.DataFrame]):
    together = pd.DataFrame({name: anomaly(table["tavg"]) for name, table in weather.items()}).corr()
    pairs = together.to_numpy()[np.triu_indices(3, k=1)]
    assert (pairs > 0.93).all()
    assert (pairs < 0.97).all()


def test_cold_air_pools_on_the_valley_floor_on_clear_nights(weather: dict[str, pd.DataFrame]):
    floor, bluff = weather["FLOOR"], weather["BLUFF"]
    warmer = floor["tmin"] - bluff["tmin"]
    swing = bluff["tmax"] - bluff["tmin"]
    clear, cloudy = swing > swing.quantile(0.8), swing < swing.quantile(0.2)
    assert warmer[cloudy].mean() > 0.3  # 136 m lower: 0.9 °C by the lapse rate
    assert warmer[clear].mean() < -1.0


@pytest.mark.parametrize("name", STATIONS)
def test_freezes_and_the_crossing_come_when_they_should(weather: dict[str, pd.DataFrame], name: str):
    table = weather[name]
    october_15, october_31, november_15 = 75, 91, 106  # days from 1 August
    hard = first_days(table["tmin"] <= f_to_c(28) + 0.05, FALLS)
    assert october_15 <= np.median(hard) <= october_31
    assert 7 <= hard.std() <= 13
    air = first_days(table["tavg"].rolling(5).mean() <= f_to_c(45), FALLS)
    assert october_15 + 5 <= np.median(air) <= november_15
    assert 6 <= air.std() <= 12


# --- outlooks and readings


@pytest.mark.parametrize("name", STATIONS)
def test_an_outlook_of_ten_days_was_issued_on_each_of_the_last_mornings(name: str):
    rows = rows_of(f"weather/outlook/{name}.csv")
    issues = Counter(row["issued"] for row in rows)
    mornings = [(DEMO_AS_OF - timedelta(days=back)).isoformat() for back in range(21, -1, -1)]
    assert issues == dict.fromkeys(mornings, 10)
    for start in range(0, len(rows), 10):
        first = date.fromisoformat(rows[start]["issued"])
        days = [date.fromisoformat(row["date"]) for row in rows[start : start + 10]]
        assert days == [first + timedelta(days=lead) for lead in range(10)]
    assert all(float(row["tmin"]) < float(row["tmax"]) for row in rows)


def test_outlooks_are_imperfect_and_worse_for_later_days(weather: dict[str, pd.DataFrame]):
    errors: dict[int, list[float]] = {lead: [] for lead in range(10)}
    for name in STATIONS:
        for row in rows_of(f"weather/outlook/{name}.csv"):
            lead = (date.fromisoformat(row["date"]) - date.fromisoformat(row["issued"])).days
            if row["date"] < DEMO_AS_OF.isoformat():
                errors[lead].append(float(row["tmin"]) - weather[name].loc[row["date"], "tmin"])
    rms = {lead: float(np.sqrt(np.mean(np.square(found)))) for lead, found in errors.items()}
    assert 0.5 < rms[0] < 2.0  # typical: 1.2
    assert np.mean([rms[lead] for lead in (7, 8, 9)]) > 1.5 * np.mean([rms[lead] for lead in (0, 1, 2)])


def test_an_outlook_error_has_the_stated_size_and_is_independent_of_the_outlook(generator: ModuleType):
    truth, z = generator.Draws(90).normal(2, 200_000) * np.array([[4.5], [1.0]])
    r2, noise_c = generator.damping(np.array([1.2, 2.5, 3.9, 9.9]), 4.5)
    for damp, noise, error_c in zip(r2, noise_c, (1.2, 2.5, 3.9, 0.95 * 4.5), strict=True):
        outlook = damp * truth + noise * z
        assert (truth - outlook).std() == pytest.approx(error_c, rel=0.02)
        assert abs(np.corrcoef(truth - outlook, outlook)[0, 1]) < 0.02


def test_the_random_numbers_have_the_stated_spread_and_memory(generator: ModuleType):
    white = generator.Draws(91).normal(300, 300)
    assert (white.mean(), white.std()) == (pytest.approx(0, abs=0.02), pytest.approx(1, abs=0.01))
    field = generator.ar1(generator.ar1(white, 0.6, 0), 0.6, 1)[50:, 50:]
    assert field.std() == pytest.approx(1, abs=0.05)
    for pair in ((field[1:], field[:-1]), (field[:, 1:], field[:, :-1])):
        assert np.corrcoef(*(part.ravel() for part in pair))[0, 1] == pytest.approx(0.6, abs=0.03)


def test_readings_are_what_the_true_water_would_show(generator: ModuleType):
    """Against the noise-free relaxation, written here anew: Te from the nearest station's record alone."""
    sites = {row["site_id"]: row for row in rows_of("sites.csv")}
    near = {"V": "FLOOR", "B": "BLUFF", "U": "UPPER"}
    gaps = []
    for row in rows_of("readings.csv"):
        site, day = sites[row["site_id"]], pd.Timestamp(row["taken"][:10])
        truth = generator.site_truth(site)
        air = daily_frame(demo_folder() / f"weather/{near[row['site_id'][0]]}.csv")["tavg"]["2025-07-01":day]
        sun = np.cos(2 * np.pi * (air.index.day_of_year - generator.LONGEST_DAY) / 365.25)
        te = truth.offset_c + truth.slope * air + generator.SUN_C * sun
        water = te.ewm(alpha=1 - np.exp(-1 / truth.lag_days), adjust=False).mean().iloc[-1]
        gaps.append(f_to_c(float(row["water_f"])) - water)
    assert len(gaps) == 12
    assert np.sqrt(np.mean(np.square(gaps))) < 1.5  # noise 0.8, swing of the day up to 0.8, meter 0.2
    assert max(np.abs(gaps)) < 3.0
    assert any(":" in row["taken"] for row in rows_of("readings.csv"))
    assert any(":" not in row["taken"] and not row["depth_in"] for row in rows_of("readings.csv"))


def test_the_true_lag_grows_with_depth_and_shrinks_with_wind(generator: ModuleType):
    """Hand arithmetic: 1 m at K = 20 W/m²/K lags 4.194e6 x 1 / 20 / 86400 = 2.427 days."""
    site = {"site_id": "V-01", "exposure": "average", "waterfall": "no", "mean_depth_in": str(1 / M_PER_INCH)}
    k = generator.EXCHANGE["average"]
    factor = generator.site_truth(site).lag_days / (2.427 * 20 / k)
    assert 0.6 < factor < 1.6  # the site's own share, exp(0.15 z)
    lag = generator.site_truth
    assert lag({**site, "mean_depth_in": "60"}).lag_days > lag(site).lag_days
    assert lag({**site, "exposure": "open"}).lag_days < lag(site).lag_days
    assert lag({**site, "waterfall": "yes"}).lag_days < lag(site).lag_days


# --- finding and copying it


def test_the_wheel_takes_the_demo_along():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    included = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert included["fixtures/demo"] == "forecaster/_demo"
    assert (ROOT / "fixtures/demo/season.toml").is_file()
    assert demo._PLACES[0] == Path(demo.__file__).parent / "_demo"


def test_an_installed_copy_is_found_before_a_checkout(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    installed, checkout = tmp_path / "_demo", tmp_path / "demo"
    monkeypatch.setattr(demo, "_PLACES", (installed, checkout))
    with pytest.raises(ForecasterError, match="Install the program again"):
        demo_folder()
    for place in (checkout, installed):
        place.mkdir()
        (place / "season.toml").touch()
        assert demo_folder() == place


@pytest.mark.parametrize("exists", [False, True])
def test_a_copy_is_whole_writable_and_alone(tmp_path: Path, exists: bool):
    target = tmp_path / "my season"
    if exists:
        target.mkdir()
    assert copy_demo(target) == target
    assert files_of(target) == files_of(demo_folder())
    assert all(os.access(path, os.W_OK) for path in target.rglob("*"))
    assert list(tmp_path.iterdir()) == [target]


def test_a_copy_never_overwrites(tmp_path: Path):
    full, file = tmp_path / "full", tmp_path / "file"
    full.mkdir()
    (full / "mine.txt").write_text("mine")
    file.write_text("mine")
    before = files_of(tmp_path)
    cases = {
        full: "is not empty, and nothing in it is overwritten. Name a folder that does not exist yet.",
        file: "is a file. Name a folder that does not exist yet.",
        tmp_path / "no" / "where": "does not exist. Create that or name another one.",
    }
    for target, text in cases.items():
        with pytest.raises(BadInput) as caught:
            copy_demo(target)
        assert text in str(caught.value)
        assert caught.value.problems[0].where == str(target)
    assert files_of(tmp_path) == before


def test_a_copy_that_fails_leaves_nothing(tmp_path: Path):
    """A name too long for the file system: the copy cannot be made."""
    with pytest.raises(BadInput, match="Name a folder in a place where you may write"):
        copy_demo(tmp_path / ("x" * 300))
    assert list(tmp_path.iterdir()) == []
