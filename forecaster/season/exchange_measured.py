"""The lists of what was measured: readings, and how far the thermometers are off."""

from __future__ import annotations

from datetime import date

from forecaster.season import events as ev
from forecaster.season.event_words import clock_text
from forecaster.season.events import Entry, Event
from forecaster.season.exchange_cells import Value
from forecaster.season.exchange_list import List, texts
from forecaster.season.exchange_rows import RowReader
from forecaster.season.known_sites import Basics
from forecaster.season.quantities import STEP_UNITS, Quantity, Unit
from forecaster.season.readings_file import READING_DEPTH, SKIES, WATER

OFFSET = Quantity("offset", STEP_UNITS, low=-10, high=10)


def _reading_columns(basics: Basics) -> tuple[str, ...]:
    water, depth = f"water_{basics.temperature_unit.suffix}", f"depth_{basics.length_unit.suffix}"
    return ("site_id", "taken", water, depth, "by", "sky", "thermometer", "daily_mean")


def _reading_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts, hour, depth_m = event.facts, event.facts.get("hour"), event.facts.get("depth_m")
    _, taken, water, depth, *_ = _reading_columns(basics)
    return {
        taken: event.day if hour is None else f"{event.day} {clock_text(hour)}",
        water: _in_unit(facts["water_c"], basics.temperature_unit),
        depth: None if depth_m is None else _in_unit(depth_m, basics.length_unit),
        **texts(facts, "by", "sky", "thermometer"),
        "daily_mean": "yes" if facts.get("daily_mean") else None,
    }


def _reading_entries(row: RowReader) -> list[Entry]:
    site_id, cells = row.site(), row.cells
    cells.needed_text(row.row, "taken", "Write the date, or the date and time, like 2025-10-14 15:30.")
    moment = cells.moment(row.row, "taken")
    water = row.units[WATER.name]
    if water is not None:
        cells.needed_text(row.row, water[0], "Write the temperature, or remove the row.")
    water_c, depth_m = row.quantity(WATER), row.quantity(READING_DEPTH)
    sky = cells.choice(row.row, "sky", SKIES) or ""
    daily_mean = cells.yes_no(row.row, "daily_mean", default=False)
    by, thermometer = row.text("by"), row.text("thermometer")
    if not site_id or moment is None or water_c is None:
        return []
    return [
        ev.reading(
            site_id,
            moment[0],
            water_c,
            hour=moment[1],
            depth_m=depth_m,
            by=by,
            sky=sky,
            thermometer=thermometer,
            daily_mean=daily_mean,
            source=row.source,
        )
    ]


def _offset_columns(basics: Basics) -> tuple[str, ...]:
    return ("thermometer", f"offset_{basics.temperature_unit.suffix}", "from_day", "checked")


def _offset_row(event: Event, basics: Basics) -> dict[str, Value]:
    facts, start = event.facts, event.facts.get("from_day")
    unit = STEP_UNITS[0 if basics.units == "us" else 1]
    return {
        "thermometer": facts["thermometer"],
        f"offset_{unit.suffix}": _in_unit(facts["offset_c"], unit),
        "from_day": date.fromisoformat(start) if start else None,
        "checked": event.day,
    }


def _offset_entries(row: RowReader) -> list[Entry]:
    name, offset_c = row.needed("thermometer", "Write the thermometer's name."), row.quantity(OFFSET)
    start, day = row.day("from_day"), row.day("checked", needed=True)
    if not name or offset_c is None or day is None:
        return []
    return [ev.thermometer(day, name, offset_c, from_day=start, source=row.source)]


def _in_unit(value: float, unit: Unit) -> float:
    """A kept value in the unit, with the fewest decimals that give it back when read.

    >>> from forecaster.season.quantities import TEMPERATURE_UNITS
    >>> _in_unit(16.833333, TEMPERATURE_UNITS[0])
    62.3
    """
    exact = unit.from_internal(value)
    shorter = (round(exact, decimals) for decimals in range(7))
    return next((short for short in shorter if round(unit.to_internal(short), 6) == round(value, 6)), exact)


READINGS = List(
    "readings",
    ("reading",),
    ("taken", *WATER.columns),
    _reading_columns,
    _reading_row,
    _reading_entries,
    (WATER, READING_DEPTH),
    ("by", "sky", "thermometer", "daily_mean"),
)
THERMOMETERS = List(
    "thermometers",
    ("thermometer",),
    tuple(OFFSET.columns),
    _offset_columns,
    _offset_row,
    _offset_entries,
    (OFFSET,),
    ("thermometer", "from_day", "checked"),
)
