"""Names of channels, mail addresses and levels in the settings. Light: nothing of mail is loaded here.

Limit: an address is checked for its form, not for whether anybody reads it.
"""

from __future__ import annotations

import re

_NAME = re.compile(r"[a-z][a-z0-9_-]{0,31}")
_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*")
"""An addr-spec as browsers check it (HTML, e-mail state): no quotes, no comments, no line breaks."""


def channel_names(value: object) -> object:
    """Names like "mail" and "owner_phone", each once.

    >>> channel_names(["mail", "owner_phone"])
    ('mail', 'owner_phone')
    """
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise ValueError('is not a list of names. Write it like ["mail", "owner_phone"].')
    for name in value:
        if not _NAME.fullmatch(name):
            found = "an address" if "://" in name or "@" in name else "no name"
            cure = "Write a name of small letters, figures and _; addresses stand in the secrets file."
            raise ValueError(f"one of the channels is {found}. {cure}")
    return tuple(dict.fromkeys(value))


def levels(value: object) -> object:
    """One to five chances between 0 and 1, rising.

    >>> levels([0.2, 0.5])
    (0.2, 0.5)
    """
    if isinstance(value, list) and 1 <= len(value) <= 5:
        chances = tuple(float(p) for p in value if isinstance(p, int | float) and not isinstance(p, bool))
        rising = len(chances) == len(value) and list(chances) == sorted(set(chances))
        if rising and chances[0] > 0.0 and chances[-1] < 1.0:
            return chances
    raise ValueError("is not a list of rising chances between 0 and 1. Write it like [0.2, 0.5].")


def mail_address(value: object) -> object:
    """One mail address, or "" for none.

    >>> mail_address("office@example.org")
    'office@example.org'
    """
    if not isinstance(value, str):
        return value
    if value and not _ADDRESS.fullmatch(value):
        raise ValueError(
            f'"{" ".join(value[:80].split())}" is not a mail address. Write it like "office@example.org".'
        )
    return value


def mail_addresses(value: object) -> object:
    """A list of mail addresses, each once.

    >>> mail_addresses(["owner@example.org"])
    ('owner@example.org',)
    """
    if not isinstance(value, list) or not all(isinstance(address, str) and address for address in value):
        raise ValueError('is not a list of mail addresses. Write it like ["owner@example.org"].')
    for address in value:
        mail_address(address)
    return tuple(dict.fromkeys(value))
