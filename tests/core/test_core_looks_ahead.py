"""Nothing looks ahead, and the same input gives the same bytes."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from invented_season import AS_OF, SeasonFolder, outlook_text, write_season

from forecaster.errors import BadInput
from forecaster.pipeline import load_known

DATES = [date(2023, 10, 20), date(2025, 9, 15), AS_OF, date(2025, 11, 5)]


def scramble(folder: SeasonFolder, as_of: date) -> None:
    """Make nonsense of all weather from the as-of date on, and of readings and outlooks dated after it."""
    random = np.random.default_rng(13)

    def other(row: list[str]) -> list[str]:
        if row[0] < as_of.isoformat():
            return row
        return [row[0], *random.choice(["-40.0", "", "95", "abc", "-999", "31.5"], 3).tolist()]

    for name in ("ALDER", "BIRCH"):
        folder.edit_rows(f"weather/{name}.csv", other)
    later = date.fromordinal(as_of.toordinal() + 1)
    folder.edit(
        "readings.csv",
        lambda text: text + f"A-12,{later},1.0\nB-36,{later} 07:00,30.0\nC-72,2026-01-05,0.0\n",
    )
    added = outlook_text(later, tmin_c=-25.0).split("\n", 1)[1]
    folder.edit("weather/outlook/ALDER.csv", lambda text: text + added)
    folder.write("weather/outlook/BIRCH.csv", outlook_text(later, tmin_c=30.0))


@pytest.mark.parametrize("as_of", DATES, ids=str)
def test_nothing_after_the_as_of_date_changes_a_byte(
    season: SeasonFolder, folder: SeasonFolder, as_of: date
) -> None:
    before = season.json(as_of)
    scramble(folder, as_of)
    assert folder.json(as_of) == before


def test_what_comes_before_does_change_it(season: SeasonFolder, folder: SeasonFolder) -> None:
    before = season.json()
    scramble(folder, date(2025, 10, 19))
    with pytest.raises(BadInput, match="abc"):
        folder.json()
    warmer = season.copy(folder.path.parent / "warmer")
    warmer.edit_rows(
        "weather/ALDER.csv",
        lambda row: [row[0], "9.0", "11.0", "13.0"] if row[0] == "2025-10-19" else row,
    )
    assert warmer.json() != before


def test_a_reading_of_the_as_of_morning_is_known(season: SeasonFolder, folder: SeasonFolder) -> None:
    folder.edit("readings.csv", lambda text: text + "A-12,2025-10-20 08:00,6.0\n")
    assert folder.json() != season.json()


def test_what_is_known_holds_nothing_later(folder: SeasonFolder) -> None:
    scramble(folder, AS_OF)
    known = load_known(folder.path, AS_OF)
    assert max(reading.day for reading in known.readings) <= AS_OF
    assert known.weather.last_day < AS_OF
    assert all(outlook.issued <= AS_OF for outlook in known.weather.outlooks)
    assert known.weather.outlooks


def test_rows_after_the_as_of_date_may_be_missing(season: SeasonFolder, folder: SeasonFolder) -> None:
    for name in ("ALDER", "BIRCH"):
        folder.edit_rows(f"weather/{name}.csv", lambda row: row if row[0] < AS_OF.isoformat() else None)
    assert folder.json() == season.json()


def test_same_bytes_twice_and_from_another_folder(season: SeasonFolder, tmp_path: Path) -> None:
    first = season.json()
    assert season.json() == first
    assert write_season(tmp_path / "elsewhere").json() == first
    assert str(tmp_path) not in first
    assert str(season.path) not in first


def test_another_seed_gives_other_members(season: SeasonFolder, folder: SeasonFolder) -> None:
    folder.edit("season.toml", lambda text: text.replace("seed = 11", "seed = 12"))
    ours, theirs = season.sites()["A-12"], folder.sites()["A-12"]
    assert ours["water_now_c"] == theirs["water_now_c"]  # the state is no draw
    assert ours["p_hard_freeze_first"] != theirs["p_hard_freeze_first"]
    assert abs(ours["p_hard_freeze_first"] - theirs["p_hard_freeze_first"]) < 0.15
