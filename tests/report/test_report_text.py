"""The text report: straight columns, ASCII on demand, hostile names harmless, everything said in words."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from invented_route import route_forecast

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report import view
from forecaster.report.table import Column, ascii_only, cell_width, fit, fitted
from forecaster.report.text import route_text, site_lines

HOSTILE = (
    "<script>alert(1)</script>",
    '=HYPERLINK("x","y")',
    "\x1b[2J\x1b[31mred",
    "🐟🐟 Köi Café 池の家",
    "a" * 200,
    "line\nbreak\u202eturned",
    "",
)


def hostile_route() -> RouteForecast:
    route = route_forecast(24)
    sites = list(route.sites)
    for index, name in enumerate(HOSTILE):
        site = sites[index].site
        sites[index] = replace(
            sites[index],
            site=replace(site, customer=name, address=name, access=name),
            planned_crew=name[:40] or None,
            reason=f"Because {name}",
        )
    return replace(route, sites=tuple(sites), season_name=HOSTILE[0])


# --- alignment
@pytest.mark.parametrize("width", [72, 80, 100, 140])
@pytest.mark.parametrize("unicode", [True, False])
def test_no_line_is_wider_than_the_screen(width: int, unicode: bool) -> None:
    for route in (route_forecast(160), hostile_route(), route_forecast(24, units="metric")):
        for line in route_text(route, width=width, unicode=unicode, limit=None).splitlines():
            assert cell_width(line) <= width, line
        for line in site_lines(route.sites[4], route, width=width, unicode=unicode):
            assert cell_width(line) <= width, line


def table_rows(text: str) -> list[str]:
    return [line for line in text.splitlines() if re.match(r" *!?\d+ +L-\d+ .* %", line)]


def test_columns_stand_under_each_other(big_forecast: RouteForecast) -> None:
    text = route_text(big_forecast, unicode=True, limit=None)
    heads = [line for line in text.splitlines() if "(8 falls in 10)" in line]
    rows = table_rows(text)
    assert len(rows) == 160
    assert len(heads) == 3
    assert len(set(heads)) == 1
    column = heads[0].index("(8 falls")
    assert all(row[column - 1] == " " and row[column] != " " for row in rows)
    assert {row.index(" %") for row in rows if "<1 %" not in row} == {heads[0].index("freeze") + 4}


def test_at_100_columns_nothing_is_left_out_and_at_72_it_says_what(big_forecast: RouteForecast) -> None:
    assert "Left out" not in route_text(big_forecast, width=100, unicode=True)
    narrow = " ".join(route_text(big_forecast, width=72, unicode=True).split())
    assert "Left out on this narrow screen: closing window, loss $." in narrow


def test_cells_are_cut_to_their_width() -> None:
    assert [cell_width(fit(name, 9)) for name in ("池の家の池", "a" * 30, "e\u0301" * 20, "")] == [9, 9, 9, 9]
    layout = fitted([Column("\n#"), Column("\nname", flexible=True)], [[("1", "a" * 50)]], width=20)
    assert layout.line(("1", "a" * 50)) == "1  " + "a" * 16 + "…"


def test_the_layout_gives_up_columns_in_their_order() -> None:
    columns = [Column("\na"), Column("\nb", flexible=True), Column("\nc", drop=2), Column("\nd", drop=1)]
    row = ("a" * 4, "b", "c" * 8, "d" * 8)
    assert fitted(columns, [[row]], width=40).left_out == ()
    assert fitted(columns, [[row]], width=25).left_out == ("d",)
    assert fitted(columns, [[row]], width=15).left_out == ("c", "d")


# --- ASCII, colour, hostile names
def test_ascii_is_ascii_in_every_name() -> None:
    text = route_text(hostile_route(), unicode=False, limit=None)
    assert text.isascii()
    assert "Koi Cafe" in text
    assert ascii_only("52 ±3 °C, 14–22 Oct …") == "52 +-3 C, 14-22 Oct ~"


def test_no_name_can_send_codes_to_the_terminal() -> None:
    for color in (False, True):
        text = route_text(hostile_route(), unicode=True, color=color, limit=None)
        codes = set(re.findall("\x1b.{0,6}?m|\x1b", text))
        assert codes <= ({"\x1b[1m", "\x1b[1;33m", "\x1b[0m"} if color else set())
        assert not re.search("[\x00-\x09\x0b-\x1a\u202e]", text)


def test_colour_adds_nothing_but_codes(forecast: RouteForecast) -> None:
    colored = route_text(forecast, unicode=True, color=True)
    assert re.sub("\x1b\\[[0-9;]*m", "", colored) == route_text(forecast, unicode=True)
    assert "!3" in colored  # the sign that stands beside the colour


# --- what is said
def test_the_first_15_and_how_to_see_the_rest(big_forecast: RouteForecast) -> None:
    text = route_text(big_forecast, unicode=True)
    assert "... and 145 more; --all shows them." in text
    assert "9 of 153 shown" in text
    assert "more; --all" not in route_text(big_forecast, unicode=True, limit=None)


def test_ready_sites_stand_before_waiting_ones_in_order_of_rank(forecast: RouteForecast) -> None:
    groups = view.groups(forecast)
    assert [group.key for group in groups] == ["ready", "waiting", "no_forecast"]
    for group in groups:
        assert [site.rank for site in group.sites] == sorted(site.rank for site in group.sites)
    text = route_text(forecast, unicode=True)
    assert text.index("Ready:") < text.index("Waiting:")
    assert "Sorted by the chance of a hard freeze within 14 days." in text


def test_five_reasons_five_working_days_all_warnings(forecast: RouteForecast) -> None:
    text = route_text(forecast, unicode=True, width=400)
    assert text.count("Water reaches 50 °F by") == 5
    assert len({crew_day.day for crew_day in view.next_working_days(forecast)}) == 5
    assert "Then 1 more working day, the last on Sun 12 Oct." in text
    assert "Warnings (2)" in text
    assert all(str(notice) in text for notice in forecast.warnings)


def test_the_plan_in_words(forecast: RouteForecast) -> None:
    text = route_text(forecast, unicode=True, width=200)
    assert "9 falls in 10, at most 4; half the falls, at most 1." in text
    assert "keeps at most 4 caught ponds: Mon 13 Oct." in text
    assert "a fall like that of 1991, moved to now: 5 ponds caught, $4,000 lost." in text
    assert "Expected loss with driving and moved dates: $1,234. The best plan" in text
    assert "at most 0.8 % less." in text
    assert "No crew-day left for 1 site: L-24." in text


def test_what_is_not_known_is_said(forecast: RouteForecast) -> None:
    plan = replace(forecast.plan, caught_p50=None, caught_p90=None, latest_start=None, gap=None)
    assert "even a start today does not keep at most 4" in route_text(
        replace(forecast, plan=plan), unicode=True
    )
    plan = replace(plan, caught_limit=None)
    bare = replace(forecast, plan=plan, measure_next=(), warnings=(), stations=(), crew_days=())
    text = route_text(bare, unicode=True, width=200)
    assert "first hard freeze: not known." in text
    assert "Latest first day of the route: not known." in text
    assert "How far that is from the best plan is not known." in text
    assert "No weather station" in text
    assert not re.search(r"\b(None|nan|inf)\b", text)


def test_nothing_left_to_close_is_an_answer(forecast: RouteForecast) -> None:
    text = route_text(replace(forecast, sites=(), crew_days=()), unicode=False)
    assert "No site is left to close. 2 closed, 1 running all winter." in text


def unknown(site: SiteForecast) -> SiteForecast:
    return replace(
        site,
        **dict.fromkeys(
            ("start_p10", "start_p50", "start_p90", "sustained_p10", "sustained_p50", "sustained_p90"), None
        ),
        **dict.fromkeys(("p_hard_freeze_first", "p_hard_freeze_14d", "p_rebound", "expected_loss"), None),
        **dict.fromkeys(("recommended_date", "window_start", "window_end", "planned_date", "curves"), None),
        p_not_reached=1.0,
    )


def test_a_site_that_never_settles_is_said_in_words(forecast: RouteForecast) -> None:
    site = unknown(forecast.sites[9])
    route = replace(forecast, sites=(*forecast.sites[:9], site, *forecast.sites[10:]))
    said = "\n".join(site_lines(site, route, unicode=True, width=200))
    assert "more than 99 % of falls: not by 31 Jan" in said
    assert "Hard freeze first: not known" in said
    assert "No best day; not placed in the plan." in said
    assert "not this season" in route_text(route, unicode=True)
    assert not re.search(r"\b(None|nan|inf)\b", said + route_text(route, unicode=True, limit=None))


def test_metric_shows_no_fahrenheit_of_our_own() -> None:
    route = route_forecast(24, units="metric")
    route = replace(
        route, sites=tuple(replace(site, reason="Because.") for site in route.sites), settings_text={}
    )
    assert "°F" not in route_text(route, unicode=True, limit=None)
    assert "°C" in route_text(route, unicode=True)


def test_act_now_is_a_likely_freeze_before_the_visit(forecast: RouteForecast) -> None:
    assert [site.rank for site in forecast.sites if view.act_now(site)] == [3]
    site = replace(forecast.sites[0], p_hard_freeze_before_planned=0.5)
    assert view.act_now(site)
    assert not view.act_now(replace(site, p_hard_freeze_before_planned=0.49))
    unplaced = replace(site, planned_date=None, p_hard_freeze_before_planned=None, p_hard_freeze_14d=0.5)
    assert view.act_now(unplaced)
    assert not view.act_now(replace(unplaced, state="waiting"))
