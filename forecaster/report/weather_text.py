"""The weather commands in plain text: stations and why, what an update did, the coming days, found places."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import numpy as np

from forecaster.errors import Notice
from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.words import Z_80, clean, degrees, unit_of, weekday_date
from forecaster.season.coordinates import FoundPlace
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.units import KM_PER_MILE, M_PER_FOOT, c_step_to_f
from forecaster.weather.outlook_errors import LeadErrors, outlook_mean_c
from forecaster.weather.outlook_spread import today_errors
from forecaster.weather.station_choice import SiteChoice
from forecaster.weather.stations import Outlook, Station, Weather
from forecaster.weather.update import UpdateReport

FEW_OUTLOOKS = 30
"""With fewer outlooks compared than this the errors shown rest on typical ones."""


def stations_text(
    choices: Sequence[SiteChoice],
    sites: Sequence[Site],
    *,
    units: str,
    unicode: bool,
    width: int = 100,
    show_all: bool = False,
) -> str:
    """The stations of each site with the reason; sites with the same stations are told together."""
    columns = (
        Column("\nstation"), Column("\nname", flexible=True), Column(f"away\n{_far(units)}", right=True),
        Column(f"climb\n{_high(units)}", right=True, drop=1), Column("\ntaken"), Column("\nwhy"),
    )  # fmt: skip
    names = {site.site_id: site.customer for site in sites}
    groups: dict[tuple[str, ...], list[SiteChoice]] = {}
    for choice in choices:
        groups.setdefault(choice.taken, []).append(choice)
    lines = []
    for taken, members in groups.items():
        first = members[0]
        others = [choice.site_id for choice in members[1:]]
        head = f"{first.site_id} {clean(names.get(first.site_id, ''))}".strip()
        if others:
            head += f", and {len(others)} more: {', '.join(others[:8])}{' ...' if len(others) > 8 else ''}"
        lines += wrapped(f"{head}: {', '.join(taken) or 'no station'}", width=width)
        rows = [
            (
                option.station_id, clean(option.name), _distance(option.distance_km, units),
                "-" if option.climb_m is None else _height(option.climb_m, units),
                "yes" if option.taken else "", option.reason,
            )
            for option in first.options
            if option.taken or show_all or len(groups) <= 3
        ]  # fmt: skip
        layout = fitted(columns, [rows], width=width)
        lines += [*layout.head_lines(), *(layout.line(row) for row in rows), ""]
    text = "\n".join(line.rstrip() for line in lines).rstrip("\n") + "\n"
    return text if unicode else ascii_only(text)


def update_text(report: UpdateReport, credit: Iterable[str]) -> str:
    """What an update did, in a few lines."""
    lines = []
    if report.records is not None:
        records = report.records
        ids = ", ".join(record.station_id for record in records.about.records)
        lines.append(f"Records of {len(records.about.records)} stations are up to date: {ids}.")
        lines.append(
            f"Files: {records.requests} asked of the server, {records.unchanged} needed no request, "
            f"{records.failed} could not be had."
        )
    if report.outlooks is not None:
        outlooks = report.outlooks
        lines.append(
            f"Outlooks ({outlooks.source}): {outlooks.fetched} stations fetched, {outlooks.added} issues "
            f"new, {outlooks.failed} failed."
        )
    return "\n".join([*lines, *credit]) + "\n"


def outlook_text(
    weather: Weather,
    errors: Mapping[str, LeadErrors],
    settings: Settings,
    *,
    as_of: date,
    unicode: bool,
    credit: Iterable[str] = (),
    width: int = 100,
) -> str:
    """The coming days at each station with the range of the minimum, and how good past outlooks were."""
    units = settings.season.units
    lines: list[str] = []
    for station in weather.stations:
        own = [o for o in weather.outlooks if o.station_id == station.station_id and o.issued <= as_of]
        latest = max(own, key=lambda o: o.issued, default=None)
        if latest is None or not any(day >= as_of for day in latest.days):
            lines += [f"{station.station_id} {clean(station.name)}: no outlook for the coming days.", ""]
            continue
        today = today_errors(errors[station.station_id], latest, weather.outlooks)
        lines += _station_lines(station, latest, today, units, as_of, width)
        lines += _spread_lines(errors[station.station_id], today, width)
        lines += [*_past_lines(errors[station.station_id], units, width), ""]
    if not weather.stations:
        lines.append("No station.")
    lines += credit
    text = "\n".join(line.rstrip() for line in lines).rstrip("\n") + "\n"
    return text if unicode else ascii_only(text)


def places_text(places: Sequence[FoundPlace], *, folder: str, width: int = 100) -> str:
    """The places found, the questions among them, and what to do next."""
    if not places:
        return "Every site of the sheet has its place.\n"
    columns = (Column("\nsite"), Column("\nplace"), Column("\nmatched to", flexible=True), Column("\nstate"))
    rows = []
    for place in places:
        spot = "-" if place.spot is None else f"{place.spot[0]:.5f}, {place.spot[1]:.5f}"
        state = "confirmed" if place.confirmed else "question" if place.question else "to confirm"
        rows.append((place.site_id, spot, clean(place.matched_address or place.address), state))
    layout = fitted(columns, [rows], width=width)
    lines = [*layout.head_lines(), *(layout.line(row) for row in rows), ""]
    for place in places:
        if place.question and not place.confirmed:
            lines += wrapped(f"{place.site_id}, {clean(place.address)}: {place.question}", width=width)
    lines += wrapped(
        "Look at coordinates.svg, then confirm all that carry no question: "
        f"forecaster weather geocode {folder} --confirm all; a questioned one by its site: --confirm SITE.",
        width=width,
    )
    return "\n".join(lines) + "\n"


def notice_lines(notices: Iterable[Notice], *, width: int = 100) -> list[str]:
    """Notices for stderr, each once."""
    return [line for notice in dict.fromkeys(notices) for line in wrapped(str(notice), width=width)]


def _station_lines(
    station: Station, outlook: Outlook, errors: LeadErrors, units: str, as_of: date, width: int
) -> list[str]:
    issued = weekday_date(outlook.issued, year=True)
    age = (as_of - outlook.issued).days
    old = "" if age <= 0 else f", {age} day{'s' if age > 1 else ''} old"
    head = f"{station.station_id} {clean(station.name)}: outlook {outlook.source} of {issued}{old}"
    lines = [f"{head}, {unit_of(units)}"]
    means = outlook_mean_c(outlook)
    columns = (
        Column("\nday"), Column("\nlow", right=True), Column("8 in 10\nchances"),
        Column("\nhigh", right=True), Column("\nmean", right=True),
    )  # fmt: skip
    rows = []
    for at, day in enumerate(outlook.days):
        if day < as_of:
            continue
        lead = min((day - outlook.issued).days, errors.sd_min_c.size - 1)
        low = outlook.tmin_c[at] - errors.bias_min_c[lead]
        half = Z_80 * errors.sd_min_c[lead]
        span = "-" if np.isnan(low) else f"{_bare(low - half, units)} to {_bare(low + half, units)}"
        cells = (outlook.tmin_c[at], outlook.tmax_c[at], means[at])
        shown = ["-" if np.isnan(value) else _bare(value, units) for value in cells]
        rows.append((weekday_date(day), shown[0], span, shown[1], shown[2]))
    layout = fitted(columns, [rows], width=width)
    return [*lines, *layout.head_lines(), *(layout.line(row) for row in rows)]


def _spread_lines(learned: LeadErrors, today: LeadErrors, width: int) -> list[str]:
    """A sentence where the service's own ensemble makes the ranges of the minima wider or narrower."""
    change = today.sd_min_c / learned.sd_min_c
    worst = float(change[np.argmax(np.abs(change - 1.0))])
    percent = round(100.0 * abs(worst - 1.0))
    if percent < 5:
        return []
    word = "wider" if worst > 1.0 else "narrower"
    text = f"The service's own possible courses lie {word} apart than usual: ranges up to {percent} % {word}."
    return wrapped(text.replace("narrower apart", "closer together"), width=width)


