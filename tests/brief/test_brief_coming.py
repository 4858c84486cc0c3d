"""The coming nights: counted by hand, and in agreement with the forecast's own chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from brief_situations import settings

from forecaster.brief.coming import coming_nights, nights_of, snap_begins
from forecaster.demo import DEMO_AS_OF, demo_folder
from forecaster.events import Limits
from forecaster.pipeline import load_known

LIMITS = Limits(10.0, 65 / 9, 5, 0.0, -20 / 9, -20 / 3)


def test_by_hand():
    low_c = np.array(
        [
            [1.0, -2.2, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0],  # -2.2 is 28 F as archives store it
            [1.0, -2.3, -2.3, 1.0, 1.0, 1.0, 1.0, 1.0],  # a pair: a snap from day 1 on
            [1.0, 1.0, 1.0, -9.0, 1.0, 1.0, 1.0, 1.0],  # one night at 20 F or colder: a snap on day 3
            [1.0, 1.0, -9.5, 1.0, 1.0, 1.0, 1.0, 1.0],
            [2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, -3.0],
        ]
    )
    found = nights_of(low_c, settings(), LIMITS, as_of_day=66, fall=2025)  # 66: 6 October
    assert found.p_hard_freeze == pytest.approx(3 / 5)  # within days 0-2
    assert found.hard_freeze_day == date(2025, 10, 7)  # days 1, 1, 2: the middle one
    assert found.p_below == pytest.approx(1 / 5)  # -9.5 within three nights; -9.4 is 15.1 F
    assert (found.low_p10_c, found.low_p50_c, found.low_p90_c) == (-9.5, -2.2, 2.0)
    assert found.p_snap == pytest.approx(3 / 5)
    assert found.snap_day == date(2025, 10, 8)  # days 1, 2, 3


def test_a_snap_needs_two_nights_running_or_a_plumbing_freeze():
    low_c = np.array([[-3.0, 1.0, -3.0, 1.0], [1.0, 1.0, 1.0, -3.0], [1.0, 1.0, -3.0, -3.0]])
    assert snap_begins(low_c, LIMITS, within_days=3).tolist() == [np.inf, np.inf, 2.0]
    assert snap_begins(low_c, LIMITS, within_days=2).tolist() == [np.inf] * 3


def test_the_same_members_as_the_forecast(demo_situation):
    """With 14 days the chance is the forecast's own p_hard_freeze_14d, site by site."""
    known = load_known(demo_folder(), date.fromisoformat(str(DEMO_AS_OF)))
    alarms = known.settings.alarms.model_copy(update={"hard_freeze_days": 14})
    wider = replace(known, settings=known.settings.model_copy(update={"alarms": alarms}))
    ids = [site.site.site_id for site in demo_situation.forecast.sites]
    found = coming_nights(wider, ids)
    for site in demo_situation.forecast.sites:
        assert found[site.site.site_id].p_hard_freeze == pytest.approx(site.p_hard_freeze_14d, abs=1e-12)


def test_near_the_end_of_the_fall_and_without_sites(demo_situation):
    low_c = np.full((3, 2), -9.0)  # two days are left of the fall
    found = nights_of(low_c, settings(), LIMITS, as_of_day=182, fall=2025)
    assert (found.p_hard_freeze, found.hard_freeze_day) == (1.0, date(2026, 1, 30))
    known = load_known(demo_folder(), date.fromisoformat(str(DEMO_AS_OF)))
    assert coming_nights(known, []) == {}
    assert all(nights.p_snap is not None for nights in demo_situation.coming.values())
