"""A table of `season.toml` checked against its record, and every problem said the way the program says them.

pydantic finds all problems of a table at once; here its findings become sentences in the user's own names
and units: a limit typed as `start_f` is answered in °F.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Any, TypeVar, get_args

from annotated_types import Ge, Le
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.season.quantities import plain_number, shown
from forecaster.units import KM_PER_MILE, c_to_f, f_to_c

Record = TypeVar("Record", bound=BaseModel)


@dataclass(frozen=True)
class Spelling:
    """One way to write a setting: its key and unit, and the conversion to the record's field and back."""

    key: str
    words: str
    to_internal: Callable[[float], float] = float
    from_internal: Callable[[float], float] = float


def spellings(name: str) -> tuple[Spelling, ...]:
    """All ways to write the field `name`, the usual one first.

    >>> [spelling.key for spelling in spellings("start_c")]
    ['start_f', 'start_c']
    """
    if name.endswith("_c"):
        fahrenheit = Spelling(f"{name[:-2]}_f", " °F", f_to_c, c_to_f)
        return fahrenheit, Spelling(name, " °C")
    if name.endswith("_km_h"):
        mph = Spelling(
            f"{name[:-5]}_mph",
            " miles an hour",
            lambda speed: speed * KM_PER_MILE,
            lambda speed: speed / KM_PER_MILE,
        )
        return mph, Spelling(name, " km/h")
    return (Spelling(name, ""),)


def keys_of(record: type[BaseModel]) -> tuple[str, ...]:
    """Every key that the record's table may hold, as the user writes it."""
    return tuple(spelling.key for name in record.model_fields for spelling in spellings(name))


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """The tables of a TOML text; times such as 07:30 are accepted (TOML 1.0 wants the seconds too).

    Raises:
        BadInput: No valid TOML: line, column, the line itself and the likely cure.
    """
    keys = r"(?:start_time|at|quiet_from|quiet_to)"
    clock = rf"(?m)^([ \t]*{keys}[ \t]*=[ \t]*)(\d{{1,2}}):(\d{{2}})(?=[ \t]*(?:#.*)?\r?$)"
    text = re.sub(clock, lambda found: f"{found[1]}{int(found[2]):02}:{found[3]}:00", text)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        at = re.search(r" \(at line (\d+), column (\d+)\)", said)
        line_number = int(at[1]) if at else len(text.splitlines())
        line = text.splitlines()[line_number - 1].strip() if text.splitlines() else ""
        place = f"{where} line {line_number}" + (f", column {at[2]}" if at else "")
        said = re.sub(r" \(at .*\)$", "", said)
        if re.search(r"(?i)pass|secret|token|key", line):
            line = "(not shown: it may hold a secret)"
        found = f"not valid TOML ({said[:1].lower()}{said[1:]}): `{line}`."
        raise BadInput(Problem(place, f"{found} {_toml_cure(said, line)}")) from None


def _toml_cure(said: str, line: str) -> str:
    if "overwrite" in said or "twice" in said:
        return "This name stands in the file twice: remove one."
    if re.search("[“”„‘’]", line):
        return 'Use straight double quotes (").'
    if re.search(r"\d/\d", line):
        return "Write dates like 2025-09-15."
    if re.search(r"=\s*\d+,\d", line):
        return "Write a decimal point, not a comma."
    if "\\" in line:
        return "Write / instead of the backslash."
    if re.search(r"=\s*[A-Za-z]", line):
        return "Put text in double quotes."
    return "Write name = value, one a line, and [table] above them."


