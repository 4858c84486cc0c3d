"""The season strip: exact lines made by hand; the drawing as valid, safe, whole-numbered SVG."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.forecast import RouteForecast, SeasonCurves
from forecaster.report.strip import (
    STRIP_CELLS,
    STRIP_DAYS,
    StripDates,
    dates_of,
    legend_lines,
    route_curves,
    route_dates,
    ruler_line,
    strip_line,
)
from forecaster.report.svg import axis_symbol, sign_svg, strip_css, strip_svg

SEP1 = date(2025, 9, 1)


def day(cell: int) -> date:
    """First day of a cell: the cell holds days from ceil(122 cell / 52) on."""
    return SEP1 + timedelta(days=-(-cell * 122 // 52))


def stepped() -> SeasonCurves:
    """Settled with chance 0 in cells 0-9, then 0.2, 0.5, 0.8 and 1, ten cells each; frost on three days."""
    settled = np.zeros(153)
    frost = np.zeros(153)
    for cell, chance in ((10, 0.2), (20, 0.5), (30, 0.8), (40, 1.0)):
        settled[(day(cell) - SEP1).days :] = chance
    for cell, chance in ((35, 0.1), (41, 0.4), (48, 0.4)):
        frost[(day(cell) - SEP1).days] = chance
    return SeasonCurves(SEP1, settled, frost, (day(5), day(6)), np.full(153, np.nan))


def every_date() -> StripDates:
    return StripDates(
        as_of=day(8),
        window_start=day(22),
        window_end=day(28),
        recommended=day(24),
        planned=day(27),
        pin=day(33),
    )


# --- hand-made strips
def test_every_layer_at_its_place() -> None:
    assert strip_line(stepped(), every_date(), unicode=True) == (
        "     ▴▴ │ ░░░░░░░░░░▒[▒▒●▒▒○▒]▓▓▓▾▓▵▓▓▓▓█▵██████▵███"
    )
    assert strip_line(stepped(), every_date(), unicode=False) == (
        "     ** | ..........:[::x::o:]===v=^====#^######^###"
    )


def test_best_and_planned_on_one_cell_have_one_sign() -> None:
    dates = StripDates(as_of=day(8), recommended=day(24), planned=day(24))
    assert strip_line(None, dates, unicode=True) == "        │" + " " * 15 + "◉" + " " * 27
    assert strip_line(None, replace(dates, pin=day(24)), unicode=False)[24] == "v"


def test_a_freeze_that_came_hides_the_bracket() -> None:
    dates = StripDates(as_of=day(7), window_start=day(7), window_end=day(9))
    assert strip_line(stepped(), dates, unicode=False)[4:12] == " **|  ]."


def test_marks_outside_stand_at_the_edge() -> None:
    late = StripDates(
        as_of=day(8), window_start=day(50), window_end=date(2026, 1, 9), recommended=date(2026, 1, 4)
    )
    assert strip_line(None, late, unicode=False) == "        |" + " " * 40 + "[ >"
    early = StripDates(as_of=date(2025, 8, 4), window_start=date(2025, 8, 20), window_end=SEP1, planned=SEP1)
    assert strip_line(None, early, unicode=False) == "o]" + " " * 50


def test_the_strip_of_january_is_that_of_the_fall_before() -> None:
    assert StripDates(date(2026, 1, 15)).fall == 2025
    assert strip_line(None, StripDates(date(2026, 1, 15)), unicode=False) == " " * STRIP_CELLS


def test_ruler_and_strip_have_the_same_days() -> None:
    ruler = ruler_line(2025, unicode=False)
    assert len(ruler) == STRIP_CELLS
    for month, name in ((9, "Sep"), (10, "Oct"), (11, "Nov"), (12, "Dec")):
        strip = strip_line(None, StripDates(date(2025, 8, 1), planned=date(2025, month, 1)), unicode=False)
        assert ruler.index(name) == strip.index("o")


def test_curves_that_begin_on_another_day_are_moved() -> None:
    whole = stepped()
    later = SeasonCurves(day(10), whole.p_settled[(day(10) - SEP1).days :], np.zeros(3), (), whole.loss)
    plain = replace(whole, p_first_hard_freeze=np.zeros(153), hard_freezes=())
    dates = StripDates(date(2025, 8, 1))
    assert strip_line(later, dates, unicode=True) == strip_line(plain, dates, unicode=True)


# --- invariants
@pytest.mark.parametrize("unicode", [True, False])
def test_strips_have_52_cells_and_ascii_is_ascii(big_forecast: RouteForecast, unicode: bool) -> None:
    for site in big_forecast.sites:
        line = strip_line(site.curves, dates_of(site, big_forecast.as_of), unicode=unicode)
        assert len(line) == STRIP_CELLS
        assert unicode or line.isascii()
    assert all(len(line) <= 100 for line in legend_lines(unicode=unicode))
    assert unicode or "".join(legend_lines(unicode=False)).isascii()


def test_missing_curves_draw_nothing_and_no_nan() -> None:
    nan = np.full(153, np.nan)
    unknown = SeasonCurves(SEP1, nan, nan, (), nan)
    dates = StripDates(day(8))
    assert strip_line(unknown, dates, unicode=False) == strip_line(None, dates, unicode=False)
    assert "nan" not in strip_svg(unknown, dates, uid="a", title="t", desc="d")


def test_the_route_is_the_mean_of_its_sites(forecast: RouteForecast) -> None:
    route = route_curves(forecast)
    assert route is not None
    shares = np.stack([site.curves.p_settled[:STRIP_DAYS] for site in forecast.sites if site.curves])
    np.testing.assert_allclose(route.p_settled, shares.mean(axis=0))
    assert route.hard_freezes == (date(2025, 10, 4),)
    assert route_dates(forecast).pin == forecast.plan.latest_start
    assert route_curves(replace(forecast, sites=())) is None


# --- the drawing
def drawn(forecast: RouteForecast, index: int) -> str:
    site = forecast.sites[index]
    return strip_svg(site.curves, dates_of(site, forecast.as_of), uid="a1", title="<b>&", desc='"quoted"')


def test_the_drawing_is_well_formed_named_and_has_no_style_or_script(forecast: RouteForecast) -> None:
    for index in range(len(forecast.sites)):
        svg = drawn(forecast, index)
        root = ElementTree.fromstring(svg)
        title, desc = root.find("title"), root.find("desc")
        assert title is not None
        assert desc is not None
        assert (title.text, desc.text) == ("<b>&", '"quoted"')
        assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
        assert not re.search(r"style=|script|http|on[a-z]+=|fill=|nan|\d\.\d", svg)


def test_every_class_of_the_drawing_has_a_rule(forecast: RouteForecast) -> None:
    signs = ("water", "frost", "half", "seen", "window", "best", "planned", "pin", "today")
    text = drawn(forecast, 1) + drawn(forecast, 4) + "".join(map(sign_svg, signs))
    used = set(re.findall(r'class="(\w[\w-]*)"', text))
    assert {"w10", "frost", "seen", "best", "pin", "past", "axis"} <= used
    assert used <= set(re.findall(r"\.([a-z][\w-]*)", strip_css()))


def test_days_are_three_units_apart() -> None:
    svg = strip_svg(stepped(), every_date(), uid="a", title="t", desc="d")
    best, planned = (re.search(rf'class="{name}" cx="(\d+)"', svg) for name in ("best", "planned"))
    assert best is not None
    assert planned is not None
    assert int(planned[1]) - int(best[1]) == 3 * (day(27) - day(24)).days
    assert f'class="w10" d="M{3 * (day(40) - SEP1).days} ' in svg


def test_a_likelier_day_has_a_taller_mark_up_to_the_lane() -> None:
    frost = np.zeros(153)
    frost[[40, 60, 80]] = 0.02, 0.1, 0.6
    svg = strip_svg(
        SeasonCurves(SEP1, frost * 0, frost, (), frost), StripDates(day(8)), uid="a", title="t", desc="d"
    )
    path = re.search(r'class="frost" d="([^"]+)"', svg)
    assert path is not None
    assert [int(height) for height in re.findall(r"v-(\d+)", path[1])] == [5, 11, 17]  # 17 sqrt(p / 0.25)


def test_an_identifier_cannot_leave_its_attribute() -> None:
    for uid in ("", 'a" onload="x', "a b"):
        with pytest.raises(ValueError, match="not an identifier"):
            strip_svg(None, StripDates(day(8)), uid=uid, title="t", desc="d")
        with pytest.raises(ValueError, match="not an identifier"):
            axis_symbol(StripDates(day(8)), axis_id=uid)
