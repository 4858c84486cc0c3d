"""One pond's fall as a picture: air, readings, water and its band, drawn to SVG or PNG."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from forecaster.falls import fall_of, fall_start
from forecaster.files import write_bytes
from forecaster.known import Known
from forecaster.report.words import clean, unit_of, weekday_date
from forecaster.units import c_to_f_array
from forecaster.waters import SiteWater

WATER, FROST, PAST = "#0f6b68", "#5b3a8c", "#8a8a86"


def draw_water_picture(pond: SiteWater, known: Known, path: Path) -> None:
    """Draw from 1 August to the as-of date; the format follows the name's ending (.svg or .png).

    Raises:
        CannotWrite: The file cannot be written.
    """
    from matplotlib import rc_context
    from matplotlib.dates import ConciseDateFormatter, MonthLocator
    from matplotlib.figure import Figure

    units = known.settings.season.units

    def shown(values_c: ArrayLike) -> np.ndarray:
        values = np.asarray(values_c, float)
        return values if units == "metric" else c_to_f_array(values)

    days = np.datetime64(fall_start(known.fall)) + np.arange(len(pond.path.mean_c))
    figure = Figure(figsize=(9, 4.5), layout="constrained")
    axes = figure.subplots()
    axes.plot(days, shown(pond.air_c), color=PAST, linewidth=0.8, label="air, daily mean")
    axes.fill_between(
        days,
        shown(pond.path.p10_c),
        shown(pond.path.p90_c),
        color=WATER,
        alpha=0.25,
        linewidth=0,
        label="water, 8 chances in 10",
    )
    axes.plot(days, shown(pond.path.water_c), color=WATER, linewidth=1.8, label="water, best estimate")
    own = [r for r in pond.readings if fall_of(r.day) == known.fall]
    if own:
        read_on = np.array([r.day for r in own], dtype="datetime64[D]")
        read = shown([r.water_c for r in own])
        axes.plot(read_on, read, "o", color="black", markersize=5, label="readings")
    limits = known.settings.thresholds
    for limit_c, name in ((limits.start_c, "start"), (limits.sustained_c, "settled")):
        axes.axhline(float(shown(limit_c)), color=FROST, linewidth=0.8, linestyle="--")
        axes.annotate(name, (days[0], float(shown(limit_c))), color=FROST, fontsize=8, va="bottom")
    axes.set_ylabel(f"temperature, {unit_of(units)}")
    axes.set_title(
        f"{clean(pond.site.site_id)}  {clean(pond.site.customer)}: "
        f"as of {weekday_date(known.as_of, year=True)}",
        fontsize=11,
        loc="left",
    )
    axes.xaxis.set_major_locator(MonthLocator())
    axes.xaxis.set_major_formatter(ConciseDateFormatter(MonthLocator()))
    figure.legend(frameon=False, fontsize=8, loc="outside lower center", ncols=4)
    axes.spines[["top", "right"]].set_visible(False)
    kind = path.suffix.lower().lstrip(".")
    out = io.BytesIO()
    with rc_context({"svg.hashsalt": "water", "svg.fonttype": "none"}):
        figure.savefig(out, format=kind, dpi=150, metadata={"Date": None} if kind == "svg" else None)
    write_bytes(path, out.getvalue())
