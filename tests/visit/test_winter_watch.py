"""The winter watch: when to look again by hand, what it says and never says, the command."""

import json
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from winter_season import AS_OF, CLOSED, DAY, NEVER, coming, run, winter_folder, winter_kits, winter_known

from forecaster.report.winter_cautions import BACTERIA, ELECTRICITY, FEEDING, ICE
from forecaster.report.winter_text import NO_SNOW, watch_lines, winter_json, winter_matters, winter_text
from forecaster.season.state_records import Visit
from forecaster.visit.winter_watch import last_looks, look_again, winter_day, winter_watch


def looked(**given):
    usual = {
        "feeding": NEVER,
        "bacteria": NEVER,
        "first_ice": NEVER,
        "long_ice_ahead": NEVER,
        "p_ice_now": 0.0,
        "ice_days": 3,
        "at_most_days": 14,
    }
    return look_again(DAY, **(usual | given))


@pytest.fixture(scope="module")
def watch():
    return winter_watch(winter_known(), winter_kits(), CLOSED)


@pytest.fixture(scope="module")
def whole():
    return winter_watch(winter_known(), winter_kits(), CLOSED, every=True)


# --- hand cases
def test_nothing_due_is_looked_at_after_the_longest_wait():
    assert looked() == (date(2025, 11, 15), "nothing due")


def test_the_earliest_reason_counts():
    assert looked(first_ice=coming(9), bacteria=coming(4)) == (date(2025, 11, 5), "bacteria")
    assert looked(first_ice=coming(2), bacteria=coming(4)) == (date(2025, 11, 3), "first ice")


def test_feeding_goes_before_bacteria_on_the_same_day_and_no_fish_need_none():
    assert looked(feeding=coming(4), bacteria=coming(4))[1] == "feeding"
    assert looked(feeding=None, bacteria=coming(4))[1] == "bacteria"


def test_what_may_have_come_is_looked_at_today_what_probably_came_is_past():
    assert looked(bacteria=coming(-3, come=0.3)) == (DAY, "bacteria")
    assert looked(bacteria=coming(-9, come=0.6))[1] == "nothing due"


def test_ice_that_lies_is_looked_at_once_it_has_lain_its_days():
    lying = {"p_ice_now": 0.6, "long_ice_ahead": coming(1)}  # half the falls: 5 days after `coming`
    assert looked(first_ice=coming(-6, come=0.9), **lying) == (date(2025, 11, 3), "ice lies")
    assert looked(first_ice=coming(-20, come=0.9), **lying) == (DAY, "ice lies")


def test_nobody_looks_sooner_than_that_after_the_last_look_nor_later_than_the_longest_wait():
    lying = {"p_ice_now": 0.6, "first_ice": coming(-20, come=0.9)}
    assert looked(**lying, last_look=date(2025, 10, 31)) == (date(2025, 11, 3), "ice lies")
    assert looked(bacteria=coming(-3, come=0.3), last_look=DAY) == (date(2025, 11, 4), "bacteria")
    assert looked(last_look=date(2025, 10, 25)) == (date(2025, 11, 8), "nothing due")
    assert looked(last_look=date(2025, 9, 1)) == (DAY, "nothing due")


def test_readings_closings_and_visits_of_this_fall_are_looks():
    known = winter_known()  # readings: B-36 15 Sep, 10 Oct; C-72 16 Oct and one of last fall
    visits = [Visit("C-72", date(2025, 10, 18), "net off", 0.5), Visit("C-72", date(2025, 12, 1), "x", 1)]
    assert last_looks(known, CLOSED | {"F-runs": None}, visits) == {
        "A-12": date(2025, 10, 18),
        "B-36": date(2025, 10, 10),
        "C-72": date(2025, 10, 18),
    }


def test_a_wait_of_one_day_is_never_longer():
    assert looked(at_most_days=1, first_ice=coming(9)) == (date(2025, 11, 2), "nothing due")


def test_spread_counts_what_is_not_reached_as_latest():
    day = winter_day(np.array([91.0, 92.0, 93.0, np.inf]), fall=2025, as_of_day=93)
    assert (day.p10, day.p50, day.p90) == (date(2025, 10, 31), date(2025, 11, 1), None)
    assert (day.p_not_reached, day.p_come) == (0.25, 0.5)


def test_days_of_february_are_not_by_31_january():
    assert winter_day(np.array([190.0]), fall=2025, as_of_day=0).p50 is None


# --- parts together
def test_closed_ponds_and_those_that_run_are_watched(watch, whole):
    assert {site.site.site_id for site in watch.sites} == {"A-12", "F-runs"}
    assert {site.site.site_id for site in whole.sites} == {"A-12", "B-36", "C-72", "F-runs"}
    assert watch.others_open == 2
    assert [site.site_id for site in watch.left_out] == ["E-hot"]


