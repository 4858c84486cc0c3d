"""The winter store: what was taken from where, by hand and through the commands; the spring list."""

import csv
import io
from datetime import UTC, date, datetime

import pytest
from winter_season import AS_OF, a_site, run, winter_folder

from forecaster.errors import BadInput
from forecaster.report.store_text import spring_text, store_csv, store_text
from forecaster.report.winter_cautions import ELECTRICITY, LIFTING
from forecaster.season.events import Event
from forecaster.season.gear_events import gear, standing_gear, taken_after
from forecaster.season.state_records import ClosedEvent
from forecaster.units import KG_PER_POUND
from forecaster.visit.kit import Device, Kit
from forecaster.visit.store import at_the_pond, said_of, store_list, things_to_take

KIT = Kit(
    "S-1",
    pump=Device(True, 180),
    uv=Device(True, 55),
    aerator=Device(True, 60),
    deicer=Device(False),
    check_valve=True,
    net=True,
    store="Shed 2",
    pump_store="wet",
    pump_weight_kg=52 * KG_PER_POUND,
    frost_free=False,
)
OCT6 = date(2025, 10, 6)


def event(number, day, items, **facts):
    entry = gear("S-1", day, items, **facts)
    return Event(number, "gear", day, "S-1", "Ann", datetime(2025, 10, 6, tzinfo=UTC), entry.facts)


def listed(*, done=None, events=(), every=False, kit=KIT, **site):
    closed = {"S-1": ClosedEvent(OCT6, "Heron", done, event_id=4)} if done is not None else {}
    return store_list(
        [a_site(**site)], {"S-1": kit}, closed, events, season_name="Season", as_of=OCT6, every=every
    )


def statuses(found):
    return {item.item: item.status for item in found.items}


# --- hand cases
def test_an_open_site_has_nothing_in_the_store():
    assert listed().items == ()
    assert statuses(listed(every=True)) == {"pump": "to take", "UV unit": "to take", "check valve": "to take"}


def test_a_closing_says_what_it_took_and_no_more():
    found = listed(done="Pump out, UV left in the box. net on")
    assert statuses(found) == {"pump": "taken", "UV unit": "left", "check valve": "not said"}
    pump = found.items[0]
    assert (pump.day, pump.store, pump.watts, pump.keep) == (OCT6, "Shed 2", 180, "wet")
    assert pump.source == "closing, event 4"
    assert [item.item for item in found.stored] == ["pump"]


@pytest.mark.parametrize(
    ("done", "status"),
    [
        ("pump out", "taken"),
        ("pumps removed; lines blown", "taken"),
        ("took the pump", "taken"),
        ("pump stays", "left"),
        ("pump not out, gate locked", "left"),
        ("pump could not be pulled", "left"),
        ("net on, pump out but UV kept", "taken"),
        ("net on", "not said"),
        ("", "not said"),
        ("pumphouse taken down", "not said"),
    ],
)
def test_words_of_a_closing(done, status):
    assert said_of("pump", done) == status


def test_recorded_gear_goes_before_the_closing_and_the_last_word_holds():
    taken = event(7, OCT6, ["Pump 180 W", "skimmer basket"], store="shelf 3")
    found = listed(done="pump left in", events=[taken])
    assert statuses(found)["pump"] == "taken"
    assert statuses(found)["skimmer basket"] == "taken"
    assert found.items[0].store == "shelf 3"
    back = event(9, date(2026, 4, 2), ["pump"], back=True)
    assert statuses(listed(done="pump out", events=[taken, back]))["pump"] == "back"


def test_events_stand_unless_undone_in_order_of_their_days():
    first, second = event(7, OCT6, ["pump"]), event(8, date(2025, 10, 5), ["net"])
    since = date(2025, 2, 1)
    assert [e.event_id for e in standing_gear([first, second], frozenset(), since=since)] == [8, 7]
    assert standing_gear([first, second], frozenset({7}), since=since) == [second]
    assert standing_gear([first, second], frozenset(), since=date(2026, 2, 1)) == []


def test_nothing_comes_back_before_it_was_taken():
    taken = [event(7, OCT6, ["pump"]), event(8, date(2026, 4, 2), ["pump"], back=True)]
    assert taken_after(taken, "S-1", date(2025, 4, 2)) == OCT6
    assert taken_after(taken, "S-1", date(2026, 4, 2)) is None
    assert taken_after(taken, "S-2", date(2025, 4, 2)) is None


def test_what_stays_on_is_not_taken():
    kept = Kit("S-1", pump=Device(True, 180), uv=Device(True), kept_running=frozenset({"pump"}))
    assert list(things_to_take(a_site(winter="partly"), kept)) == ["UV unit"]
    assert things_to_take(a_site(winter="runs"), KIT) == {}


