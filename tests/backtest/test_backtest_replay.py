"""The replay looks at nothing after its as-of day, is the same for any number of workers, and goes on."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from forecaster.backtest import replay as replay_module
from forecaster.backtest.contract import CSV_COLUMNS, csv_head, csv_rows
from forecaster.backtest.inputs import Asked, BacktestInput, fingerprint, read_backtest, thinned
from forecaster.backtest.past import FallCache, PastModel
from forecaster.backtest.replay import replay_season
from forecaster.backtest.result import SeasonResult, from_bytes, to_bytes
from forecaster.backtest.runner import run_seasons
from forecaster.backtest.schedule import make_schedule
from forecaster.errors import BadInput
from forecaster.season.readings import Reading

DAYS = ((9, 20), (10, 5), (10, 20))
FORECAST = (
    "quantiles", "p_not_reached", "freeze_chance", "freeze_reference", "reference_count",
    "plumbing_chance", "plumbing_reference",
)  # fmt: skip


def asked(**more: object) -> Asked:
    return Asked(seasons=(2014, 2016), as_of_days=DAYS, members=200, **more)  # type: ignore[arg-type]


def dense_readings() -> str:
    """Site B is read daily in every fall, by rule: slow water behind a seasonal cycle."""
    lines = ["site_id,taken,water_f"]
    rng = np.random.default_rng(11)
    for year in range(1997, 2020):
        shift = rng.normal(0.0, 5.0)
        for n in range(25, 125):
            day = date(year, 8, 1) + timedelta(days=n)
            water_f = max(70.0 - 0.36 * max(n - shift - 20.0, 0.0) + rng.normal(0, 0.6), 32.5)
            lines.append(f"B,{day},{water_f:.1f}")
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def given(plain_folder: Path) -> BacktestInput:
    return read_backtest(plain_folder, asked())


def replayed(given: BacktestInput, season: int, days: list[date]) -> SeasonResult:
    return replay_season(given, PastModel.of(given), season, days, FallCache())


def scrambled(given: BacktestInput, from_day: date) -> BacktestInput:
    """Everything from `from_day` on is other weather and other water."""
    rng = np.random.default_rng(from_day.toordinal())
    records = []
    for record in given.records:
        later = record.rows.dates["date"] >= np.datetime64(from_day)
        moved = np.where(later, np.cumsum(rng.normal(0.0, 0.6, later.size)) % 7.0 - 3.0, 0.0)
        values = {name: column + moved for name, column in record.rows.values.items()}
        records.append(replace(record, rows=replace(record.rows, values=values)))
    readings = tuple(
        replace(r, water_c=r.water_c + rng.normal(0.0, 4.0)) if r.day > from_day else r
        for r in given.readings
    )
    return replace(given, records=tuple(records), readings=readings)


def assert_nothing_after(given: BacktestInput, seasons: range) -> None:
    schedule, other_truths = make_schedule(given), 0
    for season in seasons:
        for day in schedule.days_of(season):
            plain = replayed(given, season, [day])
            other = replayed(scrambled(given, day), season, [day])
            for name in FORECAST:
                assert np.array_equal(getattr(plain, name), getattr(other, name), equal_nan=True), (name, day)
            other_truths += not np.array_equal(plain.observed, other.observed)
    assert other_truths >= 2, "the scrambling changed nothing"


# --- looks at nothing later
def test_scrambling_the_future_changes_no_forecast(given: BacktestInput):
    assert_nothing_after(given, range(2014, 2017))


def test_nor_with_readings_and_measured_water(make_folder: Callable[..., Path]):
    given = read_backtest(make_folder(readings=dense_readings()), asked())
    plain = replayed(given, 2015, [date(2015, 10, 5)])
    assert plain.measured[1].all()
    assert_nothing_after(given, range(2015, 2016))


def test_a_leaking_climatology_is_caught(given: BacktestInput, monkeypatch: pytest.MonkeyPatch):
    honest = replay_module.Season.__init__

    def leaking(self, *args, **options):  # type: ignore[no-untyped-def]
        honest(self, *args, **options)
        crossing = np.concatenate([self.earlier.crossing, self.observed[None]])
        freeze = np.concatenate([self.earlier.next_freeze, self.freezes[:, None]], axis=1)
        self.earlier = replace(self.earlier, crossing=crossing, next_freeze=freeze)

    monkeypatch.setattr(replay_module.Season, "__init__", leaking)
    with pytest.raises(AssertionError, match=r"freeze_reference|reference_count"):
        assert_nothing_after(given, range(2014, 2017))


# --- the same for all, and to the end
def test_workers_and_stops_change_nothing(given: BacktestInput, tmp_path: Path):
    schedule = make_schedule(given)
    alone = [to_bytes(r) for r in run_seasons(given, schedule, workers=1, version="1")]
    said: list[str] = []
    running = run_seasons(given, schedule, workers=2, version="1", keep_in=tmp_path, say=said.append)
    first = next(running)
    running.close()  # stopped after one season
    kept = list(tmp_path.rglob("*.npz"))
    assert [path.stem for path in kept] == ["2014"]
    said.clear()
    again = list(run_seasons(given, schedule, workers=2, version="1", keep_in=tmp_path, say=said.append))
    assert "1 of 3 seasons are there" in said[0]
    assert to_bytes(again[0]) == to_bytes(first)
    for theirs, ours in zip(alone, again, strict=True):
        one, other = from_bytes(theirs), from_bytes(to_bytes(ours))
        for name in (*FORECAST, "crps", "reference_crps", "transform"):
            assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True), name
    assert not list(tmp_path.rglob("*.npz"))


def test_other_input_is_another_run(given: BacktestInput):
    assert fingerprint(given, "1") == fingerprint(replace(given), "1")
    changed = scrambled(given, date(2019, 1, 1))
    assert len({fingerprint(given, "1"), fingerprint(given, "2"), fingerprint(changed, "1")}) == 3


def test_a_damaged_kept_season_is_computed_again(given: BacktestInput, tmp_path: Path):
    one = replace(make_schedule(given), seasons=(2015,))
    folder = tmp_path / fingerprint(given, "1")
    folder.mkdir()
    (folder / "2015.npz").write_bytes(b"torn")
    (result,) = run_seasons(given, one, workers=1, version="1", keep_in=tmp_path)
    assert result.done.all()
    with pytest.raises(ValueError, match="not the result"):
        from_bytes(b"torn")


# --- kinds of truth
def test_measured_and_modelled_are_kept_apart(make_folder: Callable[..., Path]):
    given = read_backtest(make_folder(readings=dense_readings()), asked())
    result = replayed(given, 2016, [date(2016, 10, 5)])
    assert result.measured.tolist() == [[False, False], [True, True], [False, False]]
    rows = list(csv.DictReader(io.StringIO(csv_head() + csv_rows(result))))
    assert {(row["site_id"], row["truth"]) for row in rows} == {
        ("A", "modelled"), ("B", "measured"), ("C", "modelled"),
    }  # fmt: skip
    spread = np.diff(result.quantiles[0, :, 1, [0, 4]], axis=0)
    assert (spread > 0).all()


def test_modelled_truth_is_one_value_a_season(given: BacktestInput):
    result = replayed(given, 2014, [date(2014, 9, 20), date(2014, 10, 20)])
    rows = list(csv.DictReader(io.StringIO(csv_head() + csv_rows(result))))
    assert tuple(rows[0]) == CSV_COLUMNS
    assert len(rows) == 2 * 3 * 2
    seen: dict[tuple[str, str], set[str]] = {}
    for row in rows:
        seen.setdefault((row["site_id"], row["event"]), set()).add(row["observed"])
        assert row["p10"] <= row["p50"] <= row["p90"] or not row["p90"]
        assert 0 <= float(row["p_hard_freeze_first"]) <= 1
        assert row["hard_freeze_first"] in ("0", "1")
    assert all(len(days) == 1 for days in seen.values())


def test_thinned_readings_do_not_look_ahead():
    many = [Reading("A", date(2015, 8, 25) + timedelta(days=n), 15.0) for n in range(90)]
    four = thinned(many, 4)
    assert len(four) == 4
    cut = [r for r in many if r.day <= date(2015, 10, 5)]
    assert thinned(cut, 4) == [r for r in four if r.day <= date(2015, 10, 5)]


# --- by name, never silently
def test_seasons_without_enough_past_are_named(plain_folder: Path):
    given = read_backtest(plain_folder, Asked(seasons=(2005, 2012), as_of_days=DAYS))
    schedule = make_schedule(given)
    assert schedule.seasons == (2011, 2012) or schedule.seasons == (2010, 2011, 2012)
    named = {notice.where for notice in schedule.skipped}
    assert "season 2005" in named
    assert all("15 are needed" in notice.text for notice in schedule.skipped)


def test_no_season_left_is_refused(plain_folder: Path):
    given = read_backtest(plain_folder, Asked(seasons=(1996, 1999)))
    with pytest.raises(BadInput, match="15 are needed"):
        make_schedule(given)


def test_all_wrong_wishes_at_once(plain_folder: Path):
    wrong = Asked(seasons=(2010, 2001), as_of_days=((3, 1), (2, 30)), outlook="guess", members=5)
    with pytest.raises(BadInput) as caught:
        read_backtest(plain_folder, wrong)
    assert len(caught.value.problems) == 5
    assert "08-01 to 01-31" in str(caught.value)


def test_a_site_without_a_station_is_refused(make_folder: Callable[..., Path]):
    sites = "site_id,customer,latitude,longitude,mean_depth_in\nFAR,Invented,10.0,-90.0,30\n"
    given = read_backtest(make_folder(sites=sites), asked())
    with pytest.raises(BadInput, match="from the nearest station"):
        replayed(given, 2015, [date(2015, 10, 5)])


def test_a_morning_without_usable_weather_is_left_out_by_name(given: BacktestInput):
    records = []
    for record in given.records:
        day = record.rows.dates["date"]
        hole = (day >= np.datetime64("2015-09-10")) & (day < np.datetime64("2015-09-30"))
        values = {name: np.where(hole, np.nan, column) for name, column in record.rows.values.items()}
        records.append(replace(record, rows=replace(record.rows, values=values)))
    holed = replace(given, records=tuple(records))
    result = replayed(holed, 2016, [date(2016, 10, 5)])
    assert result.done.all()
    assert 2015 not in make_schedule(holed).seasons
    assert any("2015" in str(notice) for notice in make_schedule(holed).skipped)
