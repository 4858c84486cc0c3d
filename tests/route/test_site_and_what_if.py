"""The page of one site, and what-ifs: they say the difference and change nothing."""

import json
from datetime import date, timedelta

import pytest
from typer import Typer
from typer.testing import CliRunner

from forecaster.build import forecast_route
from forecaster.cli_route import check_gap, register, what_if
from forecaster.demo import demo_folder
from forecaster.errors import BadInput
from forecaster.report.contract import route_json
from forecaster.report.site_page import site_text
from forecaster.route.what_if import apply_what_if, as_in_force


@pytest.fixture(scope="module")
def app() -> Typer:
    made = Typer()

    @made.callback()
    def root() -> None:
        """Two commands, so that names count."""

    register(made)
    return made


# --- one site


def test_every_open_site_has_a_page(demo_known, demo_forecast):
    for site in demo_forecast.sites:
        own = tuple(r for r in demo_known.readings if r.site_id == site.site.site_id)
        text = site_text(demo_forecast, site.site.site_id, own, unicode=False)
        assert text.isascii()
        assert max(len(line) for line in text.splitlines()) <= 100
        assert f"Why rank {site.rank} of {len(demo_forecast.sites)}" in text
        for words in ("Water", "Dates and chances", "Plan", "in all", "planned"):
            assert words in text


def test_the_loss_of_each_day_adds_up(demo_forecast):
    text = site_text(demo_forecast, "V-12")
    rows = [line.split() for line in text.splitlines() if line.strip().startswith(("Mon", "Tue", "Fri"))]
    costs = [[float(cell) for cell in row[3:8]] for row in rows]
    assert costs
    assert all(sum(row[:4]) == pytest.approx(row[4], abs=0.03) for row in costs)
    best = next(line for line in text.splitlines() if "best" in line and "Oct" in line and "." in line)
    assert "10 Oct" in best


def test_sites_that_are_not_closed_are_said_so(demo_forecast):
    assert "runs all winter" in site_text(demo_forecast, "U-04")
    with pytest.raises(KeyError):
        site_text(demo_forecast, "nobody")


def test_the_command(app):
    done = CliRunner().invoke(app, ["site", str(demo_folder()), "V-12", "--as-of", "2025-10-06"])
    assert done.exit_code == 0
    assert "told Tue 28 Oct, now" in done.output
    wrong = CliRunner().invoke(app, ["site", str(demo_folder()), "V12", "--as-of", "2025-10-06"])
    assert isinstance(wrong.exception, BadInput)
    assert "Did you mean V-12?" in str(wrong.exception)


# --- what if


def test_a_crew_that_is_ill_costs_and_is_off_that_day(demo_known, demo_forecast):
    changed = apply_what_if(as_in_force(demo_known, demo_forecast), "ill Heron 2025-10-09")
    after = forecast_route(changed)
    assert after.plan.expected_loss > demo_forecast.plan.expected_loss
    assert not any(d.crew == "Heron" and d.day == date(2025, 10, 9) for d in after.crew_days)
    assert any("no crew works on Thu 9 Oct any more" in move.reason for move in after.plan.moves)


def test_a_crew_more_never_costs(demo_known, demo_forecast):
    changed = apply_what_if(as_in_force(demo_known, demo_forecast), "extra Heron 2025-10-09")
    after = forecast_route(changed)
    assert after.plan.expected_loss < demo_forecast.plan.expected_loss
    assert any(d.crew == "Heron extra" for d in after.crew_days)
    # V-15 may only be done by Heron, so the crew that is like Heron may go too
    v15 = next(site for site in changed.sites if site.site_id == "V-15")
    assert v15.crews == ("Heron", "Heron extra")


def test_a_rain_day_and_a_site_more_at_once(demo_known, demo_forecast):
    text = "rain 2025-10-08..2025-10-09; site NEW 43.25, -89.43 24in 1.5h"
    changed = apply_what_if(demo_known, text)
    new = changed.sites[-1]
    assert (new.site_id, new.mean_depth_m, new.hours_on_site) == ("NEW", pytest.approx(0.6096), 1.5)
    assert all({date(2025, 10, 8), date(2025, 10, 9)} <= crew.days_off for crew in changed.crews)
    said = what_if(demo_known, demo_forecast, text, gap=0.05)
    assert said.startswith(f"What if: {text} (nothing is changed)")
    assert "visits on another day" in said


def test_a_move_that_both_plans_make_is_no_effect_of_the_change(demo_known, demo_forecast):
    told_and_moved = {move.site_id for move in demo_forecast.plan.moves if move.told}
    assert told_and_moved
    idle = next(
        day
        for day in (date(2025, 10, 14) + timedelta(days=n) for n in range(40))
        if day.weekday() < 5 and all((d.crew, d.day) != ("Heron", day) for d in demo_forecast.crew_days)
    )
    said = what_if(demo_known, demo_forecast, f"ill Heron {idle}", gap=0.05)
    assert "- No visit moves." in said


def test_what_if_changes_nothing_that_it_was_given(demo_known, demo_forecast):
    before = (demo_known.crews, demo_known.sites, dict(demo_known.in_force))
    what_if(demo_known, demo_forecast, "ill Heron 2025-10-09", gap=0.05)
    assert (demo_known.crews, demo_known.sites, dict(demo_known.in_force)) == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "names no change"),
        ("il Heron 2025-10-09", "Did you mean ill?"),
        ("ill Herom 2025-10-09", "Did you mean Heron?"),
        ("rain 2025-13-01", "no day of the calendar"),
        ("rain 2025-10-09..2025-10-01", "no span of days"),
        ("site NEW", "write it like"),
        ("site V-12 43 -89 24in", "in the site sheet already"),
        ("site NEW 430 -89 24in", "no place on earth"),
        ("site NEW 43 -89 2in", "no depth of a pond"),
    ],
)
def test_what_cannot_be_read_is_said(demo_known, text: str, said: str):
    with pytest.raises(BadInput, match="--what-if") as caught:
        apply_what_if(demo_known, text)
    assert said in str(caught.value)


def test_all_problems_at_once(demo_known):
    with pytest.raises(BadInput) as caught:
        apply_what_if(demo_known, "il Heron 2025-10-09; rain soon")
    assert len(caught.value.problems) == 2


def test_gap_is_a_share():
    assert check_gap(0.02) == 0.02
    with pytest.raises(BadInput, match="--gap"):
        check_gap(2.0)


def test_the_json_holds_the_whole_plan(demo_forecast):
    plan = json.loads(route_json(demo_forecast))["plan"]
    assert sum(plan["caught_chances"]) == pytest.approx(1.0, abs=0.01)
    placed = [site for site in demo_forecast.sites if site.planned_date is not None]
    assert sum(week["visits"] for week in plan["weeks"]) == len(placed)
    parts = sum(week["expected_loss"] + week["drive_cost"] for week in plan["weeks"]) + plan["move_cost"]
    assert parts == pytest.approx(plan["expected_loss"], abs=0.05)
    assert {move["site_id"] for move in plan["moves"]} == {move.site_id for move in demo_forecast.plan.moves}
    assert plan["shortage"]["crew_day_values"] == sorted(
        plan["shortage"]["crew_day_values"], key=lambda one: one["date"]
    )
