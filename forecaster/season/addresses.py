"""Addresses of services that the program may ask: encrypted ones, and this machine for trials.

Light on purpose: settings are checked here without loading anything of the network.
"""

from __future__ import annotations

import re
from ipaddress import ip_address
from urllib.parse import urlsplit

_VARIABLE = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


def origin_of(url: str) -> tuple[str, str, int]:
    """Scheme, host and port of a URL that the program may ask.

    Raises:
        ValueError: Not https (http for this machine only), or a name and password in the address.

    >>> origin_of("https://data.example.org/daily")
    ('https', 'data.example.org', 443)
    """
    parts = urlsplit(url)
    host = (parts.hostname or "").casefold()
    if parts.scheme not in ("http", "https") or not host:
        raise ValueError(f'"{url[:80]}" is not an address of the web. Write it like "https://host/path".')
    if parts.scheme == "http" and not is_this_machine(host):
        raise ValueError(f'"{url[:80]}" is not encrypted. Write https:// (http only for this machine).')
    if parts.username is not None or parts.password is not None:
        raise ValueError("a name or password stands in the address. Take it out.")
    try:
        port = parts.port
    except ValueError:
        raise ValueError(f'"{url[:80]}" has no valid port. Correct it or leave it out.') from None
    return parts.scheme, host, port or (443 if parts.scheme == "https" else 80)


def is_this_machine(host: str) -> bool:
    """True for the names and addresses of the machine itself.

    >>> is_this_machine("127.0.0.1"), is_this_machine("data.example.org")
    (True, False)
    """
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def shown_url(url: str) -> str:
    """A URL for messages: without its query, which may hold a key.

    >>> shown_url("https://data.example.org/v1/forecast?apikey=hush")
    'https://data.example.org/v1/forecast'
    """
    return url.split("?", 1)[0].split("#", 1)[0]


def base_address(value: object) -> object:
    """A setting that holds an address, without a slash at its end.

    Raises:
        ValueError: It cannot be asked, or holds a query.
    """
    if not isinstance(value, str):
        raise ValueError(f'{value} is not an address. Write it in quotes, like "https://host/path".')
    origin_of(value)
    if shown_url(value) != value or value != value.strip():
        raise ValueError(f'"{shown_url(value)[:80]}" goes on with ?, # or a space. End it with its path.')
    return value.rstrip("/")


def variable_name(value: object) -> object:
    """A setting that names an environment variable; the key itself must not stand in a file.

    Raises:
        ValueError: It is no such name.
    """
    if isinstance(value, str) and (not value or _VARIABLE.fullmatch(value)):
        return value
    cure = 'Write the name of an environment variable, like "WEATHER_KEY", never the key itself.'
    raise ValueError(f"this is not the name of an environment variable. {cure}")


def station_ids(value: object) -> object:
    """A setting that lists stations.

    Raises:
        ValueError: It is no list of ids.
    """
    if isinstance(value, list) and all(isinstance(name, str) and name.strip() for name in value):
        return tuple(name.strip() for name in value)
    if isinstance(value, tuple):
        return value
    raise ValueError('not a list of station ids. Write it like ["72640", "KMKE0"], each in quotes.')
