"""The JSON for other programs: all promised keys, ISO dates, null for "never", the same bytes each time."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from forecaster.forecast import RouteForecast
from forecaster.report.contract import route_json

# What README promises to outside checks; keys may be added, none dropped or renamed.
PROMISED = {
    "": "as_of stations sites crew_days plan measure_next warnings closed runs_all_winter",
    "stations": "station_id name first_day last_day filled_days",
    "sites": (
        "site_id rank station_id water_now_c water_now_sd_c start_p10 start_p50 start_p90 sustained_p10"
        " sustained_p50 sustained_p90 p_not_reached p_hard_freeze_first p_plumbing_freeze_first p_ice_first"
        " state p_hard_freeze_14d p_rebound"
        " p_start_by_recommended planned_date p_hard_freeze_before_planned window_start window_end"
        " recommended_date expected_loss reason"
    ),
    "crew_days": "date crew stops",
    "plan": "caught_p50 caught_p90 latest_start expected_loss gap not_placed gap_exact drive_cost move_cost"
    " caught_chances caught_limit weeks worst shortage moves",
    "measure_next": "site_id value",
    "warnings": "where text",
    "closed": "site_id",
    "runs_all_winter": "site_id",
}


def read(forecast: RouteForecast) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(route_json(forecast), parse_constant=lambda name: pytest.fail(name))
    return record


def test_every_promised_key_is_there(forecast: RouteForecast) -> None:
    record = read(forecast)
    assert set(PROMISED[""].split()) <= set(record)
    for room, keys in PROMISED.items():
        if room:
            for part in [record[room]] if isinstance(record[room], dict) else record[room]:
                assert set(keys.split()) <= set(part), room
    assert set(record["crew_days"][0]["stops"][0]) == {"site_id", "arrive", "leave"}


def test_values_and_their_rounding(forecast: RouteForecast) -> None:
    odd = replace(
        forecast.sites[0],
        p_hard_freeze_first=np.float64(0.123456),
        water_now_c=-0.001,
        expected_loss=41.006,
        sustained_p90=None,
        p_ice_first=None,
    )
    record = read(replace(forecast, sites=(odd, *forecast.sites[1:])))
    site = record["sites"][0]
    assert (site["p_hard_freeze_first"], site["water_now_c"], site["expected_loss"]) == (0.1235, 0.0, 41.01)
    assert (site["sustained_p90"], site["p_ice_first"]) == (None, None)
    assert date.fromisoformat(site["sustained_p50"]) == odd.sustained_p50
    assert record["as_of"] == "2025-10-06"
    assert record["crew_days"][0]["stops"][0] == {"site_id": "L-01", "arrive": "08:05", "leave": "10:05"}
    assert record["plan"]["gap"] == 0.008
    assert record["plan"]["worst"][0] == {"source_fall": 1991, "earlier_days": 0, "caught": 5, "loss": 4000.0}
    assert record["closed"] == [{"site_id": "C-01"}, {"site_id": "C-02"}]
    assert "-0.0" not in route_json(replace(forecast, sites=(odd,)))


def test_same_bytes_whatever_the_order_of_mappings(forecast: RouteForecast) -> None:
    turned = replace(
        forecast,
        settings_text=dict(reversed(forecast.settings_text.items())),
        sites=tuple(
            replace(site, loss_parts=dict(reversed(site.loss_parts.items()))) for site in forecast.sites
        ),
    )
    assert route_json(forecast) == route_json(turned)
    assert route_json(forecast).endswith("}\n")


def test_never_is_null_and_a_missing_number_is_refused(forecast: RouteForecast) -> None:
    assert read(replace(forecast, measure_next=(("L-01", float("inf")),)))["measure_next"][0]["value"] is None
    with pytest.raises(ValueError, match=r"JSON compliant"):
        route_json(replace(forecast, measure_next=(("L-01", float("nan")),)))
