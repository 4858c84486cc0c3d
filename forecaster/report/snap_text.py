"""After a cold snap as text for a screen of 100 columns. Returns strings; the caller prints them."""

from __future__ import annotations

from forecaster.report import snap_day_words as day_words
from forecaster.report import snap_words as say
from forecaster.report.glossary import TAKE_CARE
from forecaster.report.table import ascii_only, wrapped
from forecaster.report.words import clean, count, degrees, limit, weather_age, weekday_date
from forecaster.snap.records import Night, SnapReport, SnapSite

SITES_SHOWN, GAS_SHOWN, ROWS_SHOWN = 10, 8, 16


def snap_text(
    report: SnapReport, *, unicode: bool = True, width: int = 100, at_most: int | None = SITES_SHOWN
) -> str:
    """The whole report, ending in a newline; `at_most` sites in full, None for all."""
    blocks = [
        _heading(report),
        ["Today", *dict.fromkeys([day_words.advice(report), *_plans(report)])],
        _crews(report),
        _nights(report),
        _sites(report, at_most),
        _gas(report),
        _kept(report),
        _warnings(report),
        ["Take care", *(f"{title}: {text}" for title, text in TAKE_CARE.items())],
        ["Weather data", *(clean(text) for text in report.credits)] if report.credits else [],
    ]
    lines = []
    for block in blocks:
        if not block:
            continue
        lines.append(block[0])
        for fact in block[1:]:
            if fact.startswith(" "):
                lines.append(fact)
            else:
                lines += wrapped(fact, width=width, indent="  ", hanging="    ")
        lines.append("")
    text = "\n".join(line.rstrip() for line in lines[:-1]) + "\n"
    return text if unicode else ascii_only(text)


def _heading(report: SnapReport) -> list[str]:
    day = weekday_date(report.as_of, year=True)
    age = weather_age((last for _, _, last in report.stations), report.as_of)
    return [
        f"{clean(report.season_name)}: after the snap, on the morning of {day}",
        say.snap(report),
        f"{age[0].upper()}{age[1:]}; {clean(report.outlook_text)}.",
    ]


def _plans(report: SnapReport) -> list[str]:
    hint = [] if report.crew_count else ["With an option: forecaster snap FOLDER --crews 1"]
    return [*(day_words.plan(plan, report) for plan in report.plans), *hint]


def _crews(report: SnapReport) -> list[str]:
    plan = report.plan
    if not any(visits.stops for visits in plan.crews):
        return []
    lines = [f"Before dark: {day_words.ACTION_WORDS[plan.action]}, stops in driving order (estimates)"]
    for visits in plan.crews:
        lines.append(day_words.crew_line(visits))
        lines += [
            f"    {stop.arrive:%H:%M}-{stop.leave:%H:%M}  {clean(stop.site_id)}" for stop in visits.stops
        ]
    if plan.action == "quick":
        lines.append(say.PROTECT_CARE)
    return lines


def _nights(report: SnapReport) -> list[str]:
    hard, plumbing = (limit(c, report.units) for c in (report.hard_c, report.plumbing_c))
    marks = "e expected, n from neighbours, r read"
    head = f"Nights at the stations (hours at or below {hard} / {plumbing}; {marks})"
    stations = [station_id for station_id, _, _ in report.stations]
    days = sorted({night.day for night in report.station_nights})
    cells = {(night.station_id, night.day): night for night in report.station_nights}
    names = "".join(f"{clean(name)[:18]:>20}" for name in stations)
    lines = [head, f"    {'':10}{names}"]
    for day in days:
        row = ""
        for name in stations:
            night = cells.get((name, day))
            if night is None:
                row += f"{'-':>20}"
                continue
            hours = say.station_hours(night)
            spent = f" ({hours.replace('about ', '~')})" if hours not in ("-", "about 0 / 0", "0 / 0") else ""
            row += f"{say.station_cell(night, report.units) + spent:>20}"
        lines.append(f"    {weekday_date(day):10}{row}")
    return [*lines, say.hours_note(report), say.spread(report)]


