"""Today's water as a table in plain text, with a small plot a pond, and the long table as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

import numpy as np

from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.words import clean, day_month, plus_minus, unit_of, weekday_date
from forecaster.season.readings import Reading
from forecaster.units import c_step_to_f, c_to_f
from forecaster.waters import RouteWater, SiteWater, WaterDay

PLOT_DAYS = 28
BARS, ASCII_BARS = "▁▂▃▄▅▆▇█", "_.-~=+*#"
SHARE_WORDS = {"own": "own readings", "route": "the route's readings", "prior": "depth and place alone"}


def water_text(water: RouteWater, *, unicode: bool, width: int = 100) -> str:
    """The table of all ponds with a plot of the last four weeks each; see `waters.route_water`."""
    known = water.known
    units = known.settings.season.units
    unit = unit_of(units)
    lines = wrapped(
        f"{clean(known.settings.season.name)}: water on the morning of "
        f"{weekday_date(known.as_of, year=True)}, after the daily mean of the day before.",
        width=width,
    )
    lines += wrapped(
        f"Each value holds with 8 chances in 10 within its ±. The plot shows the last {PLOT_DAYS} days, "
        "low to high.",
        width=width,
    )
    if not water.ponds:
        return "\n".join([*lines, "", "No pond here has a water forecast (none, or all heated)."]) + "\n"
    bars = BARS if unicode else ASCII_BARS
    low, high = _range(water.ponds)
    columns = (
        Column("\nsite"),
        Column("\ncustomer", flexible=True),
        Column(f"water\n{unit}", right=True),
        Column("lag\ndays", right=True),
        Column(f"last\nreading {unit}"),
        Column("\nrests on", drop=2),
        Column(f"{day_month(known.as_of)}: last {PLOT_DAYS} days\n{_ends(low, high, units)}", drop=1),
    )
    rows = [_row(pond, units, bars, low, high) for pond in water.ponds]
    layout = fitted(columns, [rows], width=width)
    lines += ["", *layout.head_lines(), *(layout.line(row) for row in rows)]
    if any(float(pond.path.mean_c[-1]) <= 0.0 for pond in water.ponds):
        lines += wrapped(
            "Where the water stands at freezing the model ends: it says that ice forms, not how thick. "
            "Ice is modelled, not measured; do not walk on it.",
            width=width,
        )
    for credit in known.weather.credits:
        lines += wrapped(clean(credit), width=width)
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)


def _row(pond: SiteWater, units: str, bars: str, low: float, high: float) -> list[str]:
    return [
        clean(pond.site.site_id),
        clean(pond.site.customer),
        plus_minus(float(pond.path.water_c[-1]), float(pond.path.sd_c[-1]), units),
        f"{pond.fit.lag_days:.1f}",
        last_reading(pond.last_reading, units),
        rests_on(pond.shares),
        "".join(
            bars[int(np.clip((value - low) / (high - low) * len(bars), 0, len(bars) - 1))]
            for value in pond.path.water_c[-PLOT_DAYS:]
        ),
    ]


def last_reading(reading: Reading | None, units: str) -> str:
    """Day and value of the latest reading, "none" without one."""
    if reading is None:
        return "none"
    value = reading.water_c if units == "metric" else c_to_f(reading.water_c)
    return f"{value:.0f} on {day_month(reading.day)}"


def rests_on(shares: dict[str, float]) -> str:
    """What a value rests on, in shares: physics (depth and place), the route's readings, its own.

    >>> rests_on({"own": 0.55, "route": 0.07, "prior": 0.38})
    'own 55 %, physics 38 %, route 7 %'
    """
    words = {"own": "own", "route": "route", "prior": "physics"}
    parts = sorted(shares.items(), key=lambda item: (-round(item[1], 2), item[0]))
    return ", ".join(
        f"{words[name]} {share:.0%}".replace("%", " %") for name, share in parts if share >= 0.005
    )


def _range(ponds: Iterable[SiteWater]) -> tuple[float, float]:
    values = np.concatenate([pond.path.water_c[-PLOT_DAYS:] for pond in ponds])
    return float(values.min()), max(float(values.max()), float(values.min()) + 0.1)


def _ends(low: float, high: float, units: str) -> str:
    if units != "metric":
        low, high = c_to_f(low), c_to_f(high)
    return f"({low:.0f} to {high:.0f} {unit_of(units)})"


def water_csv(rows: Iterable[WaterDay]) -> str:
    """The long table: `site_id, date, water_c, water_p10_c, water_p90_c`, °C with two decimals."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["site_id", "date", "water_c", "water_p10_c", "water_p90_c"])
    for row in rows:
        writer.writerow(
            [
                row.site_id,
                row.day.isoformat(),
                f"{row.water_c:.2f}",
                f"{row.water_p10_c:.2f}",
                f"{row.water_p90_c:.2f}",
            ]
        )
    return out.getvalue()


def step(difference_c: float, units: str) -> str:
    """A difference of temperatures in the reader's unit, one decimal."""
    value = difference_c if units == "metric" else c_step_to_f(difference_c)
    return f"{value:.1f} {unit_of(units)}"