def test_each_thing_comes_in_its_order(whole):
    for site in whole.sites:
        assert site.bacteria.p50 <= site.first_ice.p50 <= site.long_ice.p50
        assert site.look_again >= AS_OF
        assert site.look_again <= AS_OF + timedelta(days=14)
        assert (site.feeding is None) == (site.site.site_id == "C-72")


def test_a_shallow_pond_freezes_before_a_deep_one(whole):
    assert whole.site("A-12").first_ice.p50 <= whole.site("C-72").first_ice.p50


def test_a_lower_limit_is_reached_later():
    known = winter_known()
    winter = known.settings.winter.model_copy(update={"last_feeding_c": 4.4})
    colder = replace(known, settings=known.settings.model_copy(update={"winter": winter}))
    site = winter_watch(colder, winter_kits(), CLOSED).site("A-12")
    assert site.feeding.p50 > site.bacteria.p50


# --- words
def test_the_list_is_sorted_and_holds_every_caution(watch):
    text = winter_text(watch, unicode=False)
    flat = " ".join(text.split())
    for caution in (ICE, FEEDING, BACTERIA, ELECTRICITY, NO_SNOW):
        assert " ".join(caution.split()) in flat
    assert [site.look_again for site in watch.sites] == sorted(site.look_again for site in watch.sites)
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 100


def test_nothing_ever_says_that_ice_is_safe_or_bears(watch, whole):
    for text in (winter_text(watch, unicode=True), winter_text(whole, unicode=True, detail=True)):
        lowered = text.casefold()
        for word in ("safe", "bear", "thick enough", "carries"):
            assert word not in lowered


def test_two_limits_get_two_columns():
    known = winter_known()
    winter = known.settings.winter.model_copy(update={"last_feeding_c": 8.0})
    both = replace(known, settings=known.settings.model_copy(update={"winter": winter}))
    text = winter_text(winter_watch(both, winter_kits(), CLOSED), unicode=False)
    assert "46.4 F" in text
    assert "50 F" in text


def test_lines_for_a_page_and_none_for_a_stranger(watch):
    lines = watch_lines(watch, "A-12")
    assert lines[0].startswith("Look again")
    assert lines[-1] == ICE
    assert watch_lines(watch, "B-36") == ()


def test_matters_for_the_brief_name_sites_and_next_step(watch):
    late = replace(
        watch,
        sites=tuple(replace(site, look_again=AS_OF, look_kind="first ice") for site in watch.sites),
    )
    matter = winter_matters(late)[0]
    assert matter.kind == "winter"
    assert set(matter.sites) == {"A-12", "F-runs"}
    assert "de-icer" in matter.next_step
    assert ICE in matter.next_step
    quiet = replace(watch, sites=tuple(replace(s, look_kind="nothing due") for s in late.sites))
    assert winter_matters(quiet) == ()


def test_json_is_whole(watch):
    record = json.loads(winter_json(watch))
    site = next(one for one in record["sites"] if one["site_id"] == "A-12")
    assert site["closed"] == "2025-10-18"
    assert date.fromisoformat(site["first_ice_p10"]) <= date.fromisoformat(site["first_ice_p90"])
    assert record["snow_known"] is False
    assert site["snow_on_ice_p50"] is None


# --- the command
def test_the_command_watches_what_was_closed(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    assert run("close", folder, "A-12", "--on", "2025-10-18", "--by", "North")[0] == 0
    code, shown, said = run("winter", folder, "--as-of", AS_OF, "--json", tmp_path / "w.json")
    assert code == 0, said
    assert "18 Oct" in shown
    assert "2 ponds still open" in shown
    assert json.loads((tmp_path / "w.json").read_text())["sites"]
    code, shown, _ = run("winter", folder, "B-36", "--as-of", AS_OF)
    assert code == 0
    assert "Feeding ends (50 F)" in shown


def test_a_folder_without_closings_says_the_next_step(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.edit("sites.csv", lambda text: text.replace(",runs,", ",close,"))
    code, shown, _ = run("winter", folder.path, "--as-of", AS_OF)
    assert code == 0
    assert "--all" in shown


def test_bad_settings_are_refused(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.edit(
        "season.toml", lambda text: f"{text}\n[winter]\nlast_feeding_f = 5\ndeicer_off_f = 20\nice_day = 3\n"
    )
    code, _, said = run("winter", folder.path, "--as-of", AS_OF)
    assert code == 2
    assert "outside the allowed" in said
    assert "Did you mean ice_days?" in said
    folder.edit("season.toml", lambda text: text.split("[winter]")[0] + "[winter]\ndeicer_off_f = 33\n")
    assert "deicer_on" in run("winter", folder.path, "--as-of", AS_OF)[2]
