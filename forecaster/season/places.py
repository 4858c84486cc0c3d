"""Is the place of a site plausible? Swapped or mistyped coordinates, by range and by the other sites.

Limit: a route lies within a day's drive, so 300 km from the middle of the others is taken as a question,
and as a mistake where swapped numbers or another sign would put the site among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from forecaster.distance import haversine_km
from forecaster.errors import Notice, Problem

FAR_KM = 300.0
INHABITED_LATITUDES = (-60.0, 75.0)


@dataclass(frozen=True)
class Place:
    """Where a row of the sheet says that its site is [degrees]."""

    row: int
    site_id: str
    latitude: float
    longitude: float


def check_place(latitude: float, longitude: float) -> tuple[str, str] | None:
    """Column and text of what is wrong with a place by itself, None where nothing is.

    >>> check_place(-87.95, 43.05)[0]
    'latitude'
    """
    low, high = INHABITED_LATITUDES
    if not low <= latitude <= high:
        found = f"{latitude:g} is no latitude of a pond ({low:g} to {high:g})."
        if low <= longitude <= high:
            return "latitude", f"{found} It looks like the longitude: exchange the two."
        return "latitude", f"{found} Write degrees north, like 43.05."
    if latitude == 0 and longitude == 0:
        return "latitude", "0, 0 is a place in the ocean. Write the pond's own latitude and longitude."
    return None


def check_places(name: str, places: Sequence[Place], problems: list[Problem]) -> list[Notice]:
    """Places far from the middle of all: a problem where a swap or a sign explains it, else a notice.

    Needs three places or more: with two nobody knows which one is wrong.
    """
    if len(places) < 3:
        return []
    middle = median(place.latitude for place in places), median(place.longitude for place in places)
    notices = []
    for place in places:
        far_km = float(haversine_km(place.latitude, place.longitude, *middle))
        if far_km <= FAR_KM:
            continue
        where = f"{name} row {place.row}, latitude"
        found = f"{place.latitude:g}, {place.longitude:g} lies {far_km:,.0f} km from the middle of the sites."
        cure = _cure(place.latitude, place.longitude, middle)
        if cure:
            problems.append(Problem(where, f"{found} {cure}"))
        else:
            notices.append(Notice(where, f"{found} Check latitude and longitude of {place.site_id}."))
    return notices


def _cure(latitude: float, longitude: float, middle: tuple[float, float]) -> str:
    tries = {
        "Latitude and longitude look exchanged: exchange them.": (longitude, latitude),
        f"The sign looks wrong: write longitude {-longitude:g}.": (latitude, -longitude),
        f"The sign looks wrong: write latitude {-latitude:g}.": (-latitude, longitude),
        "Latitude and longitude look exchanged, and a sign is missing.": (longitude, -latitude),
    }
    for cure, (other_latitude, other_longitude) in tries.items():
        if abs(other_latitude) <= 90 and haversine_km(other_latitude, other_longitude, *middle) <= FAR_KM:
            return cure
    return ""
