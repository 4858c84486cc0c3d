"""Outlooks as the ledger keeps them: one event a station and issue, to learn their error from."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from forecaster.season.events import Entry, Event
from forecaster.weather.stations import Outlook


def outlook_entry(outlook: Outlook) -> Entry:
    """The outlook as an entry of the day of its issue; a day without a value stays without one."""
    facts = {
        "station_id": outlook.station_id,
        "source": outlook.source,
        "leads": [(day - outlook.issued).days for day in outlook.days],
        "tmin_c": _values(outlook.tmin_c),
        "tmax_c": _values(outlook.tmax_c),
    }
    return Entry("outlook", outlook.issued, facts)


def outlook_of(event: Event) -> Outlook:
    """The outlook of an event, as it was kept.

    >>> from datetime import UTC, date, datetime
    >>> kept = Outlook("A", date(2025, 10, 6), (date(2025, 10, 7),), np.array([-1.5]), np.array([np.nan]))
    >>> entry = outlook_entry(kept)
    >>> event = Event(1, entry.kind, entry.day, "", "", datetime(2025, 10, 6, tzinfo=UTC), entry.facts)
    >>> outlook_of(event)
    Outlook(station_id='A', issued=datetime.date(2025, 10, 6), days=(datetime.date(2025, 10, 7),),
            tmin_c=array([-1.5]), tmax_c=array([nan]), source='files')
    """
    facts = event.facts
    return Outlook(
        station_id=facts["station_id"],
        issued=event.day,
        days=tuple(event.day + timedelta(days=lead) for lead in facts["leads"]),
        tmin_c=_array(facts["tmin_c"]),
        tmax_c=_array(facts["tmax_c"]),
        source=facts["source"],
    )


def _values(array: np.ndarray) -> list[float | None]:
    return [round(value, 4) if np.isfinite(value) else None for value in np.asarray(array, float).tolist()]


def _array(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in values], dtype=float)
