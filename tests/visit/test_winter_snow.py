"""Snow on ice: from the office's file, by hand in the members, in the watch; without a file it is said."""

from datetime import date, timedelta

import numpy as np
import pytest
from winter_season import (
    AS_OF,
    CLOSED,
    DAY,
    NEVER,
    a_site,
    coming,
    run,
    winter_folder,
    winter_kits,
    winter_known,
)

from forecaster.errors import BadInput
from forecaster.falls import fall_start
from forecaster.known import atmosphere
from forecaster.report.winter_text import NO_SNOW, SNOW, watch_lines, winter_text
from forecaster.season.snow_file import Snow, read_snow
from forecaster.units import M_PER_INCH
from forecaster.visit.winter_collectors import SnowOnIce
from forecaster.visit.winter_run import run_winter
from forecaster.visit.winter_snow import nearest_with_snow, snow_members
from forecaster.visit.winter_watch import look_again, winter_watch

STATIONS = ("ALDER", "BIRCH")


def snowy(first=(12, 1), *, years=range(2003, 2025), depth_m=0.1):
    """Snow from a day of each earlier fall to 31 January, recorded each day from 1 August on."""
    depths = {}
    for year in years:
        begin = date(year, *first)
        for n in range(200):
            day = fall_start(year) + timedelta(days=n)
            depths[day] = depth_m if day >= begin else 0.0
    return Snow({"ALDER": depths})


@pytest.fixture(scope="module")
def members():
    return atmosphere(winter_known(), winter_known().sites).members


# --- hand cases
def test_snow_counts_on_days_with_ice_alone():
    covered = np.array([[True, False], [True, True], [False, True]])[:, None, :]
    snow = SnowOnIce(covered)
    for day, ice in enumerate(([False, True], [True, False], [True, True])):
        snow.advance(day, np.array([ice]))
    snow.advance(3, np.array([[True, True]]))  # beyond the axis there is none
    assert snow.first.tolist() == [[1.0, 2.0]]


def test_a_member_has_its_own_seasons_snow_moved_as_it_is(members):
    found = snow_members(snowy(), "ALDER", members, fall=2025, as_of_day=80)
    assert found.known.all()
    for member in (0, 57, 190):  # 1 December is day 122; a season moved by 5 has it on day 117
        first = int(np.argmax(found.covered[:, member]))
        assert first == 122 - int(members.shift_days[member])


def test_the_days_so_far_are_this_falls_own(members):
    now = {fall_start(2025) + timedelta(days=70): 0.05}
    snow = Snow({"ALDER": dict(snowy().depth_m["ALDER"]) | now})
    found = snow_members(snow, "ALDER", members, fall=2025, as_of_day=80)
    assert found.covered[70].all()
    assert not found.covered[71:80].any()


def test_a_season_without_snow_on_record_does_not_count(members):
    found = snow_members(snowy(years=range(2003, 2020)), "ALDER", members, fall=2025, as_of_day=80)
    assert set(members.source_fall[~found.known]) == {2020, 2021, 2022, 2023, 2024}


def test_a_dusting_covers_nothing(members):
    found = snow_members(snowy(depth_m=0.019), "ALDER", members, fall=2025, as_of_day=80)
    assert not found.covered.any()


def test_the_nearest_station_that_records_snow():
    stations = winter_known().weather.stations
    site = a_site(latitude=43.2, longitude=-88.1)
    assert nearest_with_snow(site, stations, snowy()) == "ALDER"
    both = Snow({"ALDER": {}, "BIRCH": {}})
    assert nearest_with_snow(site, stations, both) == "BIRCH"
    assert nearest_with_snow(site, stations, Snow()) is None


# --- parts together
def test_snow_on_ice_comes_with_ice_and_not_before_the_snow(members):
    winter = run_winter(winter_known(), winter_kits(), {}, to_march=False, snow=snowy())
    for pond in winter.ponds:
        assert pond.snow_on_ice is not None
        assert (pond.snow_on_ice >= pond.first_ice).all()
        assert (pond.snow_on_ice >= 122 - members.shift_days).all()
        assert np.isfinite(pond.snow_on_ice).any()


def test_the_watch_dates_it_and_says_so():
    watch = winter_watch(winter_known(), winter_kits(), CLOSED, snow=snowy())
    day = watch.site("A-12").snow_on_ice
    assert day.p10 >= date(2025, 11, 21)
    assert day.p50 >= watch.site("A-12").first_ice.p50
    assert any(line.startswith("Snow on ice:") for line in watch_lines(watch, "A-12"))
    flat = " ".join(winter_text(watch, unicode=True).split())
    assert SNOW in flat
    assert NO_SNOW not in flat


def test_too_few_seasons_with_snow_give_no_date():
    watch = winter_watch(winter_known(), winter_kits(), CLOSED, snow=snowy(years=range(2020, 2025)))
    assert watch.site("A-12").snow_on_ice is None


def test_snow_is_a_reason_to_look():
    given = {"feeding": None, "bacteria": NEVER, "first_ice": NEVER, "long_ice_ahead": NEVER}
    found = look_again(DAY, **given, snow_on_ice=coming(2), p_ice_now=0.0, ice_days=3, at_most_days=14)
    assert found == (date(2025, 11, 3), "snow on ice")


# --- the file and the command
def test_the_file_is_read_in_inches_and_centimetres(tmp_path):
    (tmp_path / "snow.csv").write_text("station_id,date,depth_in\nALDER,2025-01-05,4\nALDER,2025-10-20,9\n")
    found = read_snow(tmp_path, station_ids=STATIONS, as_of=AS_OF)
    assert found.depth_m == {"ALDER": {date(2025, 1, 5): pytest.approx(4 * M_PER_INCH)}}
    (tmp_path / "snow.csv").write_text("station_id,date,depth_cm\nALDER,2025-01-05,10\n")
    assert read_snow(tmp_path, station_ids=STATIONS, as_of=AS_OF).depth_m["ALDER"][date(2025, 1, 5)] == 0.1
    assert not read_snow(tmp_path / "none", station_ids=STATIONS, as_of=AS_OF)


def test_all_that_is_wrong_is_said_at_once(tmp_path):
    rows = ["ALDR,2025-01-05,4", "ALDER,yesterday,4", "ALDER,2025-01-05,deep", "BIRCH,2025-01-05,-1"]
    (tmp_path / "snow.csv").write_text("\n".join(["station_id,date,depth_in", *rows]) + "\n")
    with pytest.raises(BadInput) as caught:
        read_snow(tmp_path, station_ids=STATIONS, as_of=AS_OF)
    assert len(caught.value.problems) == 4
    assert "Did you mean ALDER?" in str(caught.value)
    (tmp_path / "snow.csv").write_text("station_id,date\nALDER,2025-01-05\n")
    with pytest.raises(BadInput, match="depth_in"):
        read_snow(tmp_path, station_ids=STATIONS, as_of=AS_OF)


def test_the_command_reads_the_snow(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    lines = [f"ALDER,{day},{depth * 100:g}" for day, depth in snowy().depth_m["ALDER"].items()]
    folder.write("snow.csv", "\n".join(["station_id,date,depth_cm", *lines]) + "\n")
    code, shown, said = run("winter", folder.path, "F-runs", "--as-of", AS_OF)
    assert code == 0, said
    assert "Snow on ice:" in shown
    folder.write("snow.csv", "station_id,date,depth_cm\nALDERR,2025-01-05,10\n")
    assert run("winter", folder.path, "--as-of", AS_OF)[0] == 2
