"""A site's equipment, as the sheet's columns give it: the one record that steps, checks and energy read.

The sheet's reader keeps these columns as text with the site (`Site.extra`); here they become values in the
program's units. An empty cell is "not known", never zero and never "none": who means none writes no. A cell
that cannot be used is a problem with its row and column, and its value is not known. Limit: one pump, one
line, one of each device a site; a second one goes into the notes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, cast, get_args

from forecaster.errors import BadInput, Notice, Problem
from forecaster.season.cells import Cells, parse_choice
from forecaster.season.quantities import (
    LENGTH_UNITS,
    TEMPERATURE_UNITS,
    WEIGHT_UNITS,
    Quantity,
    parse_number,
    plain_number,
    shown,
)
from forecaster.season.sites import Site
from forecaster.season.tables import BadCell, Row, Table, in_row_order

LineKind = Literal["schedule 40", "flexible"]
PumpStore = Literal["wet", "dry"]
Part = Literal["pump", "fall", "aerator", "de-icer", "uv", "heater"]
"""What may be kept running over the winter where `winter` is partly."""

MOST_WATTS = 10_000
_FEET_FIRST = (LENGTH_UNITS[2], LENGTH_UNITS[3], LENGTH_UNITS[0], LENGTH_UNITS[1])
DIFFUSER_DEPTH = Quantity("diffuser_depth", LENGTH_UNITS, low=2, high=240)
SHELF_DEPTH = Quantity("shelf_depth", LENGTH_UNITS, low=2, high=120)
LINE_DIAMETER = Quantity("line_diameter", LENGTH_UNITS, low=0.25, high=12)
LINE_LENGTH = Quantity("line_length", _FEET_FIRST, low=1, high=2000)
DEICER_ON = Quantity("deicer_on", TEMPERATURE_UNITS, low=25, high=55)
PUMP_WEIGHT = Quantity("pump_weight", WEIGHT_UNITS, low=0.5, high=500)
QUANTITIES = (DIFFUSER_DEPTH, SHELF_DEPTH, LINE_DIAMETER, LINE_LENGTH, DEICER_ON, PUMP_WEIGHT)

DEVICES = ("pump_watts", "uv", "uv_watts", "aerator_watts", "deicer_watts")
YES_NO = (
    *("dosing", "check_valve", "filter_housing", "skimmer", "deicer_near_bubbles", "gfci"),
    *("line_drains", "net", "frost_free"),
)
CHOICES = ("line_kind", "pump_store")
TEXTS = ("breaker", "ledges", "store", "winter_access", "phone", "email")
KIT_COLUMNS = frozenset(
    {*DEVICES, *YES_NO, *CHOICES, *TEXTS, "circuits", "kept_running"}
    | {column for quantity in QUANTITIES for column in quantity.columns}
)
"""Every column that is read here; the sheet's reader need not announce them."""

_WATTS = re.compile(r"(.+?)\s*(k?)\s*w(?:atts?)?\.?", flags=re.IGNORECASE)


@dataclass(frozen=True)
class Device:
    """A device: is it `there` (None: not known), and how many `watts` [W] (None: not known)."""

    there: bool | None = None
    watts: float | None = None


@dataclass(frozen=True)
class Kit:
    """The equipment of one site; lengths [m], temperatures [°C], weights [kg], None or "" = not known.

    `row` is that of the sheet. `line_diameter_m` is the nominal size. `circuits`: how many separate circuits
    feed the winter devices. `deicer_on_c`: water temperature at which its thermostat switches on.
    `kept_running`: what stays on where only part of the site is closed. `winter_access`: how one gets to the
    pond when snow lies. `frost_free`: the store stays above freezing.
    """

    site_id: str
    row: int = 0
    pump: Device = Device()
    pump_weight_kg: float | None = None
    pump_store: PumpStore | None = None
    uv: Device = Device()
    dosing: bool | None = None
    check_valve: bool | None = None
    filter_housing: bool | None = None
    skimmer: bool | None = None
    aerator: Device = Device()
    diffuser_depth_m: float | None = None
    shelf_depth_m: float | None = None
    deicer: Device = Device()
    deicer_on_c: float | None = None
    deicer_near_bubbles: bool | None = None
    circuits: int | None = None
    gfci: bool | None = None
    breaker: str = ""
    line_diameter_m: float | None = None
    line_length_m: float | None = None
    line_kind: LineKind | None = None
    line_drains: bool | None = None
    net: bool | None = None
    ledges: str = ""
    store: str = ""
    frost_free: bool | None = None
    kept_running: frozenset[Part] | None = None
    winter_access: str = ""
    phone: str = ""
    email: str = ""

    @property
    def gas_exchange(self) -> tuple[Device, Device]:
        """The two devices that let gas out under ice: aerator and de-icer."""
        return self.aerator, self.deicer


