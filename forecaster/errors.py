"""What can go wrong, said once: where, what was found, what is allowed, what to do.

A reader collects every `Problem` of its file and raises one `BadInput`; the command line prints it and
ends with exit code 2. What real records do and the program mends is a `Notice`, never an error.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong with the input: `where` it is, and `text`: found, allowed, what to do."""

    where: str
    text: str

    def __str__(self) -> str:
        return f"{self.where}: {self.text}"


@dataclass(frozen=True, order=True)
class Notice:
    """Something the user should know that stops nothing; it ends in `warnings[]` of the output."""

    where: str
    text: str

    def __str__(self) -> str:
        return f"{self.where}: {self.text}"


class ForecasterError(Exception):
    """Base of every error the program raises on purpose; exit code 1 unless a subclass says otherwise."""

    exit_code = 1


class BadInput(ForecasterError):
    """The user's files or arguments cannot be used as they are; nothing was written. Exit code 2."""

    exit_code = 2
    shown_at_most = 200

    def __init__(self, problems: Iterable[Problem] | Problem) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__(str(self))

    def __str__(self) -> str:
        count = len(self.problems)
        head = f"{count} problem{'s' if count != 1 else ''}, nothing was changed."
        lines = [f"  {problem}" for problem in self.problems[: self.shown_at_most]]
        if count > self.shown_at_most:
            lines.append(f"  ... and {count - self.shown_at_most} more, not shown.")
        return "\n".join([head, *lines])


class MissingWater(ForecasterError):
    """A water temperature is missing where a gap could hide an event."""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """' Did you mean hold_days?' for a near miss, else ''.

    >>> did_you_mean("hold_day", ["hold_days", "start_f"])
    ' Did you mean hold_days?'
    """
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f" Did you mean {near[0]}?" if near else ""
