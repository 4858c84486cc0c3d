"""The whole forecast of an invented season folder: what it promises to whoever reads it."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from invented_season import AS_OF, SITES, SeasonFolder, outlook_text

from forecaster.errors import BadInput

CHANCES = [
    "p_not_reached",
    "p_hard_freeze_first",
    "p_plumbing_freeze_first",
    "p_ice_first",
    "p_hard_freeze_14d",
    "p_rebound",
    "p_start_by_recommended",
    "p_hard_freeze_before_planned",
]
FREEZE_CHANCES = [name for name in CHANCES if "hard_freeze" in name or "plumbing" in name]
SITE_KEYS = {
    "site_id",
    "rank",
    "station_id",
    "water_now_c",
    "water_now_sd_c",
    *(f"{event}_p{share}" for event in ("start", "sustained") for share in (10, 50, 90)),
    *CHANCES,
    "state",
    "planned_date",
    "window_start",
    "window_end",
    "recommended_date",
    "expected_loss",
    "reason",
}
AS_OFS = [
    date(2025, 8, 1),
    date(2025, 9, 15),
    AS_OF,
    date(2025, 11, 20),
    date(2026, 1, 15),
    date(2026, 1, 31),
]
LATE = "9999-12-31"


def warnings_of(forecast: dict[str, Any]) -> str:
    """All warnings as one text."""
    return "\n".join(f"{w['where']}: {w['text']}" for w in forecast["warnings"])


# --- the contract


@pytest.mark.parametrize("as_of", AS_OFS, ids=str)
def test_contract(season: SeasonFolder, as_of: date) -> None:
    found = season.forecast(as_of)
    assert found["as_of"] == as_of.isoformat()
    for key in ("stations", "sites", "crew_days", "measure_next", "warnings", "closed", "runs_all_winter"):
        assert isinstance(found[key], list), key
    assert set(found["plan"]) >= {"caught_p50", "caught_p90", "latest_start", "expected_loss", "gap"}
    sites = found["sites"]
    assert {site["site_id"] for site in sites} == {"A-12", "B-36", "C-72", "D-fall", "E-hot"}
    assert [site["rank"] for site in sites] == [1, 2, 3, 4, 5]
    for site in sites:
        assert set(site) >= SITE_KEYS
        assert all(site[name] is None or 0.0 <= site[name] <= 1.0 for name in CHANCES)
        for event in ("start", "sustained"):
            dates = [site[f"{event}_p{share}"] or LATE for share in (10, 50, 90)]
            assert dates == sorted(dates)
        if site["start_p50"]:
            assert site["start_p50"] <= (site["sustained_p50"] or LATE)
        assert site["reason"]
    for station in found["stations"]:
        assert station["last_day"] == (as_of - timedelta(days=1)).isoformat()
    assert [entry["site_id"] for entry in found["runs_all_winter"]] == ["F-runs"]


@pytest.mark.parametrize("as_of", AS_OFS, ids=str)
def test_dates_to_come(season: SeasonFolder, as_of: date) -> None:
    found = season.forecast(as_of)
    for site in found["sites"]:
        if site["recommended_date"] is None:
            assert as_of > date(2025, 12, 12)  # the crew's last day
            assert site["site_id"] in warnings_of(found)
            continue
        day = date.fromisoformat(site["recommended_date"])
        assert day >= as_of
        assert day.weekday() < 5
        assert date(2025, 9, 15) <= day <= date(2025, 12, 12)
        assert site["window_start"] <= site["recommended_date"] <= site["window_end"]
        assert site["window_start"] >= as_of.isoformat()
        assert site["expected_loss"] >= 0.0
        assert sum(site["loss_parts"].values()) == pytest.approx(site["expected_loss"], abs=0.03)
    planned = {s["site_id"]: s["planned_date"] for s in found["sites"] if s["planned_date"]}
    by_day = {stop["site_id"]: day["date"] for day in found["crew_days"] for stop in day["stops"]}
    assert by_day == planned


@pytest.mark.parametrize("as_of", AS_OFS, ids=str)
def test_ready_sites_rank_above_waiting_ones(season: SeasonFolder, as_of: date) -> None:
    states = [site["state"] for site in season.forecast(as_of)["sites"]]
    assert set(states) <= {"ready", "waiting", "no_forecast"}
    assert states == sorted(states, key=["ready", "no_forecast", "waiting"].index)


def test_some_ponds_are_ready_while_others_wait(season: SeasonFolder) -> None:
    mixed = 0
    for n in range(12):
        states = {
            site["state"]
            for site in season.forecast(date(2025, 10, 28) + timedelta(days=2 * n))["sites"]
            if site["site_id"] in ("A-12", "B-36", "C-72")
        }
        mixed += states == {"ready", "waiting"}
    assert mixed >= 1  # the order of the test above is not empty


def test_among_the_waiting_the_clearly_more_urgent_comes_first(season: SeasonFolder) -> None:
    waiting = [site for site in season.sites().values() if site["state"] == "waiting"]  # in order of rank
    risks = [site["p_hard_freeze_first"] for site in waiting]
    assert risks[0] > max(risks[1:]) + 0.1
    assert all(later < sooner + 0.1 for sooner, later in pairwise(risks))


def test_deep_water_is_later_and_more_at_risk(season: SeasonFolder) -> None:
    sites = season.sites(date(2025, 10, 6))
    assert sites["A-12"]["sustained_p50"] <= sites["C-72"]["sustained_p50"]
    assert sites["A-12"]["p_hard_freeze_first"] <= sites["C-72"]["p_hard_freeze_first"]


# --- sites of other kinds


def test_water_is_forecast_for_ponds_that_nobody_heats(season: SeasonFolder) -> None:
    sites = season.sites()
    for name in ("D-fall", "E-hot"):
        assert sites[name]["water_now_c"] is None
        assert sites[name]["sustained_p50"] is None
        assert sites[name]["p_hard_freeze_first"] is None
        assert sites[name]["p_hard_freeze_14d"] > 0.0
        assert sites[name]["loss_parts"]["warm_day"] == 0.0
    assert sites["E-hot"]["state"] == "no_forecast"
    assert sites["D-fall"]["state"] == "ready"  # there is no water to wait for
    assert sites["A-12"]["water_now_c"] > 0.0
    assert 0.0 < sites["A-12"]["water_now_sd_c"] < 3.0


def test_a_folder_without_ponds(folder: SeasonFolder) -> None:
    folder.edit_rows("sites.csv", lambda row: row if row[0] in ("D-fall", "E-hot", "F-runs") else None)
    folder.write("readings.csv", "site_id,taken,water_c\n")
    found = folder.forecast()
    assert [site["rank"] for site in found["sites"]] == [1, 2]
    assert found["measure_next"] == []


def test_a_folder_whose_sites_all_run(folder: SeasonFolder) -> None:
    folder.edit_rows("sites.csv", lambda row: [*row[:7], "runs", ""])
    found = folder.forecast()
    assert found["sites"] == []
    assert len(found["runs_all_winter"]) == 6
    assert found["plan"]["expected_loss"] == 0.0


def test_a_station_without_minima_refuses_freezes_and_gives_water(folder: SeasonFolder) -> None:
    _without_minima(folder, "ALDER", "BIRCH")
    found = folder.forecast()
    for site in found["sites"]:
        assert [site[name] for name in FREEZE_CHANCES] == [None] * len(FREEZE_CHANCES)
    pond = next(site for site in found["sites"] if site["site_id"] == "A-12")
    assert pond["sustained_p50"]
    assert pond["p_ice_first"] is not None
    assert pond["recommended_date"]
    assert found["plan"]["caught_p50"] is None


def test_refused_freezes_are_explained(folder: SeasonFolder) -> None:
    _without_minima(folder, "ALDER", "BIRCH")
    assert "tmin" in warnings_of(folder.forecast())


def test_one_station_with_minima_is_enough(folder: SeasonFolder) -> None:
    _without_minima(folder, "BIRCH")
    near = folder.sites()["A-12"]
    assert near["p_hard_freeze_first"] is not None
    folder.edit("season.toml", lambda text: text.replace("[weather]", "[weather]\nstations_per_site = 1"))
    alone = folder.sites()["A-12"]
    assert alone["p_hard_freeze_14d"] == near["p_hard_freeze_14d"]  # ALDER's minima in both


def _without_minima(folder: SeasonFolder, *stations: str) -> None:
    for name in stations:
        folder.edit(
            f"weather/{name}.csv",
            lambda text: "\n".join(",".join(line.split(",")[::2]) for line in text.split("\n")),
        )
    folder.edit("season.toml", lambda text: text.replace('outlook = "files"', 'outlook = "none"'))


# --- readings


@pytest.mark.parametrize("off_c", [2.5, -2.5])
@pytest.mark.parametrize("taken", ["2025-10-20 09:00", "2025-10-19", "2025-10-19 15:30"])
def test_a_reading_moves_present_water_towards_itself(
    season: SeasonFolder, folder: SeasonFolder, taken: str, off_c: float
) -> None:
    before = season.sites()["A-12"]
    value = before["water_now_c"] + off_c
    folder.edit("readings.csv", lambda text: text + f"A-12,{taken},{value:.1f}\n")
    after = folder.sites()["A-12"]
    moved = (after["water_now_c"] - before["water_now_c"]) / off_c
    assert 0.1 < moved < 1.5  # the day's swing is taken off a reading with its hour
    assert after["water_now_sd_c"] < before["water_now_sd_c"]
    order = [before["sustained_p50"], after["sustained_p50"]]
    assert order == sorted(order, reverse=off_c < 0)


def test_a_reading_teaches_its_neighbours_less_than_its_own_pond(
    season: SeasonFolder, folder: SeasonFolder
) -> None:
    before = season.sites()
    folder.edit("readings.csv", lambda text: text + "A-12,2025-10-12,14.0\nA-12,2025-10-19,13.5\n")
    after = folder.sites()
    own, other = (after[name]["water_now_c"] - before[name]["water_now_c"] for name in ("A-12", "B-36"))
    assert own > 1.0
    assert 0.0 < other < 0.5 * own


def test_a_site_without_readings_changes_no_other(season: SeasonFolder, folder: SeasonFolder) -> None:
    before = season.sites()
    folder.edit("sites.csv", lambda text: text + "G-new,Gum,43.02,-88.02,50,pond,no,close,\n")
    after = folder.sites()
    told = SITE_KEYS - {"rank", "planned_date", "p_hard_freeze_before_planned"}
    for name, site in before.items():
        assert {key: after[name][key] for key in told} == {key: site[key] for key in told}


def test_a_site_of_another_kind_without_readings_changes_no_other(folder: SeasonFolder) -> None:
    folder.edit("sites.csv", lambda text: _with_exposure(text, "average"))
    before = folder.sites()
    folder.edit("sites.csv", lambda text: text + "G-new,Gum,43.02,-88.02,50,pond,no,close,,open\n")
    after = folder.sites()
    told = SITE_KEYS - {"rank", "planned_date", "p_hard_freeze_before_planned"}
    for name, site in before.items():
        assert {key: after[name][key] for key in told} == {key: site[key] for key in told}


def _with_exposure(text: str, exposure: str) -> str:
    header, *rows = text.strip().split("\n")
    return "\n".join([f"{header},exposure", *(f"{row},{exposure}" for row in rows)]) + "\n"


# --- the outlook


def test_a_colder_outlook_never_lowers_the_chance_of_a_hard_freeze(folder: SeasonFolder) -> None:
    chances: list[dict[str, float]] = []
    for tmin_c in (9.0, 4.0, 1.0, -1.0, -4.0, -9.0):
        folder.write("weather/outlook/ALDER.csv", outlook_text(AS_OF, tmin_c=tmin_c))
        chances.append({name: site["p_hard_freeze_14d"] for name, site in folder.sites().items()})
    for name in chances[0]:
        found = [chance[name] for chance in chances]
        assert found == sorted(found)
        assert found[-1] > found[0] + 0.4


def test_the_outlook_is_left_alone_where_the_settings_say_none(folder: SeasonFolder) -> None:
    folder.edit("season.toml", lambda text: text.replace('outlook = "files"', 'outlook = "none"'))
    without = folder.json()
    folder.write("weather/outlook/ALDER.csv", outlook_text(AS_OF, tmin_c=-20.0))
    assert folder.json() == without
    assert '"no outlook"' in without


# --- other falls


def test_another_fall_moves_crew_dates_and_drops_booked_ones(
    season: SeasonFolder, folder: SeasonFolder
) -> None:
    found = season.forecast(date(2023, 10, 20))
    text = warnings_of(found)
    assert "booked and told dates are left out" in text
    assert "2023" in text
    sites = {site["site_id"]: site for site in found["sites"]}
    folder.edit("sites.csv", lambda text: text.replace("2025-11-07", ""))
    assert sites["B-36"]["planned_date"] is not None
    assert folder.sites(date(2023, 10, 20)) == sites
    days = [date.fromisoformat(day["date"]) for day in found["crew_days"]]
    assert all(date(2023, 9, 15) <= day <= date(2023, 12, 12) and day.weekday() < 5 for day in days)


def test_the_booked_date_is_kept_in_its_own_fall(season: SeasonFolder) -> None:
    found = season.forecast()
    assert "left out" not in warnings_of(found)
    assert {s["site_id"]: s["planned_date"] for s in found["sites"]}["B-36"] == "2025-11-07"


def test_january_belongs_to_the_fall_before(season: SeasonFolder) -> None:
    found = season.forecast(date(2026, 1, 15))
    assert found["fall"] == 2025
    assert "left out" not in warnings_of(found)
    assert all(site["recommended_date"] is None for site in found["sites"])
    assert all("No crew can come" in site["reason"] for site in found["sites"])
    pond = next(site for site in found["sites"] if site["site_id"] == "A-12")
    assert pond["state"] == "ready"
    assert pond["p_hard_freeze_first"] == 0.0
    assert pond["frost_nights"] > 20
    assert pond["first_hard_freeze_seen"] == "2025-11-04"


def test_1_august(season: SeasonFolder) -> None:
    found = season.forecast(date(2025, 8, 1))
    assert found["fall"] == 2025
    pond = next(site for site in found["sites"] if site["site_id"] == "A-12")
    assert pond["state"] == "waiting"
    assert pond["p_hard_freeze_14d"] == 0.0
    assert pond["frost_nights"] == 0


def test_early_august_with_a_record_that_ends_in_july(folder: SeasonFolder) -> None:
    for name in ("ALDER", "BIRCH"):
        folder.edit_rows(f"weather/{name}.csv", lambda row: row if row[0] < "2025-07-29" else None)
    assert len(folder.forecast(date(2025, 8, 2))["sites"]) == 5


@pytest.mark.parametrize("as_of", [date(2025, 7, 31), date(2026, 2, 1)])
def test_outside_a_season(season: SeasonFolder, as_of: date) -> None:
    with pytest.raises(BadInput, match="outside a season"):
        season.json(as_of)


def test_hard_freezes_that_have_come_are_told_and_are_no_future_risk(season: SeasonFolder) -> None:
    found = season.forecast(date(2025, 11, 20))
    assert "a hard freeze has already come" in warnings_of(found)
    seen = [site["first_hard_freeze_seen"] for site in found["sites"]]
    assert all("2025-10-20" < day < "2025-11-20" for day in seen)
    assert f"first on {min(seen)}" in warnings_of(found)
    settled = [site for site in found["sites"] if (site["sustained_p90"] or LATE) < "2025-11-20"]
    assert settled
    assert all(site["p_hard_freeze_first"] <= 0.1 for site in settled)  # whatever has been seen


# --- short records


def test_too_few_falls_are_refused(folder: SeasonFolder) -> None:
    for name in ("ALDER", "BIRCH"):
        folder.edit_rows(f"weather/{name}.csv", lambda row: row if row[0] >= "2021-01-01" else None)
    with pytest.raises(BadInput, match=r"4 earlier falls are complete .* 5 or more are needed"):
        folder.json()


def test_few_falls_are_told(folder: SeasonFolder) -> None:
    for name in ("ALDER", "BIRCH"):
        folder.edit_rows(f"weather/{name}.csv", lambda row: row if row[0] >= "2018-01-01" else None)
    assert "only 7 earlier falls are complete" in warnings_of(folder.forecast())


# --- the same, in other words


def test_units_of_the_sheet_do_not_matter(season: SeasonFolder, folder: SeasonFolder) -> None:
    folder.edit("sites.csv", lambda text: text.replace("mean_depth_in", "mean_depth_cm"))
    inches = {"12": "30.48", "36": "91.44", "72": "182.88", "24": "60.96", "": ""}
    folder.edit_rows("sites.csv", lambda row: [*row[:4], inches[row[4]], *row[5:]])
    assert folder.sites() == season.sites()
    assert (folder.path / "sites.csv").read_text(encoding="utf-8") != SITES


def test_order_of_sites_and_readings_in_their_files_does_not_matter(
    season: SeasonFolder, folder: SeasonFolder
) -> None:
    for name in ("sites.csv", "readings.csv"):
        header, *rows = (folder.path / name).read_text(encoding="utf-8").strip().split("\n")
        folder.write(name, "\n".join([header, *rows[::-1]]) + "\n")
    ours, theirs = season.sites(), folder.sites()
    for name, site in ours.items():
        assert theirs[name] == site
