"""What is said of the plan as a whole, one sentence a fact, beyond what `sentences.py` says of any plan."""

from __future__ import annotations

from forecaster.forecast import Move, Plan, RouteForecast, WorstFall
from forecaster.report import sentences
from forecaster.report.words import clean, count, day_month, dollars, hours, listed, weekday_date

DATES_SHOWN, SITES_SHOWN = 6, 8


def plan_facts(forecast: RouteForecast) -> list[str]:
    """Everything, most wanted first; facts that do not apply are left out."""
    plan = forecast.plan
    facts = [
        sentences.caught(forecast),
        latest_start(plan),
        sentences.loss(forecast),
        gap_basis(plan),
        sentences.not_placed(forecast),
        weeks(plan),
        *shortage(plan),
        *worst(plan),
    ]
    return [fact for fact in facts if fact]


def latest_start(plan: Plan) -> str:
    """How late the route may start, and which number of caught ponds that keeps."""
    if plan.caught_limit is None:
        return "Latest first day of the route: not known."
    limit = count(plan.caught_limit, "caught pond")
    whose = (
        "" if plan.caught_limit_set else " (no limit is set: a tenth of the sites, or what the plan keeps)"
    )
    if plan.latest_start is None:
        return f"Latest first day of the route: even a start today does not keep at most {limit}{whose}."
    return (
        f"Latest first day of the route that keeps at most {limit}{whose}: {weekday_date(plan.latest_start)}."
    )


def gap_basis(plan: Plan) -> str:
    """What the stated gap rests on, "" without a gap."""
    if plan.gap is None:
        return ""
    if plan.gap_exact:
        return "That is proven with the driving as planned."
    return "That is proven with each stop's driving taken as its share in this plan."


def shortage(plan: Plan) -> list[str]:
    """What is short, which sites pay for it, and what one more crew-day is worth; empty if nothing is."""
    if plan.shortage is None:
        return []
    short = plan.shortage
    paying = listed(
        (f"{clean(site_id)} {dollars(loss)}" for site_id, loss in short.sites), at_most=SITES_SHOWN
    )
    found = [
        f"{count(len(short.sites), 'visit')} with {hours(short.crew_hours)} of work find no day in their "
        f"closing window; it costs them: {paying}."
    ]
    best = sorted(short.crew_day_values, key=lambda item: (-item[1], item[0]))[:DATES_SHOWN]
    if best:
        days = ", ".join(f"{day_month(day)} {dollars(value)}" for day, value in best)
        found.append(f"One more crew-day would save at least: {days}.")
    return found


def weeks(plan: Plan) -> str:
    """Visits and what they are expected to lose, week by week; "" without a plan."""
    named = ", ".join(
        f"{day_month(week.monday)} {count(week.visits, 'visit')} {dollars(week.expected_loss)}"
        for week in plan.weeks
    )
    return f"By week from Monday, with the loss to expect: {named}." if named else ""


def worst(plan: Plan) -> list[str]:
    """What the falls are like in which the plan does worst."""
    return [
        f"It would do badly in {fall_like(fall)}: {count(fall.caught, 'pond')} caught, "
        f"{dollars(fall.loss)} lost."
        for fall in plan.worst
    ]


def fall_like(fall: WorstFall) -> str:
    """A member in words.

    >>> fall_like(WorstFall(1991, 5, 40, 9000.0)), fall_like(WorstFall(1991, 0, 40, 9000.0))
    ('a fall like that of 1991, come 5 days earlier', 'a fall like that of 1991, moved to now')
    """
    if fall.earlier_days == 0:
        return f"a fall like that of {fall.source_fall}, moved to now"
    when = "earlier" if fall.earlier_days > 0 else "later"
    return f"a fall like that of {fall.source_fall}, come {count(abs(fall.earlier_days), 'day')} {when}"


def move_line(move: Move) -> str:
    """One moved visit with its reason."""
    to = "not placed" if move.to_day is None else weekday_date(move.to_day)
    was = "told" if move.told else "planned"
    return f"{clean(move.site_id)}: {was} {weekday_date(move.from_day)}, now {to}: {clean(move.reason)}"
