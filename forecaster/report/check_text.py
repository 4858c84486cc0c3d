"""What `forecaster check` prints of a readable folder: notices, doubtful readings, fits to look at."""

from __future__ import annotations

from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.water_text import last_reading, step
from forecaster.report.words import clean, count, day_month, degrees, weekday_date
from forecaster.water.fit_checks import fit_checks
from forecaster.water.questions import Question, questions
from forecaster.waters import RouteWater


def check_text(water: RouteWater, *, unicode: bool = True, width: int = 100) -> str:
    """The findings in one text; problems have been raised before."""
    known = water.known
    units = known.settings.season.units
    asked = questions(
        [(pond.site, pond.fit, pond.air_c, pond.readings) for pond in water.ponds], fall=known.fall
    )
    lines = [
        f"{clean(known.settings.season.name)}: checked as of {weekday_date(known.as_of, year=True)}.",
        f"{count(len(known.sites), 'site')}, {count(len(known.readings), 'reading')}, "
        f"{count(len(known.weather.stations), 'station')}, {count(len(known.crews), 'crew')}: "
        "no problem stops the forecast.",
    ]
    notices = list(dict.fromkeys(water.notices))
    lines += ["", "To know" if notices else "Nothing else to know."]
    for notice in notices:
        lines += wrapped(f"- {notice.where}: {notice.text}", width=width, hanging="  ")
    lines += ["", *_questions(asked, units, width)]
    lines += ["", *_fits(water, width)]
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)


def _questions(asked: list[Question], units: str, width: int) -> list[str]:
    if not asked:
        return ["No reading is in doubt."]
    lines = [f"{count(len(asked), 'reading')} in doubt (used with a wider error until you decide)"]
    for question in asked:
        reading = question.reading
        where = f"{reading.where}: " if reading.where else ""
        text = (
            f"- {where}{clean(reading.site_id)}, {day_month(reading.day)}: "
            f"{degrees(reading.water_c, units)} was read, {degrees(question.expected_c, units)} "
            f"(± {step(1.28 * question.sd_c, units)}) is expected; {question.cause}."
        )
        lines += wrapped(text, width=width, hanging="  ")
    return lines


def _fits(water: RouteWater, width: int) -> list[str]:
    fitted_ponds = [pond for pond in water.ponds if pond.fit.pond.rows]
    if not fitted_ponds:
        return ["No pond has a reading yet: every fit is depth and place alone."]
    checks = [(pond, fit_checks(pond.fit)) for pond in fitted_ponds]
    columns = (
        Column("\nsite"),
        Column("last\nreading"),
        *(Column(head) for head in ("errors\nindependent", "errors\nbell-shaped", "lag at\na limit")),
        Column("lag fits\nthe depth"),
        Column("readings\nin the band"),
    )
    rows = [
        [
            clean(pond.site.site_id),
            last_reading(pond.last_reading, water.known.settings.season.units),
            *(check.verdict for check in table),
        ]
        for pond, table in checks
    ]
    layout = fitted(columns, [rows], width=width)
    lines = ["How far each pond's fit can be believed"]
    lines += [*layout.head_lines(), *(layout.line(row) for row in rows)]
    for pond, table in checks:
        for check in table:
            if check.verdict == "look":
                text = f"- {clean(pond.site.site_id)}, {check.name}: {check.found}. Look at its readings."
                lines += wrapped(text, width=width, hanging="  ")
    return lines
