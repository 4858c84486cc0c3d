"""Passwords, sessions, roles and the limit on guesses: rules by hand, with a clock of our own."""

from __future__ import annotations

import hashlib
import json
import stat
from pathlib import Path

import pytest

from forecaster.errors import BadInput, ForecasterError
from forecaster.web import access as rules
from forecaster.web import passwords
from forecaster.web.access import Access, TooMany, is_token, masked
from forecaster.web.passwords import Person, hash_of, is_right, read_people, remove_person, set_password

GOOD = "three dry stones"


class Clock:
    """Seconds that pass when told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hashing is slow on purpose; the rules around it are tested here."""
    monkeypatch.setattr(passwords, "N", 2**4)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def access(tmp_path: Path, clock: Clock) -> Access:
    set_password(tmp_path, "Ann", "office", GOOD)
    set_password(tmp_path, "Bo", "crew", "four wet stones")
    return Access(tmp_path, monotonic=clock)


# --- independent reference: RFC 7914, section 12, second vector (N 1024, r 8, p 16), with the library's call
def test_scrypt_is_that_of_the_standard() -> None:
    made = hashlib.scrypt(b"password", salt=b"NaCl", n=1024, r=8, p=16, maxmem=64 * 2**20, dklen=64)
    assert made.hex().startswith("fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162")


def test_a_password_is_kept_as_a_salted_hash_only(tmp_path: Path) -> None:
    set_password(tmp_path, "Ann", "office", GOOD)
    set_password(tmp_path, "Bo", "crew", GOOD)
    text = (tmp_path / "people.json").read_text(encoding="utf-8")
    assert GOOD not in text
    ann, bo = (row["hash"] for row in json.loads(text)["people"])
    assert ann != bo
    assert stat.S_IMODE((tmp_path / "people.json").stat().st_mode) == 0o600


def test_right_and_wrong_passwords(tmp_path: Path) -> None:
    ann = set_password(tmp_path, "Ann", "office", GOOD)
    assert is_right(ann, GOOD)
    assert not is_right(ann, GOOD + " ")
    assert not is_right(None, GOOD)
    assert ann.hash == hash_of(GOOD, bytes.fromhex(ann.salt)).hex()


@pytest.mark.parametrize(
    ("name", "password", "word"),
    [
        ("", GOOD, "--name"),
        ("Ann", "short", "5 letters"),
        ("Ann", "aaaaaaaaaaaa", "easy"),
        ("a\x00b", GOOD, "--name"),
    ],
)
def test_bad_names_and_passwords_are_refused(tmp_path: Path, name: str, password: str, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        set_password(tmp_path, name, "office", password)
    assert read_people(tmp_path) == {}


def test_a_new_password_replaces_the_old_one_and_a_name_can_be_removed(tmp_path: Path) -> None:
    set_password(tmp_path, "Ann", "office", GOOD)
    set_password(tmp_path, "ann", "viewer", "four wet stones")
    people = read_people(tmp_path)
    assert [person.role for person in people.values()] == ["viewer"]
    remove_person(tmp_path, "ANN")
    assert read_people(tmp_path) == {}
    with pytest.raises(BadInput, match="nobody yet"):
        remove_person(tmp_path, "Ann")


def test_a_damaged_file_lets_nobody_in(access: Access) -> None:
    (access.kept / "people.json").write_text("{", encoding="utf-8")
    with pytest.raises(ForecasterError, match=r"people\.json"):
        read_people(access.kept)
    assert access.needs_password()
    assert access.log_in("Ann", GOOD, "127.0.0.1") is None


def test_a_lost_file_opens_no_door_that_was_shut(access: Access) -> None:
    access.must_log_in = True
    (access.kept / "people.json").unlink()
    assert access.needs_password()


def test_sessions_end_by_time_log_out_and_loss_of_the_role(access: Access, clock: Clock) -> None:
    token, session = access.begin("Ann", "office")
    assert access.session(token) == session
    assert access.session(token + "x") is None
    clock.now += rules.SESSION_HOURS * 3600 + 1
    assert access.session(token) is None
    token, _ = access.begin("Ann", "office")
    access.end(token)
    assert access.session(token) is None
    token, _ = access.begin("Ann", "office")
    set_password(access.kept, "Ann", "viewer", GOOD)
    assert access.session(token) is None


def test_the_session_used_least_recently_goes_first(access: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rules, "MOST_SESSIONS", 3)
    tokens = [access.begin("Ann", "office")[0] for _ in range(3)]
    assert access.session(tokens[0])
    access.begin("Ann", "office")
    assert [bool(access.session(token)) for token in tokens] == [True, False, True]


def test_guesses_from_one_address_are_stopped_and_let_in_again_later(
    access: Access, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = []
    monkeypatch.setattr(rules, "is_right", lambda person, said: looked.append(said) or said == GOOD)
    for _ in range(rules.FAILURES_ALLOWED):
        assert access.log_in("Ann", "wrong", "10.0.0.1") is None
    with pytest.raises(TooMany) as told:
        access.log_in("Ann", GOOD, "10.0.0.1")
    assert told.value.seconds == pytest.approx(rules.FAILURES_WITHIN_S)
    assert len(looked) == rules.FAILURES_ALLOWED  # the right one was not even looked at
    assert access.log_in("Ann", GOOD, "10.0.0.2") is not None  # others are not locked out
    clock.now += rules.FAILURES_WITHIN_S + 1
    assert access.log_in("Ann", GOOD, "10.0.0.1") is not None


def test_many_machines_guessing_one_name_are_slowed(
    access: Access, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rules, "is_right", lambda person, said: said == GOOD)
    for number in range(rules.NAME_FAILURES_ALLOWED):
        assert access.log_in("Ann", "wrong", f"10.0.1.{number}") is None
    with pytest.raises(TooMany):
        access.log_in("ANN ", "wrong", "10.0.2.1")
    clock.now += rules.NAME_FAILURES_WITHIN_S + 1
    assert access.log_in("Ann", GOOD, "10.0.2.1") is not None


def test_tokens_differ_each_time_and_only_the_sessions_own_fits(access: Access) -> None:
    _, ann = access.begin("Ann", "office")
    _, bo = access.begin("Bo", "crew")
    assert masked(ann.csrf) != masked(ann.csrf)
    assert is_token(masked(ann.csrf), ann.csrf)
    assert not is_token(masked(bo.csrf), ann.csrf)
    for forged in ("", "00", "z" * 128, ann.csrf, "0" * 128, masked(ann.csrf)[:-2]):
        assert not is_token(forged, ann.csrf)


def test_what_each_role_may(access: Access) -> None:
    may = {
        role: [right for right in ("look", "enter", "change") if access.begin("x", role)[1].may(right)]
        for role in ("office", "crew", "viewer")
    }
    assert may == {"office": ["look", "enter", "change"], "crew": ["look", "enter"], "viewer": ["look"]}


def test_the_audit_file_holds_one_line_a_change_whatever_it_says(access: Access) -> None:
    access.audit("Ann", "10.0.0.1", "reading V-03\nforged line")
    access.audit("Bo", "10.0.0.2", "closed V-04")
    lines = (access.kept / "audit.log").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["who"] for line in lines] == ["Ann", "Bo"]
    assert stat.S_IMODE((access.kept / "audit.log").stat().st_mode) == 0o600


def test_a_person_is_nothing_but_name_role_salt_and_hash() -> None:
    assert list(Person.__dataclass_fields__) == ["name", "role", "salt", "hash"]
