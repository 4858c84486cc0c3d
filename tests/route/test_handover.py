"""Workbook, calendars, CSV and pictures, read again by other programs than wrote them."""

import csv
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import icalendar
import openpyxl
import pytest

from forecaster.cli_route import RouteFiles, route_outputs
from forecaster.errors import BadInput
from forecaster.forecast import CrewDay, RouteForecast, Stop
from forecaster.report.calendar_file import crew_calendars, uid_of, whole_calendar
from forecaster.report.handover import visit_rows, visits_csv
from forecaster.report.map import route_map
from forecaster.report.season_picture import season_picture
from forecaster.report.workbook import route_workbook

SECRETS = ("Gate code with the office", "Key at the farm shop")


def events(raw: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(raw).walk("VEVENT"))


@pytest.fixture(scope="module")
def across_the_clock_change(demo_forecast: RouteForecast) -> RouteForecast:
    """Daylight time ends on Sunday 2 November 2025 in America/Chicago: a visit on both sides of it."""
    first, second = demo_forecast.sites[:2]
    days = tuple(
        CrewDay(day, "Heron", (Stop(site.site.site_id, time(9, 30), time(11, 0)),))
        for day, site in ((date(2025, 10, 31), first), (date(2025, 11, 3), second))
    )
    return replace(demo_forecast, crew_days=days)


# --- calendars


def test_every_visit_is_an_event_at_its_time(demo_forecast):
    calendars = crew_calendars(demo_forecast)
    assert sorted(calendars) == ["Heron", "Otter"]
    found = {str(e["uid"]): e for raw in calendars.values() for e in events(raw)}
    rows = visit_rows(demo_forecast)
    assert len(found) == len(rows) == len(demo_forecast.sites)
    for row in rows:
        event = found[uid_of(demo_forecast, row.forecast.site.site_id)]
        start, end = event["dtstart"].dt, event["dtend"].dt
        assert (start.date(), start.time(), end.time()) == (row.day, row.arrive, row.leave)
        assert str(start.tzinfo) == "America/Chicago"
        assert row.forecast.site.site_id in str(event["summary"])


def test_times_are_right_across_the_end_of_daylight_time(across_the_clock_change):
    before, after = sorted(events(whole_calendar(across_the_clock_change)), key=lambda e: e["dtstart"].dt)
    assert before["dtstart"].dt.astimezone(UTC) == datetime(2025, 10, 31, 14, 30, tzinfo=UTC)  # UTC-5
    assert after["dtstart"].dt.astimezone(UTC) == datetime(2025, 11, 3, 15, 30, tzinfo=UTC)  # UTC-6
    zone = icalendar.Calendar.from_ical(whole_calendar(across_the_clock_change)).walk("VTIMEZONE")[0]
    steps = {part["tzoffsetto"].td for part in zone.subcomponents}
    assert {timedelta(hours=-5), timedelta(hours=-6)} <= steps


def test_a_second_import_updates_the_same_events(demo_forecast):
    later = replace(demo_forecast, as_of=demo_forecast.as_of + timedelta(days=7))
    first, second = ({str(e["uid"]): e for e in events(whole_calendar(f))} for f in (demo_forecast, later))
    assert set(first) == set(second)
    assert all(second[uid]["sequence"] > first[uid]["sequence"] for uid in first)
    assert all(second[uid]["dtstamp"].dt > first[uid]["dtstamp"].dt for uid in first)
    other = replace(demo_forecast, season_name="Another office")
    assert uid_of(other, "V-01") != uid_of(demo_forecast, "V-01")


def test_a_visit_that_left_a_crew_is_cancelled_there(demo_forecast):
    site = next(s for s in demo_forecast.sites if s.planned_crew == "Heron")
    moved = replace(demo_forecast, in_force={site.site.site_id: (date(2025, 10, 14), "Otter")})
    cancelled = [e for e in events(crew_calendars(moved)["Otter"]) if e["status"] == "CANCELLED"]
    assert [str(e["uid"]) for e in cancelled] == [uid_of(moved, site.site.site_id)]
    assert not [e for e in events(crew_calendars(moved)["Heron"]) if e["status"] == "CANCELLED"]
    passed = replace(moved, in_force={site.site.site_id: (date(2025, 10, 1), "Otter")})
    assert not [e for e in events(crew_calendars(passed)["Otter"]) if e["status"] == "CANCELLED"]


def test_lines_are_folded_and_end_as_the_standard_says(demo_forecast):
    raw = whole_calendar(demo_forecast)
    lines = raw.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(len(line) for line in lines) <= 75  # octets, RFC 5545 section 3.1


# --- nothing private unless asked for


def test_gate_codes_stay_out_unless_asked_for(demo_forecast):
    def texts(with_access: bool) -> list[str]:
        calendar = icalendar.Calendar.from_ical(whole_calendar(demo_forecast, with_access=with_access))
        book = openpyxl.load_workbook(io.BytesIO(route_workbook(demo_forecast, with_access=with_access)))
        cells = " ".join(str(v) for sheet in book for row in sheet.iter_rows(values_only=True) for v in row)
        described = " ".join(str(e.get("description", "")) for e in calendar.walk("VEVENT"))
        return [described, cells, visits_csv(demo_forecast, with_access=with_access).decode("utf-8-sig")]

    for secret in SECRETS:
        assert not any(secret in text for text in texts(False))
        assert all(secret in text for text in texts(True))


