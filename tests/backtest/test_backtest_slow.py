"""The promises on a real record, Champion in Nebraska as the package aquacrop 3.1.0 carries it. Minutes."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pandas as pd
import pytest

from forecaster.backtest.contract import Backtest
from forecaster.backtest.inputs import Asked
from forecaster.backtest.policies import FIXED, HINDSIGHT, RECOMMENDED
from forecaster.backtest.run import run_backtest

ALL_DAYS = list(range(7))
SETTINGS = """[season]
year = 2017
timezone = "America/Denver"
seed = 1
members = 300
[[crew]]
name = "One"
latitude = 40.4
longitude = -101.7
hours_per_day = 8
work_days = ["mon", "tue", "wed", "thu", "fri"]
first_day = 2017-09-01
last_day = 2017-12-20
"""
SITES = """site_id,customer,latitude,longitude,mean_depth_in,exposure,waterfall
P0,Invented,40.4,-101.7,18,sheltered,yes
P1,Invented,40.4,-101.7,30,average,no
P2,Invented,40.4,-101.7,48,open,no
"""


@pytest.fixture(scope="module")
def champion(tmp_path_factory: pytest.TempPathFactory) -> Path:
    spec = importlib.util.find_spec("aquacrop")
    assert spec is not None
    assert spec.origin is not None
    table = pd.read_csv(Path(spec.origin).parent / "data" / "champion_climate.txt", sep=r"\s+")
    days = pd.to_datetime({"year": table.Year, "month": table.Month, "day": table.Day}).dt.date
    folder = tmp_path_factory.mktemp("champion") / "folder"
    (folder / "weather").mkdir(parents=True)
    frame = pd.DataFrame({"date": days, "tmin": table["Tmin(C)"], "tmax": table["Tmax(C)"]})
    frame.to_csv(folder / "weather" / "CHAMP.csv", index=False)
    head = "station_id,name,latitude,longitude,elevation_m\n"
    (folder / "weather" / "stations.csv").write_text(head + "CHAMP,Champion,40.4,-101.7,1030\n")
    (folder / "season.toml").write_text(SETTINGS)
    (folder / "sites.csv").write_text(SITES)
    return folder


@pytest.fixture(scope="module")
def runs(champion: Path) -> dict[str, Backtest]:
    return {
        kind: run_backtest(champion, Asked(outlook=kind, members=300), workers=2)
        for kind in ("none", "emulated", "perfect")
    }


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["none", "emulated"])
def test_coverage_is_what_is_promised(runs: dict[str, Backtest], kind: str):
    row = runs[kind].summary.row(0, 1, ALL_DAYS, "all")
    assert row.seasons == 21
    assert row.coverage_80_low is not None
    assert row.coverage_80_low <= 0.8 <= (row.coverage_80_high or 0.0)


@pytest.mark.slow
def test_no_worse_than_past_seasons_and_better_with_an_outlook(runs: dict[str, Backtest]):
    none, emulated, perfect = (
        runs[kind].summary.row(0, 1, ALL_DAYS, "all") for kind in ("none", "emulated", "perfect")
    )
    late = runs["emulated"].summary.row(0, 1, ALL_DAYS[-3:], "late")
    assert (none.crps_ratio_low or 9.0) < 1.0
    assert (none.crps_ratio or 9.0) > (emulated.crps_ratio or 0.0) > (perfect.crps_ratio or 0.0)
    assert (late.crps_ratio or 9.0) < 0.84
    assert (emulated.brier_skill or -1.0) > 0.0


@pytest.mark.slow
def test_money_lies_between_the_fixed_date_and_hindsight(champion: Path):
    asked = Asked(outlook="emulated", members=150, money=True, money_every_days=1, as_of_days=((10, 1),))
    done = run_backtest(champion, asked, workers=2)
    loss = {row.policy: row.mean_loss for row in done.policies if not row.crews_limited}
    assert loss[HINDSIGHT] <= loss[RECOMMENDED] <= loss[FIXED]
