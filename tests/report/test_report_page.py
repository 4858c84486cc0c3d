"""The page that can be mailed: well formed, escaped, alone, light enough, readable in light and dark."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from invented_route import route_forecast
from test_report_text import HOSTILE, hostile_route, unknown

from forecaster.errors import Notice
from forecaster.forecast import RouteForecast
from forecaster.report.page import route_page
from forecaster.report.svg import TEMPLATES

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Outline(HTMLParser):
    """Open elements, identifiers, links and visible text of a page; fails where tags do not match."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: list[tuple[str, str, str | None]] = []
        self.tags: list[str] = []
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        given = dict(attrs)
        if given.get("id"):
            self.ids.append(str(given["id"]))
        if given.get("href"):
            self.links.append(str(given["href"]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


@pytest.fixture(scope="module")
def page(forecast: RouteForecast) -> str:
    return route_page(forecast)


def test_the_page_is_well_formed_and_its_links_lead_somewhere(page: str) -> None:
    outline = Outline(page)
    assert not outline.open
    assert len(outline.ids) == len(set(outline.ids))
    targets = {link[1:] for link in outline.links if link.startswith("#")}
    assert targets <= set(outline.ids)
    assert {link for link in outline.links if not link.startswith("#")} == {"data:,"}
    named = [value for _, name, value in outline.attributes if name == "aria-labelledby"]
    assert {part for value in named for part in str(value).split()} <= set(outline.ids)


def test_the_page_stands_alone(page: str) -> None:
    outline = Outline(page)
    assert not re.search(r"https?:|//[a-z]|@import|@font-face|url\(", page)
    assert not {"script", "img", "iframe", "object", "form", "base"} & set(outline.tags)
    assert not [name for _, name, _ in outline.attributes if name == "style" or name.startswith("on")]
    assert "default-src 'none'" in page


def test_hostile_names_are_text() -> None:
    route = hostile_route()
    nasty = '"><script>alert(2)</script>'
    route = replace(
        route,
        warnings=(Notice(nasty, nasty),),
        stations=(replace(route.stations[0], name=nasty),),
        outlook_text=nasty,
        settings_text={nasty: nasty},
        closed=(replace(route.closed[0], site_id=nasty, customer=nasty),),
        measure_next=((nasty, 1.0),),
    )
    made = route_page(route)
    outline = Outline(made)
    assert "script" not in outline.tags
    assert "<script" not in made
    assert HOSTILE[0] in outline.text
    assert "🐟🐟 Köi Café 池の家" in outline.text
    assert not re.search("[\x00-\x09\x0b-\x1f\u202e]", made)
    assert not re.search(r'id="[^"]*[^A-Za-z0-9_"-]', made)


def test_every_site_has_its_strip_reason_and_numbers_in_words(forecast: RouteForecast, page: str) -> None:
    for site in forecast.sites:
        article = re.search(rf'<article class="site" id="s{site.rank}">.*?</article>', page, re.S)
        assert article is not None
        assert article[0].count('class="strip"') == 1
        assert site.reason in article[0]
        assert article[0].count("<details>") == (6 if site.state != "no_forecast" else 4)
    assert "1 in " in page
    assert page.count("of the falls like this one") == 1
    assert "20 % of falls: not by 31 Jan" in page
    assert "later than 31 Jan" in page


def test_tables_say_what_they_are_sorted_by(page: str) -> None:
    captions = re.findall(r"<caption>(.*?)</caption>", page)
    assert len(captions) == page.count("<table") == 4
    assert all("Sorted" in caption for caption in captions)
    assert '<th scope="col"' in page
    assert '<th scope="row"' in page


def test_nothing_unknown_leaks_and_empty_states_tell_the_next_step(forecast: RouteForecast) -> None:
    bare = replace(
        forecast,
        sites=(unknown(forecast.sites[9]),),
        crew_days=(),
        measure_next=(),
        warnings=(),
        stations=(),
        settings_text={},
        plan=replace(
            forecast.plan, caught_p50=None, caught_p90=None, latest_start=None, gap=None, not_placed=()
        ),
    )
    text = Outline(route_page(bare)).text
    assert not re.search(r"\b(None|nan|inf)\b", text)
    assert "not this season" in text
    assert text.count("Next step:") == 2
    assert "Next step: note the last closings" in Outline(route_page(replace(bare, sites=()))).text


def test_cautions_stand_beside_what_they_concern(page: str) -> None:
    days = page[page.index('id="days"') : page.index('id="plan"')]
    assert "do not walk on it" in days
    assert "licensed electricians" in days
    icy = re.search(r'<article class="site" id="s7">.*?</article>', page, re.S)  # ice first in 1 fall of 5
    assert icy is not None
    assert "Do not walk on it" in icy[0]
    assert not re.search(r"safe to (stand|walk)", page)


def test_metric_page_has_no_fahrenheit_of_our_own() -> None:
    route = route_forecast(24, units="metric")
    route = replace(
        route, sites=tuple(replace(site, reason="Because.") for site in route.sites), settings_text={}
    )
    made = route_page(route)
    assert "°F" not in made
    assert "7.2 °C" in made


def test_160_sites_fit_in_600_kilobytes(big_forecast: RouteForecast) -> None:
    assert len(route_page(big_forecast).encode()) < 600_000


def test_same_forecast_same_page(page: str, forecast: RouteForecast) -> None:
    assert route_page(forecast) == page


# --- contrast, as WCAG 2.2 defines "relative luminance" and "contrast ratio"; AA is 4.5 for text and 3 for
# graphics, AAA is 7 for text (success criteria 1.4.3, 1.4.11 and 1.4.6)
def luminance(colour: str) -> float:
    shares = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_ratio_of_black_on_white_is_21() -> None:
    assert ratio("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", [0, 1])
def test_colours_are_readable_in_light_and_dark(scheme: int) -> None:
    css = TEMPLATES.joinpath("page.css").read_text(encoding="utf-8")
    roots = [
        dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", root))
        for root in re.findall(r":root \{(.*?)\}", css, re.S)
    ]
    colours = roots[scheme]
    for name, least in (("ink", 14), ("muted", 7), ("water", 7), ("frost", 7), ("now", 7), ("past", 3)):
        assert ratio(colours[name], colours["paper"]) >= least, name


def test_importing_reports_is_light() -> None:
    code = (
        "import sys; import forecaster.report.text, forecaster.report.contract, forecaster.report.svg;"
        "heavy = {'pandas', 'statsmodels', 'scipy', 'jinja2', 'requests'} & set(sys.modules);"
        "assert not heavy, heavy"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