# --- workbook


def test_workbook_equals_the_plan(demo_forecast):
    book = openpyxl.load_workbook(io.BytesIO(route_workbook(demo_forecast)))
    assert book.sheetnames == ["Visits", "Sites", "Plan"]
    read = list(book["Visits"].iter_rows(min_row=2, values_only=True))
    rows = visit_rows(demo_forecast)
    assert len(read) == len(rows)
    for cells, row in zip(read, rows, strict=True):
        assert (cells[0].date(), *cells[1:5]) == (row.day, row.crew, row.stop, row.arrive, row.leave)
        assert cells[5] == row.forecast.site.site_id
        assert cells[9].date() == row.forecast.recommended_date
    ranks = [cells[0] for cells in book["Sites"].iter_rows(min_row=2, values_only=True)]
    assert ranks == list(range(1, len(demo_forecast.sites) + 1))


def test_workbook_is_sorted_filtered_and_one_page_wide(demo_forecast):
    book = openpyxl.load_workbook(io.BytesIO(route_workbook(demo_forecast)))
    for sheet in book:
        assert sheet.auto_filter.ref == sheet.dimensions
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.freeze_panes == "A2"
    order = [c[:3] for c in book["Visits"].iter_rows(min_row=2, values_only=True)]
    assert order == sorted(order)


def test_no_text_becomes_a_formula(demo_forecast):
    site = demo_forecast.sites[0]
    evil = replace(site, site=replace(site.site, customer='=HYPERLINK("http://x")', address="+1 555"))
    forecast = replace(demo_forecast, sites=(evil, *demo_forecast.sites[1:]))
    book = openpyxl.load_workbook(io.BytesIO(route_workbook(forecast)))
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds
    rows = list(csv.DictReader(io.StringIO(visits_csv(forecast).decode("utf-8-sig"))))
    row = next(r for r in rows if r["site_id"] == site.site.site_id)
    assert row["customer"].startswith("'=")
    assert row["address"].startswith("'+")


# --- CSV and pictures


def test_csv_equals_the_plan(demo_forecast):
    raw = visits_csv(demo_forecast)
    assert raw.startswith(b"\xef\xbb\xbf")
    rows = list(csv.DictReader(io.StringIO(raw.decode("utf-8-sig"))))
    planned = [(d.day.isoformat(), d.crew, s.site_id) for d in demo_forecast.crew_days for s in d.stops]
    assert [(r["date"], r["crew"], r["site_id"]) for r in rows] == planned


@pytest.mark.parametrize("draw", [route_map, season_picture])
def test_pictures_are_whole_svg_and_show_every_site(draw, demo_forecast):
    text = draw(demo_forecast)
    root = ET.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "nan" not in re.sub(r"<[^>]*text[^>]*>[^<]*", "", text)
    assert draw(demo_forecast) == text
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")  # nothing is fetched
    if draw is season_picture:
        assert all(site.site.site_id in text for site in demo_forecast.sites)


def test_map_numbers_the_stops_in_their_order(demo_forecast):
    text = route_map(demo_forecast)
    first = demo_forecast.crew_days[0]
    for order, stop in enumerate(first.stops, start=1):
        assert f">1.{order} {stop.site_id}<" in text


@pytest.mark.parametrize("draw", [route_map, season_picture, route_workbook, visits_csv, whole_calendar])
def test_an_empty_plan_is_no_error(draw, demo_forecast):
    empty = replace(demo_forecast, sites=(), crew_days=(), crews=(), in_force={})
    assert draw(empty)


@pytest.mark.parametrize("make", [route_workbook, visits_csv, whole_calendar])
def test_same_forecast_same_bytes(make, demo_forecast):
    assert make(demo_forecast) == make(demo_forecast)


# --- files


def test_files_are_written_and_named(tmp_path: Path, demo_forecast):
    folder = tmp_path / "calendars"
    folder.mkdir()
    written = route_outputs(
        demo_forecast,
        xlsx=tmp_path / "plan.xlsx",
        ics=folder,
        csv=tmp_path / "plan.csv",
        map=tmp_path / "map.svg",
        picture=tmp_path / "season.svg",
    )
    assert {path.name for path in written} == {
        *("plan.xlsx", "plan.csv", "map.svg", "season.svg"),
        *("heron.ics", "otter.ics"),
    }
    assert all(path.stat().st_size > 100 for path in written)


def test_wrong_targets_are_all_named_and_nothing_is_written(tmp_path: Path, demo_forecast):
    with pytest.raises(BadInput) as caught:
        route_outputs(
            demo_forecast,
            xlsx=tmp_path / "plan.csv",
            csv=tmp_path / "plan.csv",
            map=tmp_path / "none" / "map.svg",
            picture=tmp_path / "p.png",
            ics=tmp_path / "calendars",
        )
    said = str(caught.value)
    assert "--xlsx" in said
    assert "--picture" in said
    assert "--ics" in said
    assert "same file name" in said
    assert "there is no folder" in said
    assert list(tmp_path.iterdir()) == []
    RouteFiles(xlsx=tmp_path / "plan.xlsx").check()
