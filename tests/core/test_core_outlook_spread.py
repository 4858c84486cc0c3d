"""An ensemble's spread beside the outlook, through the whole forecast."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from invented_season import AS_OF, SeasonFolder

from forecaster.known import atmosphere
from forecaster.pipeline import load_known

BEFORE = 20


def outlooks(spread: str, spread_before: str) -> str:
    """Twenty issues of earlier days and today's, minimum 3 °C; `spread` as cells, "" for none."""
    has_spread = bool(spread or spread_before)
    lines = ["issued,date,tmin,tmax" + (",tmin_sd,tmean_sd" if has_spread else "")]
    for back in range(BEFORE, -1, -1):
        issued: date = AS_OF - timedelta(days=back)
        cell = spread if back == 0 else spread_before
        for ahead in range(10):
            day = issued + timedelta(days=ahead)
            lines.append(f"{issued},{day},3.0,12.0" + (f",{cell},{cell}" if has_spread else ""))
    return "\n".join(lines) + "\n"


def json_with(folder: SeasonFolder, spread: str, spread_before: str) -> str:
    folder.write("weather/outlook/ALDER.csv", outlooks(spread, spread_before))
    return folder.json()


def minima_sd(folder: SeasonFolder, spread: str, spread_before: str) -> float:
    """Spread over the members of the minimum at ALDER of the as-of day [°C]."""
    folder.write("weather/outlook/ALDER.csv", outlooks(spread, spread_before))
    known = load_known(folder.path, AS_OF)
    members = atmosphere(known, known.sites).members
    return float(np.std(members.tmin_head_c[:, 0, 0]))


def test_a_usual_spread_or_none_leaves_every_byte(folder: SeasonFolder) -> None:
    without = json_with(folder, "", "")
    assert json_with(folder, "1.5", "1.5") == without
    assert json_with(folder, "1.5", "") == without  # nothing to compare with
    assert json_with(folder, "", "1.5") == without
    assert json_with(folder, "3.0", "1.5") != without


def test_a_wide_ensemble_widens_the_members_by_the_hand_value(folder: SeasonFolder) -> None:
    usual = minima_sd(folder, "1.5", "1.5")
    believed = 0.5 * BEFORE / (BEFORE + 30)
    assert minima_sd(folder, "2.0", "1.5") / usual == pytest.approx(np.sqrt(1 + believed * (16 / 9 - 1)))
    assert minima_sd(folder, "0.75", "1.5") / usual == pytest.approx(np.sqrt(1 - believed * 0.75))
