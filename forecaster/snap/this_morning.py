"""What somebody read this morning at a station, before any record has it: it pulls the members of today.

The record ends yesterday, but the owner has looked at a thermometer. Each member is moved by what it was
off at that station times how much a place's minimum goes with the station's over the members (an ensemble
Kalman update with perturbed readings; Evensen 1994, from memory). The next nights move with it as far as they
go with today in the members. Limits: minima only; water and ice know nothing of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.scenarios import Members
from forecaster.snap.compare import station_lows
from forecaster.units import f_to_c
from forecaster.weather.stations import Station

Floats = NDArray[np.float64]

READING_SD_C = 0.5
"""Error of a minimum as somebody reads it [°C]; common practice, no source."""
LOWS_C = (-45.0, 30.0)
_READING = re.compile(r"([^=\s]+)\s*=\s*([+-]?\d+(?:\.\d+)?)\s*°?\s*([FfCc])?")


def parse_lows(texts: Iterable[str], units: str, *, shown: str = "--low") -> dict[str, float]:
    """Readings as they are typed, STATION=19 in the season's unit or with one (19F, -7C), to [°C].

    Raises:
        BadInput: A text that is none; all at once.
    Example:
        >>> parse_lows(["FLOOR=23", "UP=-7C"], "us")
        {'FLOOR': -5.0, 'UP': -7.0}
    """
    found, problems = {}, []
    for text in texts:
        match = _READING.fullmatch(text.strip())
        if match is None:
            problems.append(Problem(shown, f'"{text[:40]}" is no reading. Write it like STATION=19.'))
            continue
        value, unit = float(match[2]), (match[3] or ("c" if units == "metric" else "f")).lower()
        found[match[1]] = f_to_c(value) if unit == "f" else value
    if problems:
        raise BadInput(problems)
    return found


def check_lows(lows_c: Mapping[str, float], stations: tuple[Station, ...], *, shown: str = "--low") -> None:
    """Refuse stations that are none and temperatures that cannot be; all at once.

    Raises:
        BadInput: Such a reading.
    """
    ids, problems = [station.station_id for station in stations], []
    for station_id, low in lows_c.items():
        if station_id not in ids:
            hint = did_you_mean(station_id, ids) or f" The stations are {', '.join(ids)}."
            problems.append(Problem(shown, f'"{station_id}" is no station of this season.{hint}'))
        elif not LOWS_C[0] <= low <= LOWS_C[1]:
            text = f"{station_id}: {low:.0f} °C cannot be a lowest temperature. Add its unit, like 19F."
            problems.append(Problem(shown, text))
    if problems:
        raise BadInput(problems)


class ThisMorning:
    """The readings of one morning against the members: moves minima of any place, shape (m, day)."""

    def __init__(
        self,
        members: Members,
        lows_c: Mapping[str, float],
        stations: tuple[Station, ...],
        day: int,
        seed: int,
    ) -> None:
        self._day = day
        read = [at for at, station in enumerate(stations) if station.station_id in lows_c]
        if not read or day < members.first_day:
            self._innovation, self._spread = np.zeros((members.count, 0)), np.zeros((members.count, 0))
            self._inverse: Floats = np.zeros((0, 0))
            return
        said = np.array([lows_c[stations[at].station_id] for at in read])
        drawn = np.stack([station_lows(members, at, day) for at in read], axis=1)
        noise = np.random.default_rng([seed, members.fall, day, 17]).standard_normal(drawn.shape)
        self._innovation = said + READING_SD_C * noise - drawn
        self._spread = drawn - drawn.mean(axis=0)
        covariance = self._spread.T @ self._spread / (members.count - 1)
        self._inverse = np.asarray(np.linalg.inv(covariance + READING_SD_C**2 * np.eye(len(read))))

    def moved(self, low_c: Floats) -> Floats:
        """Minima of a place in each member [°C], (m, day), from today on moved by the readings."""
        if not self._inverse.size:
            return low_c
        ahead = low_c[:, self._day :]
        across = (ahead - ahead.mean(axis=0)).T @ self._spread / (len(low_c) - 1)
        result = low_c.copy()
        result[:, self._day :] = ahead + self._innovation @ self._inverse @ across.T
        return result
