"""The office's own letters: plain-text files with {fields}, in FOLDER/words, else the program's.

A field is a name in braces and nothing more: no code, no format, no way to reach anything else. A line whose
fields are all empty is left out. Each file is `ABOUT-FORM.txt`; what is wrong in any of them is said at once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast, get_args

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.tables import decode, read_bytes
from forecaster.visit.customer_words import About

Form = Literal["email", "text", "letter"]

FOLDER = "words"
OWN = Path(__file__).parent / "templates" / "words"
LONGEST_FILE = 20_000

FIELDS = {
    "customer": "the customer, as the sheet has it",
    "name": "the same without what stands in brackets",
    "site_id": "the site's id",
    "address": "the site's address",
    "feature": "pond, waterfall or fountain",
    "date": "day of the visit, Wednesday 15 October",
    "day": "the same short, Wed 15 Oct",
    "time": "in the morning, around midday or in the afternoon, as planned",
    "window": "other days that would do, 14 to 22 October",
    "reason": "why this day, one sentence",
    "old_date": "the day that was named before",
    "old_day": "the same short",
    "change": "why the day changed, one sentence",
    "prepare": "what the customer can prepare, one line each",
    "winter_care": "what the customer does in the winter, one line each",
    "today": "the day on which it is written",
    "office": "your name, from [office]",
    "phone": "your phone, from [office]",
    "email": "your e-mail, from [office]",
}
"""Every field and what it holds."""

_FIELD = re.compile(r"\{\{|\}\}|\{([^{}\n]*)\}|[{}]")


@dataclass(frozen=True)
class Template:
    """One letter: `lines` of its text, `subject` "" where it has none; `where` names its file."""

    where: str
    subject: str
    lines: tuple[str, ...]


def template_name(about: About, form: Form) -> str:
    """File name of a template.

    >>> template_name("change", "text")
    'change-text.txt'
    """
    return f"{about}-{form}.txt"


NAMES = tuple(template_name(cast(About, about), form) for form in get_args(Form) for about in get_args(About))


def read_templates(folder: Path) -> dict[tuple[About, Form], Template]:
    """All nine templates: the office's where the folder has them, else the program's.

    Raises:
        BadInput: A file with an unknown name, an unknown field, a brace too many, no subject: all at once.
    """
    problems = _unknown_files(folder)
    found: dict[tuple[About, Form], Template] = {}
    for form in get_args(Form):
        for about in get_args(About):
            own = folder / FOLDER / template_name(about, form)
            path = own if own.is_file() else OWN / own.name
            where = f"{FOLDER}/{path.name}"
            try:
                found[about, form] = parse_template(decode(read_bytes(path), where), where, form=form)
            except BadInput as error:
                problems += error.problems
    if problems:
        raise BadInput(problems)
    return found


def _unknown_files(folder: Path) -> list[Problem]:
    if not (folder / FOLDER).is_dir():
        return []
    names = sorted(p.name for p in (folder / FOLDER).iterdir() if p.suffix.lower() == ".txt")
    known = ", ".join(NAMES)
    return [
        Problem(
            f"{FOLDER}/{name}",
            f"no message has this name.{did_you_mean(name, NAMES) or f' The names are {known}.'}",
        )
        for name in names
        if name not in NAMES
    ]


def parse_template(text: str, where: str, *, form: Form) -> Template:
    """A template from its text.

    Raises:
        BadInput: Unknown fields, stray braces, an e-mail without a subject, an empty or a huge file.
    """
    if len(text) > LONGEST_FILE:
        raise BadInput(
            Problem(where, f"has {len(text):,} letters; {LONGEST_FILE:,} are allowed. Shorten it.")
        )
    lines = text.replace("\r\n", "\n").replace("\r", "\n").strip("\n").split("\n")
    problems = [p for number, line in enumerate(lines, start=1) for p in _line_problems(line, where, number)]
    subject = ""
    if form == "email":
        if lines[0].casefold().startswith("subject:"):
            subject, lines = lines[0].split(":", 1)[1].strip(), lines[1:]
        if not subject:
            problems.append(
                Problem(f"{where} line 1", "an e-mail begins with a line like Subject: your pond")
            )
    if not "".join(lines).strip():
        problems.append(
            Problem(where, "is empty. Write the message, or delete the file to use the usual one.")
        )
    if problems:
        raise BadInput(problems)
    return Template(where, subject, tuple(lines))


def _line_problems(line: str, where: str, number: int) -> list[Problem]:
    found = []
    for match in _FIELD.finditer(line):
        name = match[1]
        if match[0] in ("{{", "}}") or name in FIELDS:
            continue
        if name is None:
            text = f'a single "{match[0]}". Write {match[0] * 2} for the sign itself.'
        elif name.strip() in FIELDS:
            text = f'"{match[0]}" has blanks. Write {{{name.strip()}}}.'
        else:
            near = did_you_mean(name, FIELDS) or f" The fields are {', '.join(FIELDS)}."
            text = f'"{match[0]}" is no field.{near}'
        found.append(Problem(f"{where} line {number}", text))
    return found


def filled(line: str, values: Mapping[str, str]) -> str | None:
    """One line with its fields; None where it has fields and all of them are empty.

    >>> filled("Call {phone}", {"phone": ""}), filled("{{Dear}} {name}", {"name": "Alder"})
    (None, '{Dear} Alder')
    """
    names = [match[1] for match in _FIELD.finditer(line) if match[1] is not None]
    if names and not any(values[name] for name in names):
        return None
    signs = {"{{": "{", "}}": "}"}
    return _FIELD.sub(lambda found: signs.get(found[0]) or values[found[1]], line)


def write_templates(folder: Path) -> list[Path]:
    """Leave the program's templates in FOLDER/words where none has that name; returns those written."""
    from forecaster.files import write_text

    target = folder / FOLDER
    target.mkdir(exist_ok=True)
    written = []
    for name in NAMES:
        if not (target / name).exists():
            write_text(target / name, (OWN / name).read_text(encoding="utf-8"))
            written.append(target / name)
    return written
