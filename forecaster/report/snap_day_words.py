"""What is said of the day after a snap: the rule, today's visits before dark, what was foretold and came."""

from __future__ import annotations

from datetime import datetime

from forecaster.report.snap_words import step_words
from forecaster.report.words import clean, count, dollars, hours, limit, listed, percent, weekday_date
from forecaster.snap.records import CrewVisits, DayPlan, SnapReport, better_plan
from forecaster.units import STORED_TENTH_C

ACTION_WORDS = {"close": "full closings", "quick": "quick visits"}


def rule(report: SnapReport) -> str:
    """How the order comes about, in one sentence."""
    nights = count(report.soon_days, "night")
    return (
        "Sites stand in the order of the dollars that a visit today saves for each hour of work there: what "
        f"frost would do to pipes in the next {nights}, a leak found early, fish under closed ice, then ice "
        "and hard frost, less the days of warm water lost."
    )


def plan(day: DayPlan, report: SnapReport) -> str:
    """What can be done before dark by one kind of visit."""
    if not day.crews:
        return "No crew works today by its calendar. Next step: say how many can come all the same."
    kind = f"{ACTION_WORDS[day.action].capitalize()} today with {count(len(day.crews), 'crew')}"
    text = f"{kind}: {len(day.done)} of {count(day.wanted, 'site')} before dark, saves {dollars(day.saves)}."
    if day.action == "quick" and day.done:
        text += f" Their closings remain: {hours(day.left_hours)} of work."
    if day.left:
        text += f" Left over: {listed((clean(name) for name in day.left), at_most=8)}."
    if day.barred:
        text += f" Not allowed today by their access limits: {listed(map(clean, day.barred), at_most=8)}."
    return text


def advice(report: SnapReport) -> str:
    """Which kind of visit to make today, and why."""
    close, quick = report.plans
    near = sum(
        (s.state.p_plumbing_new or 0.0) >= report.quick_chance and s.protected_on is None
        for s in report.sites
    )
    cold, far = limit(report.plumbing_c, report.units), percent(report.quick_chance)
    where = f"a first night of {cold} is near at {count(near, 'open site')} ({far} or more)"
    if not near:
        where = f"no open site has {far} or more of a first night of {cold}"
    if report.plan.saves <= 0.0:
        if any(better_plan(plans).saves > 0.0 for plans in report.by_crews.values()) and not close.crews:
            return plan(close, report)
        return "No visit today saves anything worth going for: let the plan stand."
    if report.plan.action == "quick":
        more = dollars(quick.saves - close.saves)
        return (
            f"Protect now, close later: {where}; {len(quick.done)} quick visits fit before dark instead of "
            f"{len(close.done)} closings and save {more} more."
        )
    return f"Close today: full closings save more than quick visits{f'; {where}' if near else ''}."


def crew_line(visits: CrewVisits) -> str:
    """A crew's day in one line."""
    driving = hours(visits.drive_hours)
    load = f"{count(len(visits.stops), 'stop')}, {hours(visits.site_hours)} of work, {driving} driving"
    late = ""
    if visits.stops and visits.stops[-1].leave > visits.usual_end.time() > visits.stops[0].arrive:
        late = f"; its usual day ends {visits.usual_end:%H:%M}"
    extra = "; not in its calendar" if visits.extra else ""
    return f"{clean(visits.crew)}: {load}; dark at {visits.dark:%H:%M}{late}{extra}"


def made(report: SnapReport, made_at: datetime) -> str:
    """When the page was made."""
    return f"Made {weekday_date(made_at.date(), year=True)} {made_at:%H:%M}"


def kept_promise(report: SnapReport) -> list[str]:
    """What was forecast against what came, in words, by days before."""
    facts = []
    for before in sorted({row.days_before for row in report.compared}, reverse=True):
        rows = [row for row in report.compared if row.days_before == before]
        inside = sum(row.inside for row in rows)
        came = sum(row.came_c <= report.hard_c + STORED_TENTH_C for row in rows)
        expected = sum(row.p_hard for row in rows)
        nights, cold = count(len(rows), "station night"), limit(report.hard_c, report.units)
        facts.append(
            f"{count(before, 'day')} before: {inside} of {nights} inside the range of 8 in 10; "
            f"nights of {cold} or less: {expected:.1f} expected, {came} came."
        )
    for one in report.learned:
        kept = count(one.counted, "kept value")
        was, now, off = (step_words(c, report.units) for c in (one.sd_before_c, one.sd_now_c, one.bias_now_c))
        facts.append(
            f"Outlooks for {clean(one.station_id)} ({clean(one.source)}): {kept} of these days are in what "
            f"is learnt; error of minima {one.lead_days} days ahead {was} before, {now} now; off by {off}."
        )
    if report.compared and not report.learned:
        facts.append("No outlook is kept, so there is none to learn from. Set [weather] outlook.")
    return facts
