"""The snap end to end on the demo: screen, JSON and page agree; the ledger counts; nothing looks ahead."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from snap_demo import LOWS_C, SNAP_AS_OF
from typer.testing import CliRunner

from forecaster.cli import app
from forecaster.report.snap_json import snap_json
from forecaster.report.snap_page import snap_page
from forecaster.report.snap_text import snap_text
from forecaster.weather.outlook_errors import learn_errors
from forecaster.web.snap_folder import snap_of_folder


def of(report, site_id):
    return next(site for site in report.sites if site.site.site_id == site_id)


def test_the_snap_its_nights_and_hours(report):
    assert report.first_day == SNAP_AS_OF - timedelta(days=3)
    assert report.last_day == SNAP_AS_OF  # this morning's outlook is below 20 °F at the hollows
    seen = {(n.station_id, n.day): n for n in report.station_nights}
    night = seen["FLOOR", SNAP_AS_OF - timedelta(days=1)]
    assert (night.min_c, night.kind, night.hours_from) == (-4.8, "observed", "estimated")
    # one cosine from -4.8 to +4.2: 24 x arccos((-0.3 + 2.1722) / 4.5) / pi
    assert night.hours_hard == pytest.approx(24 * np.arccos((-0.3 + 20 / 9 - 0.05) / 4.5) / np.pi, abs=1e-6)
    assert seen["FLOOR", SNAP_AS_OF].kind == "expected"
    assert "estimated" in snap_text(report)


def test_chances_follow_offset_exposure_and_water(report):
    for site in report.sites:
        state = site.state
        assert 0 <= state.p_plumbing_new <= state.p_plumbing_next <= 1
        assert state.p_plumbing_so_far + state.p_plumbing_new <= 1 + 1e-9
        assert state.p_plumbing_so_far <= state.p_hard_so_far
        night = state.nights[-1]
        assert night.p10_c < night.p50_c < night.p90_c
    hollow, town = of(report, "V-03"), of(report, "U-11")  # -4 °F and +2 °F
    assert hollow.state.p_plumbing_so_far > town.state.p_plumbing_so_far


def test_order_is_the_rule_and_protected_sites_come_last(report):
    action = report.plan.action
    rates = [site.per_hour(action) for site in report.sites if site.protected_on is None]
    assert rates == pytest.approx(sorted(rates, reverse=True), abs=1e-6)
    assert [site.order for site in report.sites] == list(range(1, len(report.sites) + 1))
    last = report.sites[-1]
    assert last.site.site_id == "U-08"
    assert last.quick == dict.fromkeys(last.quick, 0.0)
    assert of(report, "B-06").quick["leak"] == 0.0  # somebody has looked: no damage


def test_quick_visits_serve_more_and_save_more_before_dark(report):
    close, quick = report.plans
    assert report.plan is quick
    assert len(quick.done) > 2 * len(close.done) > 0
    assert quick.saves > close.saves
    assert quick.left_hours > 10
    for visits in quick.crews:
        assert all(stop.leave <= visits.dark.time() for stop in visits.stops)
    assert set(report.by_crews) == {1, 2, 3, 4}
    served = [max(len(plan.done) for plan in plans) for plans in report.by_crews.values()]
    assert served == sorted(served)


def test_who_was_told_and_which_closed_pond_may_be_shut(report):
    told = of(report, "V-01").said
    assert [(one.what, one.day, one.by) for one in told] == [("told", date(2025, 10, 21), "Ann")]
    assert report.gas[0].site.site_id == "V-06"
    assert all(site.p_covered_next >= 0.05 for site in report.gas[1:])
    assert "aerator silent" in report.gas[0].trouble[0]
    assert "told Tue 21 Oct, said 6 Oct by Ann" in snap_text(report, at_most=None)


def test_what_came_stands_beside_what_was_forecast_and_is_learnt(report, snap_folder):
    from forecaster.pipeline import load_known

    days = {row.day for row in report.compared}
    assert days == {SNAP_AS_OF + timedelta(days=n) for n in LOWS_C}
    assert {row.days_before for row in report.compared} == {1, 3}
    for row in report.compared:
        assert row.came_c == LOWS_C[(row.day - SNAP_AS_OF).days]
        assert row.p10_c < row.p50_c < row.p90_c
    weather = load_known(snap_folder, SNAP_AS_OF).weather
    source = weather.outlooks[0].source
    learnt = learn_errors(weather.outlooks, weather, source=source)
    for one in report.learned:
        assert one.counted > 0
        assert one.sd_now_c == pytest.approx(float(learnt[one.station_id].sd_min_c[one.lead_days - 1]))
        assert one.bias_now_c != one.bias_before_c


def test_nothing_after_the_morning_is_used(report, snap_folder, tmp_path):
    other = tmp_path / "later"
    shutil.copytree(snap_folder, other)
    for record in (other / "weather").glob("*.csv"):
        if record.name != "stations.csv":
            columns = len(record.read_text(encoding="utf-8").splitlines()[0].split(","))
            with record.open("a", encoding="utf-8") as file:
                for n in range(3):
                    file.write(
                        ",".join([str(SNAP_AS_OF + timedelta(days=n)), *["-25.0"] * (columns - 1)]) + "\n"
                    )
    assert snap_json(snap_of_folder(other, SNAP_AS_OF)) == snap_json(report)


def test_the_forecast_of_an_earlier_morning_knows_nothing_later(snap_folder):
    from forecaster.pipeline import load_known
    from forecaster.snap.compare import members_on

    known = load_known(snap_folder, SNAP_AS_OF)
    morning = SNAP_AS_OF - timedelta(days=3)
    at = known.weather.index_of(morning)
    low, mean = known.weather.tmin_c.copy(), known.weather.tmean_c.copy()
    low[:, at:], mean[:, at:] = -30.0, 25.0
    late = replace(known.weather.outlooks[-1], issued=morning + timedelta(days=1))
    changed = replace(known.weather, tmin_c=low, tmean_c=mean, outlooks=(*known.weather.outlooks, late))
    a, b = (members_on(weather, known.settings, morning) for weather in (known.weather, changed))
    assert a is not None
    assert b is not None
    np.testing.assert_array_equal(a.tmin_head_c, b.tmin_head_c)
    np.testing.assert_array_equal(a.tmin_base_c, b.tmin_base_c)


def test_values_within_the_day_give_measured_hours(snap_folder, tmp_path):
    other = tmp_path / "logger"
    shutil.copytree(snap_folder, other)
    (other / "weather" / "hourly").mkdir()
    day = SNAP_AS_OF - timedelta(days=1)
    rows = ["time,air temperature (C)"]
    for n in range(
        -24, 48
    ):  # 6 hours at -4 in the day, the rest at +1, half-hour slopes of 5 °C at both ends
        moment = datetime.combine(day, datetime.min.time()) + timedelta(hours=n)
        rows.append(f"{moment:%Y-%m-%d %H:%M},{-4.0 if 2 <= n <= 8 else 1.0}")
    (other / "weather" / "hourly" / "FLOOR.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = {(n.station_id, n.day): n for n in snap_of_folder(other, SNAP_AS_OF).station_nights}
    night = found["FLOOR", day]
    share = (4.0 - 20 / 9 + 0.05) / 5.0  # of each slope at or below 28 °F
    assert night.hours_from == "measured"
    assert night.hours_hard == pytest.approx(6.0 + 2 * share, abs=1e-6)
    assert night.hours_plumbing == 0.0
    assert found["BLUFF", day].hours_from == "estimated"


def test_screen_json_and_page_agree_and_carry_the_cautions(report):
    page = snap_page(
        report, made_at=datetime(2025, 10, 9, 6, 12).astimezone(), call=lambda site: "tel:6085550142"
    )
    record = json.loads(snap_json(report))
    text = snap_text(report, at_most=None)
    assert [site["site_id"] for site in record["sites"]] == [site.site.site_id for site in report.sites]
    assert record["action"] == report.plan.action
    places = [text.index(f"{site.order}. {site.site.site_id}") for site in report.sites]
    assert places == sorted(places)
    for said in (page, text):
        flat = " ".join(said.split())
        assert "do not walk on it" in flat
        assert "Local codes" in flat
        assert "locked and tested" in flat
        assert not re.search(
            r"ice (is|will be|looks) (safe|thick enough)|will (bear|hold) ", flat, re.IGNORECASE
        )
    assert "tel:6085550142" in page
    assert "http" not in page.replace("http-equiv", "")


def test_the_route_plans_what_remains_without_pipes_at_stake(snap_folder):
    from forecaster.pipeline import load_known

    before, after = (load_known(snap_folder, SNAP_AS_OF - timedelta(days=n)) for n in (2, 0))
    at_stake = [next(s for s in k.sites if s.site_id == "U-08").plumbing_exposure for k in (before, after)]
    assert at_stake[0] > 0.0
    assert at_stake[1] == 0.0


# --- the command


def run(*args: str):
    return CliRunner().invoke(app, ["snap", *args])


def test_the_command_writes_what_it_says(snap_folder, tmp_path):
    target = tmp_path / "snap.json"
    done = run(str(snap_folder), "--as-of", str(SNAP_AS_OF), "--crews", "1", "--json", str(target))
    assert done.exit_code == 0, done.output
    assert "Protect now, close later" in " ".join(done.output.split())
    crews = json.loads(target.read_text(encoding="utf-8"))["plans"][0]["crews"]
    assert len(crews) == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--since", "2025-10-09"], "--since"),
        (["--since", "2025-07-01", "--crews", "99"], "before the season"),
        (["--since", "2025-10-01", "--crews", "-1"], "is not a number of crews"),
        (["--json", "nowhere/snap.json"], "there is no folder"),
    ],
)
def test_bad_input_is_refused_with_its_cure(snap_folder, options, said):
    done = run(str(snap_folder), "--as-of", str(SNAP_AS_OF), *options)
    assert getattr(done.exception, "exit_code", done.exit_code) == 2
    assert said in f"{done.output} {done.exception}"
