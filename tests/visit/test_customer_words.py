"""Customers' messages: templates that the office edits, facts by hand, the command from folder to file."""

import csv
import io
import re
from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest
from winter_season import (
    AS_OF,
    CLOSED,
    a_site,
    run,
    winter_folder,
    winter_forecast,
    winter_kits,
    winter_known,
)

from forecaster.errors import BadInput
from forecaster.pipeline import ledger_state
from forecaster.report.words_for_customer import (
    CHANGES,
    REASONS,
    field_values,
    messages,
    segments,
    shortened,
)
from forecaster.report.words_for_customer_files import messages_csv, messages_text
from forecaster.report.words_for_customer_templates import (
    FIELDS,
    NAMES,
    OWN,
    Template,
    filled,
    parse_template,
    read_templates,
    write_templates,
)
from forecaster.visit.customer_words import CustomerFacts, change_reason, customer_facts, reason_of
from forecaster.visit.kit import Device, Kit


def facts(**given):
    site = given.pop("site", None) or a_site(customer="Sallow (Mill garden)", address="7 Invented Row")
    usual = {
        "site": site,
        "kit": Kit(site.site_id, deicer=Device(True, 300), net=True),
        "about": "closing",
        "day": date(2025, 10, 15),
        "arrive": time(9, 20),
        "window_start": date(2025, 10, 13),
        "window_end": date(2025, 10, 20),
        "reason": "will cool",
    }
    return CustomerFacts(**(usual | given))


def message(form, *, text_limit=320, templates=None, settings=None, **given):
    return messages(
        [facts(**given)],
        templates or read_templates(winter_folder().path),
        form=form,
        settings=settings or winter_known().settings,
        today=AS_OF,
        text_limit=text_limit,
    )[0]


def with_office(**given):
    settings = winter_known().settings
    office = settings.office.model_copy(update={"name": "Mill Pond Care", "phone": "555 0142"} | given)
    return settings.model_copy(update={"office": office})


EVERY = [
    *({"reason": reason} for reason in REASONS),
    *({"about": "change", "old_day": date(2025, 10, 22), "change_reason": why} for why in CHANGES),
    {"about": "done", "reason": None, "arrive": None, "window_start": None, "window_end": None},
    {"site": a_site(kind="fountain", mean_depth_m=None, fish=False), "reason": "no pond"},
    {"about": "done", "site": a_site(kind="fountain", mean_depth_m=None, fish=False), "reason": None},
    {"arrive": None, "window_start": None, "window_end": None},
]


# --- hand cases: the words
def test_an_email_says_day_window_reason_and_what_to_prepare():
    made = message("email", settings=with_office())
    assert made.subject == "Your pond will be closed for the winter on Wednesday 15 October"
    for part in ("Dear Sallow,", "in the morning", "13 to 20 October", REASONS["will cool"], "leaf net"):
        assert part in made.body
    assert made.body.endswith("Kind regards\nMill Pond Care\n555 0142\n")


def test_a_change_names_both_days_and_why():
    given = {"about": "change", "old_day": date(2025, 10, 22), "change_reason": "frost earlier"}
    made = message("email", **given)
    assert "Wednesday 22 October" in made.body
    assert "Wednesday 15 October" in made.subject
    assert CHANGES["frost earlier"] in made.body
    assert "22 Oct" in message("text", **given).body


def test_after_the_closing_the_winter_is_told_with_its_cautions():
    body = message("letter", about="done", reason=None).body
    for part in ("do not walk on the ice", "no antifreeze", "GFCI", "electrician", "fish-care practice"):
        assert part in body


def test_a_letter_has_the_address_and_no_empty_heap_of_lines():
    body = message("letter").body
    assert body.startswith(
        "Your pond crew\n\nSallow (Mill garden)\n7 Invented Row\n\nMonday 20 October 2025\n"
    )
    assert "\n\n\n" not in body


