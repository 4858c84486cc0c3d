"""kWh and dollars of the winter: published arithmetic, hand cases, the command from folder to file."""

import csv
import io
import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from winter_season import AS_OF, CLOSED, run, winter_folder, winter_kits, winter_known

from forecaster.report.energy_text import energy_csv, energy_text, spread_of
from forecaster.report.winter_cautions import ELECTRICITY
from forecaster.risk import fall_quantile
from forecaster.visit.energy import Spread, closing_days, kilowatt_hours, route_energy, start_days
from forecaster.visit.kit import Device
from forecaster.visit.winter_run import run_winter


@pytest.fixture(scope="module")
def energy():
    return route_energy(winter_known(), winter_kits(), CLOSED, price=0.16)


def site_of(energy, site_id):
    return next(site for site in energy.sites if site.site.site_id == site_id)


def device_of(energy, site_id, name):
    return next(use for use in site_of(energy, site_id).devices if use.device == name)


# --- arithmetic: W x h x duty / 1000 (300 W 7.2 kWh a day, 1,500 W 36; 120 days; $0.16 a kWh)
@pytest.mark.parametrize(
    ("watts", "days", "duty", "kwh", "dollars"),
    [
        (300, 1, 1, 7.2, 1.152),
        (1500, 1, 1, 36, 5.76),
        (300, 120, 1, 864, 138.24),
        (1500, 120, 1, 4320, 691.20),
        (300, 120, 0.5, 432, 69.12),
        (1500, 120, 0.5, 2160, 345.60),
    ],
)
def test_kilowatt_hours(watts, days, duty, kwh, dollars):
    found = float(kilowatt_hours(watts, np.array(24.0 * days), duty))
    assert found == pytest.approx(kwh)
    assert found * 0.16 == pytest.approx(dollars)


def test_the_difference_of_the_two_sizes():
    hours = np.array(24.0 * 120)
    more = float(kilowatt_hours(1500, hours) - kilowatt_hours(300, hours))
    assert more == pytest.approx(3456)
    assert more * 0.16 == pytest.approx(552.96)


# --- hand cases
def test_an_aerator_runs_every_hour_from_the_closing_to_31_march(energy):
    use = device_of(energy, "A-12", "aerator")  # closed 18 Oct: 14 + 30 + 31 + 31 + 28 + 31 = 165 days
    assert use.hours == Spread(3960, 3960, 3960)
    assert use.kwh.p50 == pytest.approx(60 * 3960 / 1000)
    assert use.cost.p50 == pytest.approx(60 * 3960 / 1000 * 0.16)


def test_a_de_icer_counts_the_members_thermostat_days(energy):
    known = winter_known()
    winter = run_winter(known, winter_kits(), start_days(known, CLOSED), to_march=True)
    days = next(pond for pond in winter.ponds if pond.site.site_id == "B-36").thermostat_days
    use = device_of(energy, "B-36", "de-icer")
    whole = days[winter.whole].astype(float)  # members whose source fall goes on to 31 March
    assert [use.hours.p10, use.hours.p90] == [24 * fall_quantile(whole, share) for share in (0.1, 0.9)]
    assert use.kwh.p10 == pytest.approx(1.5 * use.hours.p10)


def test_1500_w_takes_five_times_what_300_w_takes(energy):
    for site_id in ("A-12", "B-36", "F-runs"):
        site = site_of(energy, site_id)
        assert site.large_kwh == site.small_kwh.times(5)


def test_a_set_share_of_heating_scales_the_de_icer_alone():
    known = winter_known()
    winter = known.settings.winter.model_copy(update={"deicer_duty": 0.5})
    half = replace(known, settings=known.settings.model_copy(update={"winter": winter}))
    before = route_energy(known, winter_kits(), CLOSED)
    after = route_energy(half, winter_kits(), CLOSED)
    for name, factor in (("de-icer", 0.5), ("aerator", 1.0)):
        assert device_of(after, "A-12", name).kwh == device_of(before, "A-12", name).kwh.times(factor)


def test_a_later_closing_never_takes_more():
    late = route_energy(winter_known(), winter_kits(), {"A-12": date(2025, 12, 20)})
    early = route_energy(winter_known(), winter_kits(), CLOSED)
    for name in ("de-icer", "aerator"):
        assert device_of(late, "A-12", name).hours.p50 <= device_of(early, "A-12", name).hours.p50


def test_the_sets_own_set_point_counts_before_the_setting():
    kits = winter_kits() | {"A-12": replace(winter_kits()["A-12"], deicer_on_c=4.0)}
    warm = device_of(route_energy(winter_known(), kits, CLOSED), "A-12", "de-icer")
    assert (
        warm.hours.p50
        > device_of(route_energy(winter_known(), winter_kits(), CLOSED), "A-12", "de-icer").hours.p50
    )


