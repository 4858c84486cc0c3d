"""The winter as a source of the brief: told once a reason, again after the longest wait; from a folder."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from winter_season import AS_OF, CLOSED, winter_folder, winter_forecast, winter_kits, winter_known

from forecaster.brief.round import brief_of, situation_in
from forecaster.brief.situation import situation_of, watch_of
from forecaster.brief.winter import winter
from forecaster.report.winter_cautions import ICE
from forecaster.visit.winter_watch import winter_watch

MOMENT = datetime(2025, 10, 20, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def now():
    """The situation with both watched ponds due for ice."""
    situation = situation_of(winter_known(), winter_forecast(), moment=MOMENT)
    watch = winter_watch(winter_known(), winter_kits(), CLOSED)
    due = tuple(replace(site, look_again=AS_OF, look_kind="first ice") for site in watch.sites)
    return replace(situation, winter=replace(watch, sites=due))


def on(now, day):
    return replace(now, forecast=replace(now.forecast, as_of=day), winter=replace(now.winter, as_of=day))


def test_a_reason_is_told_once_and_again_after_the_longest_wait(now):
    matters, told = winter(now, None)
    assert [set(matter.sites) for matter in matters] == [{"A-12", "F-runs"}]
    assert ICE in matters[0].next_step
    assert winter(on(now, AS_OF + timedelta(days=13)), told) == ([], told)
    again, after = winter(on(now, AS_OF + timedelta(days=14)), told)
    assert len(again) == 1
    assert after["A-12"] == ["first ice", "2025-11-03"]


def test_another_reason_is_told_at_once_and_only_for_its_pond(now):
    _, told = winter(now, None)
    sites = tuple(
        replace(site, look_kind="ice lies") if site.site.site_id == "A-12" else site
        for site in now.winter.sites
    )
    matters, after = winter(replace(now, winter=replace(now.winter, sites=sites)), told)
    assert [matter.sites for matter in matters] == [("A-12",)]
    assert after["F-runs"] == told["F-runs"]


def test_what_is_not_due_yet_is_neither_told_nor_remembered(now):
    later = tuple(replace(site, look_again=AS_OF + timedelta(days=5)) for site in now.winter.sites)
    assert winter(replace(now, winter=replace(now.winter, sites=later)), None) == ([], {})


def test_without_closed_ponds_there_is_no_watch():
    known = winter_known()
    none = replace(known, sites=tuple(site for site in known.sites if site.winter != "runs"))
    assert watch_of(none) is None
    situation = replace(situation_of(known, winter_forecast(), moment=MOMENT), winter=None)
    assert winter(situation, {"A-12": ["first ice", "2025-10-01"]}) == (
        [],
        {"A-12": ["first ice", "2025-10-01"]},
    )


def test_the_brief_of_a_folder_holds_the_winter():
    situation = situation_in(winter_folder().path, AS_OF, moment=MOMENT)
    assert situation.winter is not None
    brief, told = brief_of(situation, None)
    winters = [matter for matter in brief.matters if matter.kind == "winter"]
    due = [site for site in situation.winter.sites if site.look_again <= date(2025, 10, 21)]
    assert bool(winters) == bool([site for site in due if site.look_kind != "nothing due"])
    assert set(told["winter"]) == {site_id for matter in winters for site_id in matter.sites}
