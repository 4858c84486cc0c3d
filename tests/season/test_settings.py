"""`season.toml`: defaults, units, and every way in which it may be wrong."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season.settings import Settings, crews_for_fall, read_settings
from forecaster.season.settings_problems import as_written, parse_toml

LEAST = '[season]\nyear = 2025\ntimezone = "America/Chicago"\n'
CREW = """
[[crew]]
name = "North"
latitude = 43.0
longitude = -88
hours_per_day = 8
work_days = ["mon", "Tuesday", "thurs"]
first_day = 2025-09-15
last_day = 2025-12-05
"""


def read(write, text: str | bytes) -> Settings:
    return read_settings(write("season.toml", text) / "season.toml")


# --- hand values


def test_a_short_file_gets_the_usual_values(write):
    found = read(write, LEAST)
    assert (found.season.name, found.season.units, found.season.seed) == ("Fall 2025", "us", 1)
    assert found.season.members == 1500
    weather = found.weather
    assert (weather.source, weather.folder, weather.outlook) == ("files", "weather", "none")
    assert (weather.stations_per_site, weather.seasons) == (3, 30)
    limits = found.thresholds
    assert limits.start_c == 10.0
    assert limits.sustained_c == pytest.approx(65 / 9)  # (45 - 32) x 5 / 9
    assert (limits.hold_days, limits.freeze_c) == (5, 0.0)
    assert limits.hard_freeze_c == pytest.approx(-20 / 9)
    assert limits.plumbing_freeze_c == pytest.approx(-60 / 9)
    costs = found.costs
    assert (costs.warm_day, costs.hard_freeze, costs.plumbing_freeze, costs.ice) == (10, 60, 400, 150)
    assert (costs.drive_hour, costs.move_told_date, costs.window_margin) == (60, 25, 15)
    route = found.route
    assert (route.max_caught, route.caught_chance, route.road_factor) == (None, 0.9, 1.3)
    assert route.speed_km_h == pytest.approx(56.32704)  # 35 x 1.609344
    assert (route.lost_day_share, route.ice_hours_factor) == (0.1, 1.5)
    assert found.crews == ()


def test_the_folder_will_do_as_path_and_a_byte_order_mark_is_accepted(write):
    assert read_settings(write("season.toml", b"\xef\xbb\xbf" + LEAST.encode())).season.year == 2025


@pytest.mark.parametrize("clock", ["07:45", "7:45", "07:45:00", '"07:45"', '"7:45 am"', "07:45   # early"])
def test_crew(write, clock):
    found = read(
        write, LEAST + CREW + f"start_time = {clock}\ndays_off = [2025-10-13, '2025-11-27']\n"
    ).crews[0]
    assert found.start_time == time(7, 45)
    assert found.work_days == frozenset({0, 1, 3})
    assert found.days_off == {date(2025, 10, 13), date(2025, 11, 27)}
    assert found.works_on(date(2025, 9, 15))  # a Monday, the first day itself
    assert not found.works_on(date(2025, 9, 17))  # a Wednesday
    assert not found.works_on(date(2025, 10, 13))  # a Monday off
    assert not found.works_on(date(2025, 12, 8))  # a Monday after the last day


def test_start_time_has_a_usual_value(write):
    assert read(write, LEAST + CREW).crews[0].start_time == time(7, 30)


def test_metric_spellings_give_the_same_settings(write):
    us = read(write, LEAST + "[thresholds]\nstart_f = 50\nfreeze_f = 32\n[route]\nspeed_mph = 50\n")
    metric = read(write, LEAST + "[thresholds]\nstart_c = 10\nfreeze_c = 0\n[route]\nspeed_km_h = 80.4672\n")
    assert us.thresholds == metric.thresholds
    assert us.route.speed_km_h == pytest.approx(metric.route.speed_km_h)


def test_settings_cannot_be_changed(write):
    with pytest.raises(ValueError, match="frozen"):
        read(write, LEAST).season.year = 2024  # type: ignore[misc]


def test_crew_dates_move_to_another_fall_with_month_and_day(write):
    crews = read(write, LEAST + CREW.replace("2025-12-05", "2026-01-09") + "days_off = [2026-01-01]\n").crews
    moved = crews_for_fall(crews, 2025, 2019)[0]
    assert (moved.first_day, moved.last_day) == (date(2019, 9, 15), date(2020, 1, 9))
    assert moved.days_off == {date(2020, 1, 1)}
    assert moved.name == "North"
    assert crews_for_fall(crews, 2025, 2025) == crews


def test_a_leap_day_moves_to_the_day_before(write):
    crews = read(write, LEAST.replace("2025", "2024") + CREW.replace("2025-09-15", "2024-02-29")).crews
    assert crews_for_fall(crews, 2024, 2023)[0].first_day == date(2023, 2, 28)


# --- refusals: one line each, with the whole message where a rule fixes it


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("[costs]\nhard_freze = 60", "[costs] hard_freze: no such setting. Did you mean hard_freeze?"),
        ("[thresholds]\nhold_day = 5", "[thresholds] hold_day: no such setting. Did you mean hold_days?"),
        ("[weather]\nseed = 1", "[weather] seed: no such setting. It belongs in [season]."),
        ("[treshold]\nx = 5", "[treshold]: no such table. Did you mean thresholds?"),
        ("[limits]\nstart_f = 5", "[limits]: no such table. Its settings belong in [thresholds]."),
        ("[costs]\nwarm_day = -1", "[costs] warm_day: -1 is outside the allowed 0 to 100000."),
        ("[costs]\nwarm_day = nan", "[costs] warm_day: nan is not a number (0 to 100000)."),
        ("[costs]\nwarm_day = true", "[costs] warm_day: true is not a number (0 to 100000)."),
        (
            '[costs]\nwarm_day = "12"',
            '[costs] warm_day: "12" is not a number (0 to 100000). Remove the quotes',
        ),
        ("[thresholds]\nstart_c = 50", "start_c: 50 is outside the allowed 0 to 20 °C. Is it in °F?"),
        (
            "[thresholds]\nsustained_c = 45",
            "45 is outside the allowed 0 to 20 °C. Is it in °F? Then write sustained_f",
        ),
        ("[thresholds]\nsustained_f = 7.2", "7.2 is outside the allowed 32 to 68 °F. Is it in °C?"),
        ("[thresholds]\nhard_freeze_c = 28", "Is it in °F? Then write hard_freeze_f = 28."),
        ("[thresholds]\nhard_freeze_f = -2.2", "Is it in °C? Then write hard_freeze_c = -2.2."),
        ("[thresholds]\nplumbing_freeze_f = -6.7", "Is it in °C? Then write plumbing_freeze_c = -6.7."),
        ("[thresholds]\nfreeze_f = 0", "Is it in °C? Then write freeze_c = 0."),
        ("[thresholds]\nstart_f = 50\nstart_c = 10", "start_f: start_f and start_c are both there. Keep one"),
        ("[thresholds]\nstart_f = 44", "sustained_f: 45 °F is above start_f (44). Write that or less"),
        ("[thresholds]\nsustained_c = 11", "sustained_c: 11 °C is above start_c (10)."),
        ("[thresholds]\nfreeze_f = 27", "hard_freeze_f: 28 °F is above freeze_f (27)."),
        ("[thresholds]\nplumbing_freeze_f = 29", "plumbing_freeze_f: 29 °F is above hard_freeze_f (28)."),
        (
            "[thresholds]\nstart_f = true",
            "start_f: true is not a number (32 to 68 °F). Write a number, alone.",
        ),
        ("[thresholds]\nhold_days = 2.5", "hold_days: 2.5 is not a whole number (1 to 30)."),
        ("[thresholds]\nhold_days = 0", "hold_days: 0 is outside the allowed 1 to 30. The usual value is 5."),
        ("[route]\nspeed_mph = 300", "speed_mph: 300 is outside the allowed 5 to 80 miles an hour."),
        ("[route]\nroad_factor = 0.9", "road_factor: 0.9 is outside the allowed 1 to 5."),
        ("[route]\nmax_caught = -1", "max_caught: -1 is outside the allowed 0 to 10000. Correct it."),
        ("[route]\nmax_caught = true", "max_caught: true is not a whole number"),
        (
            '[weather]\nsource = "file"',
            'source: "file" is not one of "files", "meteostat". Did you mean files?',
        ),
        ('[weather]\noutlook = "nsw"', 'outlook: "nsw" is not one of "none", "files", "nws"'),
        ("[weather]\nfolder = 3", 'folder: 3 is not a text. Put it in double quotes: folder = "3".'),
        ('[weather]\nfolder = ""', "folder: empty."),
        ("[weather]\nstations_per_site = 9", "9 is outside the allowed 1 to 5. The usual value is 3."),
        ("[weather]\nseasons = 5", "seasons: 5 is outside the allowed 15 to 100."),
        ("[[weather]]\nseasons = 30", "[weather]: not a table of settings."),
        ("[crew]\nname = 'A'", "[crew]: each crew is a table of its own. Write [[crew]]"),
        (
            CREW.replace("43.0", "143.0"),
            '[[crew]] 1 "North" latitude: 143.0 is outside the allowed -90 to 90.',
        ),
        (CREW.replace('"mon"', '"mun"'), '"mun" is not a day of the week. Write mon, tue, wed'),
        (CREW.replace('["mon", "Tuesday", "thurs"]', "[]"), "work_days: [] is not a list of days."),
        (CREW.replace('["mon", "Tuesday", "thurs"]', '"mon"'), 'work_days: "mon" is not a list of days.'),
        (CREW.replace("2025-09-15", "2026-09-15"), "last_day: 2025-12-05 is before first_day (2026-09-15)."),
        (CREW.replace("2025-", "2024-"), "2024-09-15 to 2024-12-05 is not in the fall of 2025"),
        (CREW.replace("2025-09-15", "2025-09-15T08:00:00"), "first_day: 2025-09-15T08:00:00 is not a date."),
        (CREW.replace("2025-09-15", '"9/8/2025"'), '"9/8/2025" may be 8 September or 9 August.'),
        (CREW.replace("2025-09-15", "20250915"), "first_day: 20250915 is not a date. Write it like"),
        (CREW + "days_off = [2024-11-28]", "days_off: 2024-11-28 is not in the year of this season"),
        (CREW + "days_off = 2025-11-28", "days_off: 2025-11-28 is not a list of dates."),
        (CREW + 'start_time = "half 8"', '"half 8" is not a time of day. Write it like 15:30.'),
        (CREW + "start_time = 8", "start_time: 8 is not a time of day."),
        (
            CREW.replace("hours_per_day = 8\n", ""),
            "hours_per_day: missing. Add a line like hours_per_day = 8",
        ),
        (CREW.replace("hours_per_day = 8\n", "hours_per_day = 24\n"), "24 is outside the allowed 1 to 16."),
        (CREW + CREW.replace("North", "north"), '[[crew]] 2 "north" name: crew 1 has this name too.'),
        (CREW.replace("North", "A; B"), "name: holds a semicolon"),
    ],
)
def test_refused_beside_a_good_season(write, refusals, lines, message):
    found = refusals(lambda: read(write, f"{LEAST}{lines}\n"))
    assert len(found) == 1
    assert message in found[0]
    assert found[0].startswith("season.toml ")


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("", ["season.toml: the file is empty."]),
        (" \n\n", ["season.toml: the file is empty."]),
        (
            "# nothing\n",
            ["[season] year: missing. Add a line like year = 2025", "[season] timezone: missing."],
        ),
        (
            "year = 2025\n" + LEAST,
            ["season.toml year: no such setting above the first table. Put it below [season]."],
        ),
        ("season = 3\n", ["season.toml [season]: not a table of settings. Write it as a table"]),
        (LEAST.replace("2025", "2025.0"), ["year: 2025.0 is not a whole number (1900 to 2199)."]),
        (LEAST.replace("2025", "25"), ["year: 25 is outside the allowed 1900 to 2199. Correct it."]),
        (
            LEAST.replace("Chicago", "Chicgo"),
            ['"America/Chicgo" is not a time zone. Did you mean America/Chicago?'],
        ),
        (LEAST.replace("America/Chicago", "CST"), ['"CST" is not a time zone. Write area and city']),
        (LEAST.replace('"America/Chicago"', "3"), ["timezone: 3 is not a text. Put it in double quotes"]),
        (LEAST + 'units = "metrc"', ['units: "metrc" is not one of "us", "metric". Did you mean metric?']),
        (
            LEAST + "members = 50",
            ["members: 50 is outside the allowed 100 to 20000. The usual value is 1500."],
        ),
        (
            LEAST + "members = true",
            ["members: true is not a whole number (100 to 20000). Write a whole number"],
        ),
        (LEAST + "seed = -1", ["seed: -1 is outside the allowed 0"]),
        (
            LEAST + "name = Lake",
            ["line 4, column 8: not valid TOML", "`name = Lake`. Put text in double quotes."],
        ),
        (LEAST + "name = “Lake”", ["Use straight double quotes"]),
        (LEAST + "year = 2026", ["This name stands in the file twice: remove one."]),
        (LEAST + "[season]", ["line 4, column 8", "This name stands in the file twice: remove one."]),
        (LEAST + "[costs]\nice = 8,5", ["line 5", "Write a decimal point, not a comma."]),
        (LEAST + "[[crew]]\nfirst_day = 9/15/2025", ["line 5", "Write dates like 2025-09-15."]),
        (LEAST + '[weather]\nfolder = "C:\\data"', ["line 5", "Write / instead of the backslash."]),
        (LEAST + "[costs", ["line 4", "[table] above them."]),
        (LEAST.encode("utf-16"), ["season.toml: stored as UTF-16", "encoding UTF-8"]),
        (LEAST.encode("utf-16-le"), ["season.toml: stored as UTF-16"]),
        (
            (LEAST + 'name = "Hütte"').encode("cp1252"),
            ["season.toml line 4: not UTF-8 text (byte 0xFC, perhaps 'ü'"],
        ),
        (b"\x7fELF\x00\x01 abcdefgh", ["season.toml: no text file"]),
    ],
)
def test_refused_files(write, refusals, text, messages):
    found = "\n".join(refusals(lambda: read(write, text)))
    for message in messages:
        assert message in found


def test_missing_file(tmp_path: Path, refusals):
    assert refusals(lambda: read_settings(tmp_path))[0].startswith("season.toml: no such file in ")


def test_all_problems_at_once_in_every_table(write, refusals):
    text = (
        LEAST.replace("2025", '"2025"')
        + 'units = "x"\n[weather]\nsource = 3\n[thresholds]\nstart_c = 50\nhold_days = 0\nstrat_f = 50\n'
        + "[costs]\nice = -1\nwarm = 3\n[route]\nmax_caught = 1.5\n[crossing]\nhold_day = 3\n"
        + CREW.replace("43.0", '"43"').replace("2025-12-05", "soon-ish").replace("soon-ish", '"soon"')
        + CREW.replace("North", "South").replace("longitude = -88\n", "")
    )
    found = refusals(lambda: read(write, text))
    expected = ["year", "units", "source", "start_c", "hold_days", "strat_f", "ice", "warm", "max_caught"]
    for name in [*expected, "[crossing]", "latitude", "last_day", "longitude"]:
        assert sum(f" {name}:" in line for line in found) == 1, name
    assert len(found) == 13


# --- invariants


@settings(derandomize=True, max_examples=60, deadline=None)
@given(tenths=st.integers(-150, 0))
def test_a_limit_may_be_written_in_either_unit(tmp_path_factory, tenths):
    path = tmp_path_factory.mktemp("season") / "season.toml"
    celsius, found = tenths / 10, []
    for line in (f"hard_freeze_c = {celsius}", f"hard_freeze_f = {celsius * 9 / 5 + 32}"):
        path.write_text(f"{LEAST}[thresholds]\nplumbing_freeze_c = -20\n{line}\n", encoding="utf-8")
        found.append(read_settings(path).thresholds.hard_freeze_c)
    assert found == pytest.approx([celsius, celsius], abs=1e-9)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(
    st.one_of(
        st.booleans(),
        st.integers(-(10**6), 10**6),
        st.floats(allow_nan=False, allow_infinity=False),
        st.text(st.characters(min_codepoint=32, max_codepoint=126, exclude_characters='"\\')),
        st.dates(min_value=date(1900, 1, 1)),
        st.lists(st.integers(0, 9), max_size=3),
    )
)
def test_values_are_shown_as_toml_writes_them(value):
    assert parse_toml(f"x = {as_written(value)}", "a.toml") == {"x": value}


def test_reading_a_season_folder_loads_no_heavy_library():
    names = "settings", "sheet", "readings_file"
    program = (
        f"import sys; {'; '.join(f'import forecaster.season.{name}' for name in names)};"
        "print(*sorted({'pandas', 'scipy', 'statsmodels', 'openpyxl', 'requests'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
