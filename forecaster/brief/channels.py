"""From settings and secrets to the ways of sending: which channel goes where."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from forecaster.brief.mail import MailSender, check_mail
from forecaster.brief.outcome import Sender
from forecaster.brief.secrets import CHANNEL, Secrets
from forecaster.brief.web_channels import NotifySender, PostSender, check_channel
from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.settings import Settings


@dataclass(frozen=True)
class Addressees:
    """Where briefs and alarms go, as (channel, target) pairs; targets are mail addresses, else ""."""

    brief: tuple[tuple[str, str], ...]
    alarms: tuple[tuple[str, str], ...]

    @property
    def places(self) -> tuple[str, ...]:
        """All of them in words, each once."""
        return tuple(dict.fromkeys(target or channel for channel, target in (*self.brief, *self.alarms)))


def addressees(settings: Settings) -> Addressees:
    """Who is told; empty where nothing is set up: "mail" counts only with somebody to write to."""
    brief = _pairs(settings, settings.brief.channels)
    return Addressees(
        brief, _pairs(settings, settings.alarms.channels) if settings.alarms.channels else brief
    )


def is_set_up(settings: Settings) -> bool:
    """True where somebody is to be told: by mail, or by another channel."""
    others = {*settings.brief.channels, *settings.alarms.channels} - {"mail"}
    return bool(others or settings.mail.host or settings.mail.to)


def _pairs(settings: Settings, channels: Iterable[str]) -> tuple[tuple[str, str], ...]:
    found: list[tuple[str, str]] = []
    for channel in channels:
        found += [(channel, to) for to in settings.mail.to] if channel == "mail" else [(channel, "")]
    return tuple(found)


def check_channels(settings: Settings, secrets: Secrets) -> None:
    """Refuse what cannot be sent with these settings and secrets.

    Raises:
        BadInput: No channel, a name without an address, mail without a server: all at once.
    """
    names = dict.fromkeys((*settings.brief.channels, *settings.alarms.channels))
    problems = []
    if not names:
        problems.append(Problem("season.toml [brief] channels", 'none. Write channels = ["mail"].'))
    for name in names:
        if name == "mail":
            problems += check_mail(settings.mail, secrets)
        elif name in secrets.channels:
            problems += check_channel(name, secrets.channels[name])
        else:
            cure = f"Set {CHANNEL}{name.upper()}, or put it into the secrets file."
            hint = did_you_mean(name, ["mail", *secrets.channels]) or f" {cure}"
            problems.append(Problem(f'season.toml channels "{name}"', f"has no address.{hint}"))
    if problems:
        raise BadInput(problems)


def senders(settings: Settings, secrets: Secrets, folder_id: str) -> dict[str, Sender]:
    """The senders of all channels, by name; channels without an address are left out."""
    found: dict[str, Sender] = {}
    if settings.mail.host and settings.mail.sender:
        found["mail"] = MailSender(settings.mail, secrets, folder_id)
    for name, url in secrets.channels.items():
        web = url.startswith(("http://", "https://"))
        found[name] = PostSender(url, secrets, folder_id) if web else NotifySender(url)
    return found
