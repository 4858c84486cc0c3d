"""Where a brief's matters come from: a list of sources, each with a memory of its own.

A source is a name and a function: the situation and what it told last (its JSON, None at first) in, its
matters and what has been told now out. It is pure: no clock, no file; `situation.moment` is the time. To
add one, write the function (in the room that knows the matter) and a line in `SOURCES`; the name is the key
of its memory, so it is never changed. Its order here is the order in the brief.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from forecaster.brief import changes, weather_changes, winter
from forecaster.brief.situation import Situation
from forecaster.matters import Matter

Told = dict[str, Any]


@dataclass(frozen=True)
class Source:
    """Where matters come from; see the module."""

    name: str
    matters: Callable[[Situation, Told | None], tuple[Sequence[Matter], Told]]


SOURCES: tuple[Source, ...] = (
    Source("snap", weather_changes.snap),
    Source("plan", changes.plan),
    Source("risks", changes.risks),
    Source("dates", changes.dates),
    Source("water", changes.water),
    Source("outlook", weather_changes.outlook),
    Source("winter", winter.winter),
    Source("data", weather_changes.data),
    Source("troubles", weather_changes.troubles),
)


def matters_since(
    now: Situation, told: Mapping[str, Told] | None, sources: Sequence[Source] = SOURCES
) -> tuple[tuple[Matter, ...], dict[str, Told]]:
    """All matters since what was told, in the order of the sources, urgent ones first; and what is told now.

    The memory of a source that is not asked stays as it is.
    """
    found: list[Matter] = []
    after = dict(told or {})
    for source in sources:
        matters, after[source.name] = source.matters(now, (told or {}).get(source.name))
        found += matters
    return tuple(sorted(found, key=lambda matter: not matter.urgent)), after
