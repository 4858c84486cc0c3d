"""Six real snaps of different kinds, Champion, Nebraska: the page's order agrees with a worked table.

Three kinds of evidence in `snap_season.check`: dollars and order by hand arithmetic from the chances shown;
the chance of 20 °F so far between two bounds of plain arithmetic from the measured nights; and the chances
themselves held to the table (a regression). The lakeshore's six are in `tests/bench/snap_cases.py`.
"""

import pytest
from champion_cases import CHAMPION
from champion_record import champion
from snap_season import check, report_of, write_season


@pytest.fixture(scope="session")
def record() -> str:
    return champion()[["tmin", "tmax"]].to_csv(index_label="date")


@pytest.mark.parametrize("case", CHAMPION, ids=lambda case: case.name)
def test_the_order_agrees_with_the_table(case, record, tmp_path):
    season = write_season(
        tmp_path / "season", year=case.as_of.year, station="CHAMPION", latitude=40.4, longitude=-101.7,
        elevation_m=1030, record=record,
    )  # fmt: skip
    check(case, report_of(season, case.as_of))
