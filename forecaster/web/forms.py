"""Reading what a person sent: the fields as single texts, and what is shown again when something is wrong.

The guard has checked size and origin before; here come the right to do it and the token of the session.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar
from urllib.parse import parse_qsl

from starlette.requests import Request

from forecaster.errors import BadInput, ForecasterError, Problem
from forecaster.season.events import clean_text
from forecaster.season.tables import BadCell
from forecaster.web.access import Session, is_token
from forecaster.web.security import Refused

MOST_FIELDS = 200
TOKEN_FIELD, SEEN_FIELD = "token", "seen"
FORM_TYPE = "application/x-www-form-urlencoded"

Value = TypeVar("Value")


class Stale(ForecasterError):
    """Somebody else changed the same thing after the form was opened; nothing was written."""


@dataclass
class Form:
    """The fields of a form, and the problems found in them so far (field name -> text)."""

    fields: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """A field without blanks around it, "" where it was not sent."""
        return self.fields.get(name, "").strip()

    def cleaned(self, name: str) -> str:
        """A text that is kept; characters that no sheet can hold are a problem."""
        try:
            return clean_text(self.fields.get(name, ""), name)
        except BadInput as error:
            self.problem(name, error.problems[0].text)
            return ""

    def parsed(self, name: str, parse: Callable[[str], Value]) -> Value | None:
        """What `parse` makes of a field; None where it is empty or wrong (then it is a problem)."""
        said = self.text(name)
        if not said:
            return None
        try:
            return parse(said)
        except BadCell as error:
            self.problem(name, str(error))
        except BadInput as error:
            self.problem(name, error.problems[0].text)
        except (ValueError, OverflowError):
            self.problem(name, "cannot be read. Write it another way.")
        return None

    def needed(self, name: str, value: Value | None, cure: str) -> Value | None:
        """Makes an empty field that is needed a problem."""
        if value is None and name not in self.problems:
            self.problem(name, f"is needed. {cure}")
        return value

    def problem(self, name: str, text: str) -> None:
        """Note what is wrong with a field; the first one of a field stands."""
        self.problems.setdefault(name, text)

    def add(self, problems: BadInput, *, default: str = "") -> None:
        """Take over the problems of a reader; those whose place is no field go to `default`."""
        for one in problems.problems:
            name = one.where if one.where in self.fields else default
            self.problem(name, one.text if name == one.where or not one.where else str(one))

    def raise_if_any(self) -> None:
        """Stop here with all problems.

        Raises:
            BadInput: There are some.
        """
        if self.problems:
            raise BadInput(Problem(name, text) for name, text in self.problems.items())

    def seen(self) -> int | None:
        """The number of the last event that the person saw, None where the form does not say."""
        said = self.text(SEEN_FIELD)
        return int(said) if said.isdecimal() and len(said) < 10 else None

    def day(self, name: str) -> date | None:
        """A date as browsers send it (2025-10-14) or as people write it."""
        from forecaster.season.moments import parse_day

        return self.parsed(name, parse_day)


def session_of(request: Request) -> Session:
    """The session that the guard found.

    Raises:
        Refused: There is none (a page that may be seen without log-in was asked for more).
    """
    session = request.state.session
    if not isinstance(session, Session):
        raise Refused(403, "You are not logged in. Log in, then try again.")
    return session


def require(request: Request, right: str) -> Session:
    """The session, if its role holds the right: "look", "enter" or "change".

    Raises:
        Refused: It does not.
    """
    session = session_of(request)
    if not session.may(right):
        raise Refused(403, "Your role may not do that. Ask the office.")
    return session


def read_form(request: Request, *, right: str) -> Form:
    """The form of a POST, after right and token were checked; each name once.

    Args:
        request: The request of a POST handler.
        right: "enter" for readings and closings, "change" for everything else.
    Raises:
        Refused: The role does not allow it, the token is forged or of an old page, the form is malformed.
    """
    session = require(request, right)
    fields = form_fields(request)
    if not is_token(fields.pop(TOKEN_FIELD, ""), session.csrf):
        raise Refused(
            403, "That page was too old to be sent. Open it again, then send it. Nothing was changed."
        )
    return Form(fields)


def form_fields(request: Request) -> dict[str, str]:
    """The fields of the body without any check of who sent them.

    Raises:
        Refused: Not a form, not text, too many fields, or a name twice.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != FORM_TYPE:
        raise Refused(415, "Only the forms of these pages are read.")
    try:
        pairs = parse_qsl(
            request.state.body.decode("ascii"),
            keep_blank_values=True,
            encoding="utf-8",
            errors="strict",
            max_num_fields=MOST_FIELDS,
        )
    except ValueError:
        raise Refused(400, "That form cannot be read. Open the page again, then send it.") from None
    fields = dict(pairs)
    if len(fields) != len(pairs):
        raise Refused(400, "That form holds a field twice. Open the page again, then send it.")
    return fields
