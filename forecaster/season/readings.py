"""Water temperatures that somebody measured."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Reading:
    """One measured water temperature.

    `hour` is the local time of day [h, 0-24) or None where only the date is known; `depth_m` below the
    surface [m] or None; `sky` is "clear", "partly", "cloudy" or "" where not noted; `daily_mean` is True for
    a logger's day (already a mean of the whole day); `where` is its place in the file, for messages.
    """

    site_id: str
    day: date
    water_c: float
    hour: float | None = None
    depth_m: float | None = None
    by: str = ""
    sky: str = ""
    daily_mean: bool = False
    where: str = ""
