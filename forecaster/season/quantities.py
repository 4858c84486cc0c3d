"""Numbers in cells: with a range, in the unit that the column's name says, converted to the program's.

A cell holds a number alone; one with a unit in it ("3ft") or a thousands comma is refused with the number
to write, because a guess about units is the costliest guess of a sheet.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from forecaster.season.tables import BadCell
from forecaster.units import (
    KG_PER_POUND,
    M2_PER_FT2,
    M_PER_FOOT,
    M_PER_INCH,
    c_step_to_f,
    c_to_f,
    f_step_to_c,
    f_to_c,
)

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")


@dataclass(frozen=True)
class Unit:
    """A unit that may stand at the end of a column's name: `mean_depth_in` and `mean_depth_cm`."""

    suffix: str
    words: str
    to_internal: Callable[[float], float]
    from_internal: Callable[[float], float]


def _scaled(suffix: str, words: str, factor: float) -> Unit:
    return Unit(suffix, words, lambda value: value * factor, lambda value: value / factor)


LENGTH_UNITS = (
    _scaled("in", "inches", M_PER_INCH),
    _scaled("cm", "centimetres", 0.01),
    _scaled("ft", "feet", M_PER_FOOT),
    _scaled("m", "metres", 1.0),
)
HEIGHT_UNITS = (LENGTH_UNITS[2], LENGTH_UNITS[3])
AREA_UNITS = (_scaled("ft2", "square feet", M2_PER_FT2), _scaled("m2", "square metres", 1.0))
WEIGHT_UNITS = (_scaled("lb", "pounds", KG_PER_POUND), _scaled("kg", "kilograms", 1.0))
TEMPERATURE_UNITS = (Unit("f", "°F", f_to_c, c_to_f), Unit("c", "°C", float, float))
STEP_UNITS = (Unit("f", "°F", f_step_to_c, c_step_to_f), Unit("c", "°C", float, float))

_UNIT_WORDS = {
    "in": 'in|inch|inches|"|″|”',
    "cm": "cm|centimet(?:er|re)s?",
    "ft": "ft|foot|feet|'|′|’",
    "m": "m|met(?:er|re)s?",
    "ft2": "ft2|ft²|sq\\.? ?ft|sqft|square feet",
    "m2": "m2|m²|sqm|sq\\.? ?m|square met(?:er|re)s?",
    "lb": "lbs?|pounds?",
    "kg": "kgs?|kilograms?",
    "f": "°? ?f|deg(?:rees)? ?f",
    "c": "°? ?c|deg(?:rees)? ?c",
}
_FEET_INCHES = re.compile(
    rf"(\d+)\s*(?:{_UNIT_WORDS['ft']})\s*(\d+(?:\.\d+)?)\s*(?:{_UNIT_WORDS['in']})?", flags=re.IGNORECASE
)


@dataclass(frozen=True)
class Quantity:
    """A measured number with the units its column may be in.

    `units[0]` is the usual one; `low` and `high` are the allowed ends in that unit, both allowed.
    """

    name: str
    units: tuple[Unit, ...]
    low: float
    high: float

    @property
    def columns(self) -> dict[str, Unit]:
        """Column name to unit, the usual one first."""
        return {f"{self.name}_{unit.suffix}": unit for unit in self.units}

    def range_in(self, unit: Unit) -> tuple[float, float]:
        """The allowed ends in `unit`, to 6 decimals, as messages show and checks use them."""
        usual = self.units[0]
        if unit is usual:
            return self.low, self.high
        low, high = (unit.from_internal(usual.to_internal(end)) for end in (self.low, self.high))
        return round(low, 6), round(high, 6)


def shown(value: float) -> str:
    """A number as messages show it: at most 4 decimals, no exponent.

    >>> shown(240.0), shown(15.24), shown(1 / 3)
    ('240', '15.24', '0.3333')
    """
    return f"{value:.4f}".rstrip("0").rstrip(".")


def plain_number(text: str, *, decimal_comma: bool = False) -> float | None:
    """The number, or None where the text is anything else (a unit, a thousands comma, words).

    >>> plain_number("24.5"), plain_number("24,5", decimal_comma=True), plain_number("24,5")
    (24.5, 24.5, None)
    """
    if decimal_comma and "." not in text:
        text = text.replace(",", ".", 1)
    return float(text) if NUMBER.fullmatch(text) else None