@dataclass
class TableCheck:
    """Checks one table after the other; `homes` says in which table a key belongs."""

    file: str
    homes: Mapping[str, str]
    problems: list[Problem] = field(default_factory=list)

    def read(self, record: type[Record], raw: object, place: str) -> Record | None:
        """The record, or None with its problems added. `place` is the table as shown: "[costs]"."""
        if not isinstance(raw, dict):
            cure = f"Write it as a table: {place} on a line of its own, the settings below it."
            self.add(place, "", f"not a table of settings. {cure}")
            return None
        before = len(self.problems)
        internal = self._internal(record, raw, place)
        try:
            checked = record.model_validate(internal)
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self._explain(record, raw, place, detail)
            return None
        return checked if len(self.problems) == before else None

    def add(self, place: str, key: str, text: str) -> None:
        """Add a problem with one key of a table."""
        self.problems.append(Problem(f"{self.file} {place} {key}".rstrip(), text))

    def _internal(self, record: type[BaseModel], raw: dict[str, Any], place: str) -> dict[str, Any]:
        """The table with every setting under the record's name and in its unit."""
        internal = dict(raw)
        for name in record.model_fields:
            ways = [spelling for spelling in spellings(name) if spelling.key in raw]
            if len(ways) > 1:
                keys = " and ".join(spelling.key for spelling in ways)
                self.add(place, ways[0].key, f"{keys} are both there. Keep one of them.")
            for spelling in ways:
                value = internal.pop(spelling.key)
                number = isinstance(value, int | float) and not isinstance(value, bool)
                internal[name] = spelling.to_internal(value) if number and spelling.words else value
        return internal

    def _explain(
        self, record: type[BaseModel], raw: dict[str, Any], place: str, detail: ErrorDetails
    ) -> None:
        name = str(detail["loc"][0])
        if detail["type"] == "extra_forbidden":
            self.add(place, name, "no such setting." + self._where_instead(record, name))
            return
        ways = spellings(name)
        spelling = next((way for way in ways if way.key in raw), ways[0])
        key = spelling.key
        if detail["type"] == "missing":
            example = (record.model_fields[name].examples or [""])[0]
            self.add(place, key, f"missing. Add a line like {key} = {example}")
            return
        self.add(place, key, _what_is_wrong(record, name, spelling, raw[key], detail))

    def _where_instead(self, record: type[BaseModel], key: str) -> str:
        if "password" in key.lower():
            return " A password never stands in this file: see README, A brief that comes by itself."
        home = self.homes.get(key)
        if home:
            return f" It belongs in {home}."
        return did_you_mean(key, keys_of(record)) or f" The settings here are {', '.join(keys_of(record))}."


def as_written(value: object) -> str:
    """A value as TOML writes it.

    >>> as_written([True, "mon", date(2025, 9, 1)])
    '[true, "mon", 2025-09-01]'
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list):
        return "[" + ", ".join(as_written(item) for item in value) + "]"
    if isinstance(value, dict):
        return "a table"
    return str(value)


def _what_is_wrong(
    record: type[BaseModel], name: str, spelling: Spelling, value: object, detail: ErrorDetails
) -> str:
    """The sentence about one value: found, allowed, what to do."""
    found, kind, key = as_written(value), detail["type"], spelling.key
    if kind == "value_error":
        return str(detail["ctx"]["error"])
    if kind == "literal_error":
        words = get_args(record.model_fields[name].annotation)
        hint = did_you_mean(str(value), words) or " Write one of these."
        return f"{found} is not one of {', '.join(as_written(word) for word in words)}.{hint}"
    if kind == "string_type":
        return f'{found} is not a text. Put it in double quotes: {key} = "{value}".'
    if kind == "string_too_short":
        return "empty. Write a name between the quotes."
    if kind == "date_type":
        return f"{found} is not a date. Write it like {key} = 2025-09-15."
    if kind == "time_type":
        return f"{found} is not a time of day. Write it like {key} = 07:30."
    low, high = _range(record, name, spelling)
    allowed = f"{shown(low)} to {shown(high)}{spelling.words}"
    if kind in ("greater_than_equal", "less_than_equal"):
        return f"{found} is outside the allowed {allowed}.{_range_cure(record, name, spelling, value)}"
    noun = "a whole number" if kind.startswith("int") else "a number"
    number = plain_number(value.strip()) if isinstance(value, str) else None
    cure = f"Remove the quotes: {key} = {shown(number)}." if number is not None else f"Write {noun}, alone."
    return f"{found} is not {noun} ({allowed}). {cure}"


def _range(record: type[BaseModel], name: str, spelling: Spelling) -> tuple[float, float]:
    """The allowed ends of a numeric setting in the unit of `spelling`."""
    limits = record.model_fields[name].metadata
    low = next(limit.ge for limit in limits if isinstance(limit, Ge))
    high = next(limit.le for limit in limits if isinstance(limit, Le))
    return spelling.from_internal(low), spelling.from_internal(high)  # type: ignore[arg-type]


def _range_cure(record: type[BaseModel], name: str, spelling: Spelling, value: object) -> str:
    """The likely unit of a number that is outside the range, else the usual value."""
    for other in spellings(name):
        low, high = _range(record, name, other)
        if other.key != spelling.key and isinstance(value, int | float) and low <= value <= high:
            return f" Is it in{other.words}? Then write {other.key} = {as_written(value)}."
    usual = record.model_fields[name].default
    if isinstance(usual, int | float):
        return f" The usual value is {shown(round(spelling.from_internal(usual), 2))}."
    return " Correct it."