def test_the_sum_is_joint_over_the_falls(energy):
    uses = [use for site in energy.sites for use in site.devices if use.kwh is not None]
    low, high = sum(use.kwh.p10 for use in uses), sum(use.kwh.p90 for use in uses)
    assert low <= energy.total_kwh.p10 < energy.total_kwh.p50 < energy.total_kwh.p90 <= high
    assert energy.total_cost == energy.total_kwh.times(0.16)


def test_what_cannot_be_counted_is_said(energy):
    assert device_of(energy, "C-72", "de-icer").kwh is None  # "yes", without watts
    assert any("watts not known" in note for note in site_of(energy, "C-72").notes)
    heated = site_of(energy, "E-hot")
    assert {note.split(":")[0] for note in heated.notes} == {"de-icer", "aerator"}
    assert heated.small_kwh is None
    assert all(site.site.site_id != "D-fall" for site in energy.sites)


def test_from_when_the_gear_runs():
    known = winter_known()
    found = closing_days(replace(known, in_force={"F-runs": (AS_OF, "North")}), CLOSED)
    assert found["A-12"] == (date(2025, 10, 18), "closed")
    assert found["B-36"] == (date(2025, 11, 7), "booked")
    assert found["C-72"] == (date(2025, 12, 5), "told")
    assert "F-runs" not in found
    assert "E-hot" not in found


def test_without_a_de_icer_none_is_counted_and_300_w_is_shown_for_fish():
    kits = winter_kits() | {"A-12": replace(winter_kits()["A-12"], deicer=Device())}
    site = site_of(route_energy(winter_known(), kits, CLOSED), "A-12")
    assert [use.device for use in site.devices] == ["aerator"]
    assert site.small_kwh is not None
    none = winter_kits() | {"A-12": replace(winter_kits()["A-12"], deicer=Device(there=False))}
    assert site_of(route_energy(winter_known(), none, CLOSED), "A-12").small_kwh is None


# --- words
def test_text_holds_its_caution_and_no_price_of_its_own(energy):
    priced = energy_text(energy, unicode=False)
    free = energy_text(replace(energy, price=None, total_cost=None), unicode=False)
    assert " ".join(ELECTRICITY.split()) in " ".join(priced.split())
    assert "No cost is named" in free
    assert priced.isascii()
    assert max(map(len, priced.splitlines())) <= 100


def test_a_spread_is_never_left_out():
    assert spread_of(Spread(10.0, 20.0, 30.0)) == "20 (10-30)"
    assert spread_of(Spread(10.0, 20.0, 30.0), money=True) == "$20 ($10-30)"


def test_csv_marks_what_a_spreadsheet_would_run(energy):
    evil = replace(energy.sites[0].site, customer='=HYPERLINK("http://x")')
    raw = energy_csv(replace(energy, sites=(replace(energy.sites[0], site=evil),)))
    rows = list(csv.DictReader(io.StringIO(raw.decode("utf-8-sig"))))
    assert rows[0]["customer"] == '\'=HYPERLINK("http://x")'
    assert float(rows[0]["kwh_p10"]) <= float(rows[0]["kwh_p90"])


# --- the command
def test_the_command_writes_text_json_and_csv(tmp_path):
    code, shown, said = run(
        *("energy", winter_folder().path, "--as-of", AS_OF, "--price", 0.2),
        *("--json", tmp_path / "e.json", "--csv", tmp_path / "e.csv"),
    )
    assert code == 0, said
    assert "31 Mar 2026" in shown
    record = json.loads((tmp_path / "e.json").read_text())
    assert record["kwh_price"] == 0.2
    assert [site["site_id"] for site in record["sites"]] == ["A-12", "B-36", "C-72", "E-hot", "F-runs"]
    assert (tmp_path / "e.csv").read_bytes().startswith(b"\xef\xbb\xbf")


def test_one_site_shows_its_arithmetic():
    code, shown, _ = run("energy", winter_folder().path, "birch", "--as-of", AS_OF, "--price", "0.16")
    assert code == 0
    assert "1500 W x" in shown
    assert "/ 1000 =" in shown
    assert "Alder" not in shown


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["B-63"], "Did you mean B-36?"),
        (["--price", "16"], "0 to 10"),
        (["--csv", "no/such.csv"], "no folder"),
    ],
)
def test_bad_input_is_refused(arguments, told):
    code, shown, said = run("energy", winter_folder().path, *arguments, "--as-of", AS_OF)
    assert code == 2
    assert told in said
    assert not shown
