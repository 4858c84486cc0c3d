"""Readings of February to July lie in no fall: not used, and said so once, with how many and where."""

from __future__ import annotations

from datetime import date

from invented_season import AS_OF, SeasonFolder

from forecaster.known import Known
from forecaster.pipeline import load_known


def notices_of(known: Known) -> list[str]:
    return [str(n) for n in known.notices if "from February to July" in n.text]


def test_readings_of_spring_and_summer_are_counted_once(folder: SeasonFolder) -> None:
    spring = "A-12,2025-02-01,4.0\nA-12,2025-07-31,24.0\nC-72,2024-05-20,13.5\n"
    folder.edit("readings.csv", lambda text: text + spring + "A-12,2025-01-31,0.4\nA-12,2025-08-01,24.0\n")
    assert notices_of(load_known(folder.path, AS_OF)) == [
        "readings: 3 readings from February to July at A-12, C-72 are not used (last 2025-07-31): a fall "
        "runs from 1 August to 31 January."
    ]


def test_one_reading_and_none(folder: SeasonFolder) -> None:
    assert notices_of(load_known(folder.path, AS_OF)) == []
    folder.edit("readings.csv", lambda text: text + "A-12,2025-06-03,18.0\n")
    (said,) = notices_of(load_known(folder.path, AS_OF))
    assert said.startswith("readings: 1 reading from February to July at A-12 is not used (last 2025-06-03)")


def test_nothing_is_said_of_readings_after_the_as_of_date(folder: SeasonFolder) -> None:
    folder.edit("readings.csv", lambda text: text + "A-12,2026-03-03,5.0\n")
    assert notices_of(load_known(folder.path, date(2026, 1, 15))) == []
