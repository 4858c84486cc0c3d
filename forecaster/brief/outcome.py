"""How handing over a message can end, and what a way of sending looks like to whoever delivers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from forecaster.brief.outbox import Message

Handing = Callable[[], None]
"""Called just before the step after which the other side may have the message; then it is on the disk."""


@dataclass(frozen=True)
class Outcome:
    """`sent`: the other side has it. `later`: it certainly has not, try again. `refused`: it has not and says
    that it will not; tried again, but seldom. `unclear`: the line was cut when it may have taken it.

    `said`: why, in words without secrets. `wait_s`: how long the other side asks to wait [s], 0 for nothing.
    `safe`: the other side tells repeats apart, so that an unclear end may be tried again as often as any.
    """

    state: Literal["sent", "later", "refused", "unclear"]
    said: str = ""
    wait_s: float = 0.0
    safe: bool = False


class Sender(Protocol):
    """A way of sending: mail, an address of the web, a notification service."""

    def send(self, message: Message, target: str, handing: Handing) -> Outcome:
        """Hand one message to one place, calling `handing` once just before; never raises for the other
        side's faults."""
        ...
