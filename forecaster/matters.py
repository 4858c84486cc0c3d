"""What is worth telling somebody: one `Matter` each, and the `Brief` that carries several. Records only.

Any room may make matters; who is told, how and when is decided above (`brief/`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Matter:
    """One thing that somebody should know.

    `key`: the same for the same matter, so that it is never told twice as new ("hard_freeze/2025/1").
    `kind`: which rule it comes from. `title`: what a lock screen shows, the matter itself, no full stop.
    `lines`: one fact each. `sites`: site ids that it is about. `urgent`: "act now". `next_step`: what to do.
    All texts are safe to print (names of the user pass `words.clean`) and in the season's units.
    """

    key: str
    kind: str
    title: str
    lines: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    urgent: bool = False
    next_step: str = ""


@dataclass(frozen=True)
class Brief:
    """What changed since the brief before, on the morning of `as_of`; no matters: nothing to tell.

    `since`: as-of date of the brief before, None for the first one. `footing`: what it rests on, one
    sentence each.
    """

    season_name: str
    as_of: date
    since: date | None
    matters: tuple[Matter, ...]
    footing: tuple[str, ...] = ()