@pytest.mark.parametrize("given", EVERY)
@pytest.mark.parametrize("form", ["email", "text", "letter"])
def test_no_customer_sees_a_chance_a_code_or_an_open_field(given, form):
    made = message(form, **given)
    words = f"{made.subject} {made.body}"
    assert not re.search(r"%|\d in \d|chance|probab|likely|risk|\bfreeze|\{|\}|!", words)
    assert re.search(r"\b\d{1,2} (October|Oct)\b", words)


@pytest.mark.parametrize("given", EVERY)
@pytest.mark.parametrize("most", [160, 320])
def test_a_text_is_never_longer_than_allowed(given, most):
    site = a_site(customer="A customer with a name as long as any that an office has ever written down")
    for settings in (winter_known().settings, with_office()):
        made = message("text", text_limit=most, settings=settings, **{"site": site, **given})
        assert len(made.body) <= most
        assert made.segments == (1 if len(made.body) <= 160 else -(-len(made.body) // 153))


def test_customers_care_words_carry_their_cautions():
    """Whatever speaks of plugs, ice or fish carries its caution in the same message."""
    for given in EVERY:
        for form in ("email", "letter"):
            body = message(form, **given).body
            if "plugged in" in body:
                assert "power off" in body or "electrician" in body
            if "ice" in body.split() or "ice," in body:
                assert "do not walk on the ice" in body
            if "feeding" in body or "food" in body:
                assert "fish-care practice" in body


# --- hand cases: shortening and counting
def test_lines_go_from_the_top_and_a_later_short_one_still_fits():
    assert shortened(["12345", "", "1234567890", "1 2"], 9) == "12345 1 2"
    assert shortened(["1234567890"], 9) == ""


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("é" * 160, 1),
        ("ł" * 70, 1),
        ("ł" * 71, 2),
    ],
)
def test_segments(text, count):
    assert segments(text) == count


def test_a_first_line_that_does_not_fit_is_refused_with_its_site():
    long = {("closing", "text"): Template("words/closing-text.txt", "", ("x" * 161,))}
    with pytest.raises(BadInput, match=r"S-1.*161 letters of 160"):
        message("text", text_limit=160, templates=long)


# --- templates
def test_there_is_a_template_for_each_name_and_each_field_is_documented():
    assert len(NAMES) == 9
    assert {path.name for path in OWN.iterdir()} == set(NAMES)
    assert set(field_values(facts(), winter_known().settings, AS_OF)) == set(FIELDS)


def test_a_line_without_anything_to_say_is_left_out():
    assert filled("{phone} {email}", {"phone": "", "email": ""}) is None
    assert filled("{phone} {email}", {"phone": "", "email": "a@b"}) == " a@b"
    assert filled("Kind regards", {}) == "Kind regards"


def test_what_a_customer_is_called_is_never_read_as_a_field():
    made = message("email", site=a_site(customer="{office} {{x}} {nobody}"))
    assert "Dear {office} {{x}} {nobody}," in made.body


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Dear {custommer}", "Did you mean customer?"),
        ("Dear {name", 'a single "{"'),
        ("Dear name}", 'a single "}"'),
        ("Dear { name }", "has blanks. Write {name}"),
        ("{customer.__class__}", "is no field"),
        ("{customer!r:>40}", "is no field"),
    ],
)
def test_a_wrong_field_is_refused_with_its_line(line, told):
    with pytest.raises(BadInput, match=re.escape("words/closing-email.txt line 2")) as caught:
        parse_template(f"Subject: x\n{line}\n", "words/closing-email.txt", form="email")
    assert told in str(caught.value)


