"""The route as text for a screen of 100 columns: who goes first, when, why, and what the plan risks.

Returns strings; the caller prints them. Nothing is said by colour alone: a site that cannot wait has a "!".
"""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report import sentences, view
from forecaster.report.glossary import TAKE_CARE
from forecaster.report.plan_words import move_line, plan_facts
from forecaster.report.strip import StripDates, dates_of, legend_lines, ruler_line, strip_line
from forecaster.report.table import Column, ascii_only, cell_width, fit, fitted, wrapped
from forecaster.report.words import (
    clean,
    count,
    crossing_short,
    day_month,
    dollars,
    hours,
    percent,
    plus_minus,
    unit_of,
    weekday_date,
    window,
)

SITES_SHOWN = 15
REASONS_SHOWN = 5
MOVES_SHOWN = 8
INDENT = "  "


@dataclass(frozen=True)
class Screen:
    """What the reader's screen can show."""

    width: int
    unicode: bool
    color: bool

    def plain(self, text: str) -> str:
        """The text in signs that the screen has."""
        return text if self.unicode else ascii_only(text)

    def head(self, text: str) -> list[str]:
        """A heading, folded."""
        return [self._code("1", line) for line in self.lines(text)]

    def warm(self, text: str) -> str:
        """The one accent, for what cannot wait."""
        return self._code("1;33", self.plain(text))

    def cut(self, text: str) -> str:
        """One line, cut at the edge."""
        plain = self.plain(text)
        return self.plain(fit(plain, self.width)) if cell_width(plain) > self.width else plain

    def lines(self, text: str, *, indent: str = "", hanging: str | None = None) -> list[str]:
        """A sentence, folded."""
        return wrapped(self.plain(text), width=self.width, indent=indent, hanging=hanging)

    def _code(self, code: str, text: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.color and text else text


def route_text(
    forecast: RouteForecast,
    *,
    width: int = 100,
    unicode: bool,
    color: bool = False,
    limit: int | None = SITES_SHOWN,
) -> str:
    """The whole report, ending in a newline.

    Args:
        width: Columns of the screen, 72 or more; under 100 the table may leave columns out and says which.
        unicode: False gives ASCII only, in every name too.
        color: Adds bold headings and one warm accent as terminal codes.
        limit: Sites shown, ready ones first, each group by rank; None shows all.
    """
    screen = Screen(max(72, width), unicode, color)
    blocks = [
        _heading(forecast, screen),
        *_tables(forecast, screen, limit),
        _first_ones(forecast, screen),
        _crew_days(forecast, screen),
        _plan(forecast, screen),
        _measure_next(forecast, screen),
        _others(forecast, screen),
        _warnings(forecast, screen),
        _take_care(screen),
        _credits(forecast, screen),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def site_lines(site: SiteForecast, forecast: RouteForecast, *, width: int = 100, unicode: bool) -> list[str]:
    """One site with its strip, its numbers in words and its reason."""
    screen = Screen(max(72, width), unicode, color=False)
    dates = dates_of(site, forecast.as_of)
    return [
        screen.cut(f"{site.rank:>3}  {sentences.name_of(site)}"),
        f"     {ruler_line(dates.fall, unicode=unicode)}".rstrip(),
        f"     {strip_line(site.curves, dates, unicode=unicode)}".rstrip(),
        *(
            line
            for fact in sentences.site_facts(site, forecast.fall)
            for line in screen.lines(fact, indent="     ", hanging="       ")
        ),
    ]


# --- blocks: lines of text; an empty block is left out


def _heading(forecast: RouteForecast, screen: Screen) -> list[str]:
    found = f" {count(len(forecast.warnings), 'warning')}, see below." if forecast.warnings else ""
    return [
        *screen.head(sentences.heading(forecast)),
        *screen.lines(sentences.sources(forecast)),
        *screen.lines(sentences.stations(forecast)),
        *screen.lines(sentences.sites(forecast) + found),
    ]


def _tables(forecast: RouteForecast, screen: Screen, limit: int | None) -> list[list[str]]:
    """One block a group, all with the same columns, then what was left out."""
    shown, left = [], len(forecast.sites) if limit is None else limit
    for group in view.groups(forecast):
        if left > 0:
            shown.append((group, [_row(site, forecast.units, screen) for site in group.sites[:left]]))
        left -= len(group.sites)
    if not shown:
        return []
    columns = _columns(forecast.units, screen)
    layout = fitted(columns, [rows for _, rows in shown], width=screen.width)
    blocks = []
    for group, rows in shown:
        of = "" if len(rows) == len(group.sites) else f", {len(rows):,} of {len(group.sites):,} shown"
        blocks.append(
            [
                *screen.head(f"{group.title}: {group.meaning}{of}"),
                *screen.lines(group.sorted_by),
                *layout.head_lines(),
                *(
                    (screen.warm if view.act_now(site) else screen.plain)(layout.line(row))
                    for site, row in zip(group.sites, rows, strict=False)
                ),
            ]
        )
    notes = []
    if limit is not None and len(forecast.sites) > limit:
        notes.append(f"... and {len(forecast.sites) - limit:,} more; --all shows them.")
    if any(view.act_now(site) for group, rows in shown for site in group.sites[: len(rows)]):
        notes.append("! cannot wait for its turn.")
    if layout.left_out:
        notes.append(f"Left out on this narrow screen: {', '.join(layout.left_out)}.")
    if notes:
        blocks[-1] += screen.lines(" ".join(notes))
    return blocks


def _columns(units: str, screen: Screen) -> tuple[Column, ...]:
    return (
        Column("\n#", right=True),
        Column("\nsite", at_most=10),
        Column("\ncustomer", at_most=24, flexible=True),
        Column(screen.plain(f"water\n{unit_of(units)}").replace("\n ", "\n"), right=True, drop=3),
        Column("water settles\n(8 falls in 10)", at_most=23),
        Column("hard\nfreeze", right=True),
        Column("best\nday", right=True),
        Column("closing\nwindow", at_most=13, drop=2),
        Column("planned\nwith", at_most=15),
        Column("loss\n$", right=True, at_most=7, drop=1),
    )


def _row(site: SiteForecast, units: str, screen: Screen) -> tuple[str, ...]:
    settles = "no forecast" if site.site.has_pond else "no pond"
    if site.p_not_reached is not None:
        settles = crossing_short(site.sustained_p10, site.sustained_p50, site.sustained_p90)
    cells = (
        f"{'!' if view.act_now(site) else ''}{site.rank}",
        clean(site.site.site_id),
        clean(site.site.customer),
        plus_minus(site.water_now_c, site.water_now_sd_c, units),
        settles,
        percent(view.risk(site)),
        day_month(site.recommended_date),
        window(site.window_start, site.window_end),
        f"{day_month(site.planned_date):>6} {clean(site.planned_crew or '')}".rstrip(),
        dollars(site.expected_loss).replace("$", "").replace("under ", "<"),
    )
    return tuple(screen.plain(cell) for cell in cells)


def _first_ones(forecast: RouteForecast, screen: Screen) -> list[str]:
    ordered = [site for group in view.groups(forecast) for site in group.sites][:REASONS_SHOWN]
    if not ordered:
        return []
    lines = [*screen.head("The first ones, and why"), *_legend(screen)]
    lines.append(f"     {ruler_line(StripDates(forecast.as_of).fall, unicode=screen.unicode)}".rstrip())
    for site in ordered:
        line = strip_line(site.curves, dates_of(site, forecast.as_of), unicode=screen.unicode)
        lines.append(screen.cut(f"{site.rank:>3}  {line}  {sentences.name_of(site)}"))
        lines += screen.lines(clean(site.reason), indent="     ")
    return lines


def _crew_days(forecast: RouteForecast, screen: Screen) -> list[str]:
    coming = view.next_working_days(forecast)
    if not coming:
        return []
    customers = {site.site.site_id: clean(site.site.customer) for site in forecast.sites}
    lines = [*screen.head("Next crew-days (driving hours are estimates from straight lines)")]
    for crew_day in coming:
        on_site, driving = hours(crew_day.site_hours), hours(crew_day.drive_hours)
        load = f"{count(len(crew_day.stops), 'stop')}, {on_site} on site, {driving} driving"
        lines += screen.lines(f"{weekday_date(crew_day.day)}  {clean(crew_day.crew)}: {load}", indent=INDENT)
        for stop in crew_day.stops:
            name = f"{clean(stop.site_id)}  {customers.get(stop.site_id, '')}".rstrip()
            lines.append(screen.cut(f"{INDENT * 2}{stop.arrive:%H:%M}-{stop.leave:%H:%M}  {name}"))
    later = view.later_working_days(forecast, after=coming)
    if later:
        lines += screen.lines(
            f"Then {count(len(later), 'more working day')}, the last on {weekday_date(later[-1])}.",
            indent=INDENT,
        )
    return lines


def _plan(forecast: RouteForecast, screen: Screen) -> list[str]:
    lines = [*screen.head("The plan as a whole"), *_items(plan_facts(forecast), screen)]
    moves = forecast.plan.moves
    if moves:
        shown = [move_line(move) for move in moves[:MOVES_SHOWN]]
        if len(moves) > len(shown):
            shown.append(f"... and {len(moves) - len(shown)} more.")
        lines += ["", *screen.head("Moved from a told date or the plan in force"), *_items(shown, screen)]
    return lines


def _measure_next(forecast: RouteForecast, screen: Screen) -> list[str]:
    if not forecast.measure_next:
        return []
    customers = {site.site.site_id: clean(site.site.customer) for site in forecast.sites}
    facts = [
        f"{clean(site_id)}  {customers.get(site_id, '')}: {dollars(value)}".replace("  :", ":")
        for site_id, value in forecast.measure_next
    ]
    return [
        *screen.head("Measure next: by how much one water reading would lower the plan's expected loss"),
        *_items(facts, screen),
    ]


def _others(forecast: RouteForecast, screen: Screen) -> list[str]:
    lines = []
    for title, sites in (("Closed", forecast.closed), ("Runs all winter", forecast.runs_all_winter)):
        if sites:
            lines += screen.lines(
                f"{title}: {', '.join(clean(site.site_id) for site in sites)}.", hanging=INDENT
            )
    return lines


def _warnings(forecast: RouteForecast, screen: Screen) -> list[str]:
    if not forecast.warnings:
        return []
    facts = [clean(str(notice)) for notice in forecast.warnings]
    return [*screen.head(f"Warnings ({len(facts)})"), *_items(facts, screen)]


def _take_care(screen: Screen) -> list[str]:
    return [*screen.head("Take care"), *screen.lines(" ".join(TAKE_CARE.values()), indent=INDENT)]


def _credits(forecast: RouteForecast, screen: Screen) -> list[str]:
    facts = [clean(text) for text in forecast.credits]
    return [*screen.head("Weather data"), *_items(facts, screen)] if facts else []


def _legend(screen: Screen) -> list[str]:
    return [line for legend in legend_lines(unicode=screen.unicode) for line in screen.lines(legend)]


def _items(facts: list[str], screen: Screen) -> list[str]:
    return [line for fact in facts if fact for line in screen.lines(fact, indent=INDENT, hanging=INDENT * 2)]