def _sites(report: SnapReport, at_most: int | None) -> list[str]:
    if not report.sites:
        return ["Open sites", "No site is open: nothing is left to protect."]
    shown = report.sites if at_most is None else report.sites[:at_most]
    of = f", {len(shown)} of {count(len(report.sites), 'open site')} shown"
    lines = [f"Who goes first{of if len(shown) < len(report.sites) else ''}", day_words.rule(report)]
    for site in shown:
        lines.append(f"{site.order}. {clean(site.site.site_id)} {clean(site.site.customer)}".rstrip())
        lines += [f"   {fact}" for fact in _folded(site_facts(site, report))]
    if len(shown) < len(report.sites):
        lines.append(f"... and {len(report.sites) - len(shown)} more; --all shows them.")
    return lines


def _folded(facts: list[str]) -> list[str]:
    return [line for fact in facts for line in wrapped(fact, width=94, indent="  ", hanging="    ")]


def site_facts(site: SnapSite, report: SnapReport) -> list[str]:
    """All that is said of one site, most wanted first."""
    nights = [n for n in site.state.nights if n.day <= report.as_of]
    coldest = min(nights, key=lambda n: n.p50_c, default=None)
    facts = [
        f"Worth {say.worth(site, report.plan.action)}",
        *(f"Check: {line}" for line in say.checks(site, report)),
        "" if coldest is None else f"Coldest night {weekday_date(coldest.day)}: {_night(coldest, report)}",
        f"Pipes: {say.pipes(site, report)}",
        f"Ice: {say.ice(site.state.ice, report.units)}." if site.state.site.has_pond else "",
        f"Customer: {say.said(site)}",
        *(f"Noted {clean(note)}" for note in site.notes),
    ]
    return [fact for fact in facts if fact]


def _night(night: Night, report: SnapReport) -> str:
    return f"{say.night_range(night, report.units)}, {say.KIND_WORDS[night.kind]}."


def _gas(report: SnapReport) -> list[str]:
    if not report.gas:
        return []
    shown = report.gas[:GAS_SHOWN]
    head = f"Closed or running ponds where the hole may have frozen shut: {len(report.gas)}"
    lines = [head, f"Look for an open hole, from the edge. {say.ICE_CARE}"]
    for one in shown:
        closed = f" (closed {weekday_date(one.closed_on)})" if one.closed_on else ""
        lines.append(f"{clean(one.site.site_id)} {clean(one.site.customer)}{closed}: {say.gas(one, report)}")
    if len(shown) < len(report.gas):
        lines.append(f"... and {len(report.gas) - len(shown)} more, less likely.")
    return lines


def _kept(report: SnapReport) -> list[str]:
    if not report.compared:
        return []
    lines = ["What was expected, and what came", *day_words.kept_promise(report)]
    rows = [row for row in report.compared if row.days_before == max(r.days_before for r in report.compared)]
    for row in rows[:ROWS_SHOWN]:
        expected = say.degrees_range(row.p10_c, row.p50_c, row.p90_c, report.units)
        issued = "" if row.outlook_c is None else f", outlook {degrees(row.outlook_c, report.units)}"
        missed = "" if row.inside else "  outside"
        lines.append(
            f"    {weekday_date(row.day):10}  {clean(row.station_id):10}  came "
            f"{degrees(row.came_c, report.units)}; {row.days_before} days before {expected}{issued}{missed}"
        )
    return lines


def _warnings(report: SnapReport) -> list[str]:
    if not report.warnings:
        return []
    shown = [f"{clean(n.where)}: {clean(n.text)}" for n in report.warnings[:6]]
    more = len(report.warnings) - len(shown)
    return ["Warnings", *shown, *([f"... and {more} more: forecaster check"] if more > 0 else [])]
