"""What the Route page shows, computed from the plan as shown: weeks of crew-days, table rows, moves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.falls import FALL_DAYS, fall_day
from forecaster.forecast import CrewDay, SiteForecast, Stop
from forecaster.report import view
from forecaster.report.words import count, day_month, weekday_date
from forecaster.route.assign import Slot
from forecaster.route.move_cost import CrewDayHours, MoveCost
from forecaster.web.shown_plan import ShownPlan

ROWS_A_PAGE = 100
FULL_H = 0.05
"""Hours over from which a crew-day is said to be over [h]."""


@dataclass(frozen=True)
class StopShown:
    """One visit of a crew-day. `marks`: what binds it or is urgent, in a word or two each."""

    stop: Stop
    site: SiteForecast
    marks: tuple[str, ...]
    urgent: str


@dataclass(frozen=True)
class CrewBlock:
    """One crew on one day, with its stops (maybe none) and hours."""

    slot: Slot
    crew_day: CrewDay | None
    stops: tuple[StopShown, ...]
    hours: CrewDayHours


@dataclass(frozen=True)
class DayShown:
    """A day of a week; without blocks no crew works."""

    day: date
    blocks: tuple[CrewBlock, ...]


@dataclass(frozen=True)
class WeekShown:
    """A week from a Monday: the days that are shown, visits, and what they are expected to lose [$]."""

    monday: date
    days: tuple[DayShown, ...]
    visits: int
    loss: float


@dataclass(frozen=True)
class Row:
    """One site of the table. `loss`: of the planned day (of never, without one) [$]; `beyond`: above the
    best day [$]."""

    site: SiteForecast
    stop: int | None
    marks: tuple[str, ...]
    loss: float | None
    beyond: float | None


@dataclass(frozen=True)
class TableAsked:
    """How the table is wanted: column to sort by, crew ("" all, "-" without a place), state, page from 1."""

    sort: str = "day"
    crew: str = ""
    state: str = ""
    page: int = 1


LATE = date(9999, 1, 1)
SORTS: Mapping[str, tuple[str, str, Callable[[Row], tuple[object, ...]]]] = {
    "day": (
        "Planned",
        "the planned day",
        lambda row: (row.site.planned_date or LATE, row.site.planned_crew or "", row.stop or 0),
    ),
    "name": ("Site", "the customer’s name", lambda row: (row.site.site.customer.casefold(),)),
    "risk": (
        "Hard freeze before",
        "the chance of a hard freeze before the visit, highest first",
        lambda row: (-(row.site.p_hard_freeze_before_planned or 0.0),),
    ),
    "best": ("Best day", "the best day", lambda row: (row.site.recommended_date or LATE,)),
    "rank": ("Rank", "urgency", lambda row: (row.site.rank,)),
    "cost": ("Beyond best, $", "what the day costs beyond the best one", lambda row: (-(row.beyond or 0.0),)),
}
"""Name -> head, words and key; equal ones are in order of rank."""


def marks_of(shown: ShownPlan, site: SiteForecast) -> tuple[str, ...]:
    """What binds a visit, and whether it stands elsewhere than the customer was told."""
    own, marks = site.site, []
    if own.booked_date is not None:
        away = "" if own.booked_date == site.planned_date else f" {day_month(own.booked_date)}"
        marks.append(f"booked{away}")
    elif own.told_date is not None:
        away = "" if own.told_date == site.planned_date else f" {day_month(own.told_date)}"
        marks.append(f"told{away}")
    if shown.hand_placed.get(own.site_id) == (site.planned_date, site.planned_crew):
        marks.append("kept by hand")
    return tuple(marks)


def weeks_of(shown: ShownPlan) -> list[WeekShown]:
    """The weeks from the as-of date to the last planned visit, every working crew-day in them."""
    forecast, desk = shown.forecast, shown.desk
    planned = {Slot(day.day, day.crew): day for day in forecast.crew_days}
    if not planned:
        return []
    last = max(slot.day for slot in planned)
    slots = sorted({*planned, *(s for s in desk.task.slots if s.day <= last)}, key=lambda s: (s.day, s.crew))
    blocks: dict[date, list[CrewBlock]] = {}
    for slot in slots:
        blocks.setdefault(slot.day, []).append(_block(shown, slot, planned.get(slot)))
    first_monday = min(blocks) - timedelta(days=min(blocks).weekday())
    weeks = []
    for number in range((last - first_monday).days // 7 + 1):
        monday = first_monday + timedelta(days=7 * number)
        days = [monday + timedelta(days=n) for n in range(7)]
        shown_days = tuple(DayShown(day, tuple(blocks.get(day, ()))) for day in days)
        stops = [(day.day, stop) for day in shown_days for block in day.blocks for stop in block.stops]
        loss = sum(loss_on(stop.site, day, forecast.fall) or 0.0 for day, stop in stops)
        weeks.append(WeekShown(monday, shown_days, len(stops), loss))
    return weeks


def shown_weekdays(weeks: Sequence[WeekShown]) -> int:
    """How many weekdays, from Monday on, any crew works: the columns of the calendar."""
    used = [n for week in weeks for n, day in enumerate(week.days) if day.blocks]
    return max(used, default=4) + 1


def _block(shown: ShownPlan, slot: Slot, crew_day: CrewDay | None) -> CrewBlock:
    desk = shown.desk
    stops = () if crew_day is None else crew_day.stops
    return CrewBlock(
        slot=slot,
        crew_day=crew_day,
        stops=tuple(
            StopShown(stop, site, marks_of(shown, site), view.act_now(site))
            for stop in stops
            if (site := desk.forecasts.get(stop.site_id)) is not None
        ),
        hours=desk.hours(slot, [s.site_id for s in stops if s.site_id in desk.forecasts]),
    )


def loss_on(site: SiteForecast, day: date | None, fall: int) -> float | None:
    """Expected loss of closing on a day [$], of never where there is none; None where it is not known."""
    if site.loss_parts_by_day is None:
        return None
    at = FALL_DAYS - 1 if day is None else fall_day(day, fall)
    return float(site.loss_parts_by_day[:, at].sum())


def rows_of(shown: ShownPlan) -> list[Row]:
    """All open sites in order of rank."""
    order = {
        stop.site_id: number
        for crew_day in shown.forecast.crew_days
        for number, stop in enumerate(crew_day.stops, start=1)
    }
    rows = []
    for site in shown.forecast.sites:
        if site.site.site_id in shown.closed:
            continue
        loss = loss_on(site, site.planned_date, shown.forecast.fall)
        best = None if site.recommended_date is None else site.expected_loss
        beyond = None if loss is None or best is None else max(0.0, loss - best)
        rows.append(Row(site, order.get(site.site.site_id), marks_of(shown, site), loss, beyond))
    return rows


def chosen_rows(rows: Sequence[Row], asked: TableAsked) -> list[Row]:
    """The rows that pass the filters, sorted."""
    kept = [row for row in rows if _passes(row, asked)]
    return sorted(kept, key=SORTS[asked.sort][2])


def _passes(row: Row, asked: TableAsked) -> bool:
    if asked.state and row.site.state != asked.state:
        return False
    if asked.crew == "-":
        return row.site.planned_date is None
    return not asked.crew or row.site.planned_crew == asked.crew


def pages_of(rows: Sequence[Row], page: int) -> tuple[list[Row], int, int]:
    """The rows of one page, its number (a page beyond the last is the last), and how many there are."""
    pages = max(1, -(-len(rows) // ROWS_A_PAGE))
    page = min(max(1, page), pages)
    return list(rows[(page - 1) * ROWS_A_PAGE : page * ROWS_A_PAGE]), page, pages


# --- moves in words


def money(amount: float) -> str:
    """A difference of money with its sign, whole dollars.

    >>> money(12.4), money(-3.0), money(0.3)
    ('+$12', '−$3', '$0')
    """
    whole = round(amount)
    if whole == 0:
        return "$0"
    return f"{'+' if whole > 0 else '−'}${abs(whole):,}"


def cost_words(cost: MoveCost) -> str:
    """What a move costs in one sentence."""
    whole = round(cost.total)
    if whole == 0:
        return "The move costs nothing."
    return f"The move costs ${whole:,}." if whole > 0 else f"The move saves ${-whole:,}."


def hours_words(hours: CrewDayHours) -> str:
    """How full a crew-day is, for its head."""
    used = hours.site_hours + hours.drive_hours
    text = f"{used:.1f} of {hours.limit:.1f} h"
    return f"{text}, {hours.over:.1f} over" if hours.over > FULL_H else text


def place_words(slot: Slot | None) -> str:
    """A crew-day in words.

    >>> place_words(Slot(date(2025, 10, 14), "Otter")), place_words(None)
    ('Tue 14 Oct with Otter', 'no place')
    """
    return "no place" if slot is None else f"{weekday_date(slot.day)} with {slot.crew}"


def in_force_words(shown: ShownPlan) -> tuple[str, int]:
    """Whether a plan is in force and how the shown one differs from it; and the number of visits that do."""
    event = shown.state.plan_event
    if event is None:
        return "No plan is in force yet: each new estimate may shift visits.", 0
    plan = shown.state.plan or {}
    kept = {
        str(stop["site_id"]): (date.fromisoformat(day["date"]), str(day["crew"]))
        for day in plan.get("crew_days", ())
        for stop in day["stops"]
    }
    other = [
        site
        for site in shown.forecast.sites
        if site.site.site_id in kept
        and kept[site.site.site_id][0] >= shown.forecast.as_of
        and kept[site.site.site_id] != (site.planned_date, site.planned_crew)
    ]
    who = f" by {event.who}" if event.who else ""
    when = f"{weekday_date(event.day)}{who}"
    if not other:
        return f"This plan is in force, since {when}.", 0
    return (
        f"A plan is in force since {when}; the newest estimate moves {count(len(other), 'visit')} of it.",
        len(other),
    )