def kit_of(site: Site) -> tuple[Kit, tuple[Problem, ...]]:
    """The kit of one site, and every cell of it that cannot be used (its value is then not known).

    >>> site = Site("V-01", "Reedwick", 43.2, -89.4, 0.5, row=2, extra={"uv": "55 W", "deicer_watts": "no"})
    >>> kit, problems = kit_of(site)
    >>> kit.uv, kit.deicer, kit.aerator, problems
    (Device(there=True, watts=55.0), Device(there=False, watts=None), Device(there=None, watts=None), ())
    """
    problems: list[Problem] = []
    row = Row(site.row, site.extra)
    table = Table(site.sheet, tuple(site.extra), (row,), site.decimal_comma)
    cells = Cells(table, problems)
    values = {f"{quantity.name}_{_internal_suffix(quantity)}": quantity for quantity in QUANTITIES}
    uv = _device(cells, row, "uv")
    kit = Kit(
        site_id=site.site_id,
        row=site.row,
        pump=_device(cells, row, "pump_watts"),
        uv=uv if uv.there is not None else _device(cells, row, "uv_watts"),
        aerator=_device(cells, row, "aerator_watts"),
        deicer=_device(cells, row, "deicer_watts"),
        circuits=cells.parsed(row, "circuits", _circuits),
        line_kind=cast(LineKind | None, cells.choice(row, "line_kind", get_args(LineKind))),
        pump_store=cast(PumpStore | None, cells.choice(row, "pump_store", get_args(PumpStore))),
        kept_running=cells.parsed(row, "kept_running", _parts),
        **{name: cells.yes_no_or_unknown(row, name) for name in YES_NO},  # type: ignore[arg-type]
        **{name: cells.text(row, name) for name in TEXTS},  # type: ignore[arg-type]
        **{name: cells.quantity(row, q, cells.unit_of(q)) for name, q in values.items()},  # type: ignore[arg-type]
    )
    return kit, tuple(problems)


def kits_of(sites: Iterable[Site]) -> dict[str, Kit]:
    """Site id to kit.

    Raises:
        BadInput: A cell of the kit's columns cannot be used: all of them at once.
    """
    read = [kit_of(site) for site in sites]
    problems = list(dict.fromkeys(problem for _, found in read for problem in found))
    if problems:
        raise BadInput(in_row_order(problems))
    return {kit.site_id: kit for kit, _ in read}


def kit_notices(sites: Iterable[Site]) -> tuple[Notice, ...]:
    """The cells of kit that cannot be used, as notices: no forecast stops for them."""
    problems = dict.fromkeys(problem for site in sites for problem in kit_of(site)[1])
    return tuple(Notice(p.where, f"{p.text} Until then it counts as not known.") for p in problems)


def _internal_suffix(quantity: Quantity) -> str:
    return {"in": "m", "ft": "m", "f": "c", "lb": "kg"}[quantity.units[0].suffix]


def _device(cells: Cells, row: Row, key: str) -> Device:
    return cells.parsed(row, key, parse_device) or Device()


def parse_device(text: str) -> Device:
    """A device from its cell: watts, yes, or no.

    Raises:
        BadCell: Anything else; the message says what to write.
    Example:
        >>> parse_device("300 W"), parse_device("none")
        (Device(there=True, watts=300.0), Device(there=False, watts=None))
        >>> parse_device("1.5 kW")
        Traceback (most recent call last):
        forecaster.season.tables.BadCell: "1.5 kW" is not a number of watts (1 to 10000). Write 1500.
    """
    word = text.casefold().strip()
    if word in ("no", "n", "none", "false", "0", "-", "0 w"):
        return Device(there=False)
    if word in ("yes", "y", "true"):
        return Device(there=True)
    with_unit = _WATTS.fullmatch(word)
    if with_unit and with_unit[2]:
        kilowatts = plain_number(with_unit[1])
        if kilowatts is not None and 1 <= kilowatts * 1000 <= MOST_WATTS:
            cure = f"Write {shown(kilowatts * 1000)}."
            raise BadCell(f'"{text}" is not a number of watts (1 to {MOST_WATTS}). {cure}')
    number = with_unit[1] if with_unit and not with_unit[2] else text
    try:
        return Device(True, parse_number(number, low=1, high=MOST_WATTS, noun="a number of watts"))
    except BadCell as error:
        said = str(error).replace(f'"{number}"', f'"{text}"', 1)
        raise BadCell(f"{said} Or write yes, or no where there is none.") from None


def _circuits(text: str) -> int:
    number = parse_number(text, low=0, high=12, noun="a number of circuits")
    if number != int(number):
        raise BadCell(f'"{text}" is not a whole number of circuits (0 to 12). Write 1 or 2.')
    return int(number)


def _parts(text: str) -> frozenset[Part]:
    """What stays on, names apart by semicolons or commas; none is an answer too.

    >>> sorted(_parts("Pump; de-icer")), _parts("none")
    (['de-icer', 'pump'], frozenset())
    """
    if text.casefold().strip() in ("none", "nothing", "no"):
        return frozenset()
    names = [name.strip() for name in re.split(r"[;,]", text) if name.strip()]
    return frozenset(cast(Part, parse_choice(name, get_args(Part))) for name in names)