def parse_number(
    text: str, *, low: float, high: float, noun: str = "a number", decimal_comma: bool = False
) -> float:
    """A number without a unit, `low` to `high`, both allowed.

    Raises:
        BadCell: No number, or outside.
    Example:
        >>> parse_number("1,5", low=0, high=24)
        Traceback (most recent call last):
        forecaster.season.tables.BadCell: "1,5" is not a number (0 to 24). Write 1.5, without a comma.
    """
    value = plain_number(text, decimal_comma=decimal_comma)
    allowed = f"{shown(low)} to {shown(high)}"
    if value is None:
        raise BadCell(f'"{text}" is not {noun} ({allowed}).{_number_cure(text, low, high, with_unit=False)}')
    if not low <= value <= high:
        raise BadCell(f"{shown(value)} is outside the allowed {allowed}. Correct it.")
    return value


def parse_quantity(text: str, quantity: Quantity, unit: Unit, *, decimal_comma: bool = False) -> float:
    """A number in `unit`, returned in the program's unit.

    Raises:
        BadCell: No number, a number with a unit (the message gives the converted one), or outside the
            range (the message gives the likely unit).
    Example:
        >>> depth = Quantity("mean_depth", LENGTH_UNITS, low=6, high=240)
        >>> round(parse_quantity("24", depth, LENGTH_UNITS[0]), 4)
        0.6096
        >>> parse_quantity("3ft", depth, LENGTH_UNITS[0])
        Traceback (most recent call last):
        forecaster.season.tables.BadCell: "3ft" is not a number of inches (6 to 240). Write 36.
    """
    low, high = quantity.range_in(unit)
    allowed = f"{shown(low)} to {shown(high)}"
    value = plain_number(text, decimal_comma=decimal_comma)
    if value is None:
        cure = _unit_cure(text, quantity, unit) or _number_cure(text, low, high, with_unit=True)
        noun = f"a number {'in' if unit.words.startswith('°') else 'of'} {unit.words}"
        raise BadCell(f'"{text}" is not {noun} ({allowed}).{cure}')
    if not low <= value <= high:
        hint = _other_unit(value, quantity, unit)
        raise BadCell(f"{shown(value)} is outside the allowed {allowed} {unit.words}.{hint}")
    return unit.to_internal(value)


def _unit_cure(text: str, quantity: Quantity, unit: Unit) -> str:
    """What to write, in the column's unit, instead of a number with a unit; "" for any other text."""
    converted = _with_unit(text, quantity, unit)
    if converted is None:
        return ""
    low, high = quantity.range_in(unit)
    if not low <= converted <= high:
        return f" That is {shown(converted)} {unit.words}, which is not allowed. Correct it."
    return f" Write {shown(round(converted, 2))}."


def _with_unit(text: str, quantity: Quantity, unit: Unit) -> float | None:
    """Value in the column's unit of a text such as "3ft", "36 in" or "2' 6\"", None where it is none."""
    both = _FEET_INCHES.fullmatch(text)
    if both and quantity.units == LENGTH_UNITS:
        return unit.from_internal(float(both[1]) * M_PER_FOOT + float(both[2]) * M_PER_INCH)
    for other in quantity.units:
        found = re.fullmatch(rf"({NUMBER.pattern})\s*(?:{_UNIT_WORDS[other.suffix]})\.?", text, flags=re.I)
        if found:
            return unit.from_internal(other.to_internal(float(found[1])))
    return None


def _number_cure(text: str, low: float, high: float, *, with_unit: bool) -> str:
    """What to write instead of a text that is not a number."""
    if text.startswith("#"):
        return " It is a spreadsheet's error: correct its formula."
    if "," in text:
        thousands = re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?", text)
        meant = [text.replace(",", "")] * bool(thousands) + [text.replace(",", ".")]
        values = [value for value in map(plain_number, meant) if value is not None and low <= value <= high]
        if values:
            return f" Write {' or '.join(shown(value) for value in values)}, without a comma."
    behind = "" if with_unit else r"\s*[a-z%]*"  # "2 h" is 2, but "3 yd" is not 3 of another unit
    leading = re.fullmatch(rf"(?:about|approx\.?|ca\.?|~)?\s*({NUMBER.pattern}){behind}", text, flags=re.I)
    if leading and low <= float(leading[1]) <= high:
        return f" Write {leading[1]}."
    return " Write a number alone (an optional cell may stay empty)."


def _other_unit(value: float, quantity: Quantity, unit: Unit) -> str:
    """Which unit the number may have been in, and the two ways to say so."""
    for other in quantity.units:
        if other.suffix == unit.suffix:
            continue
        low, high = quantity.range_in(other)
        if low <= value <= high:
            converted = shown(round(unit.from_internal(other.to_internal(value)), 1))
            column = f"{quantity.name}_{other.suffix}"
            return (
                f" Is it in {other.words}? Then write {converted}; or, if the whole column is,"
                f" rename it {column}."
            )
    return " Correct it."
