"""Secrets: where they may stand, who may read them, and that no text shows them."""

from __future__ import annotations

import base64
import os
from pathlib import Path

import pytest

from forecaster.brief.secrets import HIDDEN, Secrets, load_secrets
from forecaster.errors import BadInput

PASSWORD = "hush-hush-4711"
URL = "https://hooks.example.org/T0K3N/abcdefgh?apikey=zzzz9999"


def write(path: Path, text: str, mode: int = 0o600) -> Path:
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def env(path: Path, **more: str) -> dict[str, str]:
    return {"FORECASTER_SECRETS": str(path), **more}


GOOD = f'mail_password = "{PASSWORD}"\n[channels]\nboard = "{URL}"\n'


def test_file_and_environment(tmp_path):
    path = write(tmp_path / "s.toml", GOOD)
    found = load_secrets(tmp_path / "season", env(path))
    assert (found.mail_password, found.channels) == (PASSWORD, {"board": URL})
    more = env(path, FORECASTER_MAIL_PASSWORD="other", FORECASTER_CHANNEL_OWNER_PHONE="jsons://x/y")
    found = load_secrets(tmp_path / "season", more)
    assert found.mail_password == "other"
    assert found.channels == {"board": URL, "owner_phone": "jsons://x/y"}
    assert load_secrets(tmp_path, {}) == Secrets()


def test_the_usual_place(tmp_path):
    (tmp_path / ".config" / "forecaster").mkdir(parents=True)
    write(tmp_path / ".config" / "forecaster" / "secrets.toml", GOOD)
    assert load_secrets(tmp_path / "season", {"HOME": str(tmp_path)}).mail_password == PASSWORD
    assert load_secrets(tmp_path / "season", {"XDG_CONFIG_HOME": str(tmp_path / ".config")}).mail_password


@pytest.mark.skipif(os.name != "posix", reason="rights are mode bits on POSIX only")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o666, 0o620, 0o610])
def test_a_file_that_others_may_read_is_refused_with_the_cure(tmp_path, mode):
    path = write(tmp_path / "s.toml", GOOD, mode)
    with pytest.raises(BadInput) as refused:
        load_secrets(tmp_path / "season", env(path))
    assert f"chmod 600 {path}" in str(refused.value)
    assert PASSWORD not in str(refused.value)


def test_a_file_in_the_season_folder_is_refused(tmp_path):
    folder = tmp_path / "season"
    (folder / "sub").mkdir(parents=True)
    path = write(folder / "sub" / "s.toml", GOOD)
    with pytest.raises(BadInput, match="season folder"):
        load_secrets(folder, env(path))
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    with pytest.raises(BadInput, match="season folder"):
        load_secrets(folder, env(link))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"mail_password = {PASSWORD}", "cannot be read as TOML"),
        (f'mail_pasword = "{PASSWORD}"', "Did you mean mail_password"),
        ("mail_password = 4711", "double quotes"),
        (f'channels = "{PASSWORD}"', "no table"),
        (f'[channels]\nboard = "{PASSWORD}"', "no address"),
        (f'[channels]\n"Board X" = "{URL}"', "no name"),
    ],
)
def test_a_broken_file_is_named_without_its_secrets(tmp_path, text, said):
    path = write(tmp_path / "s.toml", text)
    with pytest.raises(BadInput, match=said) as refused:
        load_secrets(tmp_path / "season", env(path))
    assert PASSWORD not in str(refused.value)
    assert "T0K3N" not in str(refused.value)
    missing = env(tmp_path / "none.toml")
    with pytest.raises(BadInput, match="no such file"):
        load_secrets(tmp_path / "season", missing)


def test_hide_takes_every_shape_out():
    secrets = Secrets(PASSWORD, {"board": URL})
    coded = base64.b64encode(PASSWORD.encode()).decode()
    said = f"535 bad {PASSWORD} and {coded} at {URL}\n or /T0K3N/ with zzzz9999"
    hidden = secrets.hide(said)
    for part in (PASSWORD, coded, "T0K3N", "zzzz9999", "abcdefgh"):
        assert part not in hidden
    assert HIDDEN in hidden
    assert "\n" not in hidden
    assert PASSWORD not in repr(secrets)
    assert Secrets().hide("nothing to hide") == "nothing to hide"