def test_what_is_at_the_pond_comes_out_in_spring():
    assert at_the_pond(KIT) == ("aerator and diffuser", "leaf net")


# --- 51 lb is the limit for one in the ideal case (NIOSH Pub. 94-110)
@pytest.mark.parametrize(("pounds", "two"), [(50, False), (52, True)])
def test_heavy_pumps_are_for_two(pounds, two):
    kit = Kit("S-1", pump=Device(True), pump_weight_kg=pounds * KG_PER_POUND)
    assert listed(done="pump out", kit=kit).items[0].heavy is two


def test_nothing_and_too_much_are_no_gear():
    for items in ([], [" "], [f"thing {n}" for n in range(21)]):
        with pytest.raises(BadInput, match="1 to 20"):
            gear("S-1", OCT6, items)


# --- words
def test_lists_say_what_is_not_said_where_it_is_cold_and_carry_cautions():
    found = listed(done="pump out")
    shown = " ".join(store_text(found, unicode=False).split())
    assert "Not said at S-1" in shown
    assert "not frost-free" in shown
    assert "two to lift" in shown
    assert LIFTING in shown
    spring = " ".join(spring_text(found, unicode=False).split())
    assert ELECTRICITY in spring
    assert "aerator and diffuser at S-1" in spring
    assert "pump" in spring


def test_empty_store_says_the_next_step():
    assert "forecaster gear" in " ".join(store_text(listed(), unicode=False).split())
    assert "nothing goes back" in spring_text(listed(), unicode=False)


def test_csv_holds_a_thing_a_row_and_nothing_that_runs():
    found = listed(done="pump out", customer="=1+1", events=[event(7, OCT6, ["@thing"], store="-1")])
    rows = list(csv.DictReader(io.StringIO(store_csv(found.items).decode("utf-8-sig"))))
    assert rows[0]["customer"] == "'=1+1"
    assert rows[-1]["item"] == "'@thing"
    assert rows[-1]["store"] == "'-1"
    assert rows[0]["two_to_lift"] == "yes"


# --- the commands
def test_from_crew_to_store_to_spring(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    assert run("close", folder, "A-12", "--on", "2025-10-18", "--done", "pump out, net on")[0] == 0
    code, said, _ = run(
        "gear", folder, "A-12", "UV unit; check valve", "--to", "shelf 3", "--on", "2025-10-18"
    )
    assert code == 0
    assert "taken to shelf 3" in said
    code, shown, said = run("store", folder, "--as-of", AS_OF, "--csv", tmp_path / "s.csv")
    assert code == 0, said
    assert "3 things: 3 in the store" in shown
    assert "shelf 3" in shown
    assert run("undo", folder, "2")[0] == 0
    assert "1 in the store, 2 not said" in run("store", folder, "--as-of", AS_OF)[1]
    spring = run("store", folder, "--as-of", AS_OF, "--spring")[1]
    assert "goes back" in spring
    assert "de-icer" in spring
    assert "gear" in run("history", folder, "A-12")[1] or "UV unit" in run("history", folder, "A-12")[1]


def test_in_spring_the_list_is_there_without_any_forecast(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    run("gear", folder, "A-12", "pump", "--on", "2025-10-18", "--to", "shelf 3")
    code, shown, said = run("store", folder, "--spring", "--as-of", "2026-04-02")
    assert code == 0, said
    assert "shelf 3" in shown
    code, _, said = run("gear", folder, "A-12", "pump", "--back", "--on", "2 Apr")
    assert code == 2
    assert "before 2025-10-18" in said


def test_a_folder_that_is_none_is_refused(tmp_path):
    code, _, said = run("store", tmp_path / "none", "--as-of", "2026-04-02")
    assert code == 2
    assert "no such folder" in said


def test_gear_is_in_the_export_of_everything(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    run("gear", folder, "A-12", "pump", "--on", "2025-10-18")
    assert run("export", folder, tmp_path / "lists")[0] == 0
    everything = "".join(path.read_text(encoding="utf-8-sig") for path in (tmp_path / "lists").glob("*.csv"))
    assert "pump taken" in everything


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--labels", "labels.txt"], "must end in .pdf"),
        (["--labels", "l.pdf", "--paper", "a5"], "letter or a4"),
        (["--labels", "l.pdf", "--skip", "10"], "0 to 9"),
    ],
)
def test_bad_input_is_refused(arguments, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, _, said = run("store", winter_folder().path, *arguments, "--as-of", AS_OF)
    assert code == 2
    assert told in said
    assert not list(tmp_path.iterdir())


def test_no_labels_without_things(tmp_path):
    code, _, said = run("store", winter_folder().path, "--as-of", AS_OF, "--labels", tmp_path / "l.pdf")
    assert code == 2
    assert "--all makes labels ahead" in said
    assert not (tmp_path / "l.pdf").exists()
