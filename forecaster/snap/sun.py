"""When it gets dark: sunset from latitude and date, within 3 minutes below 50 degrees; knows no hills."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from math import acos, cos, degrees, pi, radians, sin, tan
from zoneinfo import ZoneInfo

SUN_AT_SET_DEGREES = -0.833
"""Height of the sun's middle at sunset: half its width and the bending of its light."""


def sunset(day: date, latitude: float, longitude: float, timezone: str) -> datetime:
    """Sunset by the clock of the zone; the sun's noon where it does not rise, midnight where it never sets.

    Spencer's series (1971) for declination and equation of time.

    >>> sunset(date(2025, 11, 15), 43.04, -87.91, "America/Chicago").strftime("%H:%M")
    '16:29'
    """
    angle = 2.0 * pi * (day.timetuple().tm_yday - 1 + 0.45) / 365.0
    minutes = 229.18 * (
        0.000075 + 0.001868 * cos(angle) - 0.032077 * sin(angle)
        - 0.014615 * cos(2 * angle) - 0.040849 * sin(2 * angle)
    )  # fmt: skip
    tilt = (
        0.006918 - 0.399912 * cos(angle) + 0.070257 * sin(angle) - 0.006758 * cos(2 * angle)
        + 0.000907 * sin(2 * angle) - 0.002697 * cos(3 * angle) + 0.00148 * sin(3 * angle)
    )  # fmt: skip
    north = radians(latitude)
    share = sin(radians(SUN_AT_SET_DEGREES)) / (cos(north) * cos(tilt)) - tan(north) * tan(tilt)
    half_day = degrees(acos(min(1.0, max(-1.0, share))))
    set_minutes = 720.0 - 4.0 * (longitude - half_day) - minutes
    start = datetime.combine(day, time(), UTC)
    return (start + timedelta(minutes=set_minutes)).astimezone(ZoneInfo(timezone))
