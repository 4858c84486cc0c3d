"""What forbids a move, and what one should look at before doing it, in sentences for the scheduler."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from forecaster.route.assign import Slot
from forecaster.season.settings import Crew
from forecaster.season.sites import Site

EPSILON_H = 1e-6
LIKELY = 0.5
"""Chance of a hard freeze before the visit from which a move is doubted; ours, no source."""
DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class CrewDayHours:
    """Hours of one crew-day [h]: on site, driving, what may be planned, and what the crew has at most."""

    site_hours: float
    drive_hours: float
    limit: float
    whole: float

    @property
    def over(self) -> float:
        """Hours above what may be planned, 0 for none [h]."""
        return max(0.0, self.site_hours + self.drive_hours - self.limit)

    @property
    def over_whole(self) -> float:
        """Hours above the crew's whole day, 0 for none [h]."""
        return max(0.0, self.site_hours + self.drive_hours - self.whole)


def what_forbids(
    site: Site, to: Slot, crew: Crew | None, alone: CrewDayHours | None, *, as_of: date
) -> Iterable[str]:
    """Why a visit cannot be on a crew-day.

    Args:
        site: The site with its limits.
        to: The crew-day.
        crew: Its crew, None for an unknown one.
        alone: The crew's hours with this visit only.
        as_of: Earlier days have passed.
    """
    if to.day < as_of:
        yield f"{_said(to.day)} has passed."
    elif crew is None or not crew.works_on(to.day):
        yield f"{to.crew} does not work on {_said(to.day)}."
    if site.crews and to.crew not in site.crews:
        yield f"The sheet lets only {' or '.join(site.crews)} go there."
    if to.day.weekday() not in site.weekdays:
        names = ", ".join(DAY_NAMES[day] for day in sorted(site.weekdays))
        yield f"The sheet allows only {names} there; {_said(to.day)} is none of them."
    if site.not_before is not None and to.day < site.not_before:
        yield f"The sheet says not before {_said(site.not_before)}."
    if site.not_after is not None and to.day > site.not_after:
        yield f"The sheet says not after {_said(site.not_after)}."
    if alone is not None and alone.over > EPSILON_H:
        yield (
            f"The visit and its drive take {alone.site_hours + alone.drive_hours:.1f} hours; "
            f"{to.crew} has {alone.whole:.1f} that day."
        )


def what_to_look_at(
    site: Site,
    to: Slot,
    joined: CrewDayHours,
    *,
    others: int,
    window: tuple[date, date] | None,
    p_hard_freeze: float | None,
    as_of: date,
) -> Iterable[str]:
    """What speaks against a move that is possible.

    Args:
        site: The site with the date that its customer was told.
        to: The crew-day.
        joined: Its hours with the visit.
        others: How many other visits it has.
        window: The site's closing window, None for none.
        p_hard_freeze: Chance of a hard freeze before the visit, 0-1, None where it is not known.
        as_of: A told date before it has passed.
    """
    if joined.over > EPSILON_H:
        more = "the other visit of that day" if others == 1 else f"some of the {others} others of that day"
        yield (
            f"{to.crew} would be {joined.over:.1f} hours over what is planned for a day "
            f"({joined.limit:.1f}): the next forecast moves {more} elsewhere."
        )
    if window is not None and not window[0] <= to.day <= window[1]:
        when = "before" if to.day < window[0] else "after"
        first, last = _said(window[0]), _said(window[1])
        yield f"{_said(to.day)} lies {when} its closing window ({first} to {last})."
    if p_hard_freeze is not None and p_hard_freeze >= LIKELY:
        yield f"A hard freeze has probably come before {_said(to.day)}."
    if site.told_date is not None and site.told_date >= as_of and site.told_date != to.day:
        yield f"The customer was told {_said(site.told_date)}."


def _said(day: date) -> str:
    return f"{DAY_NAMES[day.weekday()]} {day.day} {day:%b}"