def _past_lines(errors: LeadErrors, units: str, width: int) -> list[str]:
    """A table of how far off past minima were, or a sentence where none was compared."""
    compared = [lead for lead in range(errors.count.size) if errors.count[lead]]
    if not compared:
        return wrapped(
            "No past outlook of this station can be compared yet: the ranges rest on typical errors.",
            width=width,
        )
    columns = (
        Column("day of\noutlook", right=True), Column("outlooks\ncompared", right=True),
        Column("minimum\noff by", right=True), Column("usual for the\ndate, off by", right=True),
        Column("too warm\nby", right=True),
    )  # fmt: skip
    rows = [
        (
            str(lead + 1), str(errors.count[lead]), _step(errors.mae_min_c[lead], units),
            _step(errors.mae_usual_c[lead], units), _step(errors.bias_min_c[lead], units, sign=True),
        )
        for lead in compared
    ]  # fmt: skip
    layout = fitted(columns, [rows], width=width)
    lines = ["How good past outlooks were here:", *layout.head_lines(), *(layout.line(row) for row in rows)]
    if errors.count.max() < FEW_OUTLOOKS:
        text = f"Fewer than {FEW_OUTLOOKS} outlooks are compared yet: the ranges lean on typical errors."
        lines += wrapped(text, width=width)
    return lines


def _bare(temperature_c: float, units: str) -> str:
    return degrees(float(temperature_c), units).rsplit(" ", 1)[0]


def _step(difference_c: float, units: str, *, sign: bool = False) -> str:
    if np.isnan(difference_c):
        return "-"
    value = c_step_to_f(float(difference_c)) if units == "us" else float(difference_c)
    value = round(value, 1) + 0.0
    return f"{value:+.1f}" if sign else f"{value:.1f}"


def _far(units: str) -> str:
    return "miles" if units == "us" else "km"


def _high(units: str) -> str:
    return "feet" if units == "us" else "m"


def _distance(distance_km: float, units: str) -> str:
    return f"{distance_km / KM_PER_MILE if units == 'us' else distance_km:.0f}"


def _height(height_m: float, units: str) -> str:
    return f"{height_m / M_PER_FOOT if units == 'us' else height_m:+.0f}"
