"""Which crew-days stand on a day: those of the plan in force, or of a new plan where dates moved since."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, time
from typing import TYPE_CHECKING, Any

from forecaster.forecast import CrewDay, RouteForecast, Stop
from forecaster.report.words import weekday_date

if TYPE_CHECKING:
    from forecaster.season.state import SeasonState

CHANGES_THE_DAYS = frozenset({"placed", "booked", "unbooked", "told", "skipped"})
DAYS_NAMED = 4


def crew_days_on(
    state: SeasonState | None, day: date, forecast: Callable[[], RouteForecast]
) -> tuple[tuple[CrewDay, ...], str, tuple[str, ...]]:
    """The crew-days of a day, which plan they are of, and other days with stops nearest to it.

    The plan in force counts as long as nobody moved, booked, told or skipped a date after it; `forecast` is
    asked only where it does not, so that a morning without weather still has its sheets.
    """
    if state is not None and state.plan is not None and not _changed_since(state):
        days = crew_days_of(state.plan)
        source = "By the plan in force"
    else:
        made = forecast()
        days = made.crew_days
        source = f"By the plan made as of {weekday_date(made.as_of)}"
        if state is not None and state.plan is not None:
            source += ", with what was recorded since the plan in force"
        elif state is not None:
            source += "; no plan is in force"
    on = tuple(sorted((d for d in days if d.day == day and d.stops), key=lambda d: d.crew))
    others = sorted({d.day for d in days if d.stops}, key=lambda other: (abs(other - day), other))
    return on, source, tuple(other.isoformat() for other in sorted(others[:DAYS_NAMED]))


def crew_days_of(plan: Mapping[str, Any]) -> tuple[CrewDay, ...]:
    """The crew-days of a plan as it was put in force.

    >>> stops = [{"site_id": "V-01", "arrive": "08:00", "leave": "10:00"}]
    >>> plan = {"crew_days": [{"date": "2025-10-08", "crew": "Heron", "stops": stops}]}
    >>> crew_days_of(plan)[0].stops[0].leave
    datetime.time(10, 0)
    """
    return tuple(
        CrewDay(
            date.fromisoformat(day["date"]),
            str(day["crew"]),
            tuple(
                Stop(str(s["site_id"]), time.fromisoformat(s["arrive"]), time.fromisoformat(s["leave"]))
                for s in day["stops"]
            ),
        )
        for day in plan.get("crew_days", ())
    )


def _changed_since(state: SeasonState) -> bool:
    plan = state.plan_event
    return plan is not None and any(
        event.event_id > plan.event_id
        and event.kind in CHANGES_THE_DAYS
        and event.event_id not in state.undone
        for event in state.events
    )
