"""One site of the route, as the sheet describes it, in the program's units. The reader is `sheet.py`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

Exposure = Literal["sheltered", "average", "open"]
Kind = Literal["pond", "fall without pond", "fountain"]
Winter = Literal["close", "partly", "runs"]


@dataclass(frozen=True)
class Site:
    """A customer's pond or water feature.

    Lengths [m], areas [m²], temperature steps [°C], `plumbing_exposure` 0-1, `hours_on_site` [h].
    `mean_depth_m` is None only where there is no pond; other None values mean "not given".
    `weekdays` holds the allowed days (0 = Monday), `crews` the names of the crews that may go. `extra` holds
    the cells of other columns as text; `sheet` and `decimal_comma` say how they were written.
    `hand_placed` is no column: the crew-day (day, crew) on which the scheduler put the visit.
    """

    site_id: str
    customer: str
    latitude: float
    longitude: float
    mean_depth_m: float | None
    row: int = 0
    address: str = ""
    max_depth_m: float | None = None
    surface_m2: float | None = None
    exposure: Exposure = "average"
    waterfall: bool = True
    kind: Kind = "pond"
    heated: bool = False
    fish: bool = True
    elevation_m: float | None = None
    minimum_offset_c: float = 0.0
    hours_on_site: float = 2.0
    plumbing_exposure: float = 0.6
    winter: Winter = "close"
    booked_date: date | None = None
    told_date: date | None = None
    not_before: date | None = None
    not_after: date | None = None
    weekdays: frozenset[int] = frozenset(range(7))
    crews: tuple[str, ...] = ()
    access: str = ""
    notes: str = ""
    extra: dict[str, str] = field(default_factory=dict)
    sheet: str = field(default="sites.csv", compare=False)
    decimal_comma: bool = field(default=False, compare=False)
    hand_placed: tuple[date, str] | None = None

    @property
    def has_pond(self) -> bool:
        """True where there is a pond whose water is forecast."""
        return self.kind == "pond"

    @property
    def forecast_water(self) -> bool:
        """True where the water follows the weather: a pond that nobody heats."""
        return self.has_pond and not self.heated
