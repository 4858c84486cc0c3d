"""[brief], [alarms] and [mail] in season.toml: usual values, refusals with the cure, no password there."""

from __future__ import annotations

from datetime import time
from pathlib import Path

import pytest

from forecaster.errors import BadInput
from forecaster.season.settings import Settings, read_settings
from forecaster.units import f_to_c

BASE = '[season]\nyear = 2025\ntimezone = "America/Chicago"\n'


def read(tmp_path: Path, text: str) -> Settings:
    (tmp_path / "season.toml").write_text(BASE + text, encoding="utf-8")
    return read_settings(tmp_path)


def refused(tmp_path: Path, text: str) -> str:
    with pytest.raises(BadInput) as error:
        read(tmp_path, text)
    return str(error.value)


def test_a_file_without_the_tables_has_usual_values(tmp_path):
    found = read(tmp_path, "")
    assert (found.brief.at, found.brief.quiet_from, found.brief.quiet_to) == (time(6), time(21), time(6))
    assert found.brief.risk_levels == (0.2, 0.5)
    assert found.alarms.minimum_c == pytest.approx(f_to_c(20))
    assert (found.mail.port, found.mail.security, found.mail.to) == (587, "starttls", ())


def test_times_with_and_without_quotes_and_both_units(tmp_path):
    found = read(
        tmp_path, '[brief]\nat = 05:30\nquiet_to = "05:15"\nquiet_from = 22:00:00\n[alarms]\nminimum_c = -8\n'
    )
    assert (found.brief.at, found.brief.quiet_to, found.brief.quiet_from) == (
        time(5, 30),
        time(5, 15),
        time(22),
    )
    assert found.alarms.minimum_c == -8


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[brief]\nchannels = "mail"', "not a list of names"),
        ('[brief]\nchannels = ["a@b.org"]', "one of the channels is an address"),
        ('[brief]\nchannels = ["https://x.org/token"]', "one of the channels is an address"),
        ("[brief]\nrisk_levels = [0.5, 0.2]", "rising chances"),
        ("[brief]\nrisk_levels = [0.0]", "rising chances"),
        ("[brief]\nrisk_levels = [true]", "rising chances"),
        ('[brief]\nat = "soon"', "not a time of day"),
        ("[brief]\nmoved_day = 2", "Did you mean moved_days"),
        ("[alarms]\nhard_freeze_chance = 50", "outside the allowed 0 to 1"),
        ("[alarms]\nminimum_f = 60", "outside the allowed -76 to 50"),
        ('[alarms]\nwater = "freezing"', '"start", "sustained", "both"'),
        ('[mail]\nto = "owner@example.org"', "not a list of mail addresses"),
        ('[mail]\nto = ["owner"]', "not a mail address"),
        ('[mail]\nsender = "Office <office@example.org>"', "not a mail address"),
        ('[mail]\nsender = "office@example.org\\nBcc: thief@example.org"', "not a mail address"),
        ('[mail]\nsecurity = "tls"', '"starttls", "ssl", "none"'),
        ("[mail]\nport = 0", "outside the allowed 1 to 65535"),
        ('[alarm]\nwater = "start"', "Its settings belong in [alarms]"),
    ],
)
def test_refusals_name_the_cure(tmp_path, text, said):
    assert said in refused(tmp_path, text)


@pytest.mark.parametrize(
    "line", ['password = "hush-4711"', "password = hush-4711", 'mail_password = "hush-4711']
)
def test_a_password_in_the_file_is_refused_and_not_shown(tmp_path, line):
    said = refused(tmp_path, f"[mail]\n{line}\n")
    assert "hush-4711" not in said
    assert "password" in said or "secret" in said


def test_no_address_of_a_channel_is_shown(tmp_path):
    assert "token" not in refused(tmp_path, '[brief]\nchannels = ["https://x.org/token"]')
