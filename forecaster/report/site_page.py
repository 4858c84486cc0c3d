"""All about one site as text: readings, water, dates with their spread, loss by day, plan, why this rank."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from forecaster.falls import fall_day, fall_start
from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report import sentences, view
from forecaster.report.plan_words import move_line
from forecaster.report.strip import dates_of, legend_lines, ruler_line, strip_line
from forecaster.report.table import ascii_only, wrapped
from forecaster.report.words import (
    about,
    chance,
    clean,
    count,
    crossing,
    day_month,
    degrees,
    dollars,
    hours,
    weekday_date,
)
from forecaster.season.readings import Reading

READINGS_SHOWN = 12
LOSS_DAYS = 21
"""Days of the loss table: around the planned and the best day, at most so many."""
PART_HEADS = ("warm water", "hard freeze", "pipes", "ice")


def site_text(
    forecast: RouteForecast,
    site_id: str,
    readings: tuple[Reading, ...] = (),
    *,
    unicode: bool = True,
    width: int = 100,
) -> str:
    """The page of one open site, ending in a newline; a closed or running one is said to be so.

    Args:
        forecast: The finished forecast.
        site_id: A site of the sheet.
        readings: What was read at the site, up to the as-of date.
        unicode: False gives ASCII only.
        width: Columns of the screen.
    Raises:
        KeyError: No such site in the forecast.
    """
    found = next((site for site in forecast.sites if site.site.site_id == site_id), None)
    if found is None:
        lines = [_elsewhere(forecast, site_id)]
    else:
        lines = _page(forecast, found, readings, unicode=unicode, width=width)
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)


def _elsewhere(forecast: RouteForecast, site_id: str) -> str:
    if any(site.site_id == site_id for site in forecast.closed):
        return f"{clean(site_id)} is closed for this season: nothing is left to plan."
    if any(site.site_id == site_id for site in forecast.runs_all_winter):
        return f"{clean(site_id)} runs all winter: it is not closed."
    raise KeyError(site_id)


def _page(
    forecast: RouteForecast,
    site: SiteForecast,
    readings: tuple[Reading, ...],
    *,
    unicode: bool,
    width: int,
) -> list[str]:
    dates = dates_of(site, forecast.as_of)
    head = f"{sentences.name_of(site)}, as of the morning of {weekday_date(forecast.as_of, year=True)}"
    blocks = [
        [head, sentences.sources(forecast)],
        [
            ruler_line(dates.fall, unicode=unicode),
            strip_line(site.curves, dates, unicode=unicode),
            *legend_lines(unicode=unicode),
        ],
        ["Dates and chances", *_items([*_dates(forecast, site), *sentences.site_facts(site, forecast.fall)])],
        ["Water", *_items(_water(forecast, site, readings))],
        ["What closing on a day is expected to cost [$]", *_losses(forecast, site)],
        ["Plan", *_items([*why_planned(forecast, site), *_shifts(site)])],
        [f"Why rank {site.rank} of {len(forecast.sites)}", *_items(why_rank(forecast, site))],
    ]
    folded = [
        [line for text in block for line in wrapped(text, width=width, hanging="    ")] for block in blocks
    ]
    # tables and strips keep their spaces
    folded[1], folded[4] = blocks[1], blocks[4]
    return [line for block in folded for line in [*block, ""]][:-1]


def _items(facts: list[str]) -> list[str]:
    return [f"- {fact}" for fact in facts if fact]


def _dates(forecast: RouteForecast, site: SiteForecast) -> list[str]:
    if site.state == "no_forecast":
        return []
    start = crossing(site.start_p10, site.start_p50, site.start_p90, fall=forecast.fall)
    return [
        f"Water reaches the start threshold {start}.",
        f"It has by the best day: {chance(site.p_start_by_recommended)}.",
        f"Ice before it settles: {chance(site.p_ice_first)}; "
        f"a plumbing freeze before it settles: {chance(site.p_plumbing_freeze_first)}.",
    ]


def _water(forecast: RouteForecast, site: SiteForecast, readings: tuple[Reading, ...]) -> list[str]:
    now = about(site.water_now_c, site.water_now_sd_c, forecast.units)
    own = sorted(readings, key=lambda r: (r.day, -1.0 if r.hour is None else r.hour))
    if not own:
        return [f"Daily mean of yesterday: {now}.", "No reading of this pond yet: its neighbours and depth."]
    shown = [_reading(r, forecast.units) for r in own[-READINGS_SHOWN:]]
    earlier = len(own) - len(shown)
    more = f" {count(earlier, 'earlier one')} not shown." if earlier else ""
    return [f"Daily mean of yesterday: {now}.", f"Readings: {'; '.join(shown)}.{more}"]


def _reading(reading: Reading, units: str) -> str:
    clock = "" if reading.hour is None else f" {int(reading.hour):02d}:{round(reading.hour % 1 * 60):02d}"
    who = f" by {clean(reading.by)}" if reading.by else ""
    year = f" {reading.day.year}" if reading.day.month else ""
    return f"{degrees(reading.water_c, units)} on {day_month(reading.day)}{year}{clock}{who}"


def _losses(forecast: RouteForecast, site: SiteForecast) -> list[str]:
    parts = site.loss_parts_by_day
    if parts is None:
        return ["  not known"]
    today = fall_day(forecast.as_of, forecast.fall)
    marked = [d for d in (site.recommended_date, site.planned_date) if d is not None]
    last = max([fall_day(d, forecast.fall) for d in marked] + [today]) + 4
    first = max(today, last - LOSS_DAYS + 1, min([fall_day(d, forecast.fall) for d in marked] + [today]) - 4)
    rows = ["  " + "".join(f"{head:>13}" for head in ("day", *PART_HEADS, "in all"))]
    for day in range(first, min(last + 1, parts.shape[1])):
        on = fall_start(forecast.fall) + timedelta(days=day)
        marks = ["best" if on == site.recommended_date else "", "planned" if on == site.planned_date else ""]
        cells = [weekday_date(on), *(f"{value:.2f}" for value in (*parts[:, day], np.sum(parts[:, day])))]
        said = ", ".join(mark for mark in marks if mark)
        rows.append("  " + "".join(f"{cell:>13}" for cell in cells) + (f"  {said}" if said else ""))
    return rows


def why_planned(forecast: RouteForecast, site: SiteForecast) -> list[str]:
    """Where the visit stands in the plan, and what that costs it."""
    if site.planned_date is None:
        return ["No crew-day is left for it; see the warnings of the route."]
    day = next(
        day
        for day in forecast.crew_days
        if day.day == site.planned_date and any(s.site_id == site.site.site_id for s in day.stops)
    )
    order, stop = next((n, s) for n, s in enumerate(day.stops, 1) if s.site_id == site.site.site_id)
    estimate = (
        "driving is an estimate from straight lines" if day.drive_estimated else "driving as in your table"
    )
    facts = [
        f"{weekday_date(day.day)} with {clean(day.crew)}, stop {order} of {len(day.stops)}, "
        f"{stop.arrive:%H:%M} to {stop.leave:%H:%M}; {hours(day.site_hours)} on site and "
        f"{hours(day.drive_hours)} on the road that day ({estimate}).",
        f"Hard freeze before then: {chance(site.p_hard_freeze_before_planned)}.",
    ]
    if site.site.hand_placed == (site.planned_date, site.planned_crew):
        facts.append("Put there by hand: it stays until it is moved again or left to the plan.")
    facts += [move_line(move) for move in forecast.plan.moves if move.site_id == site.site.site_id]
    parts = site.loss_parts_by_day
    if parts is not None and site.recommended_date is not None:
        planned = float(parts[:, fall_day(site.planned_date, forecast.fall)].sum())
        best = float(parts[:, fall_day(site.recommended_date, forecast.fall)].sum())
        if planned > best + 0.5:
            facts.append(f"The crews' hours cost this site {dollars(planned - best)} beyond its best day.")
    return facts


def _shifts(site: SiteForecast) -> list[str]:
    """How far the best day would move if a cost were half or double."""
    shifts = [
        f"{head}: {_days(halved)} if halved, {_days(doubled)} if doubled"
        for head, (halved, doubled) in zip(PART_HEADS, site.date_shifts.values(), strict=False)
    ]
    return [f"If a cost were another, the best day would move. {'; '.join(shifts)}."] if shifts else []


def _days(shift: int) -> str:
    if shift == 0:
        return "not at all"
    return f"{count(abs(shift), 'day')} {'later' if shift > 0 else 'earlier'}"


def why_rank(forecast: RouteForecast, site: SiteForecast) -> list[str]:
    """By which chance the site is ranked, and what decides between equal ones."""
    group = next(g for g in view.groups(forecast) if site in g.sites)
    place = group.sites.index(site) + 1
    facts = [
        f"{group.title}: {group.meaning}. Groups stand in the order ready, no water forecast, waiting.",
        f"{place} of {len(group.sites)} in its group. {group.sorted_by} Here: {chance(view.risk(site))}.",
    ]
    parts = site.loss_parts_by_day
    if parts is not None:
        today = fall_day(forecast.as_of, forecast.fall)
        later = min(today + 7, parts.shape[1] - 1)
        wait = float(parts[:, later].sum() - parts[:, today].sum())
        how = f"{dollars(wait)} more" if wait >= 0 else f"{dollars(-wait)} less"
        facts.append(
            "Chances that differ by no more than sampling are ordered by what a week's waiting costs: "
            f"{how} here."
        )
    return facts
