"""The plan as rows for the office's own tools: one planned visit a row, in order of work.

The same rows make the workbook, the CSV file and the calendars. Access notes (gate codes) and the sheet's
notes, where phone numbers stand, stay out unless they are asked for.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date, time

from forecaster.forecast import RouteForecast, SiteForecast
from forecaster.report.words import WEEKDAYS, clean
from forecaster.season.tables import safe_text


@dataclass(frozen=True)
class VisitRow:
    """One planned visit; local clock times, `stop` counts from 1 within the crew-day."""

    day: date
    crew: str
    stop: int
    arrive: time
    leave: time
    forecast: SiteForecast
    access: str

    @property
    def hours_on_site(self) -> float:
        """Planned time on site [h]."""
        minutes = 60 * (self.leave.hour - self.arrive.hour) + self.leave.minute - self.arrive.minute
        return minutes / 60


def visit_rows(forecast: RouteForecast, *, with_access: bool = False) -> tuple[VisitRow, ...]:
    """All planned visits by day, crew and stop."""
    by_id = {site.site.site_id: site for site in forecast.sites}
    rows = []
    for crew_day in sorted(forecast.crew_days, key=lambda day: (day.day, day.crew)):
        for number, stop in enumerate(crew_day.stops, start=1):
            found = by_id[stop.site_id]
            notes = (found.site.access, found.site.notes) if with_access else ()
            rows.append(
                VisitRow(
                    day=crew_day.day,
                    crew=clean(crew_day.crew),
                    stop=number,
                    arrive=stop.arrive,
                    leave=stop.leave,
                    forecast=found,
                    access=". ".join(clean(note) for note in notes if note.strip()),
                )
            )
    return tuple(rows)


CSV_COLUMNS = (
    *("date", "weekday", "crew", "stop", "arrive", "leave", "site_id", "customer", "address"),
    *("latitude", "longitude", "hours_on_site", "best_date", "window_start", "window_end"),
    *("told_date", "booked_date", "p_hard_freeze_before", "reason"),
)


def visits_csv(forecast: RouteForecast, *, with_access: bool = False) -> bytes:
    """The visits as a CSV file that spreadsheet programs open: UTF-8 with byte-order mark, RFC 4180 lines.

    Text that such a program would run as a formula is marked as text.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*CSV_COLUMNS, *(["access"] if with_access else [])])
    for row in visit_rows(forecast, with_access=with_access):
        site = row.forecast.site
        chance = row.forecast.p_hard_freeze_before_planned
        cells: list[object] = [
            row.day.isoformat(),
            WEEKDAYS[row.day.weekday()],
            safe_text(row.crew),
            row.stop,
            f"{row.arrive:%H:%M}",
            f"{row.leave:%H:%M}",
            safe_text(clean(site.site_id)),
            safe_text(clean(site.customer)),
            safe_text(clean(site.address)),
            site.latitude,
            site.longitude,
            f"{row.hours_on_site:.2f}",
            _iso(row.forecast.recommended_date),
            _iso(row.forecast.window_start),
            _iso(row.forecast.window_end),
            _iso(site.told_date),
            _iso(site.booked_date),
            "" if chance is None else f"{chance:.4f}",
            safe_text(clean(row.forecast.reason)),
        ]
        writer.writerow([*cells, *([safe_text(row.access)] if with_access else [])])
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def _iso(day: date | None) -> str:
    return "" if day is None else day.isoformat()