def test_every_problem_of_every_file_is_said_at_once(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.write("words/closing-email.txt", "Dear {custommer}\n")
    folder.write("words/done-text.txt", "  \n")
    folder.write("words/closing-mail.txt", "x\n")
    with pytest.raises(BadInput) as caught:
        read_templates(folder.path)
    said = str(caught.value)
    for part in (
        "Did you mean customer?",
        "begins with a line like Subject",
        "is empty",
        "closing-email.txt?",
    ):
        assert part in said
    assert len(caught.value.problems) == 4


def test_templates_of_any_editor_are_read(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    (folder.path / "words").mkdir()
    text = "Subject: Für {name}\r\n\r\nGrüße\r\n{office}\r\n"
    (folder.path / "words" / "closing-email.txt").write_bytes(b"\xef\xbb\xbf" + text.encode())
    made = message("email", templates=read_templates(folder.path))
    assert (made.subject, made.body) == ("Für Sallow", "Grüße\nYour pond crew\n")


def test_written_templates_are_the_programs_and_none_is_ever_overwritten(tmp_path):
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "done-text.txt").write_text("mine\n")
    assert len(write_templates(tmp_path)) == 8
    assert (tmp_path / "words" / "done-text.txt").read_text() == "mine\n"
    assert write_templates(tmp_path) == []


# --- facts from a forecast
def test_facts_follow_plan_dates_and_closings():
    found, without = customer_facts(
        replace(winter_forecast(), closed=(a_site("A-12"),)), winter_kits(), CLOSED
    )
    by_id = {one.site.site_id: one for one in found if one.about != "done"}
    done = [one for one in found if one.about == "done"]
    assert [(one.site.site_id, one.day) for one in done] == [("A-12", date(2025, 10, 18))]
    assert by_id["B-36"].day == date(2025, 11, 7)
    assert by_id["B-36"].about == "closing"
    cedar = by_id["C-72"]
    if cedar.day != date(2025, 12, 5):
        assert (cedar.about, cedar.old_day) == ("change", date(2025, 12, 5))
        assert cedar.change_reason in CHANGES
    assert {(one.site.site_id, one.why) for one in without} == {("F-runs", "runs all winter")}


def test_a_date_that_the_plan_does_not_keep_is_not_confirmed_again():
    """Told a day that is over, or not placed: no message repeats it."""
    forecast = winter_forecast()
    found, without = customer_facts(replace(forecast, crew_days=()), winter_kits(), {})
    assert found == ()
    whys = {one.site.site_id: one.why for one in without}
    assert whys["C-72"] == whys["B-36"] == "a date is named, but the plan has no day"
    assert whys["A-12"] == "no planned day yet"


def test_the_reason_is_the_sites_own():
    sites = {site.site.site_id: site for site in winter_forecast().sites}
    assert reason_of(sites["D-fall"], AS_OF) == "no pond"
    assert reason_of(sites["E-hot"], AS_OF) == "heated"
    cedar = replace(sites["C-72"], state="waiting", start_p50=date(2025, 11, 1))
    assert reason_of(cedar, date(2025, 11, 1)) == "will cool"
    assert reason_of(cedar, date(2025, 10, 31)) == "before frost"
    assert reason_of(replace(cedar, state="ready"), AS_OF) == "cooled"


def test_a_change_is_explained_by_what_it_saves():
    site = next(site for site in winter_forecast().sites if site.site.site_id == "C-72")
    parts = np.zeros((4, 184))
    early, late = date(2025, 11, 3), date(2025, 11, 17)  # days 94 and 108
    parts[1, 108] = 20.0
    frosty = replace(site, loss_parts_by_day=parts)
    assert change_reason(frosty, late, early, winter_forecast()) == "frost earlier"
    assert change_reason(frosty, early, late, winter_forecast()) == "round"
    warm = np.zeros((4, 184))
    warm[0, 94] = 30.0
    waiting = replace(site, loss_parts_by_day=warm)
    assert change_reason(waiting, early, late, winter_forecast()) == "water still warm"
    assert change_reason(waiting, late, early, winter_forecast()) == "round"
    assert change_reason(replace(site, loss_parts_by_day=None), late, early, winter_forecast()) == "round"


# --- files
def test_csv_holds_one_row_a_site_and_nothing_that_runs():
    made = messages(
        [facts(site=a_site(customer="=1+1", address="+x")), facts(site=a_site("S-2"))],
        read_templates(winter_folder().path),
        form="email",
        settings=winter_known().settings,
        today=AS_OF,
    )
    rows = list(csv.DictReader(io.StringIO(messages_csv(made).decode("utf-8-sig"), newline="")))
    assert [row["site_id"] for row in rows] == ["S-1", "S-2"]
    assert rows[0]["customer"] == "'=1+1"
    assert rows[0]["address"] == "'+x"
    assert rows[1]["body"].count("\n") > 5
    assert int(rows[1]["letters"]) == len(rows[1]["body"])
    assert rows[1]["date"] == "2025-10-15"


def test_list_on_the_screen_without_messages():
    assert "No message is due" in messages_text((), (), unicode=False)


# --- the command
def test_the_command_from_folder_to_mail_merge(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    before = sorted(path for path in folder.rglob("*") if path.is_file())
    code, shown, said = run("words", folder, "--as-of", AS_OF, "--csv", tmp_path / "w.csv")
    assert code == 0, said
    assert "Nothing is sent" in shown
    assert "No message (runs all winter): F-runs." in shown
    text = (tmp_path / "w.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert {row["site_id"] for row in rows} == {"A-12", "B-36", "C-72", "D-fall", "E-hot"}
    assert next(row for row in rows if row["site_id"] == "A-12")["email"] == "alder@example.org"
    assert sorted(path for path in folder.rglob("*") if path.is_file()) == before


def test_messages_follow_the_plan_in_force_until_a_date_moves(tmp_path):
    folder = winter_folder().copy(tmp_path / "season").path
    assert run("close", folder, "F-runs", "--on", "2025-09-01")[0] in (0, 2)  # makes the ledger
    assert run("route", folder, "--as-of", AS_OF)[0] == 0
    code, _, said = run("accept", folder, "--yes")
    assert code == 0, said
    _, before, _ = run("words", folder, "A-12", "--as-of", AS_OF, "--form", "text")
    plan = run("words", folder, "--as-of", "2025-10-21", "--csv", tmp_path / "w.csv")
    assert plan[0] == 0, plan[2]
    day = re.search(r"on (\w{3} \d+ \w{3})", before)
    assert day is not None
    assert day[1] in run("words", folder, "A-12", "--as-of", "2025-10-21", "--form", "text")[1]
    assert ledger_state(folder, date(2025, 10, 21)).plan is not None
    assert run("book", folder, "A-12", "2025-11-19", "--on", "2025-10-21")[0] == 0
    assert "Wed 19 Nov" in run("words", folder, "A-12", "--as-of", "2025-10-21", "--form", "text")[1]


def test_edited_words_are_the_offices(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    assert run("words", folder.path, "--write-templates")[0] == 0
    folder.edit("words/closing-text.txt", lambda text: "Ahoy {name}, {day}.\n")
    code, shown, _ = run("words", folder.path, "Birch", "--form", "text", "--as-of", AS_OF)
    assert (code, shown) == (0, "Ahoy Birch, Fri 7 Nov.\n")


def test_bad_words_stop_before_anything_is_written(tmp_path):
    folder = winter_folder().copy(tmp_path / "season")
    folder.write("words/closing-email.txt", "Subject: x\n{nme}\n")
    code, shown, said = run("words", folder.path, "--as-of", AS_OF, "--csv", tmp_path / "w.csv")
    assert code == 2
    assert "Did you mean name?" in said
    assert not (tmp_path / "w.csv").exists()
    assert not shown


def test_unknown_form_and_limit_are_refused_together():
    code, _, said = run("words", winter_folder().path, "--form", "mail", "--limit", 200)
    assert code == 2
    assert "Did you mean email?" in said
    assert "160 or 320" in said
